"""Numbers, units and days as pages say them."""

import math

import pandas as pd
import pytest

from service.web import display


@pytest.fixture(autouse=True)
def in_a_page(app):
    with app.test_request_context("/"):
        yield


@pytest.mark.parametrize(
    ("half", "decimals"),
    [(0.9, 1), (0.18, 2), (0.25, 1), (1.2, 1), (2.4, 0), (13.0, 0), (0.0, 1), (math.nan, 1)],
)
def test_a_half_width_keeps_one_digit_and_two_when_it_starts_with_a_one(half, decimals):
    assert display.decimals_for(half) == decimals


def test_give_or_take_is_half_of_the_interval_and_sets_the_digits():
    # 1.96 x 0.45 = 0.88, one digit
    assert display.Units("metric").give_or_take(34.234, 0.45, "width") == "34.2 cm, give or take 0.9"


def test_inches_are_shown_where_the_site_says_so():
    # 34.2 / 2.54 = 13.46; 1.96 x 0.45 / 2.54 = 0.347
    assert display.Units("us").give_or_take(34.2, 0.45, "width") == "13.5 in, give or take 0.3"
    # 1 m2/ha = 43,560 / 10,000 sq ft per acre
    assert display.Units("us").with_unit(10.0, "cut_face_per_ground") == "43.6 sq ft per acre"


@pytest.mark.parametrize("missing", [None, math.nan, pd.NA, pd.NaT])
def test_what_is_missing_is_a_dash_and_never_a_zero(missing):
    units = display.Units("metric")
    said = [display.number(missing), units.shown(missing, "width"), units.with_unit(missing, "width")]
    said += [units.give_or_take(missing, 1.0, "width"), display.day(missing), display.text(missing)]
    assert said == [display.NONE] * 6


def test_a_value_without_an_error_is_shown_without_give_or_take():
    assert display.Units("metric").give_or_take(10.0, math.nan, "width") == "10.0 cm"


def test_days_are_said_in_words_and_other_text_as_it_is():
    assert display.day("2024-05-14") == "14 May 2024"
    assert display.day("spring 2024") == "spring 2024"


def test_no_zero_has_a_minus():
    assert display.number(-0.04, 1) == "0.0"
    assert display.number(-0.06, 1) == "-0.1"
