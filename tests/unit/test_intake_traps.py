"""Files that would have a reader open other files or connections: strace and a listener see that none is.

The traps are those of readers that know every format: OGR's VRT and WFS files, links of GeoJSON and KML,
grids of coordinate systems. The same harness is shown to catch such a reader at them.

References
----------
GDAL documentation, "Security considerations": VRT, network drivers, /vsicurl/, resource limits.
"""

import json
import re
import socket
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely

from tests.shared_files import PLACEMARK, kml_of, pack, parts_of, points, write_frame

ROOT = Path(__file__).parents[2]
SECRET = "a-word-that-must-not-come-out"
NAMES = ("csv", "txt", "geojson", "json", "gpkg", "kml", "kmz", "zip", "fgb", "parquet", "geoparquet", "vrt")
STRACE = ("strace", "-f", "-qq", "-s", "300", "-e", "trace=%network,open,openat,openat2,execve,seccomp", "-o")
READ = """
import json, sys
from pathlib import Path
from service.errors import InvalidRequest
from service.intake.understand import read_table
for name in json.load(sys.stdin):
    try:
        table = read_table(Path(name))
        text = str([table.headers, table.columns, table.guesses, table.faults])
        said = {"rows": len(table.rows), "text": text}
    except InvalidRequest as refused:
        said = {"refused": str(refused)}
    print(json.dumps([name, said]), flush=True)
"""
READ_BY_GDAL = """
import json, sys, pyogrio
for name in json.load(sys.stdin):
    try:
        said = {"text": str(pyogrio.read_dataframe(name).to_dict())}
    except Exception as refused:
        said = {"refused": str(refused)}
    print(json.dumps([name, said]), flush=True)
"""


class Listener:
    """A server that counts who comes, and hangs up."""

    def __init__(self):
        self.came = 0
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self):
        while True:
            try:
                came, _ = self._server.accept()
            except OSError:
                return
            self.came += 1
            came.sendall(b"HTTP/1.0 404 Not Found\r\nContent-Length: 0\r\n\r\n")
            came.close()

    def close(self):
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join(5)


def vrt(source, layer):
    return (
        f'<OGRVRTDataSource><OGRVRTLayer name="{layer}"><SrcDataSource>{source}</SrcDataSource>'
        f"<SrcLayer>{layer}</SrcLayer></OGRVRTLayer></OGRVRTDataSource>"
    ).encode()


def grid_system(grid):
    """A coordinate system in words that asks for a grid of shifts from elsewhere."""
    return (
        'PROJCS["odd",GEOGCS["odd",DATUM["odd",SPHEROID["odd",6378137,298.25],'
        f'EXTENSION["PROJ4_GRIDS","{grid}"]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],'
        'PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],PARAMETER["central_meridian",9],'
        'PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],PARAMETER["false_northing",0],'
        f'UNIT["metre",1],EXTENSION["PROJ4","+proj=tmerc +lon_0=9 +nadgrids={grid}"]]'
    )


def trap_files(folder, secret, port):
    """Every trap, as a file of its own."""
    address = f"http://127.0.0.1:{port}"
    for ending in NAMES:
        (folder / f"local.{ending}").write_bytes(vrt(secret, secret.stem))
        (folder / f"far.{ending}").write_bytes(vrt(f"/vsicurl/{address}/list.csv", "list"))
        wfs = f"<OGRWFSDataSource><URL>{address}/wfs</URL></OGRWFSDataSource>"
        (folder / f"service.{ending}").write_text(wfs)
    feature = {
        "type": "Feature",
        "properties": {"tag": "1"},
        "geometry": {"type": "Point", "coordinates": [9, 47]},
    }
    for name, href in (("link", f"{address}/crs"), ("here", str(secret))):
        crs = {"type": "link", "properties": {"href": href, "type": "proj4"}}
        collection = {"type": "FeatureCollection", "features": [feature], "crs": crs}
        (folder / f"{name}.geojson").write_text(json.dumps(collection))
    links = (
        f"<NetworkLink><Link><href>{address}/more.kml</href></Link></NetworkLink>"
        f"<Style><IconStyle><Icon><href>{address}/icon.png</href></Icon></IconStyle></Style>"
        f"<Placemark><styleUrl>{secret}#a</styleUrl><Model><Link><href>{secret}</href></Link></Model></Placemark>"
    )
    (folder / "linked.kml").write_bytes(kml_of(PLACEMARK + links))
    (folder / "only-link.kml").write_bytes(
        kml_of(f"<NetworkLink><Link><href>{secret}</href></Link></NetworkLink>")
    )
    for name, system in (("file", secret.as_uri()), ("address", f"{address}/entity")):
        outside = f'<!DOCTYPE kml [<!ENTITY x SYSTEM "{system}">]>'
        (folder / f"entity-{name}.kml").write_bytes(kml_of(PLACEMARK.replace("A 1", "&x;"), outside))
        (folder / f"dtd-{name}.kml").write_bytes(kml_of(PLACEMARK, f'<!DOCTYPE kml SYSTEM "{system}">'))
    shapefiles(folder, secret, address)
    parquets(folder, secret)


def shapefiles(folder, secret, address):
    shapes = folder / "made" / "trees.shp"
    write_frame(points([{"tag": "1", "x": 500_000, "y": 5_200_000}], 25832), shapes.with_suffix(".zip"))
    parts = {f"trees{part.suffix}": part.read_bytes() for part in parts_of(shapes)}
    for name, grid in (("grid", str(secret)), ("far-grid", f"{address}/grid.tif")):
        pack(folder / f"{name}.zip", {**parts, "trees.prj": grid_system(grid)})
    pack(folder / "prj.zip", {**parts, "trees.prj": f"+init={secret}:1"})
    pack(folder / "cpg.zip", {**parts, "trees.cpg": str(secret)})
    pack(
        folder / "inside.zip", {"trees.shp": vrt(secret, secret.stem), "trees.vrt": vrt(secret, secret.stem)}
    )


def parquets(folder, secret):
    shape = shapely.Point(9, 47).wkb
    for name, crs in (("words", str(secret)), ("object", {"type": "PROJCRS", "name": str(secret)})):
        geo = {
            "version": "1.1.0",
            "primary_column": "geometry",
            "columns": {"geometry": {"encoding": "WKB", "geometry_types": [], "crs": crs}},
        }
        table = pa.table({"tag": ["1"], "geometry": [shape]}).replace_schema_metadata(
            {"geo": json.dumps(geo)}
        )
        pq.write_table(table, folder / f"{name}.parquet")
    held = pq.read_metadata(folder / "words.parquet")
    held.set_file_path(str(secret))  # says that its columns are in another file
    held.write_metadata_file(folder / "elsewhere.parquet")


def traced(program, names, log):
    """What a program said of files, and the lines of strace of all its processes."""
    done = subprocess.run(
        [*STRACE, str(log), sys.executable, "-c", program],
        input=json.dumps(names),
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=500,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return dict(json.loads(line) for line in done.stdout.splitlines()), log.read_text().splitlines()


@pytest.fixture(scope="module")
def listener():
    made = Listener()
    yield made
    made.close()


@pytest.fixture(scope="module")
def ground(tmp_path_factory, listener):
    folder = tmp_path_factory.mktemp("traps")
    secret = tmp_path_factory.mktemp("elsewhere") / "secret.csv"
    secret.write_text(f"tag,word\n1,{SECRET}\n")
    trap_files(folder, secret, listener.port)
    return folder, secret


@pytest.fixture(scope="module")
def strings(ground, listener):
    """Names that are no files but words of a reader of everything."""
    address = f"http://127.0.0.1:{listener.port}/list"
    _, secret = ground
    words = [f"{address}.csv", f"CSV:{secret}", f"/vsizip/{secret}", f"WFS:{address}"]
    words += [f"/vsicurl/{address}.{ending}" for ending in ("csv", "fgb", "zip")]
    return [*words, vrt(secret, secret.stem).decode()[:200]]


@pytest.fixture(scope="module")
def answers(ground, strings, listener, tmp_path_factory):
    folder, _ = ground
    names = [*sorted(str(path) for path in folder.iterdir() if path.is_file()), *strings]
    before = listener.came
    said, lines = traced(READ, names, tmp_path_factory.mktemp("log") / "ours")
    assert set(said) == set(names)
    return said, lines, listener.came - before


def opened(lines):
    """The paths that were opened, and by which process."""
    pattern = re.compile(r'^(\d+) +open(?:at2?)?\((?:[^"]*)"([^"]*)".* = (\d+)')
    return [(found.group(1), found.group(2)) for line in lines if (found := pattern.match(line))]


def test_no_trap_brings_out_what_lies_elsewhere(answers):
    said, _, _ = answers
    assert len(said) > 50
    assert [name for name, answer in said.items() if SECRET in json.dumps(answer)] == []


def test_no_trap_makes_a_connection(answers):
    _, lines, came = answers
    assert came == 0
    made = re.compile(r"^\d+ +(?:socket|connect|sendto|sendmsg|socketpair)\(.* = \d+$")
    assert [line for line in lines if made.match(line)] == []


def test_no_trap_opens_a_file_besides_itself_and_the_program(answers, ground):
    folder, secret = ground
    _, lines, _ = answers
    paths = {path for _, path in opened(lines)}
    assert str(secret) not in paths
    beside = [path for path in paths if str(secret.parent) in path or str(folder / "made") in path]
    assert beside == []
    own = (sys.prefix, sys.base_prefix, str(ROOT), str(folder), tempfile.gettempdir())
    places = (*own, "/usr/", "/lib", "/etc/", "/proc/", "/sys/", "/dev/null", "/dev/urandom")
    assert {path for path in paths if path.startswith("/") and not path.startswith(places)} == set()
    etc = {"/etc/ld.so.cache", "/etc/localtime", "/etc/mime.types", "/etc/ssl/openssl.cnf"}
    assert {path for path in paths if path.startswith("/etc/")} <= etc


def test_from_the_fence_on_a_reading_process_opens_nothing_at_all(answers):
    _, lines, _ = answers
    shut = {}
    for place, line in enumerate(lines):
        if "SECCOMP_SET_MODE_FILTER" in line and line.endswith("= 0"):
            shut.setdefault(line.split()[0], place)
    assert len(shut) > 30
    later = [
        line
        for place, line in enumerate(lines)
        if place > shut.get(line.split()[0], len(lines)) and re.search(r"^\d+ +\w+\(.* = \d+$", line)
    ]
    assert later == []


def test_what_is_a_list_beside_its_trap_is_still_read(answers, ground):
    folder, _ = ground
    said, _, _ = answers
    for name in ("link.geojson", "here.geojson", "linked.kml", "grid.zip", "cpg.zip", "object.parquet"):
        assert said[str(folder / name)].get("rows"), (name, said[str(folder / name)])
    assert "which were not fetched" in said[str(folder / "linked.kml")]["text"]
    assert "NetworkLink" in said[str(folder / "only-link.kml")]["refused"]


OTHER_KINDS = [f"{trap}.{ending}" for trap in ("local", "far", "service") for ending in NAMES]


@pytest.mark.parametrize("name", OTHER_KINDS)
def test_a_file_of_another_kind_under_a_name_that_is_read_is_refused(answers, ground, name):
    said, _, _ = answers
    answer = said[str(ground[0] / name)]
    assert "refused" in answer or name.endswith(("csv", "txt"))  # any text may be a list of one column


def test_the_harness_catches_a_reader_of_every_format(ground, listener, strings, tmp_path):
    """GDAL by default, at four of the traps; else the tests above would prove nothing."""
    folder, secret = ground
    names = [str(folder / "local.geojson"), str(folder / "far.csv"), str(folder / "link.geojson"), strings[4]]
    before = listener.came
    said, lines = traced(READ_BY_GDAL, names, tmp_path / "theirs")
    assert SECRET in said[names[0]]["text"]
    assert listener.came > before
    assert str(secret) in {path for _, path in opened(lines)}
    assert any(re.search(rf"connect\(.*sin_port=htons\({listener.port}\)", line) for line in lines)
