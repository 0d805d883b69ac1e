import numpy as np
import pytest

from layers.growth import growth_of
from layers.history import state_at
from layers.tree_forecasts import stems_ahead, tree_forecasts
from tests.builders import make_records, make_site, make_stem
from tests.growth_builders import histories
from tests.stand_builders import tree_rows

SITE = make_site()
AS_OF = "2025-01-01"


def ahead_of(records):
    state = state_at(records, SITE, AS_OF)
    return stems_ahead(growth_of(records, SITE, AS_OF), state, records.trees, SITE)


def test_a_tree_measured_once_goes_on_like_its_peers_from_its_last_size():
    grown = [[("2020-05-01", 20.0), ("2024-05-01", 22.0)]] * 10
    records = histories(*grown, [("2024-05-01", 21.0)], [(None, 23.0)])
    found = tree_forecasts(ahead_of(records), "2028-05-01").set_index("tree_id")
    assert found.loc["t10", "expected_cm"] == pytest.approx(21.0 + 2.0, abs=1e-9)
    assert found.loc["t10", "peers_number"] == 10
    assert found.loc["t0", "expected_cm"] == pytest.approx(24.0, abs=1e-9)
    assert "t11" not in found.index  # nobody knows when it was that wide
    at_once = tree_forecasts(ahead_of(records), "2024-05-01").set_index("tree_id")
    assert at_once.loc["t10", "expected_cm"] == 21.0
    state = state_at(records, SITE, AS_OF).stem_state.set_index("stem_id")
    own = np.sqrt(state.loc["s10", "own_var_cm2"] + 2 * 0.1**2)
    assert at_once.loc["t10", "expected_se_cm"] == pytest.approx(own, rel=1e-9)


def test_without_peers_only_trees_with_growth_of_their_own_are_carried_on():
    records = histories([("2020-05-01", 20.0), ("2024-05-01", 22.0)], [("2024-05-01", 21.0)])
    found = tree_forecasts(ahead_of(records), "2028-05-01")
    assert found["tree_id"].tolist() == ["t0"]
    assert found["peers"].tolist() == [None]


def test_growth_that_cannot_be_told_yet_carries_nobody_on_without_peers():
    """A year is enough among peers, that hold it; alone it would double a trunk in ten years."""
    short = [("2020-05-01", 44.0), ("2021-05-01", 48.0)]
    assert not len(tree_forecasts(ahead_of(histories(short)), "2030-05-01"))
    grown = [[("2020-05-01", 20.0), ("2024-05-01", 22.0)]] * 10
    found = tree_forecasts(ahead_of(histories(short, *grown)), "2030-05-01").set_index("tree_id")
    assert found.loc["t0", "expected_cm"] < 60.0


def test_stems_are_taken_together_as_one_of_the_same_cut_face():
    stems = [make_stem(stem_id=f"s{n}", fid=n + 1, tree_id="t0", number=n + 1) for n in range(2)]
    said = histories(*[[("2020-05-01", 30.0 + n), ("2024-05-01", 32.0 + n)] for n in range(2)])
    records = make_records(trees=tree_rows(1), stems=stems, readings=said.readings.to_dict("records"))
    found = tree_forecasts(ahead_of(records), "2028-05-01")
    assert found.loc[0, "expected_cm"] == pytest.approx(np.hypot(34.0, 35.0), abs=1e-9)


def test_a_line_that_falls_below_nothing_stays_above_it_with_its_error():
    records = histories([("2020-05-01", 20.0), ("2024-05-01", 2.0)])
    found = tree_forecasts(ahead_of(records), "2040-05-01")
    assert 0 < found.loc[0, "expected_cm"] < 1
    assert found.loc[0, "expected_se_cm"] > 0.5


def test_dead_and_removed_trees_are_not_carried_on():
    records = histories(*[[("2020-05-01", 20.0), ("2024-05-01", 22.0)]] * 9)
    records.trees.loc[0, "status"] = "dead"
    assert "t0" not in set(tree_forecasts(ahead_of(records), "2028-05-01")["tree_id"])
