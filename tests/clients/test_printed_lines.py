"""Every line that the data page shows, and every command of the README for GIS staff, run as it stands there.

The lines are taken from the page of a small ground on the running program; GDAL's commands are Debian's.
"""

import html
import json
import os
import re
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from tests.clients.conftest import ROOT, program, serving
from tests.clients.test_qgis import qgis

SLUG = "sample-school"
CODE = re.compile(r'<code(?: data-runs="(\w+)")?>(.*?)</code>', re.S)
COUNTING = """
import json, sys
def count(line):
    names = {}
    exec(line, names)
    return len(names["figures"] if "figures" in names else names["trees"])
print(json.dumps([count(line) for line in json.load(sys.stdin)]))
"""
BIN = Path(sys.executable).parent


def got(address):
    with urllib.request.urlopen(address, timeout=60) as answer:
        return answer.read()


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    path = tmp_path_factory.mktemp("lines") / "store.sqlite"
    subprocess.run(program(path, "demo", "--load-only"), cwd=ROOT, check=True, capture_output=True)
    return path


@pytest.fixture(scope="module")
def small(store):
    with serving(store, store.with_suffix(".log")) as address:
        yield address


@pytest.fixture(scope="module")
def page(small):
    return got(f"{small}/sites/{SLUG}/data").decode()


@pytest.fixture(scope="module")
def shown(page):
    """(how it runs, or empty for an address; the text) of all that can be copied."""
    return [(runs, html.unescape(text)) for runs, text in CODE.findall(page)]


@pytest.fixture(scope="module")
def trees(small):
    return json.loads(got(f"{small}/api/sites/{SLUG}/trees?limit=10000"))


def run(command, folder, said=None, **more):
    done = subprocess.run(
        command,
        cwd=folder,
        input=said,
        capture_output=True,
        text=True,
        timeout=300,
        env={**os.environ, **more},
        check=False,
    )
    assert done.returncode == 0, f"{command}\n{done.stderr}"
    assert "FAILURE" not in done.stderr
    return done.stdout


def in_shell(line, folder, **more):
    return run(["bash", "-c", line], folder, **more)


def in_python(lines, folder):
    """How many rows each line of Python reads."""
    return json.loads(run([sys.executable, "-W", "error", "-c", COUNTING], folder, json.dumps(lines)))


def counted_by_ogrinfo(said):
    found = re.search(r"Feature Count: (\d+)", said)
    return int(found[1]) if found else None


def rows_in(path):
    return counted_by_ogrinfo(run(["ogrinfo", "-ro", "-so", path.name, "trees"], path.parent))


def test_every_line_of_python_reads_all_it_names(shown, small, trees, tmp_path):
    lines = [text for runs, text in shown if runs == "python"]
    named = {"pyogrio", "owslib", "geopandas", "pandas"}
    assert named <= {word for line in lines for word in re.findall(r"\w+", line)}
    figures = json.loads(got(f"{small}/api/sites/{SLUG}/figures"))
    counted = [tree for tree in trees if tree["status"] in ("living", "unknown")]
    placed = [tree for tree in counted if tree["lon_deg"] is not None]
    expected = [
        len(figures if "figures" in line else placed if "osm_trees" in line else trees) for line in lines
    ]
    assert dict(zip(lines, in_python(lines, tmp_path), strict=True)) == dict(
        zip(lines, expected, strict=True)
    )


def test_every_line_of_the_shell_does_what_it_says(shown, small, trees, tmp_path):
    lines = [text for runs, text in shown if runs == "shell"]
    assert {line.split()[0] for line in lines} == {"ogrinfo", "ogr2ogr", "curl"}
    everywhere = json.loads(got(f"{small}/ogc/collections/trees/items?limit=1"))["numberMatched"]
    for line in lines:
        said = in_shell(line, tmp_path)
        if line.startswith("ogrinfo"):
            counted = counted_by_ogrinfo(said)
            assert counted == (everywhere if "OAPIF" in line else None if "MVT" in line else len(trees)), line
            assert "trees" in said
    assert rows_in(tmp_path / "trees.gpkg") == len(trees)
    assert rows_in(tmp_path / "site.gpkg") == len(trees)
    for name, key in {
        "trees.geojson": "features",
        "tile.json": "vector_layers",
        "density.json": "tiles",
        "changes.json": "complete_to",
    }.items():
        assert key in json.loads((tmp_path / name).read_bytes()), name
    assert len(json.loads((tmp_path / "trees.json").read_bytes())) == len(trees)
    assert (tmp_path / "site.zip").read_bytes()[:2] == b"PK"


def test_every_address_answers(shown, small):
    addresses = [text for runs, text in shown if not runs]
    assert len(addresses) > 20
    for address in addresses:
        assert address.startswith(f"{small}/")
        assert got(address.format(z=0, x=0, y=0) if "{z}" in address else address)


def test_a_ground_without_a_place_on_earth_has_lines_that_run_too(store, small, trees, tmp_path):
    path = tmp_path / "room.csv"
    rows = "".join(f"R{i},Tilia cordata,{50 + i},{i * 3},{i * 2}\n" for i in range(3))
    path.write_text("tag,species,girth_cm,x,y\n" + rows, encoding="utf-8")
    run(program(store, "import", str(path), "--site", "room", "--crs", "local"), ROOT)
    said = got(f"{small}/sites/room/data").decode()
    lines = [(runs, html.unescape(text)) for runs, text in CODE.findall(said)]
    assert not [text for _, text in lines if "/tiles/" in text or "osm_trees" in text]
    of_python = [line for runs, line in lines if runs == "python" and "trees" in line]
    assert in_python(of_python, tmp_path) == [3] * len(of_python)
    for runs, line in lines:
        if runs == "shell":
            in_shell(line, tmp_path)
    assert rows_in(tmp_path / "trees.gpkg") == 3


@pytest.mark.qgis
def test_a_desktop_gis_opens_the_first_address(shown, small):
    address = next(text for runs, text in shown if not runs)
    read = json.loads(qgis("open_in_qgis.py", address, "trees"))
    assert read["valid"]
    assert read["count"] == json.loads(got(f"{small}/ogc/collections/trees/items?limit=1"))["numberMatched"]


def readme_commands():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    part = text.split("\n## For GIS staff\n")[1].split("\n## ")[0]
    return [line for block in re.findall(r"```\n(.*?)```", part, re.S) for line in block.splitlines()]


def test_the_commands_of_the_readme_run_in_their_order(store, small, trees, tmp_path):
    lines = readme_commands()
    assert len(lines) >= 8
    for line in lines:
        said = line.replace("http://127.0.0.1:8477", small).replace(".venv/bin/", f"{BIN}/")
        in_shell(said.replace("my-park", SLUG), tmp_path, BOLEWARD_STORE=str(store))
    back = run(program(tmp_path / "new.sqlite", "figures", "--site", SLUG, "--json"), ROOT)
    assert json.loads(back) == json.loads(got(f"{small}/api/sites/{SLUG}/figures"))
    assert rows_in(tmp_path / "trees.gpkg") == len(trees)
