"""The latest measured height and crown of a tree, with bounds and where they are from."""

import math
import time

import numpy as np
import pandas as pd
import pytest

from layers import columns
from layers.canopy import heights_and_crowns
from layers.errors import ColumnMissing


def seen(**row):
    defaults = {
        "observation_id": "o1",
        "fid": 1,
        "tree_id": "t1",
        "what": "height",
        "value": 12.0,
        "unit": "m",
        "observed_on": "2024-05-14",
        "received_at": "2024-05-15T10:00:00Z",
    }
    return defaults | row


def frame(*rows):
    return columns.shaped("observation_record", pd.DataFrame(list(rows)))


def test_the_latest_measurement_on_or_before_the_day_is_used():
    told = frame(
        seen(observation_id="a", fid=3, value=11.0, observed_on="2020-01-01"),
        seen(observation_id="b", fid=1, value=12.0, observed_on="2022-01-01"),
        seen(observation_id="c", fid=2, value=14.0, observed_on="2024-01-01"),
    )
    assert heights_and_crowns(told, "2023-06-01").loc["t1", "height_m"] == 12.0
    assert heights_and_crowns(told, "2024-01-01").loc["t1", "height_m"] == 14.0
    assert "t1" not in heights_and_crowns(told, "2019-12-31").index


def test_a_correction_replaces_and_a_crossed_out_measurement_counts_no_more():
    first = seen(observation_id="a", value=120.0)
    corrected = seen(observation_id="b", fid=2, value=12.0, supersedes="a")
    crossed_out = seen(observation_id="c", fid=3, value=None, supersedes="b", void=True)
    assert heights_and_crowns(frame(first, corrected), "2025-01-01").loc["t1", "height_m"] == 12.0
    assert heights_and_crowns(frame(corrected, first, crossed_out), "2025-01-01").empty


def test_a_correction_to_another_quantity_leaves_nothing_of_the_first():
    told = frame(
        seen(observation_id="a", value=8.0),
        seen(observation_id="b", fid=2, what="crown diameter", value=8.0, supersedes="a"),
    )
    got = heights_and_crowns(told, "2025-01-01").loc["t1"]
    assert math.isnan(got["height_m"]) and got["height_source"] is None
    assert got["crown_diameter_m"] == 8.0


def test_other_units_are_turned_into_metres():
    told = frame(
        seen(value=40.0, unit="ft"), seen(observation_id="b", what="crown diameter", value=300.0, unit="cm")
    )
    got = heights_and_crowns(told, "2025-01-01").loc["t1"]
    assert got["height_m"] == pytest.approx(12.192, abs=1e-12)
    assert got["crown_diameter_m"] == pytest.approx(3.0)


def test_bounds_of_trained_staff_follow_the_published_error():
    """Luoma et al. 2017, Forests 8(2):38: 0.5 m (2.9 %); with 1 m steps and a one-sided 95 % bound."""
    told = frame(
        seen(method="clinometer", crew_kind="trained staff"),
        seen(observation_id="b", tree_id="t2", value=30.0, method="clinometer", crew_kind="trained staff"),
    )
    got = heights_and_crowns(told, "2025-01-01")
    step = 1 / 12
    assert got.loc["t1", "height_high_m"] == pytest.approx(12 + 1.6448536 * math.sqrt(0.25 + step), abs=1e-6)
    assert got.loc["t2", "height_low_m"] == pytest.approx(
        30 - 1.6448536 * math.sqrt(0.87**2 + step), abs=1e-6
    )
    assert "assumed" not in got.loc["t1", "height_source"]


@pytest.mark.parametrize(
    ("method", "share"), [(None, 0.10), ("stick", 0.05), ("by eye", 0.15), ("estimated", 0.15)]
)
def test_every_other_error_is_labelled_as_assumed(method, share):
    got = heights_and_crowns(frame(seen(value=12.3, method=method)), "2025-01-01").loc["t1"]
    spread = 1.6448536 * math.sqrt((share * 12.3) ** 2 + 0.1**2 / 12)
    assert got["height_high_m"] == pytest.approx(12.3 + spread, abs=1e-6)
    assert f"error {share:.0%} assumed" in got["height_source"]


def test_helpers_are_taken_to_err_twice_as_much():
    told = frame(
        seen(value=12.3, method="clinometer", crew_kind="pupils"),
        seen(
            observation_id="b", tree_id="t2", what="crown diameter", method="tape", crew_kind="trained staff"
        ),
    )
    got = heights_and_crowns(told, "2025-01-01")
    assert "error 10% assumed" in got.loc["t1", "height_source"]
    assert "error 5% assumed" in got.loc["t2", "crown_source"]


def test_without_a_date_it_counts_from_the_day_it_was_received_in_the_sites_zone():
    told = frame(seen(observed_on=None, received_at="2024-05-15T23:30:00Z"))
    assert heights_and_crowns(told, "2024-05-15", "Europe/Berlin").empty
    got = heights_and_crowns(told, "2024-05-16", "Europe/Berlin").loc["t1"]
    assert "no date" in got["height_source"]
    assert got["height_on"] is None


def test_what_cannot_be_a_length_and_other_sights_are_left_alone():
    told = frame(
        seen(value=0.0),
        seen(observation_id="b", value=-3.0),
        seen(observation_id="c", value=np.nan),
        seen(observation_id="d", what="fungus", value=None),
    )
    assert heights_and_crowns(told, "2025-01-01").empty


def test_no_observations_give_an_empty_frame_with_all_columns():
    got = heights_and_crowns(columns.empty("observation_record"), "2025-01-01")
    assert got.empty
    assert "crown_high_m" in got.columns


def test_a_frame_without_its_columns_is_refused():
    with pytest.raises(ColumnMissing):
        heights_and_crowns(pd.DataFrame({"tree_id": []}), "2025-01-01")


def test_thirty_thousand_observations_take_less_than_half_a_second():
    n = 15_000
    told = pd.DataFrame(
        {
            "observation_id": [f"o{i}" for i in range(2 * n)],
            "fid": range(2 * n),
            "tree_id": [f"t{i}" for i in range(n)] * 2,
            "what": ["height"] * n + ["crown diameter"] * n,
            "value": np.arange(2 * n) % 20 + 1.0,
            "unit": "m",
            "received_at": "2024-05-15T10:00:00Z",
        }
    )
    told = columns.shaped("observation_record", told)
    start = time.process_time()
    assert len(heights_and_crowns(told, "2025-01-01")) == n
    assert time.process_time() - start < 0.5


def test_heights_of_one_day_go_by_when_they_were_said_never_by_the_order_in_which_they_came():
    early, late = "2024-01-01T08:00:00Z", "2024-01-01T09:00:00Z"
    for first, second in ((1, 2), (2, 1)):
        rows = [
            seen(observation_id="b", fid=first, value=11.0, observed_on="2024-01-01", recorded_at=early),
            seen(observation_id="a", fid=second, value=12.0, observed_on="2024-01-01", recorded_at=late),
        ]
        rows.sort(key=lambda each: each["fid"])
        assert heights_and_crowns(frame(*rows), "2024-06-01")["height_m"].tolist() == [12.0]
