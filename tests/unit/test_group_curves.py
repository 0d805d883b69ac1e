"""Curves of groups whose trees have their own limits: what is exact, what is found again, what is refused."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import multivariate_normal

from layers.group_curves import OVERFITTED, TOO_FEW_TREES, fit_group_curve
from layers.growth_curves import LARGEST_SHARE, LEAST_REACHED, NO_FIT, NOT_TOLD, TOLD, TOO_FEW

AGES = np.array([3.0, 8.0, 14.0, 20.0, 27.0, 35.0, 44.0, 60.0])
LIMIT, MIDDLE, SCALE = 60.0, 20.0, 8.0


def shape(age, middle=MIDDLE, scale=SCALE):
    return 1 / (1 + np.exp(-(age - middle) / scale))


def grove(trees, seed=1, sd=8.0, noise=0.8, ages=AGES):
    """Ages, widths and trees of a planted group: one shape, a limit for each tree."""
    rng = np.random.default_rng(seed)
    limits = rng.normal(LIMIT, sd, trees)
    tree = np.repeat(np.arange(trees), len(ages))
    age = np.tile(ages, trees)
    return age, limits[tree] * shape(age) + rng.normal(0, noise, len(age)), tree, limits


def exact(age, size, tree, limit, middle, scale, sd, left):
    """The log-likelihood, tree by tree, by the density of all sizes of a tree together."""
    out = 0.0
    for one in np.unique(tree):
        f = shape(age[tree == one], middle, scale)
        covariance = sd**2 * np.outer(f, f) + left**2 * np.eye(len(f))
        out += multivariate_normal.logpdf(size[tree == one], limit * f, covariance)
    return out


def numbers(found):
    return [*found.parameters.values(), found.sd["limit"], found.residual_sd]


def test_the_log_likelihood_is_that_of_the_sizes_of_each_tree_together():
    *given, _ = grove(6)
    found = fit_group_curve("logistic", *given)
    assert found.log_likelihood == pytest.approx(exact(*given, *numbers(found)), abs=1e-6)


def test_no_other_curve_is_much_more_likely():
    *given, _ = grove(6)
    found = fit_group_curve("logistic", *given)
    start = np.array(numbers(found))
    best = minimize(lambda share: -exact(*given, *(share * start)), np.ones(5), method="Nelder-Mead")
    assert found.log_likelihood <= -best.fun <= found.log_likelihood + 0.05
    away = np.abs(best.x[:3] * start[:3] - start[:3]) / list(found.errors.values())
    assert away.max() < 0.2


def test_a_group_and_the_limits_of_its_trees_are_found_again():
    age, size, tree, limits = grove(40, seed=3)
    found = fit_group_curve("logistic", age, size, tree)
    assert (found.identifiable, found.sentence) == (True, TOLD)
    for value, (name, said) in zip((LIMIT, MIDDLE, SCALE), found.parameters.items(), strict=True):
        assert abs(said - value) < 3 * found.errors[name]
    assert found.sd["limit"] == pytest.approx(np.std(limits), rel=0.05)
    assert found.residual_sd == pytest.approx(0.8, rel=0.1)
    assert np.abs(found.own[:, 0] - limits).max() < 2.0


def test_the_limit_lies_within_its_error_as_often_as_is_said():
    inside = []
    for seed in range(60):
        *given, _ = grove(12, seed=seed)
        found = fit_group_curve("logistic", *given)
        inside.append(abs(found.parameters["limit"] - LIMIT) < 2 * found.errors["limit"])
    assert sum(inside) >= 52  # 57 are to be expected, give or take 3.4


def test_trees_that_do_not_differ_share_one_limit():
    *given, _ = grove(10, sd=0.0)
    found = fit_group_curve("logistic", *given)
    assert found.identifiable and found.sd["limit"] < 0.5
    assert np.ptp(found.own[:, 0]) < 1.0


def test_the_same_group_in_other_units_has_the_same_curve():
    age, size, tree, _ = grove(8)
    one = fit_group_curve("logistic", age, size, tree)
    other = fit_group_curve("logistic", age * 365.25, size * 10, tree)
    assert numbers(other) == pytest.approx(np.array(numbers(one)) * [10, 365.25, 365.25, 10, 10], rel=1e-4)


@pytest.mark.parametrize("form", ["logistic", "Gompertz", "asymptotic"])
def test_trees_that_grow_along_straight_lines_tell_no_limit(form):
    rng = np.random.default_rng(5)
    tree, age = np.repeat(np.arange(6), len(AGES)), np.tile(AGES, 6)
    size = 20 + rng.normal(0.5, 0.1, 6)[tree] * age + rng.normal(0, 0.5, len(age))
    found = fit_group_curve(form, age, size, tree)
    assert not found.identifiable and found.sentence in (NOT_TOLD, NO_FIT)


def test_many_trees_that_grow_along_straight_lines_tell_no_limit_though_its_error_is_small():
    rng = np.random.default_rng(0)
    tree = np.repeat(np.arange(100), 5)
    age = rng.uniform(0, 4, 100)[tree] + np.tile(np.arange(5) * 2.5, 100)
    size = 3 + rng.normal(0.8, 0.1, 100)[tree] * age + rng.normal(0, 0.4, len(age))
    found = fit_group_curve("logistic", age, size, tree)
    assert found.errors["limit"] < 0.05 * found.parameters["limit"]
    assert (found.identifiable, found.sentence) == (False, NOT_TOLD)


def test_young_trees_tell_no_limit_and_it_is_told_by_the_rule_of_single_trees():
    for last in (14.0, 20.0, 27.0, 35.0, 60.0):
        *given, _ = grove(6, ages=AGES[last >= AGES])
        found = fit_group_curve("logistic", *given)
        share = found.errors["limit"] / found.parameters["limit"]
        reached = shape(last, found.parameters["middle"], found.parameters["scale"])
        assert found.identifiable == bool(share <= LARGEST_SHARE and reached >= LEAST_REACHED)
        assert found.identifiable or last < 30


def test_two_trees_are_no_group_and_three_measurements_no_curve():
    *given, _ = grove(2)
    assert fit_group_curve("logistic", *given).sentence == TOO_FEW_TREES
    few = fit_group_curve("logistic", AGES[:3], AGES[:3], np.arange(3))
    assert (few.identifiable, few.sentence) == (False, TOO_FEW)
    assert np.isnan(few.parameters["limit"]) and few.own.shape == (3, 3)
    assert fit_group_curve("logistic", AGES[:0], AGES[:0], np.arange(0)).sentence == TOO_FEW


def test_more_ways_to_differ_than_the_trees_tell_are_refused():
    *given, _ = grove(4, seed=2)
    found = fit_group_curve("logistic", *given, ("limit", "middle", "scale"))
    assert (found.identifiable, found.sentence) == (False, OVERFITTED)


@pytest.mark.parametrize(
    "size", [[30.0] * 6, [40, 39, 38, 37, 36, 35], [1, 1e3] * 3, [10, 40, 40, 40, 40, 40]]
)
def test_sizes_that_no_curve_of_growth_goes_through_are_no_trouble(size):
    days = np.array([0.0, 365, 730, 1100, 1500, 1900])
    tree, factor = np.repeat(np.arange(4), 6), np.repeat([0.9, 1.0, 1.1, 1.3], 6)
    found = fit_group_curve("logistic", np.tile(days, 4), np.tile(size, 4) * factor, tree)
    assert not found.identifiable or found.errors["limit"] <= LARGEST_SHARE * found.parameters["limit"]
