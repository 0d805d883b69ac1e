"""A trunk at the height of a law: converted with its error, and no answer where the limit is too near."""

import math

import numpy as np
import pytest

from layers import law_height, taper
from layers.errors import OutsideDomain
from layers.history import state_at
from layers.law_height import BELOW, CANNOT_BE_TOLD, REACHES, sizes_at
from tests.builders import TREE_ID, make_reading, make_records, make_site, make_stem, make_tree

AS_OF = "2025-01-01"


def records(*readings, stems=1):
    return make_records(
        trees=[make_tree(), make_tree(tree_id="other", fid=2)],
        stems=[make_stem(stem_id=f"s{n}", fid=n, number=n) for n in range(1, stems + 1)]
        + [make_stem(stem_id="o", fid=99, tree_id="other")],
        readings=[
            make_reading(**{"reading_id": f"r{n}", "stem_id": "s1", **reading})
            for n, reading in enumerate(readings)
        ],
    )


def at(height_m, *readings, **more):
    return sizes_at(records(*readings, **more), make_site(), AS_OF, TREE_ID, height_m)[0]


def test_a_size_is_brought_to_the_height_of_the_law_from_where_it_was_measured():
    found = at(1.0, {"value": 100.0, "height_m": 1.3})
    b, _ = taper.coefficient("Tilia cordata", "Tilia")
    assert found.diameter_cm == pytest.approx(100 / np.pi * taper.ratio(1.0, 1.3, b))
    assert "converted to 1.00 m" in found.why


def test_one_that_was_measured_there_is_not_converted_and_has_the_smaller_error():
    there, from_below = at(1.0, {"height_m": 1.0}), at(1.0, {"height_m": 0.5})
    assert there.diameter_cm == pytest.approx(100 / np.pi)
    assert there.why == "measured at 1.00 m"
    assert there.high_cm - there.low_cm < from_below.high_cm - from_below.low_cm


def test_at_the_heights_of_the_ground_it_is_the_size_of_the_ground():
    given = records({"height_m": 0.6}, {"height_m": 1.3, "value": 98.0})
    (found,) = sizes_at(given, make_site(), AS_OF, TREE_ID, 1.3)
    state = state_at(given, make_site(), AS_OF).stem_state.set_index("stem_id")
    assert found.diameter_cm == pytest.approx(state.loc["s1", "dbh_cm"])


def test_a_height_that_was_not_said_is_taken_as_that_of_the_ground_and_widens_the_error():
    said, not_said = at(1.0, {"height_m": 1.3}), at(1.0, {"height_m": None})
    assert not_said.diameter_cm == pytest.approx(said.diameter_cm)
    half = [(each.high_cm - each.low_cm) / 2 / 1.959964 for each in (said, not_said)]
    assert half[1] ** 2 - half[0] ** 2 == pytest.approx((0.005 * said.diameter_cm) ** 2, rel=1e-4)


def test_near_the_limit_nothing_can_be_told():
    found = at(1.0, {"height_m": 1.3})
    half = (found.high_cm - found.low_cm) / 2
    assert found.verdict(found.diameter_cm - 1.01 * half) == REACHES
    assert found.verdict(found.diameter_cm + 1.01 * half) == BELOW
    for share in (-0.99, 0.0, 0.99):
        assert found.verdict(found.diameter_cm + share * half) == CANNOT_BE_TOLD


def test_a_limit_of_girth_is_one_of_girth():
    found = at(1.0, {"height_m": 1.3})
    assert found.verdict(found.low_cm * np.pi * 0.999, "girth") == REACHES
    assert found.verdict(found.low_cm * np.pi * 1.001, "girth") == CANNOT_BE_TOLD


def test_a_trunk_without_a_size_cannot_be_told_and_says_why():
    first, second = sizes_at(records({"height_m": 0.05}, stems=2), make_site(), AS_OF, TREE_ID, 1.0)
    assert math.isnan(first.diameter_cm) and "ground line" in first.why
    assert second.why == "not measured"
    assert {each.verdict(20.0) for each in (first, second)} == {CANNOT_BE_TOLD}


@pytest.mark.parametrize("height_m", [0.0, 0.1, 1.6, 10.0])
def test_a_height_that_no_size_is_converted_to_is_refused(height_m):
    with pytest.raises(OutsideDomain):
        at(height_m, {"height_m": 1.3})


def test_the_answers_are_three():
    assert len(set(law_height.SENTENCES)) == 3
