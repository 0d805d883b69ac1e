"""Crews that are off as a whole are found, in their first round and later; others are left alone."""

import math

import numpy as np
import pytest

from layers.crew_checks import crews_questioned
from layers.expectation import expected_of
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree

TERMS = make_site(frame="local")
STEMS = 36


def ground(readings):
    trees = [make_tree(tree_id=f"t{n}", fid=n, lon_deg=None, lat_deg=None) for n in range(STEMS)]
    stems = [make_stem(stem_id=f"s{n}", tree_id=f"t{n}", fid=n) for n in range(STEMS)]
    return make_records(trees=trees, stems=stems, readings=readings)


def sizes(seed, log_mean=3.3):
    dice = np.random.default_rng(seed)
    return np.pi * np.exp(dice.normal(log_mean, 0.45, STEMS))


def read(girths, stems, crew, round_id, day, factor=1.0, **more):
    said = {"crew": crew, "round_id": round_id, "measured_on": day, **more}
    return [
        make_reading(
            reading_id=f"{round_id}{crew}{n}",
            stem_id=f"s{n}",
            value=round(float(girths[n] * factor), 1),
            **said,
        )
        for n in stems
    ]


def found(readings):
    rows = crews_questioned(expected_of(ground(readings), TERMS))
    return list(zip(rows["round_id"], rows["crew"], rows["about"], strict=True))


def three_crews(seed, factor, **more):
    girths = sizes(seed)
    parts = [range(12), range(12, 24), range(24, 36)]
    rows = [
        read(girths, part, crew, "R1", "2024-05-01", factor if crew == "B" else 1.0)
        for crew, part in zip("ABC", parts, strict=True)
    ]
    return [one for part in rows for one in part]


@pytest.mark.parametrize("seed", range(5))
def test_good_crews_are_left_alone_in_their_first_round(seed):
    assert found(three_crews(seed, 1.0)) == []


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("factor", "about"),
    [(10.0, "ten times too big"), (0.1, "ten times too small"), (0.01, "metres as centimetres")],
)
def test_a_crew_in_another_unit_is_found_in_its_first_round(seed, factor, about):
    assert found(three_crews(seed, factor)) == [("R1", "B", about)]


def test_a_crew_that_read_widths_is_found_on_practice_trees_and_others_are_not_blamed():
    girths = sizes(1)
    practice = [
        one
        for crew, factor in (("A", 1.0), ("B", 1 / math.pi), ("C", 1.0))
        for one in read(girths, range(4), crew, "R1", "2024-05-01", factor)
    ]
    assert found(practice) == [("R1", "B", "width as girth")]


def test_a_crew_in_inches_is_found_by_what_was_measured_before():
    girths = sizes(2)
    before = read(girths, range(8), "A", "R1", "2022-05-01")
    now = read(girths, range(8), "D", "R2", "2024-05-01", 1 / 2.54)
    assert found(before + now) == [("R2", "D", "inches as centimetres")]


def test_one_odd_reading_makes_no_odd_crew():
    girths = sizes(3)
    before = read(girths, range(8), "A", "R1", "2022-05-01")
    now = read(girths, range(8), "D", "R2", "2024-05-01")
    now[0]["value"] = now[0]["value"] / 2.54
    assert found(before + now) == []


def test_two_readings_are_too_few_to_say():
    girths = sizes(4)
    before = read(girths, range(2), "A", "R1", "2022-05-01")
    now = read(girths, range(2), "D", "R2", "2024-05-01", 1 / 2.54)
    assert found(before + now) == []


def test_no_readings_no_crews():
    assert found([]) == []


def test_a_ground_of_young_trees_is_no_crew_in_inches():
    girths = sizes(5, log_mean=2.3)
    rows = [
        read(girths, part, crew, "R1", "2024-05-01")
        for crew, part in (("A", range(18)), ("B", range(18, 36)))
    ]
    assert found([one for part in rows for one in part]) == []
