import csv
import uuid

import pytest

from service.actors import LOCAL_MANAGER, Actor
from service.errors import InvalidRequest, NotFound, NotPermitted
from service.intake.import_site import ground_of
from service.intake.prepared import ImportOptions, PreparedStatus, Question
from service.intake.taking import take
from service.store import schema
from service.store.frames import records_of
from service.store.site_rows import find_site
from tests.store.import_files import girth, prepared, rows_of, seen, take_in, tree_row


def test_every_row_becomes_a_tree_with_its_stem_its_reading_and_its_observations(store):
    report = take_in(store, prepared(tree_row(1, observations=[seen(12.0)]), tree_row(2)))
    assert report.counts == {"taken": 2, "already_there": 0, "questioned": 0, "refused": 0}
    assert report.records["trees"] == {"new": 2, "changed": 0}
    with store.read() as conn:
        site = find_site(conn, "park")
        records = records_of(conn, site.fid)
    assert list(records.trees["tag"]) == ["1", "2"]
    assert list(records.stems["tree_id"]) == list(records.trees["tree_id"])
    assert list(records.readings["value"]) == [101.0, 102.0]
    assert list(records.readings["stem_id"]) == list(records.stems["stem_id"])
    assert list(records.observations["value"]) == [12.0]
    assert records.readings["source"][0] == "list.csv, row 2, girth"
    assert site.change_no == report.change_no == 2


def test_ids_are_version_5_of_site_layer_place_key_stem_column_and_day(store):
    take_in(store, prepared(tree_row(7, readings=[girth(90.0, measured_on="2024-05-01")])), place="North")
    site = uuid.UUID("5b0f2f5e-3f0e-4d0a-9a3f-0d8f6c3f1a01")
    expected = "\x1f".join(("trees", "North", "7"))
    assert rows_of(store, schema.tree)[0].id == str(uuid.uuid5(site, expected))
    assert rows_of(store, schema.stem)[0].id == str(uuid.uuid5(site, expected + "\x1f1"))
    assert rows_of(store, schema.reading)[0].id == str(
        uuid.uuid5(site, expected + "\x1f1\x1fgirth\x1f2024-05-01")
    )


def test_the_four_add_up_and_refused_rows_leave_nothing(store):
    rows = (
        tree_row(1),
        tree_row(2, refused="A girth of -5 cm cannot be."),
        tree_row(3, questions=[Question("big", "A girth of 1,100 cm is rare.", "girth")]),
    )
    report = take_in(store, prepared(*rows))
    assert report.counts == {"taken": 1, "already_there": 0, "questioned": 1, "refused": 1}
    assert report.read == 3
    assert [tree.tag for tree in rows_of(store, schema.tree)] == ["1", "3"]
    question = rows_of(store, schema.question)[0]
    assert (question.subject, question.what, question.row) == ("reading", "big", 4)
    assert question.subject_id == rows_of(store, schema.reading)[1].id


def test_refused_and_questioned_rows_are_listed_beside_the_store(store):
    hostile = tree_row(2, name_as_written="=HYPERLINK(1)", refused="The position is impossible.")
    report = take_in(store, prepared(tree_row(1), hostile))
    with report.side_file.open(encoding="utf-8-sig") as file:
        lines = list(csv.DictReader(file))
    assert [line["row"] for line in lines] == ["3"]
    assert lines[0]["sentence"] == "The position is impossible."
    assert lines[0]["name_as_written"] == "'=HYPERLINK(1)"
    assert report.side_file.parent.name == "imports"


def test_the_same_file_again_takes_nothing_and_writes_nothing(store):
    file = prepared(tree_row(1), tree_row(2, questions=[Question("doubt", "Which lime?")]))
    take_in(store, file)
    before = rows_of(store, schema.source_key)
    report = take_in(store, file)
    assert report.counts == {"taken": 0, "already_there": 2, "questioned": 0, "refused": 0}
    assert report.change_no is None
    assert rows_of(store, schema.source_key) == before
    with store.read() as conn:
        assert find_site(conn, "park").change_no == 2


def test_a_dry_run_reports_the_same_and_writes_nothing(store):
    file = prepared(tree_row(1), tree_row(2, refused="Not a tree."))
    told = take_in(store, file, dry_run=True)
    assert rows_of(store, schema.tree) == []
    assert told.first_rows[0]["readings"] == [{"stem": 1, "quantity": "girth", "value": 101.0, "unit": "cm"}]
    done = take_in(store, file)
    assert (told.counts, told.records) == (done.counts, done.records)
    assert told.side_file is None and told.change_no is None


def test_a_dry_run_into_a_site_that_is_not_there_makes_none(store):
    with store.read() as conn:
        ground = ground_of(conn, "new", ImportOptions())
    report = take(store, prepared(tree_row(1)), ground, "", frozenset(), LOCAL_MANAGER, dry_run=True)
    assert report.taken == 1
    with store.read() as conn, pytest.raises(NotFound):
        find_site(conn, "new")


def test_a_site_that_is_not_there_is_made_with_defaults_that_are_said(store):
    with store.read() as conn:
        ground = ground_of(conn, "new", ImportOptions())
    report = take(store, prepared(tree_row(1)), ground, "", frozenset(), LOCAL_MANAGER)
    said = {guess.what: guess.value for guess in report.guesses}
    assert said == {
        "site": "new",
        "time zone": "UTC",
        "breast height": "1.30 m",
        "units": "metric",
        "frame": "earth",
    }
    with store.read() as conn:
        site = find_site(conn, "new")
    assert (site.time_zone, site.breast_height_m, site.units, site.change_no) == ("UTC", 1.3, "metric", 1)


def test_local_metres_make_a_local_site_and_none_of_one_with_positions_on_earth(store):
    local = tree_row(1, lon_deg=None, lat_deg=None, x_m=10.0, y_m=20.0)
    report = take_in(store, prepared(local), crs="local")
    assert [(g.what, g.value) for g in report.guesses] == [("frame", "local")]
    with store.read() as conn:
        assert find_site(conn, "park").frame == "local"
    take_in(store, prepared(tree_row(1)), slug="town", site_id=None)
    with pytest.raises(InvalidRequest, match="--crs EPSG"):
        take_in(store, prepared(local), slug="town", crs="local")


def test_a_name_that_cannot_be_an_address_makes_no_site(store):
    with store.read() as conn, pytest.raises(InvalidRequest, match="small letters"):
        ground_of(conn, "Our Park!", ImportOptions())


def test_named_parts_are_made_once_whatever_the_number_of_rows_and_files(store):
    take_in(store, prepared(tree_row(1, place="North"), tree_row(2, place="North")))
    report = take_in(store, prepared(tree_row(3, place="North"), tree_row(4, place="South")))
    assert [place.name for place in rows_of(store, schema.place)] == ["North", "South"]
    assert report.records["places"] == {"new": 1, "changed": 0}
    north, south = (place.id for place in rows_of(store, schema.place))
    assert [tree.place_id for tree in rows_of(store, schema.tree)] == [north, north, north, south]


def test_a_stump_is_a_place_and_no_tree(store):
    report = take_in(store, prepared(tree_row(1, place_kind="stump", readings=[])))
    assert rows_of(store, schema.tree) == [] and rows_of(store, schema.stem) == []
    assert [(place.kind, place.name) for place in rows_of(store, schema.place)] == [("stump", "1")]
    assert report.records["places"] == {"new": 1, "changed": 0}
    assert take_in(store, prepared(tree_row(1, place_kind="stump", readings=[]))).already_there == 1


def test_several_trunks_become_stems_of_one_tree(store):
    stems = [girth(80.0), girth(60.0)]
    stems[1].stem_number = 2
    take_in(store, prepared(tree_row(1, stems=3, readings=stems)))
    found = rows_of(store, schema.stem)
    assert [stem.number for stem in found] == [1, 2, 3]
    assert [reading.stem_id for reading in rows_of(store, schema.reading)] == [found[0].id, found[1].id]


def test_a_dated_status_is_an_event_of_the_stem_or_the_tree(store):
    said = [PreparedStatus("dead", "DEAD", 1, "2012-07-02", "year"), PreparedStatus("removed", "gone", 0)]
    take_in(store, prepared(tree_row(1, statuses=said)))
    events = rows_of(store, schema.status_event)
    assert [(e.subject, e.status, e.happened_on, e.as_said) for e in events] == [
        ("stem", "dead", "2012-07-02", "DEAD"),
        ("tree", "removed", None, "gone"),
    ]
    assert events[0].subject_id == rows_of(store, schema.stem)[0].id


def test_equal_keys_are_numbered_in_file_order_taken_and_questioned(store):
    rows = [tree_row(n, source_key="A", tag=None) for n in (1, 2, 3)]
    report = take_in(store, prepared(*rows))
    assert (report.taken, report.questioned) == (1, 2)
    assert [key.key for key in rows_of(store, schema.source_key)] == ["A", "A #2", "A #3"]
    assert len(rows_of(store, schema.tree)) == 3
    assert [q.what for q in rows_of(store, schema.question)] == ["same key", "same key"]
    assert take_in(store, prepared(*rows)).already_there == 3


def test_a_refused_row_keeps_its_number_so_that_mending_it_moves_no_other(store):
    broken = tree_row(1, source_key="A", tag="a", refused="The girth is no number.")
    take_in(store, prepared(broken, tree_row(2, source_key="A", tag="b")))
    take_in(
        store, prepared(tree_row(1, source_key="A", tag="a"), tree_row(2, source_key="A", tag="b"), hash="2")
    )
    assert {(t.tag, t.version) for t in rows_of(store, schema.tree)} == {("a", 1), ("b", 1)}


def test_one_tag_on_two_standing_trees_of_a_place_is_questioned_across_places_not(store):
    report = take_in(
        store,
        prepared(
            tree_row(1, tag="7", place="North"),
            tree_row(2, tag="7", place="South"),
            tree_row(3, tag="7", place="North"),
            tree_row(4, tag="7", place="North", status="removed"),
        ),
    )
    assert (report.taken, report.questioned) == (3, 1)
    assert [(q.what, q.row) for q in rows_of(store, schema.question)] == [("same tag", 4)]
    later = take_in(store, prepared(tree_row(5, tag="7", place="South")))
    assert later.questioned == 1


def test_without_a_unique_column_tag_and_place_are_the_key_then_position_and_species(store):
    unnamed = [tree_row(n, source_key=None) for n in (1, 2, 3)]
    unnamed[0].place = "North"
    unnamed[2].tag = None
    take_in(store, prepared(*unnamed))
    assert [key.key for key in rows_of(store, schema.source_key)] == [
        "1 @ North",
        "2",
        "9.003000, 47.000000 Tilia cordata",
    ]


def test_two_readings_of_one_column_and_day_both_stay(store):
    take_in(store, prepared(tree_row(1, readings=[girth(80.0), girth(81.0)])))
    assert [reading.value for reading in rows_of(store, schema.reading)] == [80.0, 81.0]
    assert take_in(store, prepared(tree_row(1, readings=[girth(80.0), girth(81.0)]))).already_there == 1


def test_only_who_may_manage_imports(store, tmp_path):
    from service.intake.run import import_file

    with pytest.raises(NotPermitted):
        import_file(store, tmp_path / "list.csv", "park", ImportOptions(), Actor("crew", "A"))
