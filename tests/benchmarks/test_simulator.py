"""The simulator stands on its own and is what it says: its own numbers, its own forecast, fast."""

import ast
import time
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks import simulated_errors as errors
from tests.benchmarks.simulated_forecast import forecast
from tests.benchmarks.simulated_mistakes import KINDS, with_mistakes
from tests.benchmarks.simulated_records import records_of
from tests.benchmarks.simulator import FACTORS, WORLD_A, WORLD_B, World, drawn_site

ADAPTER = "simulated_records.py"
MODULES = sorted(path for path in Path(__file__).parent.glob("simulat*.py") if path.name != ADAPTER)
ALLOWED = {"numpy", "dataclasses", "tests"}
SEED = 3


def imported(path):
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= (
                {node.module}
                if node.module != "tests.benchmarks"
                else {f"{node.module}.{alias.name}" for alias in node.names}
            )
    return names


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_the_simulator_imports_nothing_of_the_program(path):
    names = imported(path)
    assert {name.split(".")[0] for name in names} <= ALLOWED
    of_tests = {name for name in names if name.startswith("tests")}
    assert all(name.startswith("tests.benchmarks.simulat") for name in of_tests)
    assert not any("simulated_records" in name for name in of_tests)


def test_there_are_modules_of_the_simulator_to_judge():
    assert len(MODULES) >= 5


def test_the_profile_has_the_published_values():
    # Raile 1982, NC-224: f(h) = (4.5 - h)/(h + 1), h in feet; at 2 ft 2.5/3. FIADB REF_SPECIES: oak 0.12798.
    assert errors.profile(2 * 0.3048) == pytest.approx(2.5 / 3, abs=1e-12)
    assert 1 / errors.ratio(2 * 0.3048, 1.3716, 0.12798) == pytest.approx(0.90363, abs=5e-6)


def test_the_same_numbers_draw_the_same_site():
    one, two = drawn_site(WORLD_A, SEED, 7), drawn_site(WORLD_A, SEED, 7)
    assert np.array_equal(one.readings["value"], two.readings["value"])
    assert not np.array_equal(one.readings["value"][:9], drawn_site(WORLD_A, SEED, 8).readings["value"][:9])


@pytest.mark.parametrize("world", [WORLD_A, WORLD_B, World(learned=True, repeats=False)], ids=["A", "B", "C"])
def test_sites_are_as_large_as_was_asked(world):
    for number in range(40):
        site = drawn_site(world, SEED, number)
        readings = np.bincount(site.readings["stem"])
        assert 60 <= len(readings) <= 300
        assert readings.min() >= 1
        assert readings.max() <= 6
        assert ((site.crews["number"] >= 2) & (site.crews["number"] <= 8)).all()
        assert (np.diff(site.readings["round"]) >= 0).all()
        if world.repeats:
            assert len(site.crews["round"]) >= 8
            assert site.readings["is_double"].sum() >= 60
            assert site.readings["is_pair"].sum() >= 30
        elif world.repeats is False:
            assert not site.readings["is_double"].any()
            assert not site.readings["is_pair"].any()


def test_the_factors_of_world_b_are_drawn_equally_and_independently():
    truths = [drawn_site(WORLD_B, SEED, number).truth for number in range(400)]
    own, crew = (np.array([each[name] for each in truths]) for name in ("own_factor", "crew_factor"))
    for a in FACTORS:
        for b in FACTORS:
            assert 70 <= np.sum((own == a) & (crew == b)) <= 130  # 100 expected, 3.5 deviations
    off = np.abs(truths[0]["b"] / truths[0]["sets"] - 1.0)
    assert off == pytest.approx(np.full(len(off), errors.TAPER_SHARE))


@pytest.mark.parametrize("world", [WORLD_A, WORLD_B, World(one_departure=False)], ids=["A", "B", "each"])
def test_good_readings_lie_where_the_simulator_itself_expects_them(world):
    apart = []
    for number in range(60):
        site = drawn_site(world, SEED, number)
        told = forecast(site)
        later = told["earlier"] > 0
        apart.append(((told["standard_cm"] - told["expected_cm"]) / told["sd_cm"])[later])
    apart = np.concatenate(apart)
    assert np.std(apart) == pytest.approx(1.0, abs=0.04)
    assert np.mean(np.abs(apart) < 1.96) == pytest.approx(0.95, abs=0.01)


def test_mistakes_come_in_equal_shares_and_change_nothing_else():
    count = np.zeros(len(KINDS))
    for number in range(60):
        site = drawn_site(WORLD_A, SEED, number)
        with_some = with_mistakes(site, np.random.default_rng([SEED, number]), share=0.1)
        mistake = with_some.readings["mistake"]
        count += np.bincount(mistake[mistake >= 0], minlength=len(KINDS))
        touched = np.isin(site.readings["stem"], site.readings["stem"][mistake >= 0])
        changed = with_some.readings["value"] != site.readings["value"]
        assert not changed[~touched].any()
        assert (with_some.readings["distance"][mistake < 0] == 0).all()
    assert count.max() / count.sum() < 0.20
    assert count.min() / count.sum() > 0.08


def test_records_say_what_was_read():
    site = drawn_site(WORLD_A, SEED, 1)
    records = records_of(site)
    assert len(records.readings) == len(site.readings["stem"])
    assert np.array_equal(records.readings["value"], site.readings["value"])
    assert records.readings["reading_id"].is_monotonic_increasing
    assert len(records.areas) == 4


def test_a_site_is_drawn_in_twenty_milliseconds():
    took = []
    for number in range(20):
        start = time.perf_counter()
        drawn_site(WORLD_B, SEED, number)
        took.append(time.perf_counter() - start)
    assert np.median(took) < 0.020
