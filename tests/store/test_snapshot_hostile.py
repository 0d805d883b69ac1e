"""What stands in a snapshot is checked before anything is written; what cannot be is said with its place."""

import json
import shutil
import sqlite3
from contextlib import closing

import pytest
import sqlalchemy as sa

from service.actors import LOCAL_MANAGER
from service.errors import InvalidRequest, NotFound
from service.file_box import FileBox
from service.intake.snapshot_in import is_snapshot, restore
from service.site_files import write_site
from service.store import schema
from service.store.migrating import open_store
from service.view import view_of
from tests.site_life import new_life

SLUG = "life"
MANY = (2**31).to_bytes(4, "little")


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A snapshot of a ground on which everything happened."""
    folder = tmp_path_factory.mktemp("life")
    store, box = open_store(str(folder / "store.sqlite")), FileBox(folder / "files")
    new_life(store, box, folder)
    write_site(store, SLUG, LOCAL_MANAGER, "gpkg", folder / "life.gpkg", box=box)
    store.close()
    return folder / "life.gpkg"


@pytest.fixture
def changed(whole, tmp_path):
    """Make a copy of the snapshot that somebody has changed."""

    def make(*statements):
        path = tmp_path / "changed.gpkg"
        shutil.copy(whole, path)
        with closing(sqlite3.connect(path)) as file, file:
            for statement in statements:
                file.execute(*statement) if isinstance(statement, tuple) else file.execute(statement)
        return path

    return make


@pytest.fixture
def empty(tmp_path):
    store = open_store(str(tmp_path / "empty.sqlite"))
    yield store
    store.close()


def rows(store):
    with store.read() as connection:
        tables = schema.metadata.sorted_tables
        return sum(
            connection.execute(sa.select(sa.func.count()).select_from(table)).scalar() for table in tables
        )


def bring_in(store, path, box=None):
    return restore(store, path, None, LOCAL_MANAGER, box)


def set_(table, column, value):
    return (
        f"UPDATE record_{table} SET {column} = ? WHERE rowid = (SELECT max(rowid) FROM record_{table})",
        (value,),
    )


CELLS = [
    ("tree", "status", "flying"),
    ("tree", "lon_deg", 200.0),
    ("tree", "id", "not an id"),
    ("tree", "id", "6BA7B810-9DAD-11D1-80B4-00C04FD430C8"),
    ("tree", "status", None),
    ("tree", "tag", "a\0b"),
    ("tree", "tag", b"\x01\x02"),
    ("tree", "tag", "x" * 20_001),
    ("tree", "kept", "{"),
    ("tree", "kept", "[]"),
    ("tree", "kept", '{"a": 1}'),
    ("tree", "kept", '{"a": ' * 5000),
    ("tree", "version", 0),
    ("tree", "void", 7),
    ("tree", "change_no", 10**6),
    ("tree", "change_no", 0),
    ("reading", "value", "many"),
    ("reading", "value", float("inf")),
    ("reading", "unit", "cubits"),
    ("reading", "measured_on", "2024-02-30"),
    ("reading", "recorded_at", "noon"),
    ("reading", "supersedes", "the one before"),
    ("reading", "height_m", -1.0),
    ("stem", "tree_id", "5"),
    ("area", "wkb", b"\x01\x03\x00"),
    ("area", "wkb", b"\x01\x03\x00\x00\x00\x01\x00\x00\x00" + MANY),
    ("area", "wkb", (b"\x01\x06\x00\x00\x00\x01\x00\x00\x00") * 50),
    ("target", "wkb", None),
    ("calibration", "totals_cm", '["a"]'),
    ("plan_image", "file_hash", "../../etc/passwd"),
    ("plan_image", "placement", '{"matrix": [1]}'),
    ("site_model", "content", "{}"),
    ("site", "inspection_months", '{"path": "often"}'),
    ("site", "inspection_months", '{"path": 0}'),
    ("danger_report", "leader_did", "[5, {}]"),
    ("change", "summary", "NaN"),
    ("change", "kind", "magic"),
    ("former_version", "table_name", "sqlite_master"),
    ("former_version", "content", "{}"),
    ("former_version", "ended_by", None),
    ("settling", "answer", "perhaps"),
]


@pytest.mark.parametrize(("table", "column", "value"), CELLS)
def test_a_cell_that_cannot_be_is_refused_with_its_place(empty, changed, table, column, value):
    with pytest.raises(InvalidRequest, match=f"in {table} .* the column {column} ") as told:
        bring_in(empty, changed(set_(table, column, value)))
    assert "nothing was taken" in str(told.value)
    assert rows(empty) == 0


FILES = {
    "a number twice": "UPDATE record_change SET change_no = 900 WHERE change_no = 3",
    "a change that is not there": "DELETE FROM record_change WHERE change_no = 3",
    "the last change gone": "DELETE FROM record_change WHERE change_no IN (SELECT max(change_no) FROM "
    "record_change)",
    "a column more": "ALTER TABLE record_tree ADD COLUMN more TEXT",
    "a kind more": "CREATE TABLE record_wish (fid INTEGER PRIMARY KEY)",
    "a newer format": "UPDATE snapshot SET format_version = 2",
    "another format": "UPDATE snapshot SET format = 'other'",
    "two sites": "INSERT INTO record_site (id, slug, name) VALUES ('x', 'y', 'z')",
    "no site": "DELETE FROM record_site",
    "a short name that is a path": "UPDATE record_site SET slug = '../x'",
    "a height that is none": "UPDATE record_site SET breast_height_m = 9",
    "a zone that is none": "UPDATE record_site SET time_zone = 'Nowhere'",
    "no changes": "UPDATE record_site SET change_no = 0",
    "bytes that are no text": "UPDATE record_tree SET tag = CAST(x'ff' AS TEXT)",
    "a row with a number past counting": "UPDATE record_tree SET fid = 9223372036854775807 WHERE fid = 1",
}


@pytest.mark.parametrize("what", FILES)
def test_a_file_that_cannot_be_is_refused_in_a_sentence(empty, changed, what):
    with pytest.raises(InvalidRequest) as told:
        bring_in(empty, changed(FILES[what]))
    assert str(told.value).endswith((".", ". "))
    assert rows(empty) == 0


def test_a_former_version_of_nothing_is_refused_and_nothing_stays(empty, changed):
    path = changed(
        "DELETE FROM record_tree WHERE id IN "
        "(SELECT record_id FROM record_former_version WHERE table_name = 'tree')"
    )
    with pytest.raises(InvalidRequest, match="a record that is not in it"):
        bring_in(empty, path)
    assert rows(empty) == 0


def test_a_former_version_is_checked_as_the_record_that_it_was(empty, changed, whole):
    with closing(sqlite3.connect(whole)) as file:
        fid, text = file.execute(
            "SELECT fid, content FROM record_former_version WHERE table_name = 'tree' LIMIT 1"
        ).fetchone()
    for wrong in ({"status": "flying"}, {"id": "6ba7b810-9dad-11d1-80b4-00c04fd430c8"}, {"more": 1}):
        content = json.dumps({**json.loads(text), **wrong})
        path = changed(("UPDATE record_former_version SET content = ? WHERE fid = ?", (content, fid)))
        with pytest.raises(InvalidRequest):
            bring_in(empty, path)
    assert rows(empty) == 0


def test_a_view_in_the_place_of_a_table_is_never_read(empty, changed):
    """It would not end."""
    path = changed(
        "DROP TABLE record_finding",
        "CREATE VIEW record_finding AS "
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n",
    )
    bring_in(empty, path)
    assert len(view_of(empty, SLUG, LOCAL_MANAGER).records.findings) == 0


def test_a_view_that_says_what_the_file_is_makes_no_snapshot(changed):
    path = changed("DROP TABLE snapshot", "CREATE VIEW snapshot AS SELECT 'boleward site snapshot' AS format")
    assert not is_snapshot(path)


def test_a_report_names_no_file_of_this_machine(empty, changed):
    """Its rows are given out by the name that the report has."""
    path = changed(
        "UPDATE record_change SET summary = json_set(summary, '$.side_file', '/etc/passwd') "
        "WHERE kind = 'import'"
    )
    bring_in(empty, path)
    with empty.read() as connection:
        kept = connection.scalars(sa.select(schema.change.c.summary)).all()
    assert any(kept)
    assert not any("passwd" in summary for summary in kept if summary)


def test_a_picture_that_is_not_what_its_name_says_is_left_out(empty, changed, tmp_path):
    box = FileBox(tmp_path / "box")
    report = bring_in(empty, changed("UPDATE record_file SET content = x'00'"), box)
    assert [guess.what for guess in report.guesses] == ["site", "pictures"]
    with empty.read() as connection:
        name = connection.execute(sa.select(schema.plan_image.c.file_hash).limit(1)).scalar()
    with pytest.raises(NotFound):
        box.get(name)


def test_a_file_that_is_cut_off_is_damaged(empty, whole, tmp_path):
    content, path = whole.read_bytes(), tmp_path / "cut.gpkg"
    for share in (0.3, 0.6, 0.9):
        path.write_bytes(content[: int(len(content) * share)])
        if is_snapshot(path):
            with pytest.raises(InvalidRequest):
                bring_in(empty, path)
    assert rows(empty) == 0


def test_columns_that_a_later_version_added_are_empty_in_an_earlier_snapshot(empty, changed):
    bring_in(empty, changed("ALTER TABLE record_reading DROP COLUMN awkward"))
    assert view_of(empty, SLUG, LOCAL_MANAGER).records.readings["awkward"].isna().all()
