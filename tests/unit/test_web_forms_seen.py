"""The form of what was seen, and the danger that stands on top until it is answered."""

import pytest

from layers.stop_card import STOP
from service.actors import LOCAL_MANAGER
from service.view import view_of
from tests.web_forms import send, told, words
from tests.web_site import SLUG, TREES, make_web_site

BOX = "Danger was seen here. Keep people away. Call now: 112 <b>"


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


@pytest.fixture
def path(view):
    """The form of a tree of which nothing was seen."""
    return f"/trees/{view.trees.sort_values('fid').iloc[4].tree_id}/note"


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def test_sights_height_and_crown_are_kept_each_for_itself(client, store, view, path):
    sent = send(
        client,
        path,
        seen=["dead branch", "hollow"],
        text="north side",
        height_m="14.5",
        crown_diameter_m="6",
        method="pole",
        seen_on="2026-06-01",
        crew_kind="volunteers",
        crew="team 2",
    )
    assert sent.status == 303
    kept = now(store).records.observations.iloc[len(view.records.observations) :]
    assert kept["what"].to_list() == ["dead branch", "hollow", "height", "crown diameter"]
    assert kept["text"].to_list()[:2] == ["north side", "north side"]
    assert kept["value"].to_list()[2:] == [14.5, 6]
    assert set(kept["crew_kind"]) == {"volunteers"}
    assert set(kept["crew"]) == {"team 2"}


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({}, ""),
        ({"height_m": "tall"}, "height_m"),
        ({"height_m": "0"}, "height_m"),
        ({"crown_diameter_m": "-2"}, "crown_diameter_m"),
        ({"seen": "hollow", "crew": "Mrs Smith"}, "crew"),
        ({"seen": "hollow", "seen_on": "soon"}, "seen_on"),
        ({"seen": ["hollow", "none of these"]}, ""),
    ],
)
def test_a_fault_is_shown_and_nothing_is_taken(client, store, view, path, typed, field):
    sent = send(client, path, **typed)
    assert sent.status == 422
    assert field in sent.faults if field else sent.whole
    assert len(now(store).records.observations) == len(view.records.observations)


def test_what_was_ticked_is_still_ticked_beside_a_fault(client, path):
    sent = send(client, path, seen=["hollow", "new lean"], height_m="tall")
    assert 'value="hollow" checked' in sent.page
    assert 'value="new lean" checked' in sent.page


@pytest.mark.parametrize("said", ["not found", "looks dead: no leaves", "only a stump here"])
def test_what_helpers_say_of_a_tree_stays_in_doubt_and_it_goes_on_counting(client, store, view, path, said):
    sent = send(client, path, status=said, crew_kind="pupils", crew="5b")
    assert sent.status == 303
    event = now(store).records.status_events.iloc[-1]
    assert (event.as_said, bool(event.in_doubt)) == (said, True)
    figures = now(store).figures[0]
    assert (figures["trees"], figures["in_doubt_trees"]) == (TREES, 1)


def test_trees_in_doubt_are_named_on_the_first_page_until_they_are_settled(client, view, path):
    send(client, path, status="only a stump here", crew_kind="pupils", seen_on="2026-06-01")
    page = words(client.get(f"/sites/{SLUG}").text)
    assert "1 tree was not as it was" in page
    assert "tree A5 only a stump here, 1 Jun 2026" in page
    send(client, path, status="living", seen_on="2026-06-02")
    assert "was not as it was" not in words(client.get(f"/sites/{SLUG}").text)


@pytest.mark.parametrize("crew_kind", ["pupils", "volunteers"])
@pytest.mark.parametrize("said", ["dead", "removed", "living"])
def test_helpers_settle_nothing(client, store, view, path, crew_kind, said):
    sent = send(client, path, status=said, crew_kind=crew_kind)
    assert sent.status == 422
    assert "status" in sent.faults
    assert len(now(store).records.status_events) == len(view.records.status_events)


def test_whoever_looks_after_the_ground_settles_what_became_of_a_tree(client, store, view, path):
    send(client, path, status="not found", crew_kind="pupils")
    assert send(client, path, status="removed", seen_on=view.as_of).status == 303
    figures = now(store).figures[0]
    assert (figures["trees"], figures["in_doubt_trees"]) == (TREES - 1, 0)


def on_top(store):
    """What of the dangers nobody has answered: tree and sight."""
    open_ones = now(store).dangers
    open_ones = open_ones[~open_ones["answered"]]
    return list(zip(open_ones["tree_id"], open_ones["sight"], strict=True))


def test_the_form_says_stop_with_the_number_before_anything_else(client, path):
    page = words(client.get(f"/sites/{SLUG}{path}").text)
    assert f"{STOP} Call 112 <b>." in page
    assert page.index(STOP) < page.index("a branch hangs") < page.index("a dead branch")


def test_a_danger_leaves_the_top_when_a_qualified_person_answers_its_own_question(client, store, view, path):
    tree = path.removesuffix("/note")
    send(client, path, seen=["fresh crack", "dead branch"], crew_kind="pupils")
    assert any(said.startswith("Danger was seen.") for said in told(client, tree))
    tree_id = tree.rpartition("/")[2]
    assert on_top(store) == [(tree_id, "fresh crack")]
    assert BOX in words(client.get(f"/sites/{SLUG}{tree}").text)

    flags = now(store).flags
    mine = flags[flags["tree_id"] == tree_id].set_index("rule")["flag_key"]
    answer = {"found": "dead twigs only", "capacity": "tree inspector"}
    assert send(client, f"/flags/answer?key={mine['dying back']}", **answer).status == 303
    assert on_top(store) == [(tree_id, "fresh crack")]
    assert send(client, f"/flags/answer?key={mine['crack']}", **answer).status == 303
    assert on_top(store) == []
    assert BOX not in words(client.get(f"/sites/{SLUG}{tree}").text)
    send(client, "/undo")
    assert on_top(store) == [(tree_id, "fresh crack")]


def test_a_finding_of_nobody_qualified_leaves_the_danger_on_top(client, store, path):
    send(client, path, seen="fresh crack")
    flags = now(store).flags
    key = flags.loc[flags["rule"] == "crack", "flag_key"].iloc[0]
    send(client, f"/flags/answer?key={key}", found="nothing", capacity="Pupils")
    assert len(on_top(store)) == 1


def test_a_danger_that_was_entered_by_mistake_is_taken_back(client, store, path):
    send(client, path, seen="on a wire")
    assert len(on_top(store)) == 1
    send(client, "/undo")
    assert on_top(store) == []
    page = client.get(f"/sites/{SLUG}{path.removesuffix('/note')}").text
    assert 'class="void"' in page


def test_dangers_and_what_else_was_seen_are_one_entry_and_one_taking_back(client, store, view, path):
    sent = send(client, path, seen=["fresh crack", "hollow"], height_m="14.5", text="north side")
    assert sent.status == 303
    records = now(store).records
    assert records.danger_reports[["sight", "text"]].values.tolist() == [["fresh crack", "north side"]]
    assert set(records.observations["what"].iloc[len(view.records.observations) :]) == {
        "hollow",
        "height",
        "fresh crack",
    }
    send(client, "/undo")
    assert on_top(store) == []
    assert len(now(store).trees.dropna(subset="height_m")) == len(view.trees.dropna(subset="height_m"))


def test_what_was_done_at_once_is_kept_with_the_report_and_shown(client, store, path):
    done = {
        "leader_did": ["area closed", "moved away"],
        "leader_called": "fire brigade",
        "leader_clock": "10:30",
    }
    sent = send(client, path, seen="new lean", seen_on="2026-06-01", crew_kind="pupils", crew="5b", **done)
    assert sent.status == 303
    told_at_once = now(store).dangers.iloc[0]
    assert told_at_once["leader_did"] == ("moved away", "area closed", "called")
    assert told_at_once["leader_at"] == "2026-06-01T10:30:00+02:00"
    page = words(client.get(f"/sites/{SLUG}/figures").text)
    assert "everybody moved away; the place was closed off; called: fire brigade; 1 Jun 2026, 10:30" in page
    assert "it leans and did not before (1 June 2026, pupils with their leader, 5b)" in page


def test_a_time_that_is_none_is_a_fault_and_what_was_ticked_stays_ticked(client, store, path):
    sent = send(client, path, seen="new lean", leader_did="moved away", leader_clock="soon")
    assert sent.status == 422
    assert "leader_clock" in sent.faults
    assert 'value="moved away" checked' in sent.page
    assert on_top(store) == []
