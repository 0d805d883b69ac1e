import json

import shapely
import sqlalchemy as sa

from service.actors import LOCAL_MANAGER
from service.intake.prepared import Question
from service.store import changes, rows, schema
from service.store.frames import records_of
from service.store.site_rows import find_site
from tests.store.import_files import prepared, rows_of, shape, take_in, tree_row

MOVED = shapely.box(8, 46, 8.002, 46.002).wkb


def areas(*shapes, **more):
    return prepared(*shapes, layer="areas", said=("name",), **more)


def edit_area(store, **values):
    with store.write() as conn:
        row = conn.execute(sa.select(schema.area)).one()
        change = changes.begin(conn, row.site_id, LOCAL_MANAGER, "edit")
        rows.revise(conn, schema.area, row.site_id, row.id, row.version, values, change.fid)


def test_areas_come_in_with_their_outline_and_what_they_were_imported_with(store):
    report = take_in(store, areas(shape(1, kept={"code": "x"}), shape(2), name="zones"))
    assert report.counts == {"taken": 2, "already_there": 0, "questioned": 0, "refused": 0}
    assert report.records["areas"] == {"new": 2, "changed": 0}
    with store.read() as conn:
        found = records_of(conn, find_site(conn, "park").fid).areas
    assert list(found["name"]) == ["Area 1", "Area 2"]
    assert set(found["layer"]) == {"zones"}
    assert found["geometry"][0].equals(shapely.from_wkb(shape(1).wkb))


def test_targets_come_in_as_targets(store):
    path = shapely.LineString([(9, 47), (9.001, 47)]).wkb
    report = take_in(store, prepared(shape(1, kind="path", wkb=path), layer="targets", said=("name",)))
    assert report.records["targets"] == {"new": 1, "changed": 0}
    assert rows_of(store, schema.target)[0].kind == "path"


def test_the_same_outlines_again_take_nothing(store):
    file = areas(shape(1, questions=[Question("crossing", "The outline crosses itself.")]), shape(2))
    assert take_in(store, file).counts["questioned"] == 1
    report = take_in(store, file)
    assert (report.already_there, report.change_no) == (2, None)


def test_a_changed_outline_is_a_new_version_of_the_same_area(store):
    take_in(store, areas(shape(1)))
    before = rows_of(store, schema.area)[0]
    report = take_in(store, areas(shape(1, wkb=MOVED)))
    after = rows_of(store, schema.area)[0]
    assert report.records["areas"] == {"new": 0, "changed": 1}
    assert (after.id, after.version, after.wkb) == (before.id, 2, MOVED)
    with store.read() as conn:
        former = conn.execute(sa.select(schema.former_version.c.content)).scalar()
    assert bytes.fromhex(json.loads(former)["wkb"]) == before.wkb


def test_an_outline_that_a_person_redrew_here_is_kept_and_the_other_proposed(store):
    take_in(store, areas(shape(1)))
    redrawn = shapely.box(9, 47, 9.5, 47.5).wkb
    edit_area(store, wkb=redrawn)
    file = areas(shape(1, wkb=MOVED))
    assert take_in(store, file).questioned == 1
    assert rows_of(store, schema.area)[0].wkb == redrawn
    assert rows_of(store, schema.question)[0].subject == "area"
    assert take_in(store, file).already_there == 1


def test_a_kind_that_a_person_gave_here_stays_when_the_outline_changes(store):
    take_in(store, areas(shape(1, kind="other")))
    edit_area(store, kind="play area", use="every day")
    assert take_in(store, areas(shape(1, kind="other", wkb=MOVED))).taken == 1
    area = rows_of(store, schema.area)[0]
    assert (area.kind, area.use, area.wkb) == ("play area", "every day", MOVED)


def test_two_files_that_number_their_outlines_alike_are_different_areas(store):
    take_in(store, areas(shape(1), name="zones"))
    report = take_in(store, areas(shape(1, wkb=MOVED), name="beds"))
    assert (report.taken, report.not_in_file) == (1, [])
    assert len(rows_of(store, schema.area)) == 2


def test_outlines_no_longer_in_the_file_are_listed_and_stay(store):
    take_in(store, areas(shape(1), shape(2)))
    report = take_in(store, areas(shape(2)))
    assert report.not_in_file == ["list: 1"]
    assert len(rows_of(store, schema.area)) == 2


def test_outlines_without_a_unique_column_go_by_their_name(store):
    take_in(store, areas(shape(1, source_key=None)))
    assert take_in(store, areas(shape(1, source_key=None, wkb=MOVED))).records["areas"]["changed"] == 1


def test_outlines_of_equal_name_are_numbered_and_questioned(store):
    twins = [shape(1, source_key=None, name="Bed"), shape(2, source_key=None, name="Bed")]
    assert take_in(store, areas(*twins)).counts["questioned"] == 1
    assert take_in(store, areas(*twins)).already_there == 2


def test_an_area_that_comes_back_by_its_id_is_the_same_area(store):
    take_in(store, areas(shape(1, kind="lawn")))
    id = rows_of(store, schema.area)[0].id
    back = shape(1, source_key=None, own_ids={"area_id": id}, name="Area 1", kind="lawn")
    assert take_in(store, areas(back, name="out")).already_there == 1
    assert take_in(store, areas(shape(1, own_ids={"area_id": id}, wkb=MOVED), name="out")).taken == 1
    assert [area.version for area in rows_of(store, schema.area)] == [2]


def test_the_place_option_makes_areas_the_outlines_of_that_place(store):
    take_in(store, prepared(tree_row(1, place="North")))
    take_in(store, areas(shape(1)), place="North")
    (place,) = rows_of(store, schema.place)
    assert rows_of(store, schema.area)[0].place_id == place.id
