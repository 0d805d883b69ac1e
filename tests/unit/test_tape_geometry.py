"""What a slanted, slack, too high or too low tape shows, against tables, right triangles and quadrature."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers import taper
from layers.errors import OutsideDomain
from layers.girth import tilt_factor
from layers.tape_geometry import Trunk, slack_girth_cm, tape_shows_cm
from tests.shared_cases import make_tape_geometry

CASES = json.loads(make_tape_geometry.FILE.read_text(encoding="utf-8"))
# E by modular angle: Abramowitz and Stegun 1964, table 17.2, one of those that the NIST Digital Library of
# Mathematical Functions names for E(k) (19.37, from memory); 5 to 20 degrees read in a public transcript of
# that table (elliptic_ea_values), 30 degrees from memory.
TABLE = {5.0: 1.567809074, 10.0: 1.558887197, 15.0: 1.544150497, 20.0: 1.523799205, 30.0: 1.467462209}
girths, gaps, tilts = st.floats(5, 800), st.floats(0, 30), st.floats(0, 45)


@pytest.mark.parametrize(("angle", "printed"), TABLE.items())
def test_a_slanted_tape_is_four_times_the_long_axis_times_the_printed_integral(angle, printed):
    r = 100.0 / (2.0 * math.pi)
    by_table = 4.0 * r / math.cos(math.radians(angle)) * printed
    assert slack_girth_cm(100.0, 0.0, angle) == pytest.approx(by_table, abs=5e-10 * 100)


def test_a_slack_tape_by_a_right_triangle_of_three_four_and_five():
    # r = 3, off by 2: tangents of 4, and they cut off 2 acos(3/5) of the circle
    by_hand = 2.0 * math.pi * 3.0 + 2.0 * (4.0 - 3.0 * math.acos(0.6))
    assert slack_girth_cm(6.0 * math.pi, 2.0) == pytest.approx(by_hand, rel=1e-13)
    assert by_hand - 6.0 * math.pi == pytest.approx(2.4362, abs=5e-5)


def test_a_finger_under_the_tape_of_a_thin_trunk_is_less_than_twice_the_finger():
    assert 0.0 < slack_girth_cm(60.0, 1.5) - 60.0 < 2 * 1.5


def test_a_height_is_the_published_profile_alone():
    trunk = Trunk(100.0, 1.3)
    got = tape_shows_cm(trunk, 0.0, 0.0, [0.8, 1.3, 1.5])
    assert got == pytest.approx(100.0 * taper.ratio([0.8, 1.3, 1.5], 1.3, taper.HARDWOOD_B), rel=1e-12)
    assert got[0] > got[1] > got[2]


def test_all_shared_cases_agree_with_quadrature():
    for case in CASES:
        said = case["trunk"]
        trunk = Trunk(said["girth"], said["height"], said["profile"])
        got = float(tape_shows_cm(trunk, case["tilt"], case["gap"], case["height"]))
        assert got == pytest.approx(case["shows"], abs=2e-9), case


def test_the_shared_cases_are_those_that_the_maker_makes():
    assert make_tape_geometry.document() == CASES
    assert len(CASES) > 70


@given(girths, tilts)
def test_without_a_gap_it_is_the_factor_that_readings_are_corrected_by(girth, tilt):
    assert slack_girth_cm(girth, 0.0, tilt) == pytest.approx(girth * float(tilt_factor(tilt)), rel=1e-12)


@given(girths, gaps, gaps, tilts)
def test_more_slack_shows_more_and_never_less_than_the_trunk(girth, one, other, tilt):
    less, more = sorted((one, other))
    a, b = slack_girth_cm(girth, [less, more], tilt)
    assert girth - 1e-9 <= a <= b + 1e-9
    assert b <= girth * float(tilt_factor(tilt)) + 2.0 * more + 1e-9


@given(st.floats(0.1, 10), girths, st.floats(0, 20), tilts)
def test_a_trunk_twice_as_large_with_twice_the_gap_shows_twice_as_much(times, girth, gap, tilt):
    one, other = slack_girth_cm(girth, gap, tilt), slack_girth_cm(times * girth, times * gap, tilt)
    assert other == pytest.approx(times * one, rel=1e-10)


@pytest.mark.parametrize(
    ("said", "what"),
    [
        ((0.0, 0.0, 0.0), "girth_cm"),
        ((np.nan, 0.0, 0.0), "girth_cm"),
        ((100.0, -1.0, 0.0), "gap_cm"),
        ((100.0, 0.0, 61.0), "tilt_deg"),
        ((100.0, 0.0, -1.0), "tilt_deg"),
    ],
)
def test_what_no_tape_can_do_is_refused_by_name(said, what):
    with pytest.raises(OutsideDomain, match=what):
        slack_girth_cm(*said)


@pytest.mark.parametrize("height", [0.1, 1.6, np.nan])
def test_a_height_outside_of_the_profile_is_refused(height):
    with pytest.raises(OutsideDomain, match="height_m"):
        tape_shows_cm(Trunk(100.0, 1.3), 0.0, 0.0, height)
