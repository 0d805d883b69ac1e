"""Sectors of teams: every tree once, two teams where it is wanted, equal times, no barrier crossed."""

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layers.measuring_time import FEWEST_GAPS, learned_pace, minutes_at
from layers.sectors import FEW_TREES, PARTS, WITHIN, divided, spread_of
from layers.walking import ALL_PAIRS_UP_TO, Ways

SPOTS = st.lists(
    st.tuples(st.integers(0, 120), st.integers(0, 80)), min_size=1, max_size=40, unique=True
).map(lambda spots: np.array(spots, dtype=float))
WALL = shapely.LineString([(60.5, -500.0), (60.5, 500.0)])
GATE = shapely.MultiLineString([[(60.5, -500.0), (60.5, 30.5)], [(60.5, 36.5), (60.5, 500.0)]])


def busy(at):
    """Three to six minutes at each, by where it stands."""
    return 3.0 + (at[:, 0] * 7 + at[:, 1] * 3) % 4


def measured(division):
    return sorted(stop for sector in division.sectors for stop in sector.stops)


@settings(max_examples=60, deadline=None)
@given(SPOTS, st.integers(1, 6), st.booleans())
def test_every_tree_is_in_one_sector_and_the_same_trees_give_the_same_sectors(at, teams, is_met):
    meeting = (61.0, 0.0) if is_met else None
    found = divided(at, busy(at), teams, meeting=meeting)
    assert len(found.sectors) == teams
    assert measured(found) == list(range(len(at)))
    assert found.unreached == ()
    assert found == divided(at, busy(at), teams, meeting=meeting)


@settings(max_examples=60, deadline=None)
@given(SPOTS, st.integers(2, 5), st.data())
def test_a_tree_that_two_teams_measure_is_never_with_one_of_them_twice(at, teams, data):
    twice = data.draw(st.lists(st.integers(0, len(at) - 1), unique=True, max_size=10))
    found = divided(at, busy(at), teams, meeting=(61.0, 0.0), twice=twice)
    assert measured(found) == sorted([*range(len(at)), *twice])
    for sector in found.sectors:
        assert len(set(sector.stops)) == len(sector.stops)
    assert sorted(row for sector in found.sectors for row in sector.again) == sorted(twice)


@settings(max_examples=60, deadline=None)
@given(SPOTS, st.integers(1, 5), st.sampled_from([WALL, GATE, WALL.buffer(3.0)]), st.booleans())
def test_no_walk_crosses_a_barrier_and_what_lies_behind_it_is_told(at, teams, barrier, is_met):
    at = at[shapely.distance(barrier, shapely.points(at)) > 0.3]
    if not len(at):
        return
    meeting = (0.5, -1.0) if is_met else None
    found = divided(at, busy(at), teams, meeting=meeting, barriers=barrier)
    for sector in found.sectors:
        assert len(sector.line) < 2 or not shapely.LineString(sector.line).intersects(barrier)
    assert sorted([*measured(found), *found.unreached]) == list(range(len(at)))
    if is_met and not barrier.geom_type.startswith("Multi"):
        assert set(found.unreached) == set(np.flatnonzero(at[:, 0] > 60.5).tolist())


def test_a_walk_ends_where_everybody_meets_and_its_minutes_add_up():
    at = np.array([[10.0, 0.0], [20.0, 0.0], [30.0, 0.0]])
    found = divided(at, np.array([4.0, 4.0, 4.0]), 1, meeting=(0.0, 0.0), metres_per_minute=30.0)
    sector = found.sectors[0]
    assert sector.line[0] == sector.line[-1] == (0.0, 0.0)
    assert sector.way_m == pytest.approx(60.0)
    assert sector.minutes == pytest.approx(12.0 + 60.0 / 30.0)


def test_the_last_tree_is_nearer_to_the_meeting_point_than_the_first():
    at = np.array([[40.0, 30.0], [50.0, 0.0], [10.0, 3.0]])
    stops = divided(at, np.full(3, 4.0), 1, meeting=(0.0, 0.0)).sectors[0].stops
    assert stops[-1] == 2


@pytest.mark.parametrize("teams", [2, 3, 5, 7])
def test_times_are_within_fifteen_per_cent_on_a_lawn_with_trees_of_all_sizes(teams):
    rng = np.random.default_rng(5)
    at = rng.uniform(0, 200, (150, 2))
    minutes = minutes_at(rng.uniform(20, 300, 150), 1, "girth tape")
    found = divided(at, minutes, teams, meeting=(100.0, -5.0), twice=list(range(0, 150, 10)))
    assert found.spread <= WITHIN
    assert found.why is None
    assert found.spread == spread_of([sector.minutes for sector in found.sectors])


def test_sectors_are_compact_a_team_walks_less_than_a_share_of_one_walk_past_all_and_its_way_there():
    rng = np.random.default_rng(6)
    at = rng.uniform(0, 200, (120, 2))
    minutes = np.full(120, 4.0)
    alone = divided(at, minutes, 1, meeting=(100.0, 100.0)).sectors[0].way_m
    for sector in divided(at, minutes, 4, meeting=(100.0, 100.0)).sectors:
        assert sector.way_m < alone / 4 * 1.35 + 2 * 50.0


def test_more_teams_than_trees_leaves_some_without_and_says_so():
    at = np.array([[0.0, 0.0], [5.0, 0.0]])
    found = divided(at, np.array([3.0, 3.0]), 3)
    assert measured(found) == [0, 1]
    assert found.why == FEW_TREES


def test_parts_that_cannot_be_shared_out_evenly_are_the_reason_that_is_told():
    at = np.array([[x, y] for x in (0.0, 10.0, 20.0) for y in (0.0, 10.0, 20.0)] + [[100.0, 0.0]])
    found = divided(at, np.full(10, 4.0), 2, barriers=WALL)
    assert measured(found) == list(range(10))
    assert found.why == PARTS


def test_where_one_team_is_alone_it_measures_again_at_its_end():
    at = np.array([[float(x), 0.0] for x in range(0, 60, 10)])
    sector = divided(at, np.full(6, 3.0), 1, meeting=(0.0, 5.0), twice=[1, 4]).sectors[0]
    assert sorted(sector.stops[:6]) == list(range(6))
    assert sorted(sector.stops[6:]) == [1, 4]


def test_a_tree_inside_a_road_is_reached_from_its_nearest_edge():
    road = shapely.box(50.0, -100.0, 60.0, 100.0)
    ways = Ways(np.array([[40.0, 0.0], [53.0, 0.0], [70.0, 0.0]]), road)
    assert ways.part[0] == ways.part[1] != ways.part[2]
    assert ways.metres[0, 1] == pytest.approx(10.0, abs=0.5)


def test_many_points_are_linked_by_neighbours_and_no_part_falls_apart():
    rng = np.random.default_rng(7)
    at = rng.uniform(0, 120, (ALL_PAIRS_UP_TO + 100, 2))
    at = at[np.abs(at[:, 0] - 60.5) > 1.0]
    ways = Ways(at, WALL)
    assert len(set(ways.part.tolist())) == 2
    assert set(ways.part[at[:, 0] < 60]) != set(ways.part[at[:, 0] > 61])
    straight = np.hypot(*(at[0] - at[1]))
    assert ways.metres[0, 1] >= straight - 1e-6 or ways.part[0] != ways.part[1]


def test_a_larger_tree_a_second_trunk_and_a_string_take_longer():
    small, large = minutes_at([50.0, 250.0], [1, 1], "girth tape")
    assert large - small == pytest.approx(2.0)
    assert minutes_at(100.0, 3, "girth tape") > minutes_at(100.0, 1, "girth tape")
    assert minutes_at(100.0, 1, "string and ruler") > minutes_at(100.0, 1, "girth tape")
    assert minutes_at(np.nan, 1, "girth tape") == minutes_at(100.0, 1, "girth tape")


def timed(gap_minutes, trees):
    at = pd.date_range("2026-05-04T08:00:00Z", periods=trees, freq=pd.Timedelta(minutes=gap_minutes))
    rows = {"tree_id": [f"t{n}" for n in range(trees)], "round_id": "r", "crew": "5b"}
    return pd.DataFrame({**rows, "instrument": "girth tape", "recorded_at": [t.isoformat() for t in at]})


def test_the_pace_is_learned_from_times_between_trees_and_assumed_from_few():
    assert learned_pace(timed(6, FEWEST_GAPS + 1), {"girth tape": 4.0}).factor == pytest.approx(1.5)
    assert learned_pace(timed(6, FEWEST_GAPS), {"girth tape": 4.0}).gaps == 0
    assert learned_pace(timed(45, 40), {"girth tape": 4.0}).factor == 1.0
