"""A string longer than its ruler, and a trunk sighted from the front."""

import numpy as np
import pytest

from layers import girth, sighting
from layers.errors import OutsideDomain
from layers.goes import goes_of
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree


def own_var(**reading):
    given = make_records(
        trees=[make_tree()],
        stems=[make_stem()],
        readings=[make_reading(**{"instrument": "string and ruler", "tilt_deg": 0.0, **reading})],
    )
    return girth.standardised(given.readings, given.stems, given.trees, make_site()).readings["own_var_cm2"][
        0
    ]


@pytest.mark.parametrize(
    ("text", "total", "number"),
    [
        ("3x30 + 12.5", 102.5, 4),
        ("3 × 30+12,5", 102.5, 4),
        ("30 + 30 + 30 + 12.5", 102.5, 4),
        ("7x12 + 5 1/2", 89.5, 8),
        ("7*12 + 1/4", 84.25, 8),
        ("64", 64.0, 1),
    ],
)
def test_goes_add_up(text, total, number):
    assert (goes_of(text).total, goes_of(text).number) == (pytest.approx(total), number)


@pytest.mark.parametrize(
    "text", ["", "three times", "3x", "x30", "30 - 5", "0x30", "1/0", "3x30 + ", "-5", "9999x30"]
)
def test_what_is_no_sum_of_goes_is_none(text):
    assert goes_of(text) is None


def test_every_go_adds_its_own_rounding():
    one, four = (own_var(value=102.5, resolution=1.0, parts=parts) for parts in (None, "3x30 + 12.5"))
    assert four - one == pytest.approx(3 / 12 / np.pi**2)


def test_a_count_of_hands_that_was_turned_into_a_length_is_no_goes():
    how = {"value": 100.0, "resolution": 4.0, "instrument": "hand breadths"}
    assert own_var(**how, parts="12 x 8") == own_var(**how)


def test_parts_that_nobody_can_read_count_as_one_go():
    assert own_var(value=102.5, parts="round the corner") == own_var(value=102.5)


@pytest.mark.parametrize("reach", [50.0, 63.5, 70.0])
def test_a_mark_on_the_stick_means_the_width_that_it_was_made_for(reach):
    for d in (5.0, 40.0, 150.0):
        assert sighting.stick_diameter(sighting.stick_mark(d, reach), reach) == pytest.approx(d)


def test_a_ruler_and_an_angle_are_the_same_sighting():
    angle = np.degrees(2 * np.arctan(5.0 / 120.0))
    assert sighting.angle_diameter(angle, 500) == pytest.approx(sighting.ruler_diameter(5.0, 60, 500))


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("mark 14.907, reach 25", 20.0),
        ("ruler 5, eye 60, trunk 500", 41.6305),
        ("angle 4,8, trunk 500", 41.8757),
        ("mark 0, reach 25", None),
        ("mark 5, reach 0", None),
        ("angle 180, trunk 500", None),
        ("about 40", None),
    ],
)
def test_a_sighting_as_written_is_a_width(text, size):
    assert sighting.diameter_of(text) == (None if size is None else pytest.approx(size, abs=1e-3))


@pytest.mark.parametrize(
    ("rule", "given"),
    [
        (sighting.stick_mark, (10, 0)),
        (sighting.stick_diameter, (10, -1)),
        (sighting.ruler_diameter, (5, 0, 500)),
        (sighting.ruler_diameter, (5, 60, 0)),
        (sighting.angle_diameter, (0, 500)),
    ],
)
def test_a_distance_of_nothing_is_refused(rule, given):
    with pytest.raises(OutsideDomain):
        rule(*given)
