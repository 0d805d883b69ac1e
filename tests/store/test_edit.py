"""Versioned records: nothing is overwritten unseen, and everything can be taken back."""

import pytest

from service.actors import LOCAL_MANAGER
from service.edit import add_areas, add_trees, cross_out, edit_tree
from service.entry import enter_readings, enter_statuses
from service.errors import Conflict, InvalidRequest, NotFound, StaleVersion
from service.site_terms import edit_terms, terms_now
from service.store.frames import records_of
from service.store.site_rows import create_site, find_site
from service.undo import undo_last
from service.view import view_of
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


def test_a_known_id_is_left_alone_with_the_same_content_and_refused_with_another(school):
    edit_tree(school, "school", LOCAL_MANAGER, TREE, 1, {"tag": "8"})
    assert add_trees(school, "school", LOCAL_MANAGER, [LIME]) == [TREE]
    with pytest.raises(Conflict) as caught:
        add_trees(school, "school", LOCAL_MANAGER, [{**LIME, "tag": "9"}])
    assert (caught.value.sent["tag"], caught.value.known["tag"]) == ("9", "7")
    lawn = {"id": STEM, "name": "Lawn", "geometry": SQUARE}
    assert add_areas(school, "school", LOCAL_MANAGER, [lawn]) == [STEM]
    assert add_areas(school, "school", LOCAL_MANAGER, [lawn]) == [STEM]
    with pytest.raises(Conflict):
        add_areas(school, "school", LOCAL_MANAGER, [{**lawn, "name": "Meadow"}])


def test_an_id_that_is_known_on_another_ground_is_refused_for_a_tree(school):
    create_site(school, "park", actor=LOCAL_MANAGER)
    with pytest.raises(Conflict):
        add_trees(school, "park", LOCAL_MANAGER, [LIME])


def test_a_planting_more_than_a_year_ahead_is_refused(school):
    with pytest.raises(InvalidRequest, match="year ahead"):
        add_trees(school, "school", LOCAL_MANAGER, [{"planted_on": "2999-01-01"}])
    with pytest.raises(InvalidRequest, match="year ahead"):
        edit_tree(school, "school", LOCAL_MANAGER, TREE, 1, {"planted_on": "2999-01-01"})


def test_the_stem_of_a_tree_that_was_called_dead_by_mistake_counts_again(school):
    dead = add_trees(school, "school", LOCAL_MANAGER, [{"status": "dead"}, {"status": "dead"}])
    assert view_of(school, "school", LOCAL_MANAGER).figures[0]["stems"] == 1
    edit_tree(school, "school", LOCAL_MANAGER, dead[0], 1, {"status": "living"})
    enter_statuses(school, "school", LOCAL_MANAGER, [{"subject_id": dead[1], "status": "living"}])
    first = view_of(school, "school", LOCAL_MANAGER).figures[0]
    assert (first["trees"], first["stems"], first["dead_trees"]) == (3, 3, 0)


def test_what_was_known_earlier_is_computed_with_the_terms_of_then(school):
    said = {"stem_id": STEM, "value": 100.0, "height_m": 1.3, "measured_on": "2024-05-14"}
    enter_readings(school, "school", LOCAL_MANAGER, [said])
    then = view_of(school, "school", LOCAL_MANAGER, "2025-01-01")
    for height in (1.0, 1.5):
        known = terms_now(school, "school")
        values = {**known.values, "breast_height_m": height}
        edit_terms(school, "school", LOCAL_MANAGER, known.version, values)
    changed = view_of(school, "school", LOCAL_MANAGER, "2025-01-01")
    assert changed.figures[0]["basal_area_m2"] < then.figures[0]["basal_area_m2"]
    again = view_of(school, "school", LOCAL_MANAGER, "2025-01-01", known_at=then.known_at)
    assert again.terms.breast_height_m == 1.3
    assert again.figures == then.figures
    between = view_of(school, "school", LOCAL_MANAGER, "2025-01-01", known_at=then.known_at + 1)
    assert between.terms.breast_height_m == 1.0


def test_a_place_whose_entry_was_taken_back_can_be_named_again(school):
    for _ in range(2):
        add_trees(school, "school", LOCAL_MANAGER, [{"place": "Drive"}])
        assert "Drive" in {row["name"] for row in view_of(school, "school", LOCAL_MANAGER).figures}
        undo_last(school, "school", LOCAL_MANAGER)
    add_trees(school, "school", LOCAL_MANAGER, [{"place": "Drive"}])
    rows = view_of(school, "school", LOCAL_MANAGER).figures
    assert [row["trees"] for row in rows if row["name"] == "Drive"] == [1]


def test_a_position_is_given_in_the_frame_of_the_ground(school):
    with pytest.raises(InvalidRequest, match="lon_deg"):
        add_trees(school, "school", LOCAL_MANAGER, [{"x_m": 1.0, "y_m": 2.0}])
    create_site(school, "yard", actor=LOCAL_MANAGER, frame="local")
    with pytest.raises(InvalidRequest, match="x_m"):
        add_trees(school, "yard", LOCAL_MANAGER, [{"lon_deg": 9.0, "lat_deg": 47.0}])
