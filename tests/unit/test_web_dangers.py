"""Dangers on top of every page, their answers, closed places and hazards, through the pages and the API."""

import json
import re
import uuid

import pytest

from service.actors import LOCAL_MANAGER
from service.danger import enter_dangers
from service.view import view_of
from tests.web_forms import send, told, words
from tests.web_site import HOSTILE_NOTE, SLUG, make_web_site

SITE = f"/sites/{SLUG}"
API = f"/api/sites/{SLUG}"
BOX = "Danger was seen here. Keep people away. Call now: 112 <b>"
RING = json.dumps(
    {
        "type": "Polygon",
        "coordinates": [[[9.1699, 47.6599], [9.17015, 47.6599], [9.17015, 47.662], [9.1699, 47.6599]]],
    }
)
LINE = json.dumps({"type": "LineString", "coordinates": [[9.17, 47.66], [9.1702, 47.661]]})


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


@pytest.fixture
def tree(view):
    return view.trees.sort_values("fid").iloc[4]


def now(store, **asked):
    return view_of(store, SLUG, LOCAL_MANAGER, **asked)


def report(tree_id=None, **said):
    return {
        "id": str(uuid.uuid4()),
        "sight": "fresh crack",
        "tree_id": tree_id,
        "seen_on": "2026-06-02",
        **said,
    }


def reported(store, *reports):
    answers = enter_dangers(store, SLUG, LOCAL_MANAGER, list(reports))
    assert {answer.outcome for answer in answers} <= {"taken", "questioned"}
    return [one["id"] for one in reports]


def pages_of_the_site(app, tree_id):
    """Every page of a ground that needs nothing but its name, or a tree."""
    for rule in app.url_map.iter_rules():
        is_page = "GET" in rule.methods and "." not in rule.rule.rpartition("/")[2]
        if is_page and rule.rule.startswith("/sites/<slug>") and rule.arguments <= {"slug", "tree_id"}:
            yield rule.rule.replace("<slug>", SLUG).replace("<tree_id>", tree_id)


def test_it_stands_on_top_of_every_page_of_the_ground_until_it_is_answered(app, client, store, tree):
    (id,) = reported(store, report(tree.tree_id, text=HOSTILE_NOTE))
    pages = {
        address: answer.text
        for address in pages_of_the_site(app, tree.tree_id)
        if (answer := client.get(address)).mimetype == "text/html" and answer.status_code == 200
    }
    assert len(pages) > 25
    assert {address for address, page in pages.items() if BOX not in words(page)} == set()
    assert {address for address, page in pages.items() if page.index("on-top") > page.index("<h1")} == set()
    assert BOX in words(client.get(f"{SITE}?as_of=2020-01-01").text)
    assert "<script>document.title='run'" not in pages[SITE]

    answer = {"did": "path closed", "organisation": "caretaker", "close": "no"}
    assert send(client, f"/dangers/{id}/answer", **answer).status == 303
    assert {address for address in pages if BOX in words(client.get(address).text)} == set()


def test_an_answer_takes_it_off_the_top_and_leaves_the_tree_s_question_open(client, store, tree):
    (id,) = reported(store, report(tree.tree_id))
    send(client, f"/dangers/{id}/answer", did="path closed", organisation="caretaker", close="no")
    flags = now(store).flags
    sign = flags[(flags["tree_id"] == tree.tree_id) & (flags["rule"] == "crack")].iloc[0]
    assert sign["answered"] is None
    listed = words(client.get(f"{SITE}/dangers").text)
    assert re.search(r"Answered on \d+ \w+ \d{4} by caretaker: path closed", listed)


def test_all_that_was_seen_at_one_place_is_answered_together_or_one_by_one(client, store, tree):
    first, second = reported(store, report(tree.tree_id), report(tree.tree_id, sight="new lean"))
    reported(store, report(None, place="behind the gym"))
    shown = words(client.get(f"{SITE}/dangers/{first}/answer").text)
    assert shown.count("a fresh crack in the wood") == 3  # on top (twice: two places), and in the form
    answer = {"did": "called", "organisation": "caretaker", "close": "no"}
    assert send(client, f"/dangers/{first}/answer", report=[second], **answer).status == 303
    dangers = now(store).dangers.set_index("danger_id")["answered"]
    assert (bool(dangers[first]), bool(dangers[second])) == (False, True)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"did": ""}, "did"),
        ({"organisation": ""}, "organisation"),
        ({"answered_on": "soon"}, "answered_on"),
        ({"close": "yes", "radius_m": ""}, "radius_m"),
        ({"close": "yes", "radius_m": "far"}, "radius_m"),
        ({"close": "yes", "radius_m": "20", "who_may_reopen": ""}, "who_may_reopen"),
        ({"report": None}, ""),
    ],
)
def test_an_answer_with_a_fault_answers_nothing_and_closes_nothing(client, store, tree, typed, field):
    (id,) = reported(store, report(tree.tree_id))
    said = {"did": "x", "organisation": "y", "who_may_reopen": "z", "close": "no", **typed}
    sent = send(client, f"/dangers/{id}/answer", **said)
    assert sent.status == 422
    assert field in sent.faults if field else sent.whole
    view = now(store)
    assert len(view.closures) == 0
    assert not view.dangers["answered"].any()


def test_closing_the_place_is_offered_first_and_comes_with_the_answer(client, store, tree):
    (id,) = reported(store, report(tree.tree_id))
    page = client.get(f"{SITE}/dangers/{id}/answer").text
    assert page.index('name="close" value="yes" checked') < page.index('name="did"')
    said = {
        "did": "tape put up",
        "organisation": "caretaker",
        "radius_m": "12",
        "who_may_reopen": "inspector",
    }
    assert send(client, f"/dangers/{id}/answer", **said).status == 303
    view = now(store)
    closure = view.closures.iloc[0]
    assert (closure["tree_id"], closure["radius_m"]) == (tree.tree_id, 12)
    assert view.records.danger_answers.iloc[0]["closure_id"] == closure["id"]
    shown = words(client.get(f"{SITE}/trees/{tree.tree_id}").text)
    assert "Keep out. a fresh crack in the wood" in shown
    assert "Who may reopen it: inspector" in shown
    for page in ("trees?q=A5", "flags?kind=all"):
        assert f"{tree.tag} closed: keep out" in words(client.get(f"{SITE}/{page}").text)


def test_the_circle_reaches_as_far_as_the_tree_could_where_that_is_known(client, store, view):
    tall = view.trees[view.trees["height_m"].notna()].iloc[0]
    (id,) = reported(store, report(tall.tree_id))
    found = re.search(r'name="radius_m" value="(\d+)"', client.get(f"{SITE}/dangers/{id}/answer").text)
    assert int(found[1]) >= tall.height_m


def test_a_danger_at_a_place_without_a_tree_is_reported_shown_and_closed(client, store, view):
    sent = send(
        client,
        "/dangers/new",
        seen=["new lean"],
        place="row behind the gym",
        lon_deg="9.1701",
        lat_deg="47.66",
    )
    assert sent.status == 303
    assert any(said.startswith("Danger was seen.") for said in told(client))
    assert "row behind the gym : it leans and did not before" in words(client.get(SITE).text)
    id = now(store).dangers.iloc[0]["danger_id"]
    said = {"did": "tape", "organisation": "caretaker", "radius_m": "5", "who_may_reopen": "inspector"}
    assert send(client, f"/dangers/{id}/answer", **said).status == 303
    closed = now(store)
    assert closed.closures.iloc[0]["name"] == "row behind the gym"
    assert len(closed.closed_trees) == 1


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"seen": None, "place": "gym"}, ""),
        ({"seen": "new lean"}, ""),
        ({"seen": "new lean", "lon_deg": "x"}, "lon_deg"),
    ],
)
def test_a_report_of_nothing_or_of_nowhere_is_asked_about(client, store, view, typed, field):
    sent = send(client, "/dangers/new", **typed)
    assert sent.status == 422
    assert field in sent.faults if field else sent.whole
    assert len(now(store).dangers) == 0


def test_an_area_is_closed_by_its_name_changed_and_reopened_on_a_finding(client, store, view):
    send(client, "/areas/new", name="Front lawn", kind="lawn", geometry=RING)
    area = now(store).areas.iloc[0]
    said = {"name": "Front lawn", "area": area.area_id, "why": "storm", "who_may_reopen": "council"}
    assert send(client, "/closures/new", **said).status == 303
    closure = now(store).closures.iloc[0]
    assert closure["geometry"].equals(area.geometry)
    inside = set(now(store).closed_trees)
    assert inside
    assert "Front lawn since" in words(client.get(f"{SITE}/ground").text)
    assert "1 place is closed Front lawn" in words(client.get(SITE).text)

    assert send(client, f"/closures/{closure.id}/edit", how_marked="red tape").status == 303
    assert now(store).closures.iloc[0]["how_marked"] == "red tape"
    assert send(client, f"/closures/{closure.id}/reopen").status == 422
    opened = {"reopened_because": "branches taken down", "reopened_by": "council inspector"}
    assert send(client, f"/closures/{closure.id}/reopen", **opened).status == 303
    assert len(now(store).closures) == 0
    assert "branches taken down (council inspector)" in words(client.get(f"{SITE}/ground").text)


def test_a_closure_in_words_alone_says_that_it_is_on_no_map(client, store, view):
    said = {"name": "the far end", "why": "storm", "who_may_reopen": "council"}
    assert send(client, "/closures/new", **said).status == 303
    assert "In words only: it is on no map." in words(client.get(f"{SITE}/ground").text)


def test_a_closure_drawn_on_a_bow_tie_is_refused_beside_its_field(client, store, view):
    bow = {
        "type": "Polygon",
        "coordinates": [[[9.0, 47.0], [9.1, 47.1], [9.1, 47.0], [9.0, 47.1], [9.0, 47.0]]],
    }
    said = {"name": "x", "why": "y", "who_may_reopen": "z", "geometry": json.dumps(bow)}
    sent = send(client, "/closures/new", **said)
    assert sent.status == 422
    assert sent.faults["geometry"]


def test_a_hazard_is_drawn_changed_and_crossed_out(client, store, view):
    said = {"kind": "overhead line", "geometry": LINE, "voltage_kv": "115", "barrier": "yes"}
    assert send(client, "/hazards/new", **said).status == 303
    hazard = now(store).hazards.iloc[0]
    page = words(client.get(f"{SITE}/ground").text)
    assert "115 kV: people who are not trained for lines" in page
    assert "at least 3.71 m away (29 CFR 1910.269, a rule of the United States). Ask the line's owner" in page
    assert send(client, f"/hazards/{hazard.id}/edit", voltage_kv="").status == 303
    assert "Its voltage is not known here" in words(client.get(f"{SITE}/ground").text)
    assert (
        send(client, f"/hazards/{hazard.id}/edit", at=f"/hazards/{hazard.id}/cross-out", version="2").status
        == 303
    )
    assert len(now(store).hazards) == 0
    assert send(client, "/hazards/new", kind="water").faults["geometry"]


def test_the_api_takes_reports_once_and_gives_what_stands(client, store, tree):
    sent = report(tree.tree_id, leader_did=["moved away"], recorded_at="2026-06-02T10:00:00+02:00")
    assert client.post(f"{API}/dangers", json=sent).status_code == 201
    assert client.post(f"{API}/dangers", json=sent).status_code == 200
    assert client.post(f"{API}/dangers", json={**sent, "sight": "new lean"}).status_code == 409
    assert client.post(f"{API}/dangers", json=report()).status_code == 422
    batch = client.post(f"{API}/dangers", json=[sent, report(place="gate"), {"sight": "odd"}]).json
    assert [answer["outcome"] for answer in batch] == ["already there", "taken", "refused"]
    told = client.get(f"{API}/dangers").json
    assert {(one["sight"], one["place"], one["answered"]) for one in told} == {
        ("fresh crack", None, False),
        ("fresh crack", "gate", False),
    }
    assert "fid" not in told[0]


def test_the_api_gives_closed_places_with_their_trees_and_hazards(client, store, tree):
    send(client, f"/closures/new?tree={tree.tree_id}", radius_m="3", why="crack", who_may_reopen="council")
    send(client, "/hazards/new", kind="water", geometry=LINE)
    (closure,) = client.get(f"{API}/closures").json
    assert closure["trees"] == [tree.tree_id]
    assert closure["geometry"]["type"] == "Polygon"
    assert client.get(f"{API}/closures?as_of=2020-01-01").json == []
    (hazard,) = client.get(f"{API}/hazards").json
    assert (hazard["kind"], hazard["barrier"], hazard["geometry"]["type"]) == ("water", False, "LineString")


@pytest.mark.parametrize(
    "path", ["/dangers/none/answer", "/closures/none/edit", "/closures/none/reopen", "/hazards/none/edit"]
)
def test_what_is_not_there_is_not_found(client, view, path):
    assert client.get(SITE + path).status_code == 404
