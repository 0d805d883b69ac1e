"""Whether a new reading fits the one before it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers.fitting import FASTEST_CM_PER_YR, SURE, alike, fit

sizes = st.floats(1, 300)
errors = st.floats(0.01, 5)


def test_the_range_is_that_of_the_notes_by_hand():
    found = fit(31.0, 0.3, 30.0, 0.4, 365.25)
    assert found.low_cm == pytest.approx(30 - 2.5758 * 0.5)
    assert found.high_cm == pytest.approx(30 + FASTEST_CM_PER_YR + 2.5758 * 0.5)
    assert found.fits


def test_the_sureness_is_the_normal_quantile_of_one_in_a_hundred():
    assert math.erf(SURE / math.sqrt(2)) == pytest.approx(0.99, abs=1e-5)


@given(sizes, errors, errors, st.floats(0, 4000))
def test_the_same_size_again_always_fits(size, first, second, days):
    assert fit(size, first, size, second, days).fits


@given(sizes, sizes, errors, errors, st.floats(0, 3000), st.floats(0, 3000))
def test_more_time_never_raises_a_question_that_less_time_does_not(new, old, first, second, days, more):
    if fit(new, first, old, second, days).fits:
        assert fit(new, first, old, second, days + more).fits


@pytest.mark.parametrize(
    ("factor", "slip"),
    [
        (1 / 2.54, "inches as centimetres"),
        (2.54, "centimetres as inches"),
        (math.pi, "girth as width"),
        (1 / math.pi, "width as girth"),
    ],
)
def test_a_slip_of_unit_or_quantity_is_named(factor, slip):
    found = fit(40 * factor, 0.5, 40, 0.5, 365)
    assert not found.fits
    assert found.slip == slip


def test_what_no_slip_explains_names_none():
    assert fit(60, 0.5, 40, 0.5, 365).slip is None


def test_time_that_runs_backwards_allows_no_growth():
    assert not fit(45, 0.3, 40, 0.3, -3650).fits
    assert fit(45, 0.3, 40, 0.3, 3650).fits


def test_two_readings_of_one_day_are_alike_within_their_own_errors():
    assert alike(30, 0.3, 31, 0.3)
    assert not alike(30, 0.3, 32, 0.3)
