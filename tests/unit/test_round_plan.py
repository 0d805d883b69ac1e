"""Which trees a round takes, which pupils are kept off and why, and the sheets that come of it."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layers.round_choice import (
    BEYOND,
    CLOSED,
    LEAST_REPEATS,
    LINE,
    NO_PLACE,
    ROAD,
    SIGN,
    UNSEEN,
    LeftOut,
    Near,
    chosen,
    drawn_twice,
    for_practice,
    kept_off,
)
from layers.round_plan import FIRST, PRACTICE, REPEAT, Ask, Team, drafted
from tests.builders import frame_of, row

SEEN = {"last_inspected_on": "2026-03-01"}
PUPILS = (Team("p1", "pupils"), Team("p2", "pupils"))
STAFF = (Team("s1", "trained staff"),)


def trees(*changes):
    default = {"status": "living", "dbh_cm": 10.0, "signs": [], "stems": 1, **SEEN}
    return frame_of(
        "trees",
        [row("trees", tree_id=f"t{n}", tag=str(n), **{**default, **each}) for n, each in enumerate(changes)],
    )


def words(found):
    return [(one.tree_id, one.reason) for one in found]


def test_only_standing_trees_of_the_place_the_size_and_not_measured_since_are_chosen():
    given = trees(
        {},
        {"status": "removed"},
        {"dbh_cm": 30.0},
        {"last_measured_on": "2026-05-01"},
        {"dbh_cm": float("nan")},
        {"status": "unknown"},
    )
    assert chosen(given)["tree_id"].to_list() == ["t0", "t2", "t3", "t4", "t5"]
    assert chosen(given, inside=["t0", "t1"])["tree_id"].to_list() == ["t0"]
    assert chosen(given, from_cm=10.0, to_cm=30.0)["tree_id"].to_list() == ["t0", "t3", "t5"]
    assert "t4" in chosen(given, to_cm=30.0)["tree_id"].to_list()
    assert "t3" not in chosen(given, not_since="2026-05-01")["tree_id"].to_list()
    assert "t3" in chosen(given, not_since="2026-05-02")["tree_id"].to_list()


def test_each_reason_keeps_a_tree_off_pupils_lists_and_is_told():
    given = trees(
        {},
        {"signs": ["dead branch"]},
        {},
        {},
        {"dbh_cm": 16.0, "last_inspected_on": None},
        {"dbh_cm": 15.8, "last_inspected_on": None},
        {},
    )
    at = np.array([[50, 50], [50, 50], [50, 50], [3, 50], [50, 50], [50, 50], [np.nan, np.nan]], dtype=float)
    near = [Near(ROAD, shapely.LineString([(0, 0), (0, 100)]), 5.0)]
    found = kept_off(given, at, closed={"t2": ["the pond"]}, near=near)
    assert words(found) == [
        ("t1", SIGN),
        ("t2", CLOSED),
        ("t3", ROAD),
        ("t4", UNSEEN),
        ("t6", NO_PLACE),
    ]
    assert found[2].metres == 3.0
    assert found[3].cm == 50


def test_a_tree_whose_place_is_badly_known_counts_as_nearer_by_that():
    near = [Near(LINE, shapely.LineString([(0, 0), (0, 100)]), 5.0)]
    given = trees({"position_accuracy_m": 4.0}, {"position_accuracy_m": 1.0})
    at = np.array([[8.0, 50.0], [8.0, 50.0]])
    assert words(kept_off(given, at, closed={}, near=near)) == [("t0", LINE)]


def test_the_margin_of_the_line_that_is_worst_decides():
    """29 CFR 1910.269: the higher the voltage the farther away."""
    low = Near(LINE, shapely.LineString([(0, 0), (0, 100)]), 5.0)
    high = Near(LINE, shapely.LineString([(20, 0), (20, 100)]), 14.0)
    found = kept_off(trees({}), np.array([[7.0, 50.0]]), closed={}, near=[low, high])
    assert [one.metres for one in found] == [13.0]


def test_the_same_seed_draws_the_same_trees_at_least_ten_and_none_at_no_share():
    ids = [f"t{n}" for n in range(80)]
    assert drawn_twice(ids, 0.1, 7) == drawn_twice(list(reversed(ids)), 0.1, 7)
    assert drawn_twice(ids, 0.1, 7) != drawn_twice(ids, 0.1, 8)
    assert len(drawn_twice(ids, 0.05, 7)) == LEAST_REPEATS
    assert len(drawn_twice(ids, 0.5, 7)) == 40
    assert drawn_twice(ids[:4], 0.1, 7) == ids[:4]
    assert drawn_twice(ids, 0.0, 7) == []


def test_practice_trees_are_those_nearest_to_where_all_meet():
    at = np.array([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0], [30.0, 0.0]])
    assert for_practice(at, [0, 2, 3], 2, (24.0, 0.0)) == [2, 3]
    assert for_practice(at, [], 2, None) == []


def lawn(count):
    at = np.array([[10.0 * (n % 6), 10.0 * (n // 6)] for n in range(count)])
    return trees(*({} for _ in range(count))), at, np.full(count, 4.0)


def plan_of(count, teams, reasons=(), **more):
    given, at, minutes = lawn(count)
    ask = Ask(teams, meeting=(25.0, -5.0), **more)
    return drafted(given, at, minutes, reasons, ask)


def test_every_sheet_begins_with_the_same_practice_trees_and_each_other_tree_is_on_one():
    plan = plan_of(36, PUPILS, practice=2)
    first = [sheet.trees[:2] for sheet in plan.sheets]
    assert first[0] == first[1]
    assert {role for _tree, role in first[0]} == {PRACTICE}
    rest = [tree for sheet in plan.sheets for tree, role in sheet.trees if role == FIRST]
    assert len(rest) == len(set(rest)) == 34
    assert plan.left_out == ()


def test_trees_that_are_drawn_go_to_two_teams_once_as_the_first_and_once_as_the_second():
    plan = plan_of(36, PUPILS, repeat_share=0.1, seed=3)
    again = [(sheet.team.id, tree) for sheet in plan.sheets for tree, role in sheet.trees if role == REPEAT]
    firsts = {tree: sheet.team.id for sheet in plan.sheets for tree, role in sheet.trees if role == FIRST}
    assert len(again) == LEAST_REPEATS
    assert all(firsts[tree] != team for team, tree in again)


def test_one_team_alone_measures_the_drawn_trees_again_at_its_end():
    plan = plan_of(20, PUPILS[:1], repeat_share=0.1)
    roles = [role for _tree, role in plan.sheets[0].trees]
    assert roles == [FIRST] * 20 + [REPEAT] * LEAST_REPEATS


REASONS = (LeftOut("t3", SIGN), LeftOut("t4", CLOSED), LeftOut("t5", ROAD, 2.0))


def on_sheets(plan, team):
    return {tree for sheet in plan.sheets if sheet.team.id == team for tree, _role in sheet.trees}


def test_pupils_alone_do_not_get_what_is_kept_off_and_the_reason_is_kept():
    plan = plan_of(36, PUPILS, REASONS)
    assert words(plan.left_out) == [("t3", SIGN), ("t4", CLOSED), ("t5", ROAD)]
    assert not {"t3", "t4", "t5"} & (on_sheets(plan, "p1") | on_sheets(plan, "p2"))


def test_staff_beside_pupils_get_what_pupils_are_kept_off_but_nobody_what_is_closed():
    plan = plan_of(36, PUPILS + STAFF, REASONS)
    assert words(plan.left_out) == [("t4", CLOSED)]
    assert {"t3", "t5"} <= on_sheets(plan, "s1")
    assert not {"t3", "t4", "t5"} & (on_sheets(plan, "p1") | on_sheets(plan, "p2"))


def test_what_a_manager_put_back_is_on_a_sheet_but_never_what_lies_behind_a_barrier():
    wall = shapely.LineString([(-99.0, 45.0), (999.0, 45.0)])
    plan = plan_of(36, PUPILS, REASONS, barriers=wall, put_back=frozenset({"t3", "t30"}))
    assert "t3" in on_sheets(plan, "p1") | on_sheets(plan, "p2")
    assert ("t30", BEYOND) in words(plan.left_out)


def test_a_tree_without_a_place_goes_to_who_has_least_to_do_and_never_to_pupils():
    given, at, minutes = lawn(20)
    at[7] = np.nan
    plan = drafted(given, at, minutes, [LeftOut("t7", NO_PLACE)], Ask(PUPILS + STAFF))
    assert "t7" in on_sheets(plan, "s1")
    assert words(drafted(given, at, minutes, [LeftOut("t7", NO_PLACE)], Ask(PUPILS)).left_out) == [
        ("t7", NO_PLACE)
    ]


KINDS = st.lists(st.sampled_from(["pupils", "volunteers", "trained staff"]), min_size=1, max_size=5)
WORDS = st.lists(st.tuples(st.integers(0, 29), st.sampled_from([SIGN, CLOSED, ROAD, NO_PLACE])), max_size=20)


@settings(max_examples=50, deadline=None)
@given(KINDS, WORDS, st.sampled_from([0.0, 0.2]), st.integers(0, 3))
def test_every_tree_is_on_a_sheet_or_left_out_with_a_reason_whoever_measures(kinds, said, share, practice):
    given, at, minutes = lawn(30)
    reasons = [LeftOut(f"t{n}", word) for n, word in said]
    teams = tuple(Team(f"x{n}", kind) for n, kind in enumerate(kinds))
    plan = drafted(given, at, minutes, reasons, Ask(teams, repeat_share=share, practice=practice))
    assert [sheet.team for sheet in plan.sheets] == list(teams)
    kept = {tree for sheet in plan.sheets for tree, _role in sheet.trees}
    assert kept | {one.tree_id for one in plan.left_out} == set(given["tree_id"])
    assert not kept & {one.tree_id for one in plan.left_out}
    off = {one.tree_id for one in reasons}
    for sheet in plan.sheets:
        mine = [tree for tree, _role in sheet.trees]
        assert not set(mine) & {one.tree_id for one in reasons if one.reason == CLOSED}
        assert sheet.team.kind != "pupils" or not set(mine) & off


@pytest.mark.parametrize("teams", [PUPILS, PUPILS + STAFF, STAFF])
def test_times_of_mixed_teams_are_within_fifteen_per_cent_where_trees_allow_it(teams):
    reasons = [LeftOut(f"t{n}", UNSEEN) for n in range(0, 60, 9)]
    plan = plan_of(60, teams, reasons, repeat_share=0.1, practice=2)
    assert plan.spread <= 0.15
    assert plan.why is None
