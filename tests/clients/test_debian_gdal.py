"""Debian's command line tools of GDAL 3.6 against the running program, as a script of an office uses them."""

import json
import shutil
import subprocess

import pytest

from tests.clients.truth import check_trees


def run(*words):
    if shutil.which(words[0]) is None:
        pytest.fail(f"{words[0]} is missing. On Debian: apt-get install -y --no-install-recommends gdal-bin")
    return subprocess.run(words, capture_output=True, text=True, timeout=300, check=True).stdout


def test_the_summary_counts_all_trees_and_names_their_fields(address, rows):
    said = run("ogrinfo", "-ro", "-so", f"OAPIF:{address}/ogc", "trees")
    assert f"Feature Count: {len(rows)}" in said
    assert "Geometry: Point" in said
    assert "dbh_cm: Real" in said
    assert "height_m: Real" in said


def test_a_copy_has_every_tree_with_its_exact_values(address, rows, tmp_path):
    out = tmp_path / "copy.geojson"
    source = f"OAPIF:{address}/ogc"
    run(
        "ogr2ogr",
        "-f",
        "GeoJSON",
        str(out),
        source,
        "trees",
        "-oo",
        "PAGE_SIZE=1000",
        "-lco",
        "COORDINATE_PRECISION=15",
    )
    features = json.loads(out.read_text(encoding="utf-8"))["features"]
    read = []
    for feature in features:
        lon, lat = feature["geometry"]["coordinates"][:2]
        read.append({**feature["properties"], "lon": lon, "lat": lat})
    check_trees(read, rows)


def test_pages_of_the_default_size_of_ten_end(address):
    said = run("ogrinfo", "-ro", "-al", "-q", f"OAPIF:{address}/ogc", "trees", "-where", "tag = '№ 17'")
    assert said.count("OGRFeature(") == 1
