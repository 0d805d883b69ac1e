"""What a file may take of memory, time and room, what an archive may hold, and the fence round the reader."""

import stat
import struct
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.errors import InvalidRequest, Unreadable
from service.intake.closed_process import Limits, read_closed
from service.intake.syscall_fence import is_offered
from service.intake.understand import read_table
from tests.shared_files import PLACEMARK, bomb, kml_of, pack, points, write_frame

ROOT = Path(__file__).parents[2]


def refused(path, limits=None):
    """The sentence with which a file is refused, in no time worth speaking of."""
    start = time.monotonic()
    with pytest.raises(Unreadable) as said:
        read_table(path) if limits is None else read_closed(path, None, limits)
    assert time.monotonic() - start < 60
    assert path.name in str(said.value)
    return str(said.value)


def written(path, content):
    path.write_bytes(content)
    return path


# --- archives: reliability of unpacking (OWASP ASVS 5.0, 5.2.3 and 5.3.2) ----------------------------------


def member(name, *, mode=0o644):
    entry = zipfile.ZipInfo(name)
    entry.external_attr = mode << 16
    return entry


def test_an_archive_that_swells_is_stopped_while_it_is_inflated(tmp_path):
    path = written(tmp_path / "a.zip", bomb("a.shp", 300 << 20))
    assert path.stat().st_size < 400_000
    assert "unpacks to more than 200 MB" in refused(path)
    assert "more than 100 times its size" in refused(written(path, bomb("a.shp", 100 << 20)))


def test_an_archive_that_lies_about_its_size_is_counted_by_what_comes_out(tmp_path):
    content = bytearray(bomb("a.shp", 100 << 20))
    true = struct.pack("<I", 100 << 20)
    assert content.count(true) >= 1
    place = content.rindex(true)
    content[place : place + 4] = struct.pack("<I", 1000)  # what the directory says
    said = refused(written(tmp_path / "a.zip", bytes(content)))
    assert "damaged" in said or "100 times" in said


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("/etc/trees.shp", "leads out of the archive"),
        ("../trees.shp", "leads out of the archive"),
        ("a/../../trees.shp", "leads out of the archive"),
        ("C:/trees.shp", "leads out of the archive"),
        ("a\\..\\trees.shp", "leads out of the archive"),
        ("more.zip", "another archive"),
        ("MORE.KMZ", "another archive"),
    ],
)
@pytest.mark.parametrize("ending", ["zip", "kmz"])
def test_names_that_lead_out_and_archives_within_are_refused(tmp_path, name, sentence, ending):
    entry = member("x")
    entry.filename = name  # as it is, not as the library would write it
    assert sentence in refused(pack(tmp_path / f"a.{ending}", {entry: b"", member("trees.shp"): b""}))


def pack_entries(path, entries):
    with zipfile.ZipFile(path, "w") as archive:
        for entry, content in entries:
            archive.writestr(entry, content)
    return path


def test_links_in_an_archive_are_refused(tmp_path):
    link = member("trees.shp", mode=stat.S_IFLNK | 0o777)
    assert "a link to another file" in refused(pack_entries(tmp_path / "a.zip", [(link, b"/etc/passwd")]))


def test_too_many_members_are_refused_and_doubles_too(tmp_path):
    many = [(member(f"{n}.txt"), b"") for n in range(21)]
    assert "21 files, more than 20" in refused(pack_entries(tmp_path / "a.zip", many))
    double = [(member("a/trees.shp"), b""), (member("b/TREES.shp"), b"")]
    assert "two files of the same name" in refused(pack_entries(tmp_path / "a.zip", double))


def test_a_locked_archive_is_said(tmp_path):
    path = pack_entries(tmp_path / "a.zip", [(member("trees.shp"), b"abc")])
    content = bytearray(path.read_bytes())
    content[content.index(b"PK\x01\x02") + 8] |= 1
    assert "locked with a password" in refused(written(path, bytes(content)))


# --- text that swells or nests -----------------------------------------------------------------------------


def entities():
    steps = "".join(f'<!ENTITY a{n + 1} "{f"&a{n};" * 10}">' for n in range(9))
    return f'<!DOCTYPE kml [<!ENTITY a0 "aaaaaaaaaa">{steps}]>'


@pytest.mark.parametrize("before", [entities(), '<!DOCTYPE kml [<!ENTITY b "' + "b" * 50_000 + '">]>'])
def test_entities_are_never_expanded(tmp_path, before):
    inside = PLACEMARK.replace("A 1", "&a9;" if "a9" in before else "&b;" * 10_000)
    assert "DOCTYPE" in refused(written(tmp_path / "a.kml", kml_of(inside, before)))


@pytest.mark.parametrize("name", ["Folder", "MultiGeometry", "a"])
def test_a_hundred_thousand_levels_are_refused(tmp_path, name):
    deep = f"<{name}>" * 100_000 + f"</{name}>" * 100_000
    assert "nested deeper" in refused(written(tmp_path / "a.kml", kml_of(deep)))
    assert "nested deeper" in refused(pack(tmp_path / "a.kmz", {"doc.kml": kml_of(deep)}))


def test_a_placemark_of_endless_positions_is_refused(tmp_path):
    line = f"<Placemark><LineString><coordinates>{'9,47 ' * 200_000}</coordinates></LineString></Placemark>"
    assert "cut it into parts" in refused(written(tmp_path / "a.kml", kml_of(line)))


def test_a_shape_of_too_many_points_is_a_fault_of_its_row(tmp_path):
    line = f"<Placemark><LineString><coordinates>{'9,47 ' * 20_000}</coordinates></LineString></Placemark>"
    table = read_table(written(tmp_path / "a.kml", kml_of(PLACEMARK + line)))
    assert "more than 10,000 points" in table.faults[1]
    assert list(table.faults) == [1]


# --- headers that lie --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A small whole file of each form, as bytes."""
    folder = tmp_path_factory.mktemp("whole")
    rows = [{"tag": str(n), "girth_cm": 80.5 + n, "x": 9 + n / 100, "y": 47} for n in range(20)]
    names = ["a.zip", "a.parquet", "a.kml"]
    out = {name: write_frame(points([dict(r) for r in rows]), folder / name).read_bytes() for name in names}
    frame = points([dict(row) for row in rows])
    out["a.fgb"] = write_frame(frame, folder / "a.fgb", SPATIAL_INDEX="YES").read_bytes()
    return out


@pytest.mark.parametrize("lie", [0, 1, 7, 2**16, 2**31 - 1, 2**31, 2**32 - 1])
def test_flatgeobuf_that_lies_about_any_length_is_refused_or_read(tmp_path, whole, lie):
    content = whole["a.fgb"]
    for place in (8, 12, 40, 60, 80, 100, 140, 200, len(content) - 200, len(content) - 100):
        bad = content[:place] + struct.pack("<I", lie) + content[place + 4 :]
        try:
            assert len(read_table(written(tmp_path / "a.fgb", bad)).rows) <= 1000
        except InvalidRequest as said:
            assert "a.fgb" in str(said)


def test_flatgeobuf_that_says_it_has_billions_of_features_is_refused(tmp_path, whole):
    content = whole["a.fgb"]
    place = content.index(struct.pack("<Q", 20))
    bad = content[:place] + struct.pack("<Q", 2**60) + content[place + 8 :]
    assert "cut off or damaged" in refused(written(tmp_path / "a.fgb", bad))


@pytest.mark.parametrize("name", ["a.fgb", "a.zip", "a.parquet", "a.kml"])
def test_a_file_that_is_cut_off_is_refused(tmp_path, whole, name):
    content = whole[name]
    for end in (len(content) // 3, len(content) // 2, len(content) - 3):
        refused(written(tmp_path / name, content[:end]))


def test_parquet_of_more_rows_or_columns_than_are_read_is_refused_by_its_footer(tmp_path):
    many = pa.table({"a": pa.array([1]).take(pa.array([0] * 2_000_001))})
    pq.write_table(many, tmp_path / "a.parquet")
    assert (tmp_path / "a.parquet").stat().st_size < 100_000
    assert "larger than is read at once" in refused(tmp_path / "a.parquet")
    pq.write_table(pa.table({f"c{n}": [1] for n in range(2_001)}), tmp_path / "a.parquet")
    assert "more than 2,000 columns" in refused(tmp_path / "a.parquet")


# --- limits ------------------------------------------------------------------------------------------------


def test_a_file_that_takes_too_much_memory_is_refused(tmp_path):
    words = pa.array(["x" * 2_000]).take(pa.array([0] * 200_000))  # 400 MB of text in a file of a few kB
    pq.write_table(pa.table({"a": words}), tmp_path / "a.parquet")
    assert (tmp_path / "a.parquet").stat().st_size < 1_000_000
    assert "600 MB of memory" in refused(tmp_path / "a.parquet", Limits(memory_mb=600))


def test_a_file_that_gives_out_too_much_is_refused(tmp_path):
    words = pa.array(["x" * 2_000]).take(pa.array([0] * 2_000))
    pq.write_table(pa.table({"a": words}), tmp_path / "a.parquet")
    assert "split it" in refused(tmp_path / "a.parquet", Limits(output_mb=1))


def test_a_file_that_takes_too_long_is_stopped(tmp_path):
    path = written(tmp_path / "a.kml", kml_of(PLACEMARK * 400_000))
    start = time.monotonic()
    assert "took longer than 1 s" in refused(path, Limits(seconds=1))
    assert time.monotonic() - start < 20


def test_a_file_that_is_too_big_is_not_even_opened(tmp_path):
    path = written(tmp_path / "a.kml", kml_of(PLACEMARK * 20_000))
    assert "larger than 1 MB" in refused(path, Limits(file_mb=1))


def test_a_process_that_cannot_be_shut_in_reads_nothing(tmp_path, monkeypatch):
    script = tmp_path / "python"
    script.write_text("#!/bin/sh\nexit 3\n")
    script.chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(script))
    said = refused(written(tmp_path / "a.kml", kml_of(PLACEMARK)))
    assert "does not let a process be shut in" in said


def test_answers_that_are_no_table_are_not_believed(tmp_path, monkeypatch):
    script = tmp_path / "python"
    monkeypatch.setattr(sys, "executable", str(script))
    head = '{"form":"kml","layer_name":"","headers":["a"],"rows":2,"has_shapes":false,"crs":null,'
    head += '"crs_said":null,"left_out":{},"faults":[],"guesses":[]}'
    bad = ("", "no json", "[]", "{}", head, f"{head}\n[1,2]", f'{head}\n["1"]', f'{head}\n["1","2"]\n["x"]')
    for lines in (*bad, head.replace('["a"],"rows":2', '[],"rows":1000000000000')):
        script.write_text(f"#!/bin/sh\ncat <<'END'\n{lines}\nEND\n")
        script.chmod(0o700)
        refused(written(tmp_path / "a.kml", kml_of(PLACEMARK)))


# --- the fence ---------------------------------------------------------------------------------------------

TRY = """
import ctypes, os, socket, sys, threading
from service.intake.syscall_fence import NotShutIn, shut_in
waiting = threading.Event()
refused = []
def attempt(name, call):
    try:
        call()
    except (OSError, NotShutIn, RuntimeError):
        refused.append(name)
def in_a_thread():
    waiting.wait()
    attempt("thread", lambda: open("/etc/hostname"))
thread = threading.Thread(target=in_a_thread)
thread.start()
shut_in()
waiting.set()
thread.join()
attempt("read", lambda: open("/etc/hostname"))
attempt("write", lambda: open("/tmp/x", "w"))
attempt("list", lambda: os.listdir("/"))
attempt("remove", lambda: os.unlink("/tmp/none"))
attempt("make", lambda: os.mkdir("/tmp/none"))
for family in (socket.AF_INET, socket.AF_INET6, socket.AF_UNIX):
    attempt(f"socket {family.name}", lambda family=family: socket.socket(family))
attempt("pair", lambda: socket.socketpair())
attempt("fork", os.fork)
attempt("run", lambda: os.execv("/bin/true", ["true"]))
attempt("signal", lambda: os.kill(os.getppid(), 0))
attempt("new thread", lambda: threading.Thread(target=print).start())
attempt("take off", shut_in)
print(*refused, sep=",")
"""


def test_behind_the_fence_nothing_is_opened_started_or_signalled_in_any_thread():
    assert is_offered()
    done = subprocess.run([sys.executable, "-c", TRY], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr
    files, sockets = (
        "thread,read,write,list,remove,make",
        "socket AF_INET,socket AF_INET6,socket AF_UNIX,pair",
    )
    assert done.stdout.strip() == f"{files},{sockets},fork,run,signal,new thread,take off"


# --- any bytes ---------------------------------------------------------------------------------------------

SLOW = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.mark.parametrize("name", ["a.fgb", "a.zip", "a.parquet", "a.kml"])
@SLOW
@given(
    changes=st.lists(st.tuples(st.floats(0, 1), st.binary(min_size=1, max_size=8)), min_size=1, max_size=6),
    end=st.one_of(st.just(1.0), st.floats(0, 1)),
)
def test_a_file_with_some_bytes_changed_gives_rows_or_a_sentence(tmp_path, whole, name, changes, end):
    content = bytearray(whole[name])
    for place, new in changes:
        start = int(place * (len(content) - 1))
        content[start : start + len(new)] = new
    path = written(tmp_path / name, bytes(content[: int(end * len(content))]))
    start = time.monotonic()
    try:
        table = read_table(path)
    except InvalidRequest as said:
        assert name in str(said)
    else:
        assert len({len(column) for column in (*table.columns, table.rows)}) == 1
    assert time.monotonic() - start < 60
