import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layers.growth_curves import LARGEST_SHARE, LEAST_REACHED, NOT_TOLD, TOO_FEW, fit_curve
from layers.growth_rates import periodic_increment, years_to_grow

AGES = np.array([3.0, 8.0, 14.0, 20.0, 27.0, 35.0, 44.0, 60.0])


@settings(max_examples=40, deadline=None)
@given(st.floats(20, 120), st.floats(8, 30), st.floats(4, 12))
def test_a_logistic_curve_without_error_is_found_again(limit, middle, scale):
    sizes = limit / (1 + np.exp(-(AGES - middle) / scale))
    found = fit_curve("logistic", AGES, sizes)
    assert found.identifiable
    assert list(found.parameters.values()) == pytest.approx([limit, middle, scale], rel=1e-5)
    assert found.at(AGES) == pytest.approx(sizes, rel=1e-5)


@settings(max_examples=40, deadline=None)
@given(st.floats(20, 120), st.floats(1.5, 6), st.floats(0.05, 0.2))
def test_a_gompertz_curve_without_error_is_found_again(limit, b, k):
    sizes = limit * np.exp(-b * np.exp(-k * AGES))
    found = fit_curve("Gompertz", AGES, sizes)
    assert list(found.parameters.values()) == pytest.approx([limit, b, k], rel=1e-5)


def test_a_chapman_richards_curve_that_bends_is_found_again():
    found = fit_curve("Chapman-Richards", AGES, 50.0 * (1 - np.exp(-0.08 * AGES)) ** 1.5)
    assert found.identifiable
    assert list(found.parameters.values()) == pytest.approx([50.0, 0.08, 1.5], rel=1e-4)


def test_an_asymptotic_curve_is_found_again_with_its_start():
    found = fit_curve("asymptotic", AGES, 50.0 + (4.0 - 50.0) * np.exp(-np.exp(-3.0) * AGES))
    assert found.identifiable
    assert list(found.parameters.values()) == pytest.approx([50.0, 4.0, -3.0], rel=1e-5)


@pytest.mark.parametrize("form", ["logistic", "Gompertz", "Chapman-Richards", "asymptotic"])
def test_measurements_along_a_straight_line_tell_no_limit(form):
    rng = np.random.default_rng(2)
    found = fit_curve(form, AGES, 20 + 0.5 * AGES + rng.normal(0, 0.5, len(AGES)))
    assert not found.identifiable
    assert found.sentence == NOT_TOLD or "No curve" in found.sentence


@pytest.mark.parametrize("form", ["logistic", "Gompertz", "Chapman-Richards", "asymptotic"])
@pytest.mark.parametrize(
    "size",
    [
        [30.0] * 6,
        [30, 31, 30, 31, 30, 30.5],
        [10, 40, 40, 40, 40, 40],
        [40, 39, 38, 37, 36, 35],
        [1, 1e3] * 3,
    ],
)
def test_sizes_that_no_curve_of_growth_goes_through_are_no_trouble(form, size):
    found = fit_curve(form, np.array([0.0, 365, 730, 1100, 1500, 1900]), np.array(size, dtype=float))
    assert not found.identifiable or found.errors["limit"] <= LARGEST_SHARE * found.parameters["limit"]


def test_the_limit_is_told_up_to_a_quarter_of_it():
    rng = np.random.default_rng(2)
    shape = 60 / (1 + np.exp(-(AGES - 20) / 8))
    for noise in (0.1, 1.0, 5.0, 15.0):
        found = fit_curve("logistic", AGES, np.maximum(shape + rng.normal(0, noise, len(AGES)), 1.0))
        share = found.errors["limit"] / found.parameters["limit"]
        reached = found.at(AGES)[-1] / found.parameters["limit"]
        assert found.identifiable == bool(share <= LARGEST_SHARE and reached >= LEAST_REACHED)


def test_too_few_measurements_are_said():
    found = fit_curve("logistic", AGES[:3], AGES[:3])
    assert (found.identifiable, found.sentence) == (False, TOO_FEW)
    assert np.isnan(found.parameters["limit"])
    assert fit_curve("logistic", np.full(5, 2.0), AGES[:5]).sentence == TOO_FEW


def test_a_rate_goes_back_to_where_it_came_from():
    assert periodic_increment([10.0, 14.0], [3.0, 5.0]).tolist() == [2.0]
    assert years_to_grow(4.0, 2.0) == 2.0
