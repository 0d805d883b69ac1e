"""Sectors of the sample grounds: times within fifteen per cent, no barrier crossed, whoever measures."""

import json

import pytest
import shapely

from layers.sectors import WITHIN, spread_of
from sample_sites.growing import recipe_of
from sample_sites.tree_list import degrees
from service.actors import LOCAL_MANAGER
from service.closures import add_hazards
from service.round_days import planned_round
from service.round_ground import RoundGround
from service.rounds import plan_round
from service.sample import SAMPLES, load_samples
from service.settings import Settings
from service.store.migrating import open_store
from service.view import view_of

SCHOOL = "sample-school"
GATE = dict(zip(("lon_deg", "lat_deg"), degrees(recipe_of("school"), 158, 62), strict=True))
ASKED = {"name": "Days", "from_on": "2999-05-04", "height_m": 1.3, **GATE}


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    store = open_store(Settings(data_folder=tmp_path_factory.mktemp("samples")).store_address)
    load_samples(store, LOCAL_MANAGER)
    yield store
    store.close()


def now(store, id, slug=SCHOOL):
    return planned_round(view_of(store, slug, LOCAL_MANAGER), id)


def times(plan):
    return [sheet["minutes"] for sheet in plan["sheets"]]


def crossing(store, plan):
    """The teams whose walk meets what nobody crosses."""
    ground = RoundGround(view_of(store, SCHOOL, LOCAL_MANAGER))
    walks = [ground.plane(shapely.from_geojson(json.dumps(sheet["walk"]))) for sheet in plan["sheets"]]
    return [number for number, walk in enumerate(walks) if walk.intersects(ground.barriers())]


@pytest.mark.parametrize("teams", [2, 3, 5, 8])
def test_teams_of_the_school_ground_are_within_fifteen_per_cent_and_cross_no_barrier(samples, teams):
    plan = now(samples, plan_round(samples, SCHOOL, LOCAL_MANAGER, {**ASKED, "volunteers": teams})).plan
    assert spread_of(times(plan)) <= WITHIN
    assert plan["why"] is None
    in_danger = view_of(samples, SCHOOL, LOCAL_MANAGER).trees_in_danger
    assert len(in_danger) == 1 and {one["tree_id"] for one in plan["left_out"]} == in_danger
    assert crossing(samples, plan) == []


def test_the_measuring_days_to_come_of_both_samples_are_planned_within_fifteen_per_cent(samples):
    for slug in SAMPLES:
        rounds = view_of(samples, slug, LOCAL_MANAGER).records.rounds
        plan = now(samples, rounds.loc[rounds["name"].str.contains("2027"), "id"].iloc[0], slug).plan
        assert spread_of(times(plan)) <= WITHIN, (slug, plan["why"])


def test_a_fence_across_the_school_ground_is_not_crossed_and_what_lies_behind_is_told(samples):
    fence = [list(degrees(recipe_of("school"), x, y)) for x, y in ((95, -20), (95, 140))]
    shape = {"type": "LineString", "coordinates": fence}
    add_hazards(samples, SCHOOL, LOCAL_MANAGER, [{"kind": "fence", "geometry": shape, "barrier": True}])
    plan = now(samples, plan_round(samples, SCHOOL, LOCAL_MANAGER, {**ASKED, "volunteers": 3})).plan
    assert spread_of(times(plan)) <= WITHIN
    assert crossing(samples, plan) == []
    trees = view_of(samples, SCHOOL, LOCAL_MANAGER).trees.set_index("tree_id")["lon_deg"]
    behind = [trees[one["tree_id"]] for one in plan["left_out"] if one["reason"] == "beyond"]
    assert len(behind) > 20
    assert max(behind) < fence[0][0]
