import numpy as np
import pandas as pd
import pytest

from layers import error_model
from layers.error_model import SharedParts, variance_of

IDS = ["a", "b", "c"]
OWN = pd.Series([0.09, 0.16, 0.25], index=IDS)
A = pd.Series([1.0, 2.0, -1.0], index=IDS)
CAUSES = pd.DataFrame({"cause": ["x", "y"], "kind": ["crew", "taper"], "variance": [0.04, 2.0]})
PARTS = pd.DataFrame(
    {"stem_id": ["a", "b", "c", "c"], "cause": ["x", "x", "x", "y"], "sensitivity_cm": [1.0, 0.5, 2.0, 3.0]}
)


def test_shared_parts_add_up_before_they_are_squared():
    own = 0.09 + 4 * 0.16 + 0.25
    shared = 0.04 * (1.0 + 1.0 - 2.0) ** 2 + 2.0 * 3.0**2
    assert variance_of(OWN, A, PARTS, CAUSES) == pytest.approx(own + shared)


def test_what_both_ends_of_a_difference_share_cancels():
    own = pd.Series([0.01, 0.01], index=["a", "b"])
    difference = pd.Series([1.0, -1.0], index=["a", "b"])
    parts = pd.DataFrame({"stem_id": ["a", "b"], "cause": "x", "sensitivity_cm": 7.0})
    assert variance_of(own, difference, parts, CAUSES) == pytest.approx(0.02)


def test_a_departure_is_shared_by_the_readings_of_one_height():
    own = pd.Series([0.0, 0.0, 0.0], index=IDS)
    departures = pd.DataFrame(
        {"reading_id": IDS, "departure": ["s:1.0", "s:1.0", "s:0.5"], "departure_se_cm": [0.3, 0.3, 0.4]}
    )
    a = pd.Series([0.5, 0.5, 1.0], index=IDS)
    found = variance_of(own, a, PARTS.iloc[:0], CAUSES, departures)
    assert found == pytest.approx(0.3**2 + 0.4**2)


def test_sums_over_groups_agree_with_one_at_a_time():
    rng = np.random.default_rng(3)
    group, item = rng.integers(0, 4, 60), rng.integers(0, 3, 60)
    a = rng.normal(size=60)
    shared = SharedParts.of(IDS, PARTS, CAUSES)
    found = shared.grouped(group, item, a, 4)
    for g in range(4):
        weights = np.bincount(item[group == g], weights=a[group == g], minlength=3)
        expected = variance_of(OWN * 0, pd.Series(weights, index=IDS), PARTS, CAUSES)
        assert found[g].sum() == pytest.approx(expected)


def test_shared_variance_of_one_item_is_the_sum_over_its_causes():
    found = SharedParts.of(IDS, PARTS, CAUSES).item_variance()
    assert found == pytest.approx([0.04, 0.01, 0.04 * 4 + 2 * 9])


def test_without_shared_parts_there_is_no_shared_variance():
    none = SharedParts.of(IDS, PARTS.iloc[:0], CAUSES.iloc[:0])
    assert none.grouped(np.array([0]), np.array([0]), np.array([1.0]), 1).sum() == 0
    assert none.item_variance().tolist() == [0, 0, 0]


def test_every_row_of_the_table_says_where_it_is_from():
    assert all(row.source for row in error_model.VERSION_0)
    published = [row for row in error_model.VERSION_0 if row.source != error_model.ASSUMPTION]
    assert [row.hands for row in published] == ["trained"]
    assert "Luoma" in published[0].source


def test_an_instrument_that_nobody_knows_is_read_as_unknown():
    assert error_model.precision_of("laser of tomorrow", "trained") == error_model.precision_of(
        "unknown", "trained"
    )


def test_ranges_are_laid_one_after_the_other():
    assert error_model.expanded(np.array([5, 0, 9]), np.array([2, 0, 1])).tolist() == [5, 6, 9]
