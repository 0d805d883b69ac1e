"""QGIS without a screen against the running program; where QGIS is installed (Debian: python3-qgis)."""

import json
import os
import subprocess
from pathlib import Path

import pytest

from tests.clients.truth import check_trees

pytestmark = pytest.mark.qgis
HERE = Path(__file__).parent


def qgis(script, *words):
    """What a script says that runs in Debian's Python, which has QGIS."""
    command = ["/usr/bin/python3", str(HERE / script), *words]
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": "/tmp"}
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, env=environment)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def trees(address):
    return json.loads(qgis("open_in_qgis.py", f"{address}/ogc/", "trees"))


def test_the_layer_is_valid_and_in_wgs84(trees):
    assert trees["valid"]
    assert trees["crs"] in ("OGC:CRS84", "EPSG:4326")


def test_every_tree_comes_with_its_exact_values(trees, rows):
    assert trees["count"] == len(rows)
    check_trees([{**tree, "height_m": _number(tree["height_m"])} for tree in trees["rows"]], rows)


def _number(height):
    """QGIS 3.22 reads no schema: what is empty in its sample of ten is text, with every digit."""
    return None if height is None else float(height)
