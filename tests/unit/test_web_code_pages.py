"""How a local code may count a tree: its height, its limit, its rule for several trunks."""

import pytest

from service.actors import LOCAL_MANAGER
from service.edit import add_trees
from service.entry import enter_readings
from service.view import view_of
from tests.web_forms import send, words
from tests.web_site import SLUG, make_web_site

TREE = "7c9e6679-7425-40de-944b-e07fc1f90d01"


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


@pytest.fixture
def address(store, view):
    """A tree of three trunks of 30, 20 and 10 cm, measured by trained staff at 1.30 m."""
    add_trees(store, SLUG, LOCAL_MANAGER, [{"id": TREE, "tag": "three", "stems": 3}])
    stems = view_of(store, SLUG, LOCAL_MANAGER).records.stems
    mine = stems[stems["tree_id"] == TREE].sort_values("number")["stem_id"]
    said = {"quantity": "diameter", "instrument": "caliper", "height_m": 1.3, "measured_on": "2025-05-01"}
    readings = [
        {**said, "stem_id": stem, "value": value} for stem, value in zip(mine, (30, 20, 10), strict=True)
    ]
    enter_readings(store, SLUG, LOCAL_MANAGER, readings)
    return f"/sites/{SLUG}/trees/{TREE}"


def test_the_page_of_a_tree_names_the_rules_with_their_numbers_and_errors(client, address):
    page = words(client.get(address).text)
    assert "How a local code may count it" in page
    for rule, size in (("all widths added", "60"), ("the largest and half of each other", "45")):
        after = page.partition(rule)[2][:100]
        assert size in after and "give or take" in after


def test_a_tree_of_one_trunk_has_no_rules_for_several(client, view):
    tree = view.trees.sort_values("fid").iloc[1].tree_id
    assert "all widths added" not in client.get(f"/sites/{SLUG}/trees/{tree}").text


@pytest.mark.parametrize(
    ("limit", "answer"),
    [("60", "it reaches the limit"), ("96", "cannot be told from here"), ("140", "it stays below the limit")],
)
def test_near_a_limit_there_is_no_answer(client, address, limit, answer):
    page = words(client.get(f"{address}/code?height_m=1.0&of=girth&limit={limit}").text)
    first = page.partition("Trunk 1")[2].partition("Trunk 2")[0]
    assert answer in first
    assert "converted to 1.00 m" in first


def test_the_height_of_the_ground_is_filled_in(client, address):
    page = client.get(f"{address}/code").text
    assert 'name="height_m" value="1.3"' in page
    assert "cannot be told" not in page


@pytest.mark.parametrize("query", ["height_m=0", "height_m=2", "height_m=high", "limit=many"])
def test_what_cannot_be_worked_out_is_said_beside_its_field(client, address, query):
    answer = client.get(f"{address}/code?{query}")
    assert answer.status_code == 422
    assert f'id="{query.partition("=")[0]}-fault"' in answer.text


def test_a_tree_that_is_not_there_is_not_found(client, view):
    assert client.get(f"/sites/{SLUG}/trees/{TREE}/code").status_code == 404


def test_heights_of_the_ground_are_offered_with_who_uses_them_and_why_one_is_preselected(client, view):
    send(client, "/terms", country="us")
    page = words(client.get(f"/sites/{SLUG}/terms").text)
    assert "1.50 m: tree care in Britain" in page
    assert "For US it is 1.37 m that is preselected, because it is used there: USA, India and Nepal" in page
