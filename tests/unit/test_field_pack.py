"""The pack of a phone: whole, the same as the paper, and without what its team may not see."""

import json
import time

import pytest

from layers.reading_check import Reading, check, from_json
from service.actors import LOCAL_MANAGER
from service.closures import add_closures, add_hazards
from service.crew_words import CrewPass
from service.danger import enter_dangers
from service.edit import add_targets
from service.entry import enter_readings
from service.field_pack import pack_of
from service.round_days import planned_round
from service.sample import SAMPLES, load_samples
from service.view import view_of
from tests import field_items as phone
from tests.field_items import SLUG, STEMS, TREES

READ_CM = 137.77  # no other number of the ground is like it


@pytest.fixture
def ground(store):
    phone.ground(store)
    said = {"value": READ_CM, "measured_on": "2026-03-01", "height_m": 1.1, "side": "uphill"}
    said |= {"instrument": "girth tape", "awkward": "vine 2"}
    enter_readings(store, SLUG, LOCAL_MANAGER, [{**said, "stem_id": STEMS[0]}])
    return store


def packs(store):
    return {code: pack_of(store, mine)[0] for code, mine in phone.passes(store).items()}


def close_round(store, tree_id):
    """Close three metres round a tree."""
    said = {"name": "Old beech", "why": "a branch hangs", "who_may_reopen": "Council"}
    said |= {"from_on": "2026-01-01", "tree_id": tree_id, "radius_m": 3.0}
    add_closures(store, SLUG, LOCAL_MANAGER, [said])


def trees_of(pack):
    return {tree["id"]: tree for tree in pack["trees"]}


def test_last_sizes_go_to_trained_staff_alone(ground):
    told = packs(ground)
    for code, pack in told.items():
        stem = trees_of(pack)[TREES[0]]["stems"][0]
        assert (stem["height_m"], stem["side"], stem["awkward"]) == (1.1, "uphill", ["vine 2"])
        if pack["crew"]["kind"] == "trained staff":
            assert stem["last"] == {
                "value": READ_CM,
                "quantity": "girth",
                "unit": "cm",
                "height_m": 1.1,
                "on": "2026-03-01",
            }
        else:
            assert str(READ_CM) not in json.dumps(pack), code
            assert "last" not in stem


def test_helpers_are_not_told_which_trees_another_team_measures_too(ground):
    view = view_of(ground, SLUG, LOCAL_MANAGER)
    sheets = planned_round(view, phone.ROUND).plan["sheets"]
    assert any(tree["role"] == "repeat" for sheet in sheets for tree in sheet["trees"])
    for pack in packs(ground).values():
        roles = {tree["role"] for tree in pack["trees"]}
        assert roles <= {None, "first", "practice", "repeat"}
        assert pack["crew"]["kind"] == "trained staff" or "repeat" not in roles


def test_the_trees_of_the_sheet_stand_in_its_order_and_all_others_are_there_to_be_found(ground):
    view = view_of(ground, SLUG, LOCAL_MANAGER)
    sheets = {s["crew_id"]: s for s in planned_round(view, phone.ROUND).plan["sheets"]}
    for pack in packs(ground).values():
        listed = [tree for tree in pack["trees"] if tree["order"] is not None]
        listed.sort(key=lambda tree: tree["order"])
        mine = sheets[pack["crew"]["id"]]["trees"]
        assert [tree["id"] for tree in listed] == list(dict.fromkeys(tree["tree_id"] for tree in mine))
        assert set(trees_of(pack)) == set(TREES)
        assert all(tree["where"] for tree in listed)
        assert all((tree["order"] is None) == (tree["stems"][0]["expect"] is None) for tree in pack["trees"])


def test_an_expectation_is_what_the_check_takes(ground):
    for pack in packs(ground).values():
        stem = trees_of(pack)[TREES[0]]["stems"][0]
        if stem["expect"] is not None:
            expected = from_json(json.dumps(stem["expect"]))
            assert (expected.quantity, expected.unit) == ("girth", "cm")
            assert check(Reading("136.5", "girth", "cm"), expected).fits
            assert not check(Reading("54.2", "girth", "cm"), expected).fits
            return
    pytest.fail("the tree is on a sheet")


def test_places_are_metres_of_a_plane_that_begins_where_the_first_tree_was_put(ground):
    pack = packs(ground)["team 1"]
    trees, frame = trees_of(pack), pack["frame"]
    assert (trees[TREES[0]]["x"], trees[TREES[0]]["y"]) == (0.0, 0.0)
    assert (trees[TREES[5]]["x"], trees[TREES[5]]["y"]) == pytest.approx((10.0, 10.0), abs=0.02)
    x = (9.0 + 10 * phone.LON_M - frame["lon0"]) * frame["m_per_lon"]
    assert x == pytest.approx(trees[TREES[1]]["x"], abs=0.01)
    assert pack["map"]["meeting"]["words"] == "at the gate"
    west, south, east, north = pack["map"]["box"]
    assert west < 0 < 30 < east
    assert south < pack["map"]["meeting"]["y"] < 10 < north


def test_what_is_closed_or_in_danger_is_told_as_on_the_maps(ground):
    close_round(ground, TREES[2])
    enter_dangers(ground, SLUG, LOCAL_MANAGER, [{"sight": "fresh crack", "tree_id": TREES[3]}])
    line = {"type": "LineString", "coordinates": [[9.0, 50.0], [9.001, 50.0]]}
    add_hazards(ground, SLUG, LOCAL_MANAGER, [{"kind": "overhead line", "geometry": line}])
    pack = packs(ground)["team 1"]
    assert [one["name"] for one in pack["map"]["closed"]] == ["Old beech"]
    assert len(pack["map"]["closed"][0]["rings"]) == 1
    (hazard,) = pack["map"]["hazards"]
    assert (hazard["kind"], len(hazard["lines"])) == ("overhead line", 1)
    assert {id for id, tree in trees_of(pack).items() if tree["closed"]} == {TREES[2], TREES[3]}


def test_corners_of_buildings_and_named_points_are_there_to_measure_from(ground):
    corner = [[9.0, 50.0], [9.0002, 50.0], [9.0002, 50.0001], [9.0, 50.0001], [9.0, 50.0]]
    house = {"name": "Hall", "kind": "building", "geometry": {"type": "Polygon", "coordinates": [corner]}}
    post = {"name": "Post", "kind": "other", "geometry": {"type": "Point", "coordinates": [9.0001, 50.0]}}
    add_targets(ground, SLUG, LOCAL_MANAGER, [house, post])
    names = [one["name"] for one in packs(ground)["team 1"]["map"]["known"]]
    assert names == [*(f"Hall, corner {n}" for n in (1, 2, 3, 4)), "Post", "at the gate"]


def test_the_same_ground_gives_the_same_tag_and_a_change_another_one(ground):
    mine = phone.passes(ground)["team 1"]
    tag = pack_of(ground, mine)[1]
    assert pack_of(ground, mine)[1] == tag
    close_round(ground, TREES[0])
    assert pack_of(ground, mine)[1] != tag


def test_a_ground_without_a_place_on_earth_is_told_in_its_own_metres(store):
    phone.ground(store, frame="local")
    pack = packs(store)["team 1"]
    assert pack["frame"] == {"kind": "local"}
    assert trees_of(pack)[TREES[1]]["x"] == 10.0


def test_the_packs_of_the_samples_are_made_within_a_second(store):
    load_samples(store, LOCAL_MANAGER)
    for slug in SAMPLES:
        view = view_of(store, slug, LOCAL_MANAGER)
        planned = view.records.rounds.loc[view.records.rounds["status"] == "planned", "id"].iloc[0]
        now = planned_round(view, planned)
        took = []
        for crew_id, code in now.codes.items():
            mine = CrewPass(slug, planned, crew_id, code, now.kinds[crew_id], "2999-01-01T00:00:00Z")
            began = time.process_time()
            pack, _tag = pack_of(store, mine)
            took.append(time.process_time() - began)
            assert len(pack["trees"]) == (view.plain_trees["status"] != "removed").sum() > 100
        assert sorted(took)[len(took) // 2] < 1.0
