import json
import sqlite3

import pyogrio
import pytest
import shapely

from service.errors import InvalidRequest, NotAcceptable, NotFound
from service.outlets.export import FORMATS, LAYERS, MEDIA_TYPES, export_layer, figures_geojson, layer_pieces
from tests.builders import frame_of, make_site
from tests.outlet_view import HOSTILE, SQUARE, leaving_tree, make_view, site_records


def query(path, statement):
    connection = sqlite3.connect(path)
    try:
        return connection.execute(statement).fetchall()
    finally:
        connection.close()


@pytest.fixture
def package(tmp_path):
    path = tmp_path / "site.gpkg"
    export_layer(make_view(), "trees", "gpkg", path)
    return path


def test_every_format_has_a_media_type():
    assert set(MEDIA_TYPES) == set(FORMATS)


@pytest.mark.parametrize("form", ["geojson", "csv"])
def test_a_file_holds_what_is_streamed(form, tmp_path):
    path = tmp_path / f"trees.{form}"
    assert export_layer(make_view(), "trees", form, path) == 2
    assert path.read_bytes() == b"".join(layer_pieces(make_view(), "trees", form))
    assert [found.name for found in tmp_path.iterdir()] == [path.name]


def test_other_formats_and_layers_are_refused_with_what_there_is(tmp_path):
    with pytest.raises(NotAcceptable, match="geojson, csv, gpkg"):
        export_layer(make_view(), "trees", "shp", tmp_path / "x")
    with pytest.raises(NotAcceptable, match="geojson, csv"):
        layer_pieces(make_view(), "trees", "gpkg")
    with pytest.raises(NotFound):
        export_layer(make_view(), "bushes", "csv", tmp_path / "x")


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(InvalidRequest, match="cannot be written"):
        export_layer(make_view(), "trees", "csv", tmp_path / "nowhere" / "x.csv")


def test_an_old_file_stays_when_the_export_fails(tmp_path):
    path = tmp_path / "trees.csv"
    path.write_text("old")
    with pytest.raises(NotFound):
        export_layer(make_view(), "bushes", "csv", path)
    assert path.read_text() == "old"


def test_chosen_figures_leave_as_geojson():
    view = make_view()
    document = json.loads(figures_geojson(view, view.figures[1:2]))
    assert [feature["properties"]["name"] for feature in document["features"]] == ["Yard"]


def test_a_geopackage_holds_every_layer_and_says_how_many_rows(tmp_path):
    path = tmp_path / "site.gpkg"
    rows = export_layer(make_view(), "trees", "gpkg", path)
    contents = query(path, "SELECT table_name FROM gpkg_contents")
    assert {name for (name,) in contents} == set(LAYERS)
    assert rows == sum(query(path, f"SELECT count(*) FROM {layer}")[0][0] for layer in LAYERS)


def test_a_geopackage_is_one_by_its_mark_and_version(package):
    """OGC 12-128r17, requirement 2: application_id GPKG, user_version MMmmPP."""
    assert query(package, "PRAGMA application_id") == [(0x47504B47,)]
    assert query(package, "PRAGMA user_version")[0][0] >= 10200


def test_the_caution_describes_the_layers_that_hold_flags(package):
    said = dict(query(package, "SELECT table_name, description FROM gpkg_contents"))
    held = {layer for layer, text in said.items() if "It is not an inspection" in text}
    assert held == {"trees", "flags", "inspections", "figures"}


def test_feature_numbers_are_ours(package):
    assert query(package, "SELECT fid, tag FROM trees ORDER BY fid") == [(1, "T1"), (2, HOSTILE)]


def test_trees_come_out_of_the_package_as_they_went_in(package):
    trees = pyogrio.read_dataframe(package, layer="trees")
    assert trees.crs.to_epsg() == 4326
    assert trees.geometry[0].equals(shapely.Point(9.17, 47.66))
    assert trees.geometry[1] is None
    assert trees["dbh_cm"][0] == 31.830988618379067
    assert json.loads(trees["signs"][0]) == ["dead branch"]
    assert query(package, "SELECT Pflege FROM trees ORDER BY fid") == [("2023",), (None,)]


def test_areas_and_targets_keep_their_shapes(package):
    areas = pyogrio.read_dataframe(package, layer="areas")
    assert areas.geometry[0].equals(SQUARE)
    assert pyogrio.read_dataframe(package, layer="targets").geometry[0].geom_type == "Point"


def test_a_local_ground_lies_in_the_undefined_plane(tmp_path):
    path = tmp_path / "local.gpkg"
    trees = frame_of("trees", [leaving_tree(x_m=1.5, y_m=2.5)])
    export_layer(make_view(terms=make_site(frame="local"), trees=trees), "trees", "gpkg", path)
    assert query(path, "SELECT srs_id FROM gpkg_contents WHERE table_name = 'trees'") == [(-1,)]
    assert pyogrio.read_dataframe(path, layer="trees").geometry[0].equals(shapely.Point(1.5, 2.5))


@pytest.mark.parametrize("header", ["", " ", 'a"b', "FID", "geom", "x" * 300, "Straße; --", "{{7*7}}"])
def test_a_header_that_a_file_brought_cannot_spoil_the_package(header, tmp_path):
    records = site_records()
    records.trees["kept"] = [{header: "as it was"}, {}]
    path = tmp_path / "odd.gpkg"
    export_layer(make_view(records=records), "trees", "gpkg", path)
    assert "as it was" in query(path, "SELECT * FROM trees WHERE fid = 1")[0]
