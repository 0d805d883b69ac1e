"""What is closed on a day, which trees are in it; how far from a line; which dangers are over."""

import json
import math

import pandas as pd
import pytest
import shapely
from pyproj import Geod

from layers.closed_ground import circle, closed_trees, closures_on, hazards_on
from layers.danger_state import dangers_of, with_reports
from layers.inputs import Records
from layers.line_distance import NOT_KNOWN, asked_of_people, line_distance_m
from tests.builders import TREE_ID, frame_of, make_records, make_site, make_tree, row

EARTH, LOCAL = make_site(), make_site(frame="local")


def closure(**said):
    blank = {"id": "c", "name": "place", "tree_id": None, "radius_m": None, "geometry": None}
    dated = {"from_on": "2026-05-01", "to_on": None, "reopened_on": None}
    return pd.DataFrame([{**blank, **dated, **said}]).astype(object)


def trees_at(*at, accuracy=float("nan"), frame="local"):
    names = ("x_m", "y_m") if frame == "local" else ("lon_deg", "lat_deg")
    none = dict.fromkeys(("lon_deg", "lat_deg", "x_m", "y_m"), float("nan"))
    rows = [
        make_tree(
            tree_id=str(n), position_accuracy_m=accuracy, **{**none, **dict(zip(names, spot, strict=True))}
        )
        for n, spot in enumerate(at)
    ]
    return frame_of("tree_record", rows)


@pytest.mark.parametrize(
    ("said", "day", "holds"),
    [
        ({}, "2026-04-30", False),
        ({}, "2026-05-01", True),
        ({"to_on": "2026-05-03"}, "2026-05-03", True),
        ({"to_on": "2026-05-03"}, "2026-05-04", False),
        ({"reopened_on": "2026-05-03"}, "2026-05-02", True),
        ({"reopened_on": "2026-05-03"}, "2026-05-03", False),
    ],
)
def test_a_closure_holds_from_its_first_to_its_last_day_or_until_it_is_reopened(said, day, holds):
    held = closures_on(closure(**said), trees_at(), LOCAL, day)
    assert len(held) == holds


def test_a_circle_has_its_radius_on_the_earth_and_lies_nowhere_inside_it():
    """The geodesic on WGS84 is pyproj's (Karney 2013)."""
    drawn = circle(shapely.Point(9.17, 47.66), 20.0, EARTH)
    away = [Geod(ellps="WGS84").inv(9.17, 47.66, lon, lat)[2] for lon, lat in drawn.exterior.coords]
    assert min(away) >= 20.0
    assert max(away) <= 20.0 * 1.0013
    edges = shapely.segmentize(circle(shapely.Point(0, 0), 20.0, LOCAL), 0.1).exterior.coords
    assert min(math.hypot(x, y) for x, y in edges) >= 20.0 - 1e-9


def test_a_circle_goes_with_its_tree_and_one_without_a_position_closes_that_tree_alone():
    trees = trees_at((0.0, 0.0), (9.0, 0.0), (11.0, 0.0))
    held = closures_on(closure(tree_id="0", radius_m=10.0), trees, LOCAL, "2026-05-01")
    assert set(closed_trees(held, trees, LOCAL)) == {"0", "1"}
    moved = trees_at((100.0, 0.0), (9.0, 0.0), (11.0, 0.0))
    held = closures_on(closure(tree_id="0", radius_m=10.0), moved, LOCAL, "2026-05-01")
    assert set(closed_trees(held, moved, LOCAL)) == {"0"}
    lost = trees_at((float("nan"), float("nan")), (9.0, 0.0))
    held = closures_on(closure(tree_id="0", radius_m=10.0), lost, LOCAL, "2026-05-01")
    assert held["geometry"][0] is None
    assert set(closed_trees(held, lost, LOCAL)) == {"0"}


def test_a_tree_that_may_stand_inside_by_what_is_known_of_its_position_counts_as_inside():
    shut = closure(geometry=shapely.box(0, 0, 10, 10))
    for accuracy, inside in ((float("nan"), {"0"}), (1.5, {"0", "1"})):
        trees = trees_at((5.0, 5.0), (11.0, 5.0), (20.0, 5.0), (float("nan"), 5.0), accuracy=accuracy)
        held = closures_on(shut, trees, LOCAL, "2026-05-01")
        assert set(closed_trees(held, trees, LOCAL)) == inside


def test_what_is_closed_in_words_only_closes_no_tree_by_position():
    trees = trees_at((5.0, 5.0))
    held = closures_on(closure(), trees, LOCAL, "2026-05-01")
    assert closed_trees(held, trees, LOCAL) == {}
    assert closed_trees(pd.DataFrame(), trees, LOCAL) == {}


def test_without_closures_and_hazards_there_are_none():
    assert len(closures_on(pd.DataFrame(), trees_at(), LOCAL, "2026-05-01")) == 0
    assert len(hazards_on(pd.DataFrame(), "2026-05-01")) == 0


def test_the_distance_from_a_line_is_that_of_the_rule():
    """29 CFR 1910.269: 10 ft (305 cm) up to 50 kV, and 4 in (10 cm) more for every 10 kV above."""
    assert line_distance_m(20) == line_distance_m(50) == 3.05
    assert round(line_distance_m(115) / 0.3048, 2) == 12.17
    assert line_distance_m(115) >= 3.70
    assert "at least 3.71 m away" in asked_of_people(115)
    assert "at least 3.05 m away" in asked_of_people(20)
    assert asked_of_people(None) == asked_of_people(float("nan")) == NOT_KNOWN


def report(id, **said):
    blank = dict.fromkeys(
        (
            *(
                "tree_id",
                "place",
                "lon_deg",
                "lat_deg",
                "x_m",
                "y_m",
                "text",
                "crew",
                "crew_kind",
                "round_id",
            ),
            *("leader_did", "leader_called", "leader_at", "recorded_at", "supersedes", "seen_on"),
        )
    )
    own = {"id": id, "sight": "new lean", "void": 0, "received_at": "2026-06-01T10:00:00Z", "change_no": 1}
    return {**blank, **own, **said}


def records_with(*reports, **more):
    return Records(danger_reports=pd.DataFrame(list(reports)).astype(object), **more)


def removal(happened_on, **said):
    event = {"status_event_id": "s", "subject": "tree", "subject_id": TREE_ID, "status": "removed"}
    return frame_of("status_event", [row("status_event", **{**event, "happened_on": happened_on, **said})])


@pytest.mark.parametrize(
    ("happened_on", "said", "is_over"),
    [
        ("2026-06-05", {}, True),
        ("2026-06-01", {}, True),
        ("2026-05-31", {}, False),
        ("2026-06-05", {"in_doubt": True}, False),
        ("2026-06-05", {"status": "dead"}, False),
        (None, {}, False),
    ],
)
def test_a_danger_is_over_once_its_tree_was_taken_out_for_certain(happened_on, said, is_over):
    events = removal(happened_on, **said)
    for seen in ({"seen_on": "2026-06-01"}, {}):
        told = records_with(report("a", tree_id=TREE_ID, **seen), status_events=events)
        assert len(dangers_of(told)) == (not is_over)


def test_those_seen_last_come_first():
    told = records_with(
        report("a", place="x", seen_on="2026-05-01"),
        report("b", place="x"),
        report("c", place="x", seen_on="2026-06-02"),
    )
    assert dangers_of(told)["danger_id"].to_list() == ["c", "b", "a"]


def test_a_chain_of_observations_that_ends_in_another_sight_or_in_nothing_is_no_danger():
    def seen(id, what, **said):
        return row("observation_record", observation_id=id, tree_id=TREE_ID, what=what, **said)

    chains = [
        seen("a", "new lean"),
        seen("b", "lean", supersedes="a"),
        seen("c", "crack"),
        seen("d", "fresh crack", supersedes="c"),
        seen("e", "fresh crack", supersedes="d", void=True),
        seen("f", "hollow"),
        seen("g", "on a wire", supersedes="f"),
    ]
    assert dangers_of(make_records(observations=chains))["danger_id"].to_list() == ["g"]


def test_reports_of_trees_are_observations_of_their_sight_and_others_are_not():
    reports = pd.DataFrame(
        [report("a", tree_id=TREE_ID), report("b", place="gate", leader_did=json.dumps([]))]
    )
    told = with_reports(make_records().observations, reports)
    assert told[["observation_id", "tree_id", "what"]].values.tolist() == [["a", TREE_ID, "new lean"]]
    assert told["date_precision"].to_list() == ["unknown"]


def test_nothing_said_is_no_danger():
    assert len(dangers_of(make_records())) == 0
    assert dangers_of(make_records())["answered"].to_list() == []
