"""Measuring days in both databases: planned, planned anew, put back, started, closed; words that end."""

import json
import uuid

import pytest

from layers.round_choice import CLOSED, LINE, ROAD, UNSEEN
from service.actors import LOCAL_MANAGER, Actor
from service.closures import add_closures, add_hazards
from service.crew_words import crew_of, make_words, words_until
from service.edit import add_trees, cross_out
from service.entry import enter_readings
from service.errors import InvalidRequest, NotFound, NotPermitted, StaleVersion
from service.round_days import (
    close,
    closing_of,
    planned_round,
    progress_of,
    start,
    write_day_page,
)
from service.rounds import plan_again, plan_round, put_back
from service.site_terms import edit_terms, terms_now
from service.store import changes
from service.store.site_rows import create_site, find_site
from service.undo import undo_last
from service.view import view_of

SLUG = "school"
TREES = [str(uuid.UUID(int=8_100 + n)) for n in range(24)]
LON_M, LAT_M = 1 / 71_700.0, 1 / 111_200.0
AHEAD = "2999-05-04"
ASKED = {"name": "Spring", "from_on": AHEAD, "to_on": "2999-05-06", "height_m": 1.3, "pupils": 2}
ASKED |= {"lon_deg": 9.0, "lat_deg": 49.9999, "meeting_words": "at the gate", "practice": 2}


@pytest.fixture
def ground(store):
    create_site(store, SLUG, actor=LOCAL_MANAGER, site_id=str(uuid.UUID(int=6_200)), phone="112")
    trees = [
        {
            "id": id,
            "tag": str(n + 1),
            "lon_deg": 9.0 + (n % 6) * 10 * LON_M,
            "lat_deg": 50.0 + (n // 6) * 10 * LAT_M,
        }
        for n, id in enumerate(TREES)
    ]
    add_trees(store, SLUG, LOCAL_MANAGER, trees)
    return store


def view(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def planned(store, **more):
    id = plan_round(store, SLUG, LOCAL_MANAGER, {**ASKED, **more})
    return planned_round(view(store), id)


def again(store, id):
    return planned_round(view(store), id)


def on_sheets(now):
    return [tree["tree_id"] for sheet in now.plan["sheets"] for tree in sheet["trees"]]


def read(store, now, crew_id, tree_ids, value=40):
    stems = view(store).records.stems
    stem_of = dict(zip(stems["tree_id"], stems["stem_id"], strict=True))
    said = {"unit": "cm", "instrument": "girth tape", "height_m": 1.3, "measured_on": "2026-05-04"}
    said |= {"crew": now.codes[crew_id], "crew_kind": "pupils", "round_id": now.id}
    items = [{**said, "stem_id": stem_of[tree], "value": value} for tree in tree_ids]
    assert {one.outcome for one in enter_readings(store, SLUG, LOCAL_MANAGER, items)} == {"taken"}


def filled(**more):
    return {
        "tree_check_by": "the tree inspector",
        "tree_check_on": view_day(),
        "wind_reading": "calm",
        **more,
    }


def view_day():
    from service.view import today_in

    return today_in("UTC")


def with_wind_limit(store, limit="small branches move"):
    known = terms_now(store, SLUG)
    edit_terms(store, SLUG, LOCAL_MANAGER, known.version, {**known.values, "wind_limit": limit})


def test_a_plan_is_one_change_with_its_teams_and_puts_every_tree_on_a_sheet(ground):
    before = view(ground).known_at
    now = planned(ground)
    assert view(ground).known_at == before + 1
    assert now.status == "planned"
    assert sorted(now.codes.values()) == ["team 1", "team 2"]
    assert set(on_sheets(now)) == set(TREES)
    assert now.plan["left_out"] == []
    assert now.plan["spread"] <= 0.15
    assert [sheet["trees"][0]["role"] for sheet in now.plan["sheets"]] == ["practice", "practice"]
    assert now.plan["sheets"][0]["sector"]["type"] == "Polygon"
    assert now.meeting["meeting_words"] == "at the gate"


def test_planning_anew_keeps_the_teams_that_stay_and_crosses_out_those_that_go(ground):
    first = planned(ground)
    values = {**first.plan["chosen_by"], "pupils": 1, "volunteers": 1, "instrument": "string and ruler"}
    assert plan_again(ground, SLUG, LOCAL_MANAGER, first.id, first.version, values) == 2
    second = again(ground, first.id)
    assert second.instrument == "string and ruler"
    assert sorted(second.codes.values()) == ["team 1", "team 3"]
    assert second.kinds == {
        id: "pupils" if code == "team 1" else "volunteers" for id, code in second.codes.items()
    }
    with pytest.raises(StaleVersion):
        plan_again(ground, SLUG, LOCAL_MANAGER, first.id, first.version, values)


def test_roads_lines_closures_and_unseen_large_trees_keep_pupils_off_and_a_manager_puts_one_back(ground):
    def line(x):
        ends = [[9.0 + x * LON_M, 49.99], [9.0 + x * LON_M, 50.01]]
        return {"type": "LineString", "coordinates": ends}

    add_hazards(ground, SLUG, LOCAL_MANAGER, [{"kind": "road", "geometry": line(53)}])
    add_hazards(ground, SLUG, LOCAL_MANAGER, [{"kind": "overhead line", "geometry": line(-4)}])
    shut = {"name": "round tree 3", "tree_id": TREES[2], "radius_m": 3, "from_on": "2020-01-01"}
    add_closures(ground, SLUG, LOCAL_MANAGER, [{**shut, "why": "a branch", "who_may_reopen": "inspector"}])
    now = planned(ground)
    read(ground, now, now.plan["sheets"][0]["crew_id"], [TREES[3]], value=51)
    now = planned(ground)
    found = {one["tree_id"]: one["reason"] for one in now.plan["left_out"]}
    assert {found[tree] for tree in TREES[0::6]} == {LINE}
    assert {found[tree] for tree in TREES[5::6]} == {ROAD}
    assert (found[TREES[2]], found[TREES[3]]) == (CLOSED, UNSEEN)
    assert not set(found) & set(on_sheets(now))
    said = {"tree_id": TREES[3], "reason": "the caretaker looked at it this morning"}
    put_back(ground, SLUG, LOCAL_MANAGER, now.id, now.version, said)
    after = again(ground, now.id)
    assert TREES[3] in on_sheets(after)
    assert [(one["tree_id"], one["reason"]) for one in after.plan["put_back"]] == [
        (TREES[3], "the caretaker looked at it this morning")
    ]
    plan_again(ground, SLUG, LOCAL_MANAGER, now.id, after.version, after.plan["chosen_by"])
    assert TREES[3] in on_sheets(again(ground, now.id))


def test_the_size_limit_is_a_term_of_the_ground(ground):
    known = terms_now(ground, SLUG)
    now = planned(ground)
    read(ground, now, now.plan["sheets"][0]["crew_id"], TREES[:2], value=60)
    assert {one["tree_id"] for one in planned(ground).plan["left_out"]} == set(TREES[:2])
    edit_terms(ground, SLUG, LOCAL_MANAGER, known.version, {**known.values, "unseen_girth_cm": 70.0})
    assert planned(ground).plan["left_out"] == []


def test_only_what_was_left_out_is_put_back_and_only_with_a_reason(ground):
    now = planned(ground)
    with pytest.raises(InvalidRequest, match="left out"):
        put_back(ground, SLUG, LOCAL_MANAGER, now.id, now.version, {"tree_id": TREES[0], "reason": "x"})
    with pytest.raises(InvalidRequest, match="reason"):
        put_back(ground, SLUG, LOCAL_MANAGER, now.id, now.version, {"tree_id": TREES[0], "reason": " "})


def test_a_round_starts_with_tree_check_and_wind_line_or_with_the_reason_which_is_kept(ground):
    now = planned(ground)
    with pytest.raises(InvalidRequest, match="anyway"):
        start(ground, SLUG, LOCAL_MANAGER, now.id, now.version)
    start(
        ground,
        SLUG,
        LOCAL_MANAGER,
        now.id,
        now.version,
        "the inspector comes at ten, we begin with the hedge",
    )
    assert again(ground, now.id).started_anyway.startswith("the inspector")
    with_wind_limit(ground)
    other = planned(ground)
    write_day_page(ground, SLUG, LOCAL_MANAGER, other.id, other.version, filled())
    start(ground, SLUG, LOCAL_MANAGER, other.id, other.version + 1, "not needed")
    ready = again(ground, other.id)
    assert (ready.status, ready.started_anyway) == ("running", None)


@pytest.mark.parametrize(
    "page",
    [
        {"tree_check_on": "2020-01-01"},
        {"tree_check_by": None},
        {"wind_reading": ""},
        {"tree_check_on": AHEAD},
    ],
)
def test_an_old_check_a_check_ahead_and_a_wind_that_nobody_wrote_down_are_empty_lines(ground, page):
    with_wind_limit(ground)
    now = planned(ground)
    write_day_page(ground, SLUG, LOCAL_MANAGER, now.id, now.version, filled(**page))
    with pytest.raises(InvalidRequest, match="empty"):
        start(ground, SLUG, LOCAL_MANAGER, now.id, now.version + 1)


def test_progress_counts_what_each_team_measured_and_closing_keeps_what_is_missing(ground):
    now = planned(ground)
    start(ground, SLUG, LOCAL_MANAGER, now.id, now.version, "a test")
    first = now.plan["sheets"][0]
    mine = list(dict.fromkeys(tree["tree_id"] for tree in first["trees"]))
    read(ground, now, first["crew_id"], mine[:-1])
    team = next(t for t in progress_of(view(ground), now) if t.crew_id == first["crew_id"])
    assert (team.done, team.planned, team.missing) == (len(mine) - 1, len(mine), (mine[-1],))
    found = closing_of(view(ground), again(ground, now.id))
    assert (first["crew_id"], mine[-1]) in found.missing
    assert found.minutes > 3.0 * len({tree for _team, tree in found.missing})
    close(ground, SLUG, LOCAL_MANAGER, now.id, again(ground, now.id).version, "rain")
    kept = again(ground, now.id)
    assert kept.status == "closed"
    assert [tuple(pair) for pair in kept.closing["missing"]] == list(found.missing)
    assert kept.closing["note"] == "rain"


def test_each_step_is_taken_once_and_in_order(ground):
    now = planned(ground)
    with pytest.raises(InvalidRequest, match="moved on"):
        close(ground, SLUG, LOCAL_MANAGER, now.id, now.version)
    start(ground, SLUG, LOCAL_MANAGER, now.id, now.version, "a test")
    with pytest.raises(InvalidRequest, match="moved on"):
        start(ground, SLUG, LOCAL_MANAGER, now.id, now.version + 1, "a test")
    with pytest.raises(InvalidRequest, match="not begun"):
        plan_again(ground, SLUG, LOCAL_MANAGER, now.id, now.version + 1, now.plan["chosen_by"])


def test_a_word_lets_its_team_in_however_it_is_typed_until_the_round_ends(ground):
    now = planned(ground)
    words = make_words(ground, SLUG, LOCAL_MANAGER, now.id)
    assert set(words) == set(now.codes)
    assert len(set(words.values())) == 2
    for id, word in words.items():
        assert len(word.split()) == 2
        for said in (word, word.upper(), word.replace(" ", "-"), f"  {word.replace(' ', '   ')} "):
            assert crew_of(ground, said).crew_id == id
    assert crew_of(ground, "no word") is None
    assert crew_of(ground, "x" * 5000) is None
    start(ground, SLUG, LOCAL_MANAGER, now.id, now.version, "a test")
    close(ground, SLUG, LOCAL_MANAGER, now.id, now.version + 1)
    assert all(crew_of(ground, word) is None for word in words.values())
    with pytest.raises(InvalidRequest, match="over"):
        make_words(ground, SLUG, LOCAL_MANAGER, now.id)


def test_a_new_word_ends_the_former_one_of_that_team_only(ground):
    now = planned(ground)
    words = make_words(ground, SLUG, LOCAL_MANAGER, now.id)
    one, other = words
    new = make_words(ground, SLUG, LOCAL_MANAGER, now.id, one)
    assert list(new) == [one]
    assert crew_of(ground, words[one]) is None
    assert crew_of(ground, new[one]).crew_id == one
    assert crew_of(ground, words[other]).crew_id == other


def test_a_word_ends_with_the_last_day_on_the_clock_of_the_ground(ground, monkeypatch):
    now = planned(ground)
    words = make_words(ground, SLUG, LOCAL_MANAGER, now.id)
    assert set(words_until(ground, SLUG, now.id).values()) == {"2999-05-07T00:00:00.000000Z"}
    monkeypatch.setattr(changes, "now", lambda: "2999-05-06T23:59:59.000000Z")
    assert all(crew_of(ground, word) for word in words.values())
    monkeypatch.setattr(changes, "now", lambda: "2999-05-07T00:00:00.000000Z")
    assert not any(crew_of(ground, word) for word in words.values())


def test_no_word_is_kept_nowhere_and_no_hash_leaves_with_the_records(ground):
    from service.store import record_log, schema

    now = planned(ground)
    words = make_words(ground, SLUG, LOCAL_MANAGER, now.id)
    with ground.read() as connection:
        site = find_site(connection, SLUG)
        rows = connection.execute(schema.crew_word.select()).all()
        parts = record_log.record_parts(connection, site.fid, site.change_no)
        told = json.dumps([[name, [str(row) for row in rows]] for name, _columns, rows in parts])
    assert len(rows) == 2
    for word in words.values():
        assert word not in told
        assert not any(word in str(row) for row in rows)
    assert not any(row.word_hash in told for row in rows)


def test_a_team_of_a_round_that_was_crossed_out_has_no_word_and_nobody_but_a_manager_plans(ground):
    now = planned(ground)
    words = make_words(ground, SLUG, LOCAL_MANAGER, now.id)
    cross_out(ground, SLUG, LOCAL_MANAGER, "round", now.id, now.version)
    assert not any(crew_of(ground, word) for word in words.values())
    with pytest.raises(NotFound):
        again(ground, now.id)
    crew = Actor("crew", "5b")
    for act in (plan_round, make_words):
        with pytest.raises(NotPermitted):
            act(ground, SLUG, crew, now.id if act is make_words else ASKED)


def test_planning_is_taken_back_whole(ground):
    now = planned(ground)
    undo_last(ground, SLUG, LOCAL_MANAGER)
    assert not len(view(ground).records.rounds)
    assert not len(view(ground).records.crews)
    with pytest.raises(NotFound):
        again(ground, now.id)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"pupils": 0}, "how many teams"),
        ({"to_on": "2999-05-01"}, "before the first"),
        ({"from_cm": 20, "to_cm": 10}, "smaller end"),
        ({"from_cm": 500}, "No standing tree"),
        ({"lat_deg": None}, "both its numbers"),
    ],
)
def test_what_cannot_be_planned_is_said_in_a_sentence(ground, more, said):
    with pytest.raises(InvalidRequest, match=said):
        planned(ground, **more)
