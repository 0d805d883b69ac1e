"""Danger reports and their answers, closed places and hazards: once, in any order, taken back."""

import uuid
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.actors import LOCAL_MANAGER, Actor
from service.closures import add_closures, add_hazards, change, reopen
from service.danger import answer_dangers, enter_dangers
from service.edit import add_trees, cross_out
from service.entry import enter_observations
from service.errors import InvalidRequest, NotPermitted, StaleVersion
from service.store import changes
from service.store.site_rows import create_site
from service.undo import undo_last
from service.view import view_of
from tests.store.test_import_properties import emptied

SLUG = "school"
DAY = "2026-06-30"
TREES = [str(uuid.UUID(int=7_100 + n)) for n in range(2)]
IDS = [str(uuid.UUID(int=n)) for n in (15, 13, 18, 11, 19, 12)]
NEVER_SENT = str(uuid.UUID(int=10))
ANSWERS = [str(uuid.UUID(int=n)) for n in (25, 23, 28)]
CREW = Actor("crew", "5b")
RING = {"type": "Polygon", "coordinates": [[[9.0, 47.0], [9.001, 47.0], [9.001, 47.001], [9.0, 47.0]]]}
CLOSED = {"name": "round the lime", "tree_id": TREES[0], "radius_m": 15, "from_on": "2026-06-01"}
CLOSED |= {"why": "a branch hangs", "who_may_reopen": "the tree inspector"}


def made(store):
    create_site(store, SLUG, actor=LOCAL_MANAGER, site_id=str(uuid.UUID(int=6_100)), phone="112")
    trees = [
        {"id": id, "tag": id[-1], "lon_deg": 9.0 + n * 0.01, "lat_deg": 47.0} for n, id in enumerate(TREES)
    ]
    add_trees(store, SLUG, LOCAL_MANAGER, trees)


@pytest.fixture
def ground(store):
    made(store)
    return store


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER, DAY)


def report(id=IDS[0], **said):
    return {"id": id, "sight": "fresh crack", "tree_id": TREES[0], "seen_on": "2026-06-02", **said}


def answer(id=ANSWERS[0], of=IDS[0], **said):
    told = {"id": id, "report_id": of, "did": "closed the path", "organisation": "caretaker"}
    return {**told, "answered_on": "2026-06-02", **said}


def on_top(store):
    dangers = now(store).dangers
    return dangers.loc[~dangers["answered"], "danger_id"].to_list()


def signs(store):
    flags = now(store).flags
    return set(flags.loc[(flags["kind"] == "sign") & flags["answered"].isna(), "rule"])


def test_a_report_stands_on_top_and_raises_the_tree_s_question_until_each_is_answered(ground):
    assert [one.outcome for one in enter_dangers(ground, SLUG, CREW, [report()])] == ["taken"]
    assert on_top(ground) == [IDS[0]]
    assert signs(ground) == {"crack"}
    answer_dangers(ground, SLUG, LOCAL_MANAGER, [answer()])
    assert on_top(ground) == []
    assert signs(ground) == {"crack"}


def test_a_report_that_is_sent_again_is_there_already_and_one_with_other_content_is_refused(ground):
    sent = report(leader_did=["called", "moved away"], leader_called="112", leader_at="2026-06-02T10:00:00Z")
    enter_dangers(ground, SLUG, CREW, [sent])
    again = {**sent, "leader_did": ["moved away", "called"]}
    assert enter_dangers(ground, SLUG, CREW, [again])[0].outcome == "already there"
    assert enter_dangers(ground, SLUG, CREW, [report(sight="new lean")])[0].outcome == "refused"
    told = now(ground).dangers.iloc[0]
    assert (told["leader_did"], told["leader_called"]) == (("moved away", "called"), "112")


@pytest.mark.parametrize(
    ("said", "outcome"),
    [
        ({"tree_id": None, "place": "behind the gym"}, "taken"),
        ({"tree_id": None, "lon_deg": 9.001, "lat_deg": 47.0}, "taken"),
        ({"tree_id": str(uuid.UUID(int=1))}, "questioned"),
        ({"seen_on": "2099-01-01"}, "questioned"),
        ({"tree_id": None}, "refused"),
        ({"sight": "dead branch"}, "refused"),
        ({"lon_deg": 9.0}, "refused"),
        ({"leader_did": ["ran"]}, "refused"),
    ],
)
def test_a_danger_is_kept_wherever_it_was_seen_and_refused_only_where_it_says_nothing(ground, said, outcome):
    (told,) = enter_dangers(ground, SLUG, CREW, [report(**said)])
    assert told.outcome == outcome
    assert on_top(ground) == ([] if outcome == "refused" else [IDS[0]])


def test_an_observation_of_such_a_sight_is_a_danger_too_and_is_answered_alike(ground):
    seen = {"id": IDS[1], "tree_id": TREES[1], "what": "new lean", "observed_on": "2026-06-02"}
    enter_observations(ground, SLUG, CREW, [seen, {**seen, "id": IDS[2], "what": "hollow"}])
    assert on_top(ground) == [IDS[1]]
    answer_dangers(ground, SLUG, LOCAL_MANAGER, [answer(of=IDS[1])])
    assert on_top(ground) == []


def test_what_was_sent_both_ways_under_one_id_is_one_danger(ground):
    enter_observations(ground, SLUG, CREW, [{"id": IDS[0], "tree_id": TREES[0], "what": "fresh crack"}])
    enter_dangers(ground, SLUG, CREW, [report()])
    assert on_top(ground) == [IDS[0]]
    assert now(ground).records.observations["observation_id"].to_list() == [IDS[0]]


def test_an_answer_holds_for_a_later_word_on_the_same_sight_and_not_for_another_sight(ground):
    enter_dangers(ground, SLUG, CREW, [report()])
    answer_dangers(ground, SLUG, LOCAL_MANAGER, [answer()])
    enter_dangers(ground, SLUG, CREW, [report(IDS[1], supersedes=IDS[0], leader_did=["moved away"])])
    assert on_top(ground) == []
    enter_dangers(ground, SLUG, CREW, [report(IDS[2], supersedes=IDS[1], sight="lifted or cracked soil")])
    assert on_top(ground) == [IDS[2]]


def test_a_correction_whose_report_is_still_on_its_way_is_in_sight(ground):
    enter_dangers(ground, SLUG, CREW, [report(IDS[1], supersedes=IDS[0], text="higher up")])
    assert on_top(ground) == [IDS[1]]


def test_a_crew_reports_and_does_not_answer(ground):
    enter_dangers(ground, SLUG, CREW, [report()])
    with pytest.raises(NotPermitted):
        answer_dangers(ground, SLUG, CREW, [answer()])
    with pytest.raises(NotPermitted):
        add_closures(ground, SLUG, CREW, [CLOSED])
    with pytest.raises(NotPermitted):
        enter_dangers(ground, SLUG, Actor("key", "reader"), [report(IDS[1])])


def test_an_answer_that_is_taken_back_puts_the_danger_on_top_again_and_so_on_for_the_report(ground):
    enter_dangers(ground, SLUG, LOCAL_MANAGER, [report()])
    answer_dangers(ground, SLUG, LOCAL_MANAGER, [answer()])
    undo_last(ground, SLUG, LOCAL_MANAGER)
    assert on_top(ground) == [IDS[0]]
    undo_last(ground, SLUG, LOCAL_MANAGER)
    assert on_top(ground) == []
    assert signs(ground) == set()


@pytest.mark.parametrize(
    ("day", "holds"),
    [("2026-05-31", False), ("2026-06-01", True), ("2026-06-09", True), ("2026-06-10", False)],
)
def test_a_place_is_closed_from_its_day_until_the_day_it_is_reopened(ground, day, holds):
    (id,) = add_closures(ground, SLUG, LOCAL_MANAGER, [CLOSED])
    opened = {
        "reopened_on": "2026-06-10",
        "reopened_because": "branch taken down",
        "reopened_by": "inspector",
    }
    assert reopen(ground, SLUG, LOCAL_MANAGER, id, 1, opened) == 2
    view = view_of(ground, SLUG, LOCAL_MANAGER, day)
    assert len(view.closures) == holds
    assert set(view.closed_trees) == ({TREES[0]} if holds else set())


def test_a_closure_ends_by_its_last_day_by_being_crossed_out_and_comes_back_by_taking_back(ground):
    add_closures(ground, SLUG, LOCAL_MANAGER, [{**CLOSED, "to_on": "2026-06-29"}])
    assert len(now(ground).closures) == 0
    (id,) = add_closures(ground, SLUG, LOCAL_MANAGER, [CLOSED])
    assert len(now(ground).closures) == 1
    cross_out(ground, SLUG, LOCAL_MANAGER, "closure", id, 1)
    assert len(now(ground).closures) == 0
    undo_last(ground, SLUG, LOCAL_MANAGER)
    assert len(now(ground).closures) == 1


def test_a_closure_that_somebody_changed_meanwhile_is_not_reopened(ground):
    (id,) = add_closures(ground, SLUG, LOCAL_MANAGER, [CLOSED])
    change(ground, SLUG, LOCAL_MANAGER, "closure", id, 1, {**CLOSED, "radius_m": 20})
    opened = {"reopened_on": "2026-06-10", "reopened_because": "looked at", "reopened_by": "inspector"}
    with pytest.raises(StaleVersion):
        reopen(ground, SLUG, LOCAL_MANAGER, id, 1, opened)
    with pytest.raises(InvalidRequest):
        reopen(ground, SLUG, LOCAL_MANAGER, id, 2, {**opened, "reopened_on": "2026-05-01"})


@pytest.mark.parametrize(
    "said",
    [
        {"radius_m": None},
        {"geometry": RING},
        {"tree_id": None, "geometry": {"type": "Point", "coordinates": [9, 47]}, "radius_m": None},
        {"tree_id": None, "geometry": {"type": "LineString", "coordinates": [[9, 47], [9.1, 47]]}},
        {"to_on": "2026-05-01"},
        {"why": " "},
    ],
)
def test_a_closure_that_closes_nothing_or_says_no_reason_is_refused(ground, said):
    with pytest.raises(InvalidRequest):
        add_closures(ground, SLUG, LOCAL_MANAGER, [{**CLOSED, **said}])


def test_an_outline_a_circle_and_words_alone_are_kept_as_they_were_said(ground):
    point = {"type": "Point", "coordinates": [9.01, 47.0]}
    told = [
        {**CLOSED, "tree_id": None, "radius_m": None, "geometry": RING, "name": "the lawn"},
        {**CLOSED, "tree_id": None, "radius_m": 4, "geometry": point, "name": "by the gate"},
        {**CLOSED, "tree_id": None, "radius_m": None, "name": "the whole yard"},
    ]
    add_closures(ground, SLUG, LOCAL_MANAGER, told)
    view = now(ground)
    outlined = dict(zip(view.closures["name"], view.closures["geometry"], strict=True))
    assert outlined["the lawn"].geom_type == outlined["by the gate"].geom_type == "Polygon"
    assert outlined["the whole yard"] is None
    assert {id: [view.closures["name"][row] for row in rows] for id, rows in view.closed_trees.items()} == {
        TREES[0]: ["the lawn"],
        TREES[1]: ["by the gate"],
    }


def test_a_hazard_is_there_from_its_first_day_to_its_last(ground):
    line = {"type": "LineString", "coordinates": [[9.0, 47.0], [9.001, 47.0]]}
    wire = {"kind": "overhead line", "geometry": line, "voltage_kv": 20, "barrier": True}
    (id,) = add_hazards(ground, SLUG, LOCAL_MANAGER, [wire])
    assert now(ground).hazards.iloc[0][["kind", "voltage_kv", "barrier"]].to_list() == [
        "overhead line",
        20,
        1,
    ]
    change(ground, SLUG, LOCAL_MANAGER, "hazard", id, 1, {**wire, "valid_to": "2026-06-29"})
    assert len(now(ground).hazards) == 0
    assert len(view_of(ground, SLUG, LOCAL_MANAGER, "2026-06-29").hazards) == 1
    with pytest.raises(InvalidRequest):
        add_hazards(ground, SLUG, LOCAL_MANAGER, [{**wire, "kind": "water"}])


@st.composite
def sent_to_the_site(draw):
    """Reports and answers of one site; each may correct one that comes later, or never."""
    reports = [
        {
            "id": id,
            "sight": draw(st.sampled_from(["fresh crack", "fresh crack", "new lean"])),
            "tree_id": TREES[0],
            "seen_on": draw(st.sampled_from([None, "2026-06-01"])),
            "recorded_at": draw(st.sampled_from([None, "2026-06-01T08:00:00Z", "2026-06-01T09:00:00Z"])),
            "supersedes": draw(st.none() | st.sampled_from([*IDS[n + 1 :], NEVER_SENT])),
            "void": draw(st.integers(0, 4)) == 0,
        }
        for n, id in enumerate(IDS[: draw(st.integers(1, len(IDS)))])
    ]
    answers = [answer(id, draw(st.sampled_from(IDS))) for id in ANSWERS[: draw(st.integers(0, 3))]]
    return [(enter_dangers, item) for item in reports] + [(answer_dangers, item) for item in answers]


def stands(store, parts):
    """Send the parts on an empty ground; what is a danger then, and which questions are open."""
    emptied(store)
    made(store)
    for enter in (enter_dangers, answer_dangers):
        assert enter(store, SLUG, LOCAL_MANAGER, []) == []
    for part in parts:
        for enter in (answer_dangers, enter_dangers):
            enter(store, SLUG, LOCAL_MANAGER, [item for taker, item in part if taker is enter])
    view = now(store)
    told = view.dangers.drop(columns="change_no").sort_values("danger_id").to_dict("records")
    return told, view.flags[["flag_key", "evidence", "answered"]].to_dict("records")


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(sent=sent_to_the_site(), data=st.data())
def test_reports_and_answers_end_alike_in_whatever_order_and_parts_they_come(store, sent, data):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(changes, "now", lambda: "2026-06-03T10:00:00.000000Z")
        whole = stands(store, [sent])
        shuffled = data.draw(st.permutations(sent))
        cuts = sorted(data.draw(st.lists(st.integers(0, len(sent)), max_size=3)))
        ends = [0, *cuts, len(sent)]
        assert stands(store, [shuffled[a:b] for a, b in pairwise(ends)]) == whole
