"""Pairs of heights: the ratio seen beside the published one and the site's own, and how many more pay."""

import dataclasses

import numpy as np
import pytest

from layers.far_apart import learned
from layers.pairs import FIRST_DAY, height_pairs, more_pairs
from layers.site_model import PUBLISHED, Effect, SiteModel
from tests.builders import make_site
from tests.unit.test_learning import records_of

RNG = np.random.default_rng(3)
US = make_site(breast_height_m=1.3716)
TWO_FEET = {"height_m": 0.6096}
HIGH = {"height_m": 1.3716}
B = 0.12766


def both(count, b=B, own_sd=0.3, departure=0.0):
    rows = []
    for stem in range(count):
        low = 30.0 * (1.0 + b * 2.5 / 3.0 + departure * RNG.normal())
        rows += [(stem, 30.0 + own_sd * RNG.normal(), HIGH), (stem, low + own_sd * RNG.normal(), TWO_FEET)]
    return rows


def pairs_of(rows, model=PUBLISHED, site=US, left_out=()):
    return height_pairs(records_of(rows), site, model, left_out)


def test_a_pair_at_two_feet_is_compared_with_the_published_ratio():
    """Raile 1982, NC-224: mixed hardwood at 2 ft is 1 / 0.90385 of breast height."""
    found = pairs_of([(0, 30.0, HIGH), (0, 33.6, TWO_FEET)])
    pair = found.pairs.iloc[0]
    assert pair["ratio_seen"] == pytest.approx(33.6 / 30.0)
    assert pair["ratio_published"] == pytest.approx(1 / 0.90385, rel=1e-5)
    assert pair["ratio_site"] == pair["ratio_published"]
    assert (pair["low_m"], pair["high_m"], pair["taper_set"]) == (0.6096, 1.3716, "mixed hardwood")


def test_the_site_s_own_profile_follows_its_model():
    model = SiteModel(effects={"taper:mixed hardwood": Effect(0.03, 0.0001)})
    found = pairs_of([(0, 30.0, HIGH), (0, 33.6, TWO_FEET)], model)
    assert found.pairs["ratio_site"].iloc[0] == pytest.approx(1.0 + (B + 0.03) * 2.5 / 3.0, rel=1e-5)
    row = found.sets.iloc[0]
    assert (row["published_b"], row["published_se"]) == pytest.approx((B, 0.2 * B))
    assert (row["site_b"], row["site_se"]) == pytest.approx((B + 0.03, 0.01))


def test_readings_of_other_days_and_of_one_height_are_no_pair():
    rows = [(0, 30.0, HIGH), (0, 33.6, {**TWO_FEET, "measured_on": "2024-05-15"})]
    rows += [(1, 30.0, HIGH), (1, 30.1, {"height_m": 1.36}), (2, 33.0, TWO_FEET), (2, 33.2, TWO_FEET)]
    rows += [(3, 30.0, HIGH), (3, 33.6, {**TWO_FEET, "date_precision": "month"})]
    found = pairs_of(rows)
    assert found.pairs.empty
    assert found.to_begin_with == FIRST_DAY == 10


def test_readings_at_one_height_count_as_their_mean_and_three_heights_make_two_pairs():
    rows = [(0, 30.0, HIGH), (0, 30.4, HIGH), (0, 33.6, TWO_FEET), (0, 32.0, {"height_m": 0.9144})]
    found = pairs_of(rows).pairs
    assert sorted(found["low_m"]) == [0.6096, 0.9144]
    assert found["high_cm"].tolist() == pytest.approx([30.2, 30.2])


def test_a_ground_measured_at_breast_height_only_needs_no_pairs():
    found = pairs_of([(0, 30.0, HIGH), (1, 30.0, HIGH)])
    assert (found.to_begin_with, len(found.sets)) == (0, 0)


def test_pairs_that_taught_nothing_are_marked_and_not_counted():
    found = pairs_of([*both(4), (4, 30.0, HIGH), (4, 84.0, TWO_FEET)], left_out=("r00009",))
    assert found.pairs.set_index("stem_id")["left_out"].to_dict()["s4"]
    assert found.sets["pairs"].iloc[0] == 4


def test_more_pairs_pay_until_the_deviation_has_halved():
    """1 / v = 1 / v0 + n I: with v0 = 4 and I = 0.25, three pairs bring v to 1."""
    assert more_pairs(4.0, 4.0, 0.25) == 3
    assert more_pairs(4.0, 2.0, 0.25) == 2
    assert more_pairs(4.0, 0.9, 0.25) == 0


def test_as_many_pairs_as_are_asked_for_halve_the_deviation():
    site, departure = US, 0.035  # the published deviation of one tree at 2 ft
    first = records_of([(0, 33.0, TWO_FEET), *[(n + 1, 33.0, TWO_FEET) for n in range(9)]])
    asked = height_pairs(first, site, PUBLISHED).sets.iloc[0]
    assert 5 < asked["more_pairs"] < 40
    rows = both(int(asked["more_pairs"]), own_sd=0.4, departure=departure)
    model = learned(records_of(rows), site).model
    fixed = dataclasses.replace(model, own=PUBLISHED.own, departure=PUBLISHED.departure)
    got = height_pairs(records_of(rows), site, fixed).sets.iloc[0]
    assert got["site_se"] / got["published_se"] == pytest.approx(0.5, abs=0.08)


def test_a_typical_trunk_has_the_part_that_the_coefficient_makes():
    row = pairs_of([(0, 33.0, TWO_FEET)]).sets.iloc[0]
    per_b = 33.0 * (2.5 / 3.0) / (1.0 + B * 2.5 / 3.0) ** 2
    assert row["taper_part_cm"] == pytest.approx(per_b * 0.2 * B, rel=1e-3)
    assert row["typical_m"] == pytest.approx(0.6096)
    assert row["stems"] == 1
