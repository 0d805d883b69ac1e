"""Forms of looking: an inspection of a zone or of trees, and the answer to a question."""

import pytest

from service.actors import LOCAL_MANAGER
from service.view import view_of
from service.web import look_forms
from tests.web_forms import send, told, words
from tests.web_site import HOSTILE_NOTE, HOSTILE_PLACE, SLUG, TREES, make_web_site

LOOK = {
    "inspected_on": "2026-06-10",
    "level": "formal",
    "organisation": "Inspectors {{7*7}}",
    "qualification": "certificate",
    "qualified": "yes",
}


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def test_a_whole_ground_is_answered_in_one_tap_and_single_trees_by_name(client, store, view):
    ids = view.trees.sort_values("fid")["tree_id"].to_list()
    own = {f"answer-{ids[0]}": "not reached", f"note-{ids[1]}": "fungus at the foot"}
    sent = send(client, "/inspections/new", **LOOK, **own, rest="nothing recorded")
    assert sent.status == 303
    looks = now(store).records.inspections
    answers = looks[looks["inspected_on"] == "2026-06-10"].set_index("tree_id")["answer"]
    assert answers[ids[0]] == "not reached"
    assert answers[ids[1]] == "recorded"
    assert (answers.drop(ids[:2]) == "nothing recorded").all()
    assert len(answers) == TREES
    dates = now(store).trees.set_index("tree_id")["last_inspected_on"]
    assert dates[ids[2]] == "2026-06-10"


def test_a_place_is_looked_at_by_itself(client, store, view):
    sent = send(client, "/inspections/new?zone=Front%20yard", **LOOK, rest="nothing recorded")
    assert sent.status == 303
    looks = now(store).records.inspections
    assert (looks["inspected_on"] == "2026-06-10").sum() == TREES // 2


def test_a_look_that_is_not_entered_as_qualified_moves_no_day_and_says_so(client, store, view):
    before = view.trees.set_index("tree_id")["last_inspected_on"]
    send(client, "/inspections/new", **{**LOOK, "qualified": None}, rest="nothing recorded")
    assert any("moves no day" in said for said in told(client, "/flags"))
    after = now(store).trees.set_index("tree_id")["last_inspected_on"]
    assert after.to_dict() == before.to_dict()


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"inspected_on": ""}, "inspected_on"),
        ({"inspected_on": "today"}, "inspected_on"),
        ({"organisation": ""}, "organisation"),
        ({"qualification": ""}, "qualification"),
        ({"next_look_by": "soon"}, "next_look_by"),
        ({"rest": ""}, ""),
    ],
)
def test_a_fault_is_shown_beside_its_field_and_nothing_is_taken(client, store, view, typed, field):
    sent = send(client, "/inspections/new", **{**LOOK, "rest": "nothing recorded", **typed})
    assert sent.status == 422
    assert field in sent.faults if field else sent.whole
    assert len(now(store).records.inspections) == len(view.records.inspections)


def test_a_zone_of_very_many_trees_is_answered_as_a_whole(client, store, view, monkeypatch):
    monkeypatch.setattr(look_forms, "MOST_ROWS", 10)
    page = client.get(f"/sites/{SLUG}/inspections/new").text
    assert f"{TREES} trees are in this zone" in page
    assert 'name="answer-' not in page
    assert send(client, "/inspections/new", **LOOK, rest="nothing recorded").status == 303
    assert (now(store).records.inspections["inspected_on"] == "2026-06-10").sum() == TREES


def question(view, kind="sign"):
    return view.flags[view.flags["kind"] == kind].iloc[0]


def test_an_answer_settles_one_question_and_leaves_the_others(client, store, view):
    flag = question(view)
    sent = send(
        client,
        f"/flags/answer?key={flag.flag_key}",
        found="dead twigs, none over the path",
        capacity="tree inspector",
        looked_on="2026-06-11",
    )
    assert sent.status == 303
    assert sent.location.endswith(f"/trees/{flag.tree_id}")
    flags = now(store).flags.set_index("flag_key")
    assert flags.loc[flag.flag_key, "answered"]
    mine = flags[(flags["tree_id"] == flag.tree_id) & (flags.index != flag.flag_key)]
    assert mine["answered"].isna().all()


@pytest.mark.parametrize("field", ["found", "capacity", "looked_on"])
def test_an_answer_needs_what_was_seen_by_whom_and_when(client, store, view, field):
    whole = {"found": "dead twigs", "capacity": "tree inspector", "looked_on": "2026-06-11"}
    sent = send(client, f"/flags/answer?key={question(view).flag_key}", **{**whole, field: ""})
    assert sent.status == 422
    assert list(sent.faults) == [field]
    assert len(now(store).records.findings) == 0


def test_a_question_that_is_not_asked_is_not_found(client, view):
    assert client.get(f"/sites/{SLUG}/flags/answer?key=branch:none:none").status_code == 404


def test_forms_of_looking_carry_the_caution_and_show_hostile_words_as_typed(client, view):
    for path in ("/inspections/new", f"/flags/answer?key={question(view).flag_key}"):
        page = words(client.get(f"/sites/{SLUG}{path}").text)
        assert "This list comes from what was measured and written down. It is not an inspection." in page
    page = client.get(f"/sites/{SLUG}/inspections/new").text
    assert f">{HOSTILE_PLACE.replace(chr(34), '&#34;')}</option>" in page
    page = client.get(f"/sites/{SLUG}/flags/answer?key={question(view).flag_key}").text
    assert HOSTILE_NOTE.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace(
        "'", "&#39;"
    ) in (page)
