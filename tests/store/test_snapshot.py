"""A snapshot of a site, brought into a store that does not have it, is the site with all that was said."""

import json
import sqlite3
import subprocess
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.actors import LOCAL_MANAGER, Actor
from service.app import create_app
from service.edit import add_trees
from service.errors import HereAlready, ImportRunning, NotFound, NotPermitted
from service.file_box import FileBox
from service.intake.snapshot_in import is_snapshot, restore
from service.sample import SAMPLES, load_samples
from service.settings import Settings
from service.site_files import write_site
from service.store import changes, record_log, restoring, schema
from service.store.migrating import open_store
from service.store.site_rows import create_site, find_site
from service.view import view_of
from tests.site_life import MADE, Life, new_life

SLUG = "life"


@dataclass(frozen=True)
class Whole:
    """A snapshot of a ground on which everything happened, a later one of it, and its figures at both."""

    path: Path
    later: Path
    figures: list
    later_figures: list


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    store, box = open_store(str(folder / "store.sqlite")), FileBox(folder / "files")
    life = new_life(store, box, folder)
    while life._some(schema.question) is None:
        life.list_of_trees()
    life.settle_list()
    path, then = snapshot(store, SLUG, folder / "life.gpkg", box), figures(store)
    life.trees()
    later = snapshot(store, SLUG, folder / "later.gpkg", box)
    yield Whole(path, later, then, figures(store))
    store.close()


@pytest.fixture
def box(tmp_path):
    return FileBox(tmp_path / "files")


@pytest.fixture
def life(store, box, tmp_path):
    made = new_life(store, box, tmp_path)
    for _ in range(20):
        made.step()
    return made


@pytest.fixture
def empty(store, tmp_path, request):
    """An empty store of the same kind as ``store``."""
    if store.engine.dialect.name == "sqlite":
        made = open_store(str(tmp_path / "empty" / "store.sqlite"))
    else:
        made = open_store(request.getfixturevalue("new_postgresql")())
    yield made
    made.close()


def snapshot(store, slug, path, box=None, known_at=None):
    """A snapshot as it is downloaded."""
    write_site(store, slug, LOCAL_MANAGER, "gpkg", path, box=box, known_at=known_at)
    return path


def tables(path):
    """Every cell of the tables of records, as plain SQLite reads them."""
    with closing(sqlite3.connect(path)) as file:
        names = [
            name
            for (name,) in file.execute("SELECT table_name FROM gpkg_contents")
            if name.startswith("record_")
        ]
        return {
            name: (
                [row[1] for row in file.execute(f"PRAGMA table_info({name})")],
                file.execute(f"SELECT * FROM {name} ORDER BY 1").fetchall(),
            )
            for name in names
        }


def feed(store, tmp_path, slug=SLUG):
    """Everything that the address of changes says of a site."""
    client, said = create_app(store, Settings(data_folder=tmp_path)).test_client(), []
    address, more = f"/api/sites/{slug}/changes", True
    while more:
        page = client.get(address).json
        said.append(page)
        address, more = page["next"], page["more"]
    return said


def figures(store, slug=SLUG):
    return view_of(store, slug, LOCAL_MANAGER, "2026-06-01").figures


def check_round_trip(store, empty, slug, box, tmp_path):
    first = snapshot(store, slug, tmp_path / "first.gpkg", box)
    report = restore(empty, first, None, LOCAL_MANAGER, FileBox(tmp_path / "other files"))
    second = snapshot(empty, slug, tmp_path / "second.gpkg", FileBox(tmp_path / "other files"))
    said = tables(first)
    assert tables(second) == said
    assert report.change_no == said["record_change"][1][-1][0]
    assert report.taken == sum(
        len(rows) for name, (_, rows) in said.items() if name not in ("record_site", "record_file")
    )
    assert figures(empty, slug) == figures(store, slug)
    assert feed(empty, tmp_path, slug) == feed(store, tmp_path, slug)
    return said


def test_a_ground_on_which_everything_happened_comes_back_equal(store, empty, life, box, tmp_path):
    said = check_round_trip(store, empty, SLUG, box, tmp_path)
    assert {name for name in MADE if not said[f"record_{name}"][1]} == set()
    assert said["record_file"][1]
    columns, rows = said["record_reading"]
    voids = [row for row in rows if row[columns.index("void")]]
    assert voids
    assert {row[columns.index("reason")] for row in rows} >= {"misread", "taken back"}


@pytest.mark.parametrize("slug", SAMPLES)
def test_a_sample_ground_comes_back_equal(store, empty, box, slug, tmp_path):
    load_samples(store, LOCAL_MANAGER)
    check_round_trip(store, empty, slug, box, tmp_path)


def test_the_records_of_a_snapshot_are_those_of_the_address_of_changes(store, life, box, tmp_path):
    said = tables(snapshot(store, SLUG, tmp_path / "life.gpkg", box))
    told = {}
    for page in feed(store, tmp_path):
        for kind, rows in {"change": page["changes"], **page["records"]}.items():
            told.setdefault(kind, {}).update(
                {(row["change_no"] if kind == "change" else row["fid"]): row for row in rows}
            )
    for kind in record_log.TABLES:
        columns, rows = said[f"record_{kind}"]
        for row in rows:
            cells = dict(zip(columns, row, strict=True))
            for name in record_log.JSON_TEXT & set(columns):
                cells[name] = None if cells[name] is None else json.loads(cells[name])
            plain = {
                name: value.hex() if isinstance(value, bytes) else value for name, value in cells.items()
            }
            assert told[kind].pop(row[0]) == plain
        assert told.get(kind, {}) == {}


def test_life_goes_on_in_a_restored_ground(store, empty, life, box, tmp_path):
    restore(empty, snapshot(store, SLUG, tmp_path / "life.gpkg", box), None, LOCAL_MANAGER, box)
    for each in (store, empty):
        own = Life(each, SLUG, box, tmp_path, seed=5)
        for deed in own.deeds:
            deed()
    with empty.read() as connection:
        site = find_site(connection, SLUG)
        numbers = connection.execute(
            sa.select(schema.change.c.change_no).order_by(schema.change.c.change_no)
        ).scalars()
        assert list(numbers) == list(range(1, site.change_no + 1))


def test_an_earlier_number_gives_the_ground_as_it_was_then(store, empty, life, box, tmp_path):
    then = tables(snapshot(store, SLUG, tmp_path / "then.gpkg", box))
    last = then["record_change"][1][-1][0]
    for _ in range(20):
        life.step()
    again = tables(snapshot(store, SLUG, tmp_path / "again.gpkg", box, known_at=last))
    for name in set(then) - {"record_file"}:
        assert again[name] == then[name], name


def test_numbers_that_are_taken_move_up_together_and_what_names_them_too(store, whole, box, tmp_path):
    """A settling names the number of the question of a list that it settles."""
    new_life(store, box, tmp_path, slug="other", seed=3)
    path = whole.path
    restore(store, path, None, LOCAL_MANAGER, box)
    with store.read() as connection:
        site, question = find_site(connection, SLUG).fid, schema.question
        asked = set(connection.scalars(sa.select(question.c.fid).where(question.c.site_id == site)))
        settled = schema.settling
        query = sa.select(settled.c.subject_id).where(settled.c.site_id == site)
        answered = connection.scalars(query.where(settled.c.subject == "question")).all()
    assert answered
    assert {int(said) for said in answered} <= asked
    assert figures(store) == whole.figures
    first, second = tables(path), tables(snapshot(store, SLUG, tmp_path / "second.gpkg", box))
    for name, (columns, rows) in first.items():
        own = [i for i, column in enumerate(columns) if column not in ("fid", "subject_id")]
        assert [[row[i] for i in own] for row in second[name][1]] == [
            [row[i] for i in own] for row in rows
        ], name
    moved = {
        later[0] - row[0]
        for row, later in zip(first["record_tree"][1], second["record_tree"][1], strict=True)
    }
    assert len(moved) == 1
    assert moved.pop() > 0
    add_trees(store, SLUG, LOCAL_MANAGER, [{"tag": "after"}])


def test_a_ground_that_is_here_is_not_brought_in_again(store, life, box, tmp_path):
    path = snapshot(store, SLUG, tmp_path / "life.gpkg", box)
    with pytest.raises(HereAlready, match="This ground is here already, as life"):
        restore(store, path, "elsewhere", LOCAL_MANAGER, box)


def test_a_taken_name_is_said_and_another_can_be_given(store, whole, box, tmp_path):
    create_site(store, SLUG, actor=LOCAL_MANAGER)
    path = whole.path
    with pytest.raises(HereAlready, match="another ground called life"):
        restore(store, path, None, LOCAL_MANAGER, box)
    assert restore(store, path, "second-life", LOCAL_MANAGER, box).site == "second-life"
    assert view_of(store, "second-life", LOCAL_MANAGER, known_at=5).terms.slug == "second-life"


def test_a_record_that_is_on_another_ground_stops_it_and_nothing_stays(store, whole, box, tmp_path):
    path = whole.path
    columns, rows = tables(path)["record_tree"]
    tree = rows[0][columns.index("id")]
    create_site(store, "other", actor=LOCAL_MANAGER)
    add_trees(store, "other", LOCAL_MANAGER, [{"id": tree}])
    before = counts(store)
    with pytest.raises(HereAlready, match="another ground"):
        restore(store, path, None, LOCAL_MANAGER, box)
    assert counts(store) == before


def counts(store):
    with store.read() as connection:
        return {
            table.name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar()
            for table in schema.metadata.sorted_tables
        }


class Killed(BaseException):
    """The process ended here."""


@pytest.fixture
def small_steps(monkeypatch):
    """Transactions of a few rows."""
    monkeypatch.setattr(changes, "FIRST_ROWS", 5)
    monkeypatch.setattr(changes, "GROWTH", 1.0)


def ended_early(monkeypatch, empty, path, box, transactions=30):
    left, insert = [transactions], restoring.Restoring._insert

    def dying(self, *arguments):
        left[0] -= 1
        if left[0] < 0:
            raise Killed
        insert(self, *arguments)

    with monkeypatch.context() as patched, pytest.raises(Killed):
        patched.setattr(restoring.Restoring, "_insert", dying)
        restore(empty, path, None, LOCAL_MANAGER, box)


def test_a_run_that_was_killed_shows_nothing_and_the_same_command_brings_all(
    store, whole, box, tmp_path, small_steps, monkeypatch
):
    path = whole.path
    ended_early(monkeypatch, store, path, box)
    assert sum(counts(store).values()) > 50
    client = create_app(store, Settings(data_folder=tmp_path)).test_client()
    assert client.get("/api/sites").json == []
    with store.read() as connection, pytest.raises(NotFound):
        find_site(connection, SLUG)
    with store.read() as connection:
        assert set(connection.scalars(sa.select(schema.change.c.change_no))) == {None}
        hidden = connection.execute(sa.select(schema.site.c.slug)).scalar_one()
    assert client.get(f"/api/sites/{hidden}/trees").status_code == 404
    restore(store, path, None, LOCAL_MANAGER, box)
    said = tables(path)
    again = tables(snapshot(store, SLUG, tmp_path / "second.gpkg", box))
    assert [row[1:] for row in again["record_tree"][1]] == [row[1:] for row in said["record_tree"][1]]
    assert counts(store)["tree"] == len(said["record_tree"][1])


def test_a_run_that_was_taken_over_ends(store, whole, box, tmp_path, small_steps, monkeypatch):
    path = whole.path
    insert = restoring.Restoring._insert

    def overtaken(self, conn, name, part):
        insert(self, conn, name, part)
        if name == "tree":
            change = schema.change
            mine = sa.update(change).where(change.c.fid == self.mine.fid)
            conn.execute(mine.values(heartbeat_at="2020-01-01T00:00:00Z"))

    with monkeypatch.context() as patched, pytest.raises(ImportRunning):
        patched.setattr(restoring.Restoring, "_insert", overtaken)
        restore(store, path, None, LOCAL_MANAGER, box)
    restore(store, path, None, LOCAL_MANAGER, box)
    assert figures(store) == whole.figures


def test_another_snapshot_of_the_same_ground_waits_until_the_first_has_ended(
    store, whole, box, tmp_path, small_steps, monkeypatch
):
    path = whole.path
    ended_early(monkeypatch, store, path, box)
    later = whole.later
    with pytest.raises(ImportRunning):
        restore(store, later, None, LOCAL_MANAGER, box)
    monkeypatch.setattr(changes, "STALE_AFTER", changes.STALE_AFTER * 0)
    restore(store, later, None, LOCAL_MANAGER, box)
    assert figures(store) == whole.later_figures


def test_an_import_elsewhere_goes_on_while_a_snapshot_comes_in(
    store, whole, box, tmp_path, small_steps, monkeypatch
):
    path = whole.path
    ended_early(monkeypatch, store, path, box)
    other = new_life(store, box, tmp_path, slug="other", seed=8)
    other.list_of_trees()
    restore(store, path, None, LOCAL_MANAGER, box)
    assert figures(store) == whole.figures


def test_nobody_but_a_manager_brings_a_snapshot_in(store, whole, box, tmp_path):
    path = whole.path
    with pytest.raises(NotPermitted):
        restore(store, path, None, Actor("crew", "5b"), box)


def test_checking_a_snapshot_writes_nothing(store, whole, box, tmp_path):
    path = whole.path
    report = restore(store, path, None, LOCAL_MANAGER, box, dry_run=True)
    assert (report.taken > 100, report.change_no, report.dry_run) == (True, None, True)
    assert set(counts(store).values()) == {0}


def test_the_file_is_a_geopackage_by_the_rules_of_its_standard(store, life, box, tmp_path):
    """Checked by validate_gpkg of GDAL (OGC 12-128), where Debian's python3-gdal is installed."""
    path = snapshot(store, SLUG, tmp_path / "life.gpkg", box)
    done = subprocess.run(
        ["/usr/bin/python3", "-m", "osgeo_utils.samples.validate_gpkg", str(path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_general_client_reads_the_tables_and_how_they_hang_together(store, life, box, tmp_path):
    """ogrinfo of GDAL lists attribute tables; relations by OGC 18-000 stand in the file."""
    path = snapshot(store, SLUG, tmp_path / "life.gpkg", box)
    told = subprocess.run(
        ["/usr/bin/ogrinfo", "-ro", str(path)], capture_output=True, text=True, check=True
    ).stdout
    assert "record_tree (None)" in told
    with closing(sqlite3.connect(path)) as file:
        file.row_factory = sqlite3.Row
        relations = file.execute("SELECT * FROM gpkgext_relations").fetchall()
        assert [row["mapping_table_name"] for row in relations] == [
            "trees_stems",
            "trees_observations",
            "stem_readings",
        ]
        pairs = file.execute(
            "SELECT count(*), sum(t.tree_id = s.tree_id) FROM trees_stems JOIN trees t ON t.fid = base_id "
            "JOIN record_stem s ON s.fid = related_id"
        ).fetchone()
    assert pairs[0] == pairs[1] > 0


def test_a_snapshot_is_recognised_and_other_files_are_not(store, life, box, tmp_path):
    assert is_snapshot(snapshot(store, SLUG, tmp_path / "life.gpkg", box))
    other = tmp_path / "list.csv"
    other.write_text("a;b\n1;2\n")
    assert not is_snapshot(other)
    assert not is_snapshot(tmp_path / "none")
    (tmp_path / "broken.gpkg").write_bytes(b"SQLite format 3\0" + b"\0" * 500)
    assert not is_snapshot(tmp_path / "broken.gpkg")
