"""Forms of one tree: a new one, its facts, crossing out, taking back."""

import pytest

from service.actors import LOCAL_MANAGER
from service.view import view_of
from tests.web_forms import send, told, words
from tests.web_site import HOSTILE_PLACE, HOSTILE_TAG, SLUG, TREES, make_web_site


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def first(view):
    return view.trees.sort_values("fid").iloc[0]


def tagged(store, tag):
    trees = now(store).records.trees
    return trees[trees["tag"] == tag].iloc[0]


def test_a_tapped_tree_is_taken_with_where_its_position_is_from_and_how_well_it_is_known(client, store, view):
    sent = send(
        client,
        "/trees/new",
        tag="N1",
        name_as_written="Fagus sylvatica",
        lon_deg="9.1701",
        lat_deg="47,6601",
        position_source="tap on plan",
        position_accuracy_m="1.2",
        stems="2",
    )
    assert sent.status == 303
    tree = tagged(store, "N1")
    assert sent.location.endswith(f"/trees/{tree.tree_id}")
    assert (tree.lon_deg, tree.lat_deg) == (9.1701, 47.6601)
    assert (tree.position_source, tree.position_accuracy_m) == ("tap on plan", 1.2)
    assert tree.scientific_name == "Fagus sylvatica"
    stems = now(store).records.stems
    assert (stems["tree_id"] == tree.tree_id).sum() == 2


def test_a_tap_without_an_accuracy_is_known_as_well_as_a_finger_points(client, store, view):
    send(client, "/trees/new", tag="N1", lon_deg="9.17", lat_deg="47.66", position_source="tap on plan")
    assert tagged(store, "N1").position_accuracy_m == 3.5


def test_a_tree_without_a_position_counts_for_its_place(client, store, view):
    sent = send(client, "/trees/new", tag="N1", place="North edge", position_source="GPS")
    assert sent.status == 303
    tree = tagged(store, "N1")
    assert tree.place == "North edge"
    assert tree.position_source is None
    assert [row["trees"] for row in now(store).figures if row["name"] == "North edge"] == [1]


def test_the_next_tree_begins_in_the_same_place(client, view):
    sent = send(client, "/trees/new", tag="N1", place=HOSTILE_PLACE, again="yes")
    assert sent.status == 303
    shown = client.get(sent.location)
    assert 'value="Back `${8*8}` &#34;yard&#34; {# x #}"' in shown.text


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("lon_deg", "far"),
        ("lat_deg", "91"),
        ("stems", "0"),
        ("stems", "1.5"),
        ("planted_on", "2026-02-30"),
        ("position_accuracy_m", "-1"),
        ("tag", "\x00"),
    ],
)
def test_a_fault_stands_beside_its_field_and_nothing_is_taken(client, store, view, field, typed):
    position = {"lon_deg": "9.17", "lat_deg": "47.66", "position_source": "GPS"}
    sent = send(client, "/trees/new", **{**position, "tag": "N1", field: typed})
    assert sent.status == 422
    assert field in sent.faults
    assert sent.whole.startswith("Nothing was taken yet.")
    assert len(now(store).records.trees) == TREES
    assert field == "tag" or 'value="N1"' in sent.page


def test_half_a_position_is_a_fault(client, store, view):
    sent = send(client, "/trees/new", tag="N1", lon_deg="9.17")
    assert sent.status == 422
    assert "both its numbers" in sent.whole
    assert len(now(store).records.trees) == TREES


def test_two_standing_trees_with_one_number_are_questioned_never_refused(client, store, view):
    sent = send(client, "/trees/new", tag="A1", place="Front yard")
    assert sent.status == 303
    assert any(said.startswith("Please check: another standing tree") for said in told(client))
    assert (now(store).records.trees["tag"] == "A1").sum() == 2


def test_changed_facts_keep_what_the_form_does_not_show(client, store, view):
    tree = first(view)
    sent = send(client, f"/trees/{tree.tree_id}/edit", tag="B1", keeper="shared")
    assert sent.status == 303
    record = now(store).records.trees.set_index("tree_id").loc[tree.tree_id]
    before = view.records.trees.set_index("tree_id").loc[tree.tree_id]
    assert (record["tag"], record["keeper"], record["version"]) == ("B1", "shared", before["version"] + 1)
    same = ["status", "kept", "external_id", "lon_deg", "lat_deg", "scientific_name", "name_as_written"]
    assert record[same].to_list() == before[same].to_list()


def test_changed_facts_stay_in_sight_on_the_tree_s_page(client, store, view):
    path = f"/trees/{first(view).tree_id}"
    send(client, f"{path}/edit", tag="B1", place="North <i>")
    send(client, f"{path}/edit", keeper="shared")
    page = words(client.get(f"/sites/{SLUG}{path}").text)
    assert "number changed from “A1” to “B1”" in page
    assert "place changed from “Front yard” to “North <i>”" in page
    assert "whose tree changed from “–” to “shared”" in page
    assert page.index("whose tree changed") < page.index("number changed")


def test_a_change_on_an_older_version_changes_nothing_and_says_so(client, store, view):
    tree = first(view)
    path = f"/trees/{tree.tree_id}/edit"
    assert send(client, path, tag="B1").status == 303
    sent = send(client, path, tag="B2", version="1")
    assert sent.status == 422
    assert "Somebody changed this meanwhile" in sent.whole
    assert tagged(store, "B1").tree_id == tree.tree_id


def test_a_tree_entered_by_mistake_counts_nowhere_and_comes_back(client, store, view):
    tree = first(view)
    path = f"/trees/{tree.tree_id}"
    assert send(client, f"{path}/edit", at=f"{path}/cross-out").status == 303
    assert now(store).figures[0]["trees"] == TREES - 1
    assert send(client, "/undo").status == 303
    assert now(store).figures[0]["trees"] == TREES


def test_what_would_be_taken_back_is_said_first_and_only_that_is(client, store, view):
    send(client, "/trees/new", tag="N1")
    assert "The last entry by hand: a tree," in words(client.get(f"/sites/{SLUG}/undo").text)
    sent = send(client, "/undo", change_no="1")
    assert sent.status == 303
    assert "N1" in set(now(store).records.trees["tag"])
    assert send(client, "/undo").status == 303
    assert any(said.startswith("Taken back: 2 entries") for said in told(client))
    assert "N1" not in set(now(store).records.trees["tag"])


def test_hostile_words_are_choices_of_the_form_as_they_were_typed(client, view):
    page = client.get(f"/sites/{SLUG}/trees/new").text
    assert '<option value="Back `${8*8}` &#34;yard&#34; {# x #}">' in page
    tree = view.trees[view.trees["tag"] == HOSTILE_TAG].iloc[0]
    for form in ("edit", "measure", "note"):
        page = client.get(f"/sites/{SLUG}/trees/{tree.tree_id}/{form}").text
        assert "{{7*7}}&lt;script&gt;" in page
        assert "<script>document.title" not in page


@pytest.mark.parametrize("form", ["edit", "measure", "note"])
def test_a_tree_that_is_not_there_is_not_found(client, view, form):
    assert client.get(f"/sites/{SLUG}/trees/00000000-0000-4000-8000-000000000000/{form}").status_code == 404


def test_a_tree_of_which_nothing_is_said_is_not_taken(client, store, view):
    sent = send(client, "/trees/new")
    assert sent.status == 422 and "Say one thing at least" in sent.whole
    assert len(now(store).trees) == TREES
    assert send(client, "/trees/new", place="yard").status == 303
