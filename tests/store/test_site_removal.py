"""A sample ground leaves whole; a real one never does."""

import io

import pytest
import sqlalchemy as sa
from PIL import Image

from service.actors import LOCAL_MANAGER, Actor
from service.edit import add_areas, add_trees, edit_tree
from service.entry import enter_inspections, enter_observations, enter_readings
from service.errors import InvalidRequest, NotFound, NotPermitted
from service.file_box import FileBox
from service.plan_images import add_plan_image
from service.store.schema import metadata
from service.store.site_removal import remove_sample
from service.store.site_rows import create_site
from service.view import view_of

OUTLINE = {"type": "Polygon", "coordinates": [[[0, 0], [0, 1], [1, 1], [0, 0]]]}


def picture(colour):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(out, "PNG")
    return out.getvalue()


def fill(store, box, slug, *, invented, colours):
    create_site(store, slug, actor=LOCAL_MANAGER, invented=invented)
    (tree,) = add_trees(store, slug, LOCAL_MANAGER, [{"tag": "1", "place": "Yard"}])
    edit_tree(store, slug, LOCAL_MANAGER, tree, 1, {"tag": "2"})
    stem = view_of(store, slug, LOCAL_MANAGER).records.stems.iloc[0].stem_id
    enter_readings(store, slug, LOCAL_MANAGER, [{"stem_id": stem, "value": 90}])
    enter_observations(store, slug, LOCAL_MANAGER, [{"tree_id": tree, "what": "hollow"}])
    look = {"inspected_on": "2026-05-01", "level": "formal", "organisation": "Council"}
    look["answers"] = {tree: {"answer": "nothing recorded"}}
    enter_inspections(store, slug, LOCAL_MANAGER, [look])
    add_areas(store, slug, LOCAL_MANAGER, [{"name": "Yard", "geometry": OUTLINE}])
    for colour in colours:
        add_plan_image(store, box, slug, LOCAL_MANAGER, colour, picture(colour))


def rows(store):
    with store.read() as connection:
        return {
            table.name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar()
            for table in metadata.sorted_tables
        }


@pytest.fixture
def box(tmp_path):
    return FileBox(tmp_path / "files")


def test_a_sample_leaves_with_every_row_and_touches_no_other_ground(store, box):
    fill(store, box, "mine", invented=False, colours=["red"])
    before = rows(store)
    fill(store, box, "sample", invented=True, colours=["red", "blue"])
    orphans = remove_sample(store, "sample", LOCAL_MANAGER)
    assert rows(store) == before
    assert len(orphans) == 1
    box.discard(orphans[0])
    box.discard(orphans[0])
    with pytest.raises(NotFound):
        box.get(orphans[0])
    kept = view_of(store, "mine", LOCAL_MANAGER).records.plan_images.iloc[0]["file_hash"]
    assert box.get(kept)
    with pytest.raises(NotFound):
        view_of(store, "sample", LOCAL_MANAGER)


def test_a_sample_that_comes_again_is_another_one_to_browsers(store, box):
    fill(store, box, "sample", invented=True, colours=[])
    before = view_of(store, "sample", LOCAL_MANAGER).key
    remove_sample(store, "sample", LOCAL_MANAGER)
    fill(store, box, "sample", invented=True, colours=[])
    again = view_of(store, "sample", LOCAL_MANAGER)
    assert again.key != before
    assert again.known_at == int(before.split("-manager-")[0].rsplit("-", 1)[1])


def test_a_real_ground_is_never_thrown_away(store, box):
    fill(store, box, "mine", invented=False, colours=[])
    before = rows(store)
    with pytest.raises(InvalidRequest):
        remove_sample(store, "mine", LOCAL_MANAGER)
    assert rows(store) == before


def test_throwing_away_needs_the_right_and_a_ground(store, box):
    fill(store, box, "sample", invented=True, colours=[])
    with pytest.raises(NotPermitted):
        remove_sample(store, "sample", Actor("crew", "crew"))
    with pytest.raises(NotFound):
        remove_sample(store, "nothing", LOCAL_MANAGER)
