"""Versioned records: nothing is overwritten unseen, and everything can be taken back."""

import pytest

from service.actors import LOCAL_MANAGER
from service.edit import add_areas, add_trees, cross_out, edit_tree
from service.entry import enter_readings
from service.errors import InvalidRequest, NotFound, StaleVersion
from service.store.frames import records_of
from service.store.site_rows import create_site, find_site
from service.undo import undo_last
from tests.store.test_entry import STEM, TREE

SQUARE = {
    "type": "Polygon",
    "coordinates": [[[9.0, 47.0], [9.001, 47.0], [9.001, 47.001], [9.0, 47.001], [9.0, 47.0]]],
}
LIME = {
    "id": TREE,
    "tag": "7",
    "name_as_written": "tilia cordata",
    "place": "Yard",
    "lon_deg": 9.0,
    "lat_deg": 47.0,
}


@pytest.fixture
def school(store):
    create_site(store, "school", name="School", actor=LOCAL_MANAGER)
    add_trees(store, "school", LOCAL_MANAGER, [LIME])
    return store


def _records(store, known_at=None):
    with store.read() as connection:
        return records_of(connection, find_site(connection, "school").fid, known_at)


def test_a_tree_gets_its_name_place_cell_and_stem(school):
    tree = _records(school).trees.iloc[0]
    assert (tree["scientific_name"], tree["place"], tree["version"]) == ("Tilia cordata", "Yard", 1)
    assert _records(school).stems["stem_id"].tolist() == [STEM]


def test_an_edit_is_a_new_version_and_the_former_one_can_be_asked_for(school):
    before = int(_records(school).trees.iloc[0]["change_no"])
    assert edit_tree(school, "school", LOCAL_MANAGER, TREE, 1, {**LIME, "tag": "8"}) == 2
    assert _records(school).trees["tag"].tolist() == ["8"]
    assert _records(school, before).trees["tag"].tolist() == ["7"]


def test_an_edit_on_an_older_version_is_refused_with_both_contents(school):
    edit_tree(school, "school", LOCAL_MANAGER, TREE, 1, {**LIME, "tag": "8"})
    with pytest.raises(StaleVersion) as caught:
        edit_tree(school, "school", LOCAL_MANAGER, TREE, 1, {**LIME, "tag": "9"})
    assert (caught.value.sent["tag"], caught.value.known["tag"]) == ("9", "8")
    assert _records(school).trees["tag"].tolist() == ["8"]


def test_a_tree_entered_by_mistake_counts_nowhere(school):
    cross_out(school, "school", LOCAL_MANAGER, "tree", TREE, 1)
    assert len(_records(school).trees) == 0


def test_taking_back_goes_entry_by_entry(school):
    edit_tree(school, "school", LOCAL_MANAGER, TREE, 1, {**LIME, "tag": "8"})
    enter_readings(school, "school", LOCAL_MANAGER, [{"stem_id": STEM, "value": 94.2}])
    assert undo_last(school, "school", LOCAL_MANAGER) == 1
    assert _records(school).readings["void"].tolist() == [False, True]
    undo_last(school, "school", LOCAL_MANAGER)
    assert _records(school).trees["tag"].tolist() == ["7"]
    undo_last(school, "school", LOCAL_MANAGER)
    assert len(_records(school).trees) == 0
    with pytest.raises(NotFound):
        undo_last(school, "school", LOCAL_MANAGER)


def test_an_area_keeps_its_outline(school):
    add_areas(school, "school", LOCAL_MANAGER, [{"name": "Lawn", "kind": "lawn", "geometry": SQUARE}])
    assert _records(school).areas.iloc[0]["geometry"].bounds == (9.0, 47.0, 9.001, 47.001)


def test_an_area_without_outline_or_hectares_is_refused(school):
    with pytest.raises(InvalidRequest, match="outline, or its hectares"):
        add_areas(school, "school", LOCAL_MANAGER, [{"name": "Lawn"}])
