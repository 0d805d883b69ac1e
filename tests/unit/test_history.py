import numpy as np
import pandas as pd
import pytest

from layers.history import live_readings, state_at
from tests.builders import (
    STEM_ID,
    TREE_ID,
    frame_of,
    make_reading,
    make_records,
    make_site,
    make_stem,
    make_tree,
    row,
)

SITE = make_site()


def chain(*links, **same):
    """Readings from (id, supersedes, more): a chain of corrections of one stem."""
    rows = [make_reading(reading_id=id, supersedes=parent, **{**same, **more}) for id, parent, more in links]
    return live_readings(frame_of("reading_record", rows)).set_index("reading_id")


def states(*links, **same):
    return chain(*links, **same)["state"].to_dict()


def test_a_reading_that_nothing_corrects_is_live():
    assert states(("a", None, {})) == {"a": "live"}


def test_a_correction_stands_in_the_place_of_what_it_corrects():
    assert states(("a", None, {}), ("b", "a", {}), ("c", "b", {})) == {
        "a": "superseded",
        "b": "superseded",
        "c": "live",
    }


def test_crossing_out_leaves_nothing_live_and_can_be_corrected():
    crossed = ("v", "a", {"void": True})
    assert states(("a", None, {}), crossed) == {"a": "superseded", "v": "void"}
    assert states(("a", None, {}), crossed, ("b", "v", {})) == {
        "a": "superseded",
        "v": "superseded",
        "b": "live",
    }


def test_a_correction_whose_parent_has_not_arrived_waits_with_all_that_corrects_it():
    assert states(("b", "a", {}), ("c", "b", {})) == {"b": "waiting", "c": "waiting"}
    assert states(("a", None, {}), ("b", "a", {}), ("c", "b", {}))["c"] == "live"


def test_a_correction_of_another_stem_waits():
    found = states(("a", None, {}), ("b", "a", {"stem_id": "another"}))
    assert found == {"a": "live", "b": "waiting"}


def test_of_two_corrections_the_one_recorded_later_is_used_and_both_are_questioned():
    early, late = {"recorded_at": "2024-05-01T08:00:00Z"}, {"recorded_at": "2024-05-01T09:00:00Z"}
    found = chain(("a", None, {}), ("x", "a", early), ("b", "a", late))
    assert found["state"].to_dict() == {"a": "superseded", "x": "superseded", "b": "live"}
    assert found["is_forked"].to_dict() == {"a": False, "x": True, "b": True}


def test_times_are_compared_as_times_and_a_missing_one_is_earliest():
    east, zulu = {"recorded_at": "2024-05-01T10:00:00+05:00"}, {"recorded_at": "2024-05-01T06:00:00Z"}
    assert states(("a", None, {}), ("b", "a", zulu), ("c", "a", east))["b"] == "live"
    assert states(("a", None, {}), ("b", "a", zulu), ("z", "a", {"recorded_at": None}))["b"] == "live"


def test_corrections_recorded_together_go_by_the_greater_id():
    assert states(("a", None, {}), ("b", "a", {}), ("c", "a", {}))["c"] == "live"


def test_a_fork_is_settled_by_crossing_out_one_side():
    found = chain(("a", None, {}), ("b", "a", {}), ("c", "a", {}), ("v", "c", {"void": True}))
    assert found["state"].to_dict() == {"a": "superseded", "b": "live", "c": "superseded", "v": "void"}
    assert not found["is_forked"].any()


def test_a_fork_with_a_crossing_out_goes_by_the_later_of_the_two():
    early, late = {"recorded_at": "2024-05-01T08:00:00Z"}, {"recorded_at": "2024-05-01T09:00:00Z"}
    found = states(("a", None, {}), ("b", "a", early), ("v", "a", {"void": True, **late}))
    assert found == {"a": "superseded", "b": "superseded", "v": "void"}
    found = states(("a", None, {}), ("b", "a", late), ("v", "a", {"void": True, **early}))
    assert found == {"a": "superseded", "b": "live", "v": "void"}


def test_records_that_correct_one_another_in_a_circle_count_nowhere():
    found = states(("a", "b", {}), ("b", "a", {}), ("c", "b", {}), ("d", None, {}))
    assert found == {"a": "cycle", "b": "cycle", "c": "cycle", "d": "live"}


def state(as_of="2025-01-01", trees=None, stems=None, site=SITE, **rows):
    records = make_records(
        trees=trees if trees is not None else [make_tree()],
        stems=stems if stems is not None else [make_stem()],
        **rows,
    )
    return state_at(records, site, as_of)


def stem(*args, **rows):
    found = state(*args, **rows).stem_state
    assert len(found) == 1
    return found.iloc[0]


def test_a_size_is_carried_forward_with_its_date():
    found = stem(readings=[make_reading(value=100.0)])
    assert found["dbh_cm"] == pytest.approx(100 / np.pi)
    assert (found["measured_on"], found["dbh_source"]) == ("2024-05-14", "measured at 1.30 m")
    assert found["assumed"] and not found["undated"]


def test_a_later_reading_is_not_known_on_an_earlier_day():
    readings = [
        make_reading(reading_id="a", measured_on="2020-05-01"),
        make_reading(reading_id="b", value=110.0),
    ]
    assert stem("2020-05-01", readings=readings)["dbh_cm"] == pytest.approx(100 / np.pi)
    assert np.isnan(
        stem("2020-04-30", readings=readings, trees=[make_tree(planted_on="2000-01-01")])["dbh_cm"]
    )
    assert stem("2024-05-14", readings=readings)["dbh_cm"] == pytest.approx(110 / np.pi)


def test_a_correction_applies_to_all_days():
    readings = [make_reading(reading_id="a"), make_reading(reading_id="b", value=90.0, supersedes="a")]
    assert stem("2024-06-01", readings=readings)["dbh_cm"] == pytest.approx(90 / np.pi)


def test_a_reading_without_a_date_counts_from_the_day_of_receipt_where_the_site_is():
    undated = make_reading(measured_on=None, date_precision="unknown", received_at="2024-05-14T23:30:00Z")
    berlin = make_site(time_zone="Europe/Berlin")
    assert np.isnan(stem("2024-05-14", readings=[undated], site=berlin)["dbh_cm"])
    found = stem("2024-05-15", readings=[undated], site=berlin)
    assert np.isfinite(found["dbh_cm"]) and found["undated"] and found["measured_on"] is None
    assert np.isfinite(stem("2024-05-14", readings=[undated])["dbh_cm"])


def test_the_readings_of_one_round_are_combined_by_their_covariance():
    readings = [
        make_reading(reading_id="a", value=100.0, crew="A", round_id="r", measured_on="2024-05-14"),
        make_reading(reading_id="b", value=103.0, crew="B", round_id="r", measured_on="2024-05-20"),
        make_reading(reading_id="old", value=80.0, measured_on="2024-05-13", round_id="earlier"),
    ]
    both = state(readings=readings)
    found = both.stem_state.iloc[0]
    assert 100 / np.pi < found["dbh_cm"] < 103 / np.pi
    assert (found["reading"], found["measured_on"]) == ("a", "2024-05-20")
    assert "2 readings of the same round combined" in found["dbh_source"]
    sizes = dict(zip(both.stem_parts["cause"], both.stem_parts["sensitivity_cm"], strict=True))
    assert sizes[f"instrument:{SITE.site_id}:girth tape"] == pytest.approx(0.1)
    assert sizes["crew:r:A:girth tape"] + sizes["crew:r:B:girth tape"] == pytest.approx(0.1)
    alone = stem(readings=readings[:1])
    assert found["own_var_cm2"] < alone["own_var_cm2"]


def test_two_readings_of_one_day_at_one_height_share_the_departure_of_the_stem():
    one, two = make_reading(reading_id="a", height_m=0.5), make_reading(reading_id="b", height_m=0.5)
    departure = stem(readings=[one])["own_var_cm2"]
    both = stem(readings=[one, two])["own_var_cm2"]
    own = (
        stem(readings=[make_reading(height_m=1.3)])["own_var_cm2"]
        * (stem(readings=[one])["dbh_cm"] * np.pi / 100) ** 2
    )
    assert departure - own == pytest.approx(both - own / 2)


def test_readings_of_the_same_day_outside_a_round_are_combined_and_those_of_other_days_not():
    readings = [
        make_reading(reading_id="a", value=100.0),
        make_reading(reading_id="b", value=102.0),
        make_reading(reading_id="c", value=50.0, measured_on="2024-05-13"),
    ]
    assert stem(readings=readings)["dbh_cm"] == pytest.approx(101 / np.pi, rel=1e-3)


@pytest.mark.parametrize(
    "how",
    [
        {"instrument": "hand breadths"},
        {"instrument": "hand spans", "calibration_id": "c"},
        {"instrument": "girth tape", "height_m": 0.15},
        {"instrument": "sighting", "height_m": 0.6},
    ],
)
def test_a_size_from_several_readings_of_one_kind_lies_in_the_middle_of_them(how):
    readings = [
        make_reading(reading_id=f"{size}", quantity="diameter", value=size, **how) for size in (30.0, 40.0)
    ]
    low, high = (stem(readings=[one])["dbh_cm"] for one in readings)
    assert stem(readings=readings)["dbh_cm"] == pytest.approx((low + high) / 2)


def test_a_class_feeds_the_class_only_and_an_older_size_stays():
    of_class = make_reading(
        reading_id="k",
        quantity="class",
        value=None,
        class_from_cm=20.0,
        class_to_cm=40.0,
        measured_on="2024-06-01",
    )
    found = stem(readings=[of_class])
    assert np.isnan(found["dbh_cm"]) and (found["class_from_cm"], found["class_to_cm"]) == (20.0, 40.0)
    assert "class" in found["dbh_source"] and not found["assumed"]
    assert stem(readings=[of_class, make_reading()])["dbh_cm"] == pytest.approx(100 / np.pi)


def test_a_stem_without_a_reading_says_so():
    assert stem()["dbh_source"] == "not measured"


def test_a_tree_without_stems_has_a_row_without_a_stem():
    found = stem(stems=[], readings=[])
    assert found["stem_id"] is None and found["tree_id"] == TREE_ID


def test_a_tree_stands_from_its_planting():
    planted = [make_tree(planted_on="2024-03-01")]
    assert len(state("2024-02-29", trees=planted).stem_state) == 0
    assert len(state("2024-03-01", trees=planted).stem_state) == 1


def test_a_tree_stands_from_its_first_dated_record_else_always():
    first = [make_reading()]
    assert len(state("2024-05-13", readings=first).stem_state) == 0
    assert len(state("2024-05-14", readings=first).stem_state) == 1
    undated = [make_reading(measured_on=None)]
    assert len(state("1900-01-01", readings=undated).stem_state) == 1
    seen = [
        row(
            "observation_record", observation_id="o", tree_id=TREE_ID, what="height", observed_on="2019-06-01"
        )
    ]
    assert len(state("2019-06-01", readings=first, observations=seen).stem_state) == 1


def test_measuring_a_tree_does_not_take_it_out_of_the_years_before():
    listed = make_reading(reading_id="list", measured_on=None, received_at="2023-03-01T10:00:00Z")
    assert len(state("2023-12-31", readings=[listed, make_reading()]).stem_state) == 1


def test_the_day_a_tree_went_is_not_the_day_it_came():
    gone = event("removed", "2024-03-01")
    found = state("2023-01-01", readings=[make_reading(measured_on=None)], status_events=[gone]).stem_state
    assert found["tree_status"].tolist() == ["living"]


def test_a_crossed_out_date_does_not_make_a_tree_older():
    readings = [
        make_reading(reading_id="a", measured_on="1924-05-14"),
        make_reading(reading_id="b", supersedes="a", measured_on="2024-05-14"),
    ]
    assert len(state("2000-01-01", readings=readings).stem_state) == 0


def event(status, on, **changes):
    default = {"status_event_id": f"{status} {on}", "subject": "tree", "subject_id": TREE_ID, "fid": 1}
    return row("status_event", **{**default, "status": status, "happened_on": on, **changes})


def status_on(day, *events, written="living"):
    found = state(day, trees=[make_tree(status=written)], status_events=list(events)).stem_state
    return found["tree_status"].iloc[0], bool(found["in_doubt"].iloc[0])


def test_the_status_is_that_of_the_latest_event_on_or_before_the_day():
    always, dead, gone = event("living", None), event("dead", "2020-01-01"), event("removed", "2022-01-01")
    assert status_on("2019-12-31", always, gone, dead) == ("living", False)
    assert status_on("2020-01-01", always, gone, dead) == ("dead", False)
    assert status_on("2023-01-01", always, gone, dead) == ("removed", False)


def test_events_of_one_day_go_by_when_they_were_said_never_by_the_order_in_which_they_came():
    early, late = {"recorded_at": "2020-01-01T08:00:00Z"}, {"recorded_at": "2020-01-01T09:00:00Z"}
    dead, gone = event("dead", "2020-01-01", **early), event("removed", "2020-01-01", **late)
    for first, second in ((1, 2), (2, 1)):
        came = {**dead, "fid": first}, {**gone, "fid": second}
        assert status_on("2020-01-01", *came) == ("removed", False)
    received = {**dead, "recorded_at": None, "received_at": "2020-01-01T10:00:00Z"}
    assert status_on("2020-01-01", received, gone) == ("dead", False)


def test_of_two_corrections_of_an_event_the_one_recorded_later_is_used():
    early, late = {"recorded_at": "2020-01-02T08:00:00Z"}, {"recorded_at": "2020-01-02T09:00:00Z"}
    said = event("living", "2020-01-01", status_event_id="a")
    wrong = event("dead", "2020-01-01", status_event_id="z", supersedes="a", **early)
    right = event("removed", "2020-01-01", status_event_id="b", supersedes="a", **late)
    assert status_on("2020-01-01", said, wrong, right) == ("removed", False)


def test_classes_said_on_one_day_do_not_depend_on_the_order_in_which_they_came():
    said = [
        make_reading(reading_id=id, quantity="class", value=None, class_from_cm=low, class_to_cm=low + 10)
        for id, low in (("a", 10.0), ("b", 20.0))
    ]
    assert stem(readings=said)["class_from_cm"] == stem(readings=said[::-1])["class_from_cm"] == 20.0


@pytest.mark.parametrize("size", [10.0, 20.32, 40.0, 60.96, 80.0])
@pytest.mark.parametrize("number", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("hands", ["pupils", "trained staff"])
def test_readings_that_are_alike_make_exactly_their_size(size, number, hands):
    said = [
        make_reading(reading_id=f"{n}", quantity="diameter", value=size, crew_kind=hands)
        for n in range(number)
    ]
    assert stem(readings=said)["dbh_cm"] == size


def test_without_events_the_status_is_what_is_written_on_the_tree():
    assert status_on("2020-01-01", written="dead") == ("dead", False)
    assert status_on("2020-01-01", written=None) == ("unknown", False)


def test_a_tree_that_is_written_down_as_dead_was_alive_before_the_day_it_died():
    dead = event("dead", "2020-01-01")
    found = state(
        "2019-12-31", trees=[make_tree(status="dead", planted_on="1990-01-01")], status_events=[dead]
    )
    assert found.stem_state["tree_status"].iloc[0] == "unknown"


def test_doubt_leaves_a_tree_living_until_it_is_settled():
    doubt = event("dead", "2024-12-01", in_doubt=True, fid=2)
    assert status_on("2024-12-01", event("living", None), doubt) == ("living", True)
    settled = event("living", "2025-06-01", fid=3)
    assert status_on("2025-06-01", event("living", None), doubt, settled) == ("living", False)
    assert status_on("2024-12-01", event("dead", "2024-01-01"), doubt) == ("dead", False)


def test_a_crossed_out_event_does_not_count():
    dead = event("dead", "2020-01-01", status_event_id="e")
    void = event("dead", "2020-01-01", status_event_id="v", supersedes="e", void=True)
    assert status_on("2021-01-01", event("living", None), dead, void) == ("living", False)


def test_stems_have_their_own_status():
    dead = event("dead", "2020-01-01", subject="stem", subject_id=STEM_ID)
    always = event("living", None)
    found = state("2021-01-01", status_events=[always, dead]).stem_state.iloc[0]
    assert (found["tree_status"], found["status"]) == ("living", "dead")


def test_nothing_on_the_ground_gives_empty_frames():
    found = state(trees=[], stems=[], readings=[])
    assert len(found.stem_state) == len(found.stem_parts) == len(found.causes) == 0
    assert found.stem_state["dbh_cm"].dtype == np.float64


def test_the_index_of_what_is_given_is_kept():
    rows = frame_of(
        "reading_record", [make_reading(reading_id="a"), make_reading(reading_id="b", supersedes="a")]
    )
    found = live_readings(rows.set_index(pd.Index([7, 3])))
    assert found.index.tolist() == [7, 3] and found["state"].tolist() == ["superseded", "live"]


def test_a_time_that_cannot_be_read_counts_as_none():
    odd, said = {"recorded_at": "soon"}, {"recorded_at": "2024-05-01T06:00:00Z"}
    assert states(("a", None, {}), ("b", "a", said), ("c", "a", odd))["b"] == "live"
