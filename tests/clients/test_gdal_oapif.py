"""GDAL's OGC API - Features driver, inside pyogrio's wheel, against the running program.

References
----------
GDAL vector driver "OAPIF" (gdal.org, driver documentation): pages by ``next``, fields from the schema that
``describedby`` names or from a sample of features.
"""

import math

import pyogrio
import pytest

from tests.clients.truth import check_trees

NUMBERS = ("dbh_cm", "dbh_se_cm", "basal_area_m2", "height_m", "growth_cm_per_yr", "position_accuracy_m")


def opened(address, layer, **options):
    return pyogrio.read_dataframe(f"OAPIF:{address}/ogc", layer=layer, **options)


@pytest.fixture(scope="module")
def trees(address):
    return opened(address, "trees", PAGE_SIZE="1000")


def test_every_tree_comes_with_its_exact_values(trees, rows):
    frame = trees.assign(lon=trees.geometry.x, lat=trees.geometry.y)
    check_trees(frame.drop(columns="geometry").to_dict("records"), rows)


def test_positions_are_longitude_and_latitude_of_wgs84(trees):
    assert trees.crs.is_geographic
    assert trees.total_bounds == pytest.approx([9.0, 47.0, 9.2, 47.2], abs=1e-3)


def test_decimals_that_begin_whole_or_empty_are_decimals(address):
    info = pyogrio.read_info(f"OAPIF:{address}/ogc", layer="trees")
    types = dict(zip(info["fields"], info["dtypes"], strict=True))
    assert {name: types[name] for name in NUMBERS} == dict.fromkeys(NUMBERS, "float64")


def test_a_box_brings_the_trees_inside_it(address, rows):
    box = (9.05, 47.05, 9.06, 47.07)
    got = opened(address, "trees", bbox=box)
    inside = [r for r in rows if box[0] <= float(r["lon"]) <= box[2] and box[1] <= float(r["lat"]) <= box[3]]
    assert len(inside) > 50
    assert set(got["external_id"]) == {r["id"] for r in inside}


def test_a_condition_on_text_is_asked_of_the_server(address):
    got = opened(address, "trees", where="tag = '№ 17'")
    assert list(got["external_id"]) == ["17"]


def test_readings_come_with_what_was_said(address, rows):
    got = opened(address, "readings", PAGE_SIZE="5000")
    assert len(got) == len(rows)
    assert sorted(got["value"]) == sorted(float(r["girth_cm"]) for r in rows)


def test_figures_are_read_without_a_shape_for_the_whole_ground(address, rows):
    got = opened(address, "figures")
    assert list(got["trees"]) == [len(rows)]
    cut = math.fsum((float(r["girth_cm"]) / math.pi) ** 2 for r in rows) * math.pi / 40_000
    assert got["basal_area_m2"][0] == pytest.approx(cut, rel=1e-9)


def test_an_empty_collection_has_its_fields(address):
    info = pyogrio.read_info(f"OAPIF:{address}/ogc", layer="targets")
    assert {"target_id", "name", "kind", "use", "site"} <= set(info["fields"])
