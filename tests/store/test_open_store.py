"""Opening a store that is newer, none, read-only or on a full disk: one sentence, exit 4, nothing lost."""

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing

import psycopg
import pytest
import sqlalchemy as sa

from service.actors import LOCAL_MANAGER
from service.errors import StoreTooNew
from service.store.migrating import open_store
from service.store.site_rows import create_site
from tests.command_line import boleward, done, figure

HEADER = "tag,species,girth_cm,lon,lat,note\n"


def list_of(path, first, last):
    lines = (
        f"{n},Tilia cordata,{50 + n % 200},{9.17 + n / 1e5:.5f},47.66,{'n' * 60}{n}\n"
        for n in range(first, last + 1)
    )
    path.write_text(HEADER + "".join(lines), encoding="utf-8")
    return path


def trouble(*words, store):
    """The one sentence of a command that ends with trouble of the store."""
    ran = boleward(*words, store=store)
    assert ran.code == 4, ran
    assert ran.err.startswith("boleward: ")
    assert ran.err.count("\n") == 1
    return ran.err


# --- a store of another version, or none ------------------------------------------------------------------


def test_a_store_of_a_newer_version_is_not_touched(store):
    create_site(store, "park", actor=LOCAL_MANAGER)
    with store.write() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
    store.close()
    with pytest.raises(StoreTooNew, match="schema 9999"):
        open_store(store.address)
    said = trouble("figures", "--site", "park", store=store.address)
    assert "newer version" in said
    assert "nothing was changed" in said
    with store.read() as connection:
        assert connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one() == "9999"
        assert connection.execute(sa.text("SELECT slug FROM site")).scalar_one() == "park"


@pytest.mark.parametrize(
    "content",
    [b"tag,species\n1,Tilia\n" * 200, b"\x89PNG\r\n\x1a\n" + bytes(5000), b"SQLite format 3\0" * 99],
)
def test_a_file_that_is_no_store_is_refused_and_stays_as_it_is(tmp_path, content):
    path = tmp_path / "list.csv"
    path.write_bytes(content)
    said = trouble("init", "park", store=path)
    assert "--store" in said
    assert path.read_bytes() == content
    assert [file.name for file in tmp_path.iterdir()] == ["list.csv"]


def test_a_database_of_something_else_is_refused_and_stays_as_it_is(tmp_path):
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE tree (name TEXT)")
        other.execute("INSERT INTO tree VALUES ('of another program')")
        other.commit()
    before = path.read_bytes()
    said = trouble("init", "park", store=path)
    assert "other tables (tree)" in said
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["other.sqlite"]


def test_a_server_with_tables_of_our_names_is_refused_and_one_with_others_is_shared(cluster):
    for table, code in (("tree", 4), ("of_another_program", 0)):
        address = cluster.create(f"with_{table}")
        with psycopg.connect(address, autocommit=True) as other:
            other.execute(f"CREATE TABLE {table} (name TEXT)")
        ran = boleward("init", "park", store=address)
        assert (ran.code, "other tables (tree)" in ran.err) == (code, code == 4)
        cluster.drop(f"with_{table}")


def test_half_a_store_is_refused_and_stays_as_it_is(tmp_path):
    path = tmp_path / "store.sqlite"
    done("import", list_of(tmp_path / "list.csv", 1, 300), "--site", "park", store=path)
    half = path.read_bytes()[: path.stat().st_size // 2]
    path.write_bytes(half)
    trouble("figures", "--site", "park", store=path)
    assert path.read_bytes() == half


def test_a_folder_as_a_store_and_a_store_in_a_file_are_refused(tmp_path):
    (tmp_path / "file").write_text("a file")
    trouble("init", "park", store=tmp_path)
    trouble("init", "park", store=tmp_path / "file" / "store.sqlite")


def test_a_database_server_that_is_not_there_is_told_in_one_line(tmp_path):
    trouble("init", "park", store=f"postgresql://nobody@/none?host={tmp_path}")


# --- read-only, and full ----------------------------------------------------------------------------------

ALONE = """
import os, resource, sys
user, limit = int(sys.argv[1]), int(sys.argv[2])
from tests.command_line import boleward
import service.intake.understand, service.outlets.map_file
if user:
    os.setgroups([]); os.setgid(user); os.setuid(user)
if limit:
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
ran = boleward(*sys.argv[4:], store=sys.argv[3])
sys.stdout.write(ran.out); sys.stderr.write(ran.err); sys.exit(ran.code)
"""
NOBODY = 65_534


def alone(*words, store, user=0, limit=0, within=()):
    """A command in a process of its own: as another user, with a limit to the size of files, or mounted."""
    command = [*within, sys.executable, "-c", ALONE, user, limit, store, *words]
    return subprocess.run(list(map(str, command)), capture_output=True, text=True, timeout=300, check=False)


def trouble_alone(*words, **how):
    ran = alone(*words, **how)
    assert ran.returncode == 4, ran
    assert ran.stderr.startswith("boleward: ")
    assert ran.stderr.count("\n") == 1
    return ran.stderr


@pytest.fixture
def read_only(tmp_path):
    """A folder with a store that may be read only, and as whom to try it."""
    folder = tmp_path / "kept"
    folder.mkdir()
    path = folder / "store.sqlite"
    done("import", list_of(tmp_path / "list.csv", 1, 20), "--site", "park", store=path)
    for above in (tmp_path, *tmp_path.parents):
        if (
            above.stat().st_uid == os.getuid()
            and os.getuid() == 0
            and not above.stat().st_mode & stat.S_IXOTH
        ):
            above.chmod(above.stat().st_mode | stat.S_IXOTH)
    path.chmod(0o444)
    folder.chmod(0o555)
    yield path, NOBODY if os.getuid() == 0 else 0
    folder.chmod(0o755)


def test_nothing_is_written_to_a_read_only_store_and_it_is_said(read_only, tmp_path):
    path, user = read_only
    before = path.read_bytes()
    more = list_of(tmp_path / "more.csv", 21, 30)
    for words in (("init", "other"), ("import", more, "--site", "park")):
        trouble_alone(*words, store=path, user=user)
    trouble_alone("init", "park", store=path.parent / "new.sqlite", user=user)
    trouble_alone("init", "park", store=path.parent / "sub" / "new.sqlite", user=user)
    assert path.read_bytes() == before
    path.parent.chmod(0o755)
    path.chmod(0o644)
    assert figure(path, "park")["trees"] == 20


# --- a full disk ------------------------------------------------------------------------------------------

IN_A_SMALL_DISK = """
mount -t tmpfs -o size="$1"k tmpfs "$2" && cp "$3" "$2"/store.sqlite || exit 99
disk=$2; kept=$3; shift 3
"$@"; code=$?
rm "$kept"; cp "$disk"/store.sqlite "$kept"; cp "$disk"/store.sqlite-wal "$kept"-wal 2>/dev/null
exit $code
"""
IN_A_NAMESPACE = ("unshare", "--mount", "--map-root-user", "sh", "-c")


def can_mount():
    """Whether this machine lets a test have a small disk of its own."""
    if shutil.which("unshare") is None:
        return False
    words = [*IN_A_NAMESPACE, "mount -t tmpfs -o size=64k tmpfs /mnt"]
    return subprocess.run(words, capture_output=True, check=False).returncode == 0


def within_the_size_of_a_file(path, _folder, words):
    return trouble_alone(*words, store=path, limit=path.stat().st_size + 800_000)


def on_a_small_disk(path, folder, words):
    disk = folder / "disk"
    disk.mkdir()
    size_kb = path.stat().st_size // 1024 + 1500
    within = (*IN_A_NAMESPACE, IN_A_SMALL_DISK, "sh", size_kb, disk, path)
    said = trouble_alone(*words, store=disk / "store.sqlite", within=within)
    assert "the disk is full" in said
    return said


@pytest.mark.parametrize("full", [within_the_size_of_a_file, *([on_a_small_disk] if can_mount() else [])])
def test_an_import_onto_a_full_disk_shows_nothing_and_is_resumed_with_room(tmp_path, full):
    path = tmp_path / "store.sqlite"
    done("import", list_of(tmp_path / "first.csv", 1, 20), "--site", "park", store=path)
    words = ("import", list_of(tmp_path / "many.csv", 1001, 9000), "--site", "park", "--json")
    day = ("--as-of", "2030-01-01")
    before = figure(path, "park", *day)
    assert "give the same command again" in full(path, tmp_path, words)
    assert figure(path, "park", *day) == before
    assert written_unseen(path) > 0
    report = done(*words, store=path).json
    assert (report["taken"], report["already_there"]) == (8000, 0)
    assert figure(path, "park")["trees"] == 8020
    assert done(*words, store=path).json["already_there"] == 8000


SMALL = """
mount -t tmpfs -o size=16k tmpfs "$1" || exit 99
shift; exec "$@"
"""


def no_room_for(form, path, disk):
    """The sentence about an export onto a disk of 16 kB."""
    within = (*IN_A_NAMESPACE, SMALL, "sh", disk)
    words = ("export", disk / f"park.{form}", "--site", "park", "--format", form)
    ran = alone(*words, store=path, within=within)
    assert (ran.returncode, ran.stderr.count("\n")) == (2, 1), ran
    return ran.stderr


def no_room_for_what_is_computed(_form, path, disk):
    """The sentence about an export for which a layer is computed beside a store on a full disk."""
    within = (*IN_A_NAMESPACE, IN_A_SMALL_DISK, "sh", path.stat().st_size // 1024 + 100, disk, path)
    words = ("export", disk.parent / "park.csv", "--site", "park", "--format", "csv")
    return trouble_alone(*words, store=disk / "store.sqlite", within=within)


@pytest.mark.parametrize(
    ("form", "told", "says"),
    [
        ("fgb", no_room_for, "No space left on device"),
        pytest.param("gpkg", no_room_for, "No space left on device", marks=pytest.mark.slow),
        ("csv", no_room_for_what_is_computed, "the disk is full"),
    ],
)
def test_an_export_that_the_disk_has_no_room_for_is_told_in_plain_words(tmp_path, form, told, says):
    path, disk = tmp_path / "store.sqlite", tmp_path / "disk"
    disk.mkdir()
    done("import", list_of(tmp_path / "list.csv", 1, 600), "--site", "park", store=path)
    if can_mount():  # else the disk has room, and only the store and the file are looked at
        said = told(form, path, disk)
        assert says in said
        assert "sql" not in said.lower().replace(str(path).lower(), "").replace("store.sqlite", "")
    done("export", tmp_path / f"whole.{form}", "--site", "park", "--format", form, store=path)
    assert (tmp_path / f"whole.{form}").stat().st_size > 16_384


def written_unseen(path):
    """Trees of an import that did not end."""
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT count(*) FROM tree JOIN change ON change.fid = change_id WHERE change_no IS NULL"
        return connection.execute(query).fetchone()[0]
