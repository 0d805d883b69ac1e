import json
import sqlite3
import subprocess
from dataclasses import replace
from xml.etree import ElementTree

import geopandas as gpd
import pandas as pd
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely

from layers.symbology import drawn_classes
from service.errors import InvalidRequest, NotAcceptable
from service.outlets.export import BY_EXTENSION, FORMATS, export_layer, figures_geojson, layer_pieces
from service.outlets.geojson_out import geojsonseq_pieces
from service.outlets.geopackage_out import write_layers
from service.outlets.held_layer import HeldLayer
from service.outlets.layer_rows import LAYERS, POSITION
from tests.builders import frame_of, make_site
from tests.outlet_view import HOSTILE, SQUARE, areas_frame, layer_of, leaving_tree, make_view, site_records

CAUTIONED = {"trees", "flags", "inspections", "figures"}
CAUTION = "It is not an inspection"
PIECED = ["geojson", "geojsonseq", "csv", "kml"]
TYPED = ["fgb", "parquet"]
HEADERS = ["", " ", 'a"b', "FID", "geom", "bbox", "x" * 300, "Straße; --", "{{7*7}}"]


def query(path, statement):
    connection = sqlite3.connect(path)
    try:
        return connection.execute(statement).fetchall()
    finally:
        connection.close()


def packed(view, path):
    write_layers([layer_of(view, name) for name in LAYERS], path, drawn_classes(view.terms))
    return path


@pytest.fixture
def package(tmp_path):
    return packed(make_view(), tmp_path / "site.gpkg")


def written(layer, form, folder):
    path = folder / f"{layer.facts.layer}.{FORMATS[form].extension}"
    export_layer(layer, form, path)
    return path


def read(path):
    """A file as an independent reader has it."""
    return gpd.read_parquet(path) if path.suffix == ".parquet" else pyogrio.read_dataframe(path)


def test_every_format_has_an_extension_of_its_own():
    assert all(FORMATS[name].extension == extension for extension, name in BY_EXTENSION.items())
    assert len(BY_EXTENSION) == len(FORMATS)
    assert {name for name, each in FORMATS.items() if each.pieces} == set(PIECED)


@pytest.mark.parametrize("form", PIECED)
def test_a_file_holds_what_is_streamed(form, tmp_path):
    layer = layer_of(make_view(), "trees")
    path = tmp_path / f"trees.{form}"
    assert export_layer(layer, form, path) == 2
    assert path.read_bytes() == b"".join(layer_pieces(layer, form))
    assert [found.name for found in tmp_path.iterdir()] == [path.name]


def test_other_formats_are_refused_with_what_there_is(tmp_path):
    layer = layer_of(make_view(), "trees")
    with pytest.raises(NotAcceptable, match="geojson, geojsonseq, csv, fgb, parquet, kml"):
        export_layer(layer, "shp", tmp_path / "x")
    with pytest.raises(NotAcceptable, match="geojson, geojsonseq, csv, kml"):
        layer_pieces(layer, "fgb")


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(InvalidRequest, match="cannot be written"):
        export_layer(layer_of(make_view(), "trees"), "csv", tmp_path / "nowhere" / "x.csv")


@pytest.mark.parametrize("form", FORMATS)
def test_an_old_file_stays_when_the_export_fails(form, tmp_path):
    class Broken:
        facts = layer_of(make_view(), "trees").facts

        def parts(self, size=1000, names=None):
            raise OSError(28, "No space left on device")
            yield

    path = tmp_path / "trees.x"
    path.write_text("old")
    with pytest.raises((InvalidRequest, RuntimeError)):
        export_layer(Broken(), form, path)
    assert path.read_text() == "old"
    assert [found.name for found in tmp_path.iterdir()] == [path.name]


def test_chosen_figures_leave_as_geojson():
    view = make_view()
    document = json.loads(figures_geojson(view, view.figures[1:2]))
    assert [feature["properties"]["name"] for feature in document["features"]] == ["Yard"]


@pytest.mark.parametrize("layer", LAYERS)
def test_a_sequence_has_every_feature_after_a_separator_and_before_a_line_feed(layer):
    """RFC 8142, section 2: each text is preceded by 0x1E and followed by 0x0A."""
    leaving = layer_of(make_view(), layer)
    text = b"".join(geojsonseq_pieces(leaving))
    assert text.startswith(b"\x1e") and text.endswith(b"\n")
    texts = [piece.removesuffix(b"\n") for piece in text.split(b"\x1e")[1:]]
    collection = json.loads(b"".join(layer_pieces(leaving, "geojson")))
    assert [json.loads(each) for each in texts] == collection["features"]
    assert all(b"\n" not in each for each in texts)


def expected_type(kind):
    of = {"float": "double", "int": "int64", "flag": "bool", "date": "date32[day]"}
    of["time"] = "timestamp[us, tz=UTC]"
    return of.get(kind, "string")


@pytest.mark.parametrize("layer", LAYERS)
def test_a_parquet_file_has_the_type_of_every_column(layer, tmp_path):
    leaving = layer_of(make_view(), layer)
    schema = pq.read_schema(written(leaving, "parquet", tmp_path))
    for column in leaving.facts.columns:
        if column.name not in POSITION:
            assert str(schema.field(column.name).type) == expected_type(column.kind), column


def test_a_day_that_is_none_makes_its_column_text_and_loses_nothing(tmp_path):
    trees = frame_of(
        "trees", [leaving_tree(planted_on="about 1950"), leaving_tree(fid=2, planted_on="1950-07-02")]
    )
    leaving = layer_of(make_view(trees=trees), "trees")
    for form in TYPED:
        assert list(read(written(leaving, form, tmp_path))["planted_on"]) == ["about 1950", "1950-07-02"]


@pytest.mark.parametrize("form", TYPED)
@pytest.mark.parametrize("layer", LAYERS)
def test_a_typed_file_says_what_geojson_says(layer, form, tmp_path):
    """Read back by pyogrio (GDAL) and by geopandas, which share nothing with the writers of text."""
    leaving = layer_of(make_view(), layer)
    features = json.loads(b"".join(layer_pieces(leaving, "geojson")))["features"]
    frame = read(written(leaving, form, tmp_path))
    assert len(frame) == len(features)
    assert frame.crs.equals("OGC:CRS84" if form == "parquet" else "EPSG:4326")
    by_rows = zip(features, frame.to_dict("records"), strict=True)
    for feature, row in by_rows:
        there = None if feature["geometry"] is None else shapely.from_geojson(json.dumps(feature["geometry"]))
        assert (there is None) == (row["geometry"] is None)
        assert there is None or there.equals(row["geometry"])
        for name, said in feature["properties"].items():
            assert plain(row[name], said) == said, name


def plain(cell, said):
    """A cell as GeoJSON writes it."""
    if isinstance(said, list | dict):
        return json.loads(cell)
    if cell is None or pd.isna(cell):
        return None
    if isinstance(cell, pd.Timestamp):
        return cell.isoformat().replace("+00:00", "Z")
    return cell.isoformat() if hasattr(cell, "isoformat") else cell


@pytest.mark.parametrize("layer", LAYERS)
def test_the_caution_goes_once_with_what_holds_flags_in_every_format_that_has_a_place_for_it(layer, tmp_path):
    leaving = layer_of(make_view(), layer)
    expected = 1 if layer in CAUTIONED else 0
    for form, each in FORMATS.items():
        said = written(leaving, form, tmp_path).read_bytes().count(CAUTION.encode())
        if form == "parquet":
            said = (
                pq.read_schema(tmp_path / f"{layer}.parquet").metadata[b"description"].decode().count(CAUTION)
            )
        assert said == (expected if each.cautioned else 0), form


def test_geoparquet_metadata_are_those_of_the_standard(tmp_path):
    """GeoParquet 1.1.0: version, primary_column, columns with encoding, geometry_types, covering by bbox."""
    path = written(layer_of(make_view(), "trees"), "parquet", tmp_path)
    geo = json.loads(pq.read_schema(path).metadata[b"geo"])
    assert (geo["version"], geo["primary_column"]) == ("1.1.0", "geometry")
    column = geo["columns"]["geometry"]
    assert (column["encoding"], column["geometry_types"]) == ("WKB", ["Point"])
    assert "crs" not in column
    assert column["bbox"] == [9.17, 47.66, 9.17, 47.66]
    assert column["covering"] == {"bbox": {s: ["bbox", s] for s in ("xmin", "ymin", "xmax", "ymax")}}
    near = gpd.read_parquet(path, bbox=(9.1, 47.6, 9.2, 47.7))
    assert list(near["tag"]) == ["T1"]
    assert len(gpd.read_parquet(path, bbox=(9.2, 47.7, 9.3, 47.8))) == 0
    assert read(path)["geometry"].isna().tolist() == [False, True]


@pytest.mark.parametrize("form", TYPED)
def test_a_local_ground_leaves_in_metres_of_no_place_on_earth(form, tmp_path):
    trees = frame_of("trees", [leaving_tree(x_m=1.5, y_m=2.5, lon_deg=float("nan"), lat_deg=float("nan"))])
    leaving = layer_of(make_view(terms=make_site(frame="local"), trees=trees), "trees")
    frame = read(written(leaving, form, tmp_path))
    assert frame.crs is None or frame.crs.to_epsg() is None
    assert (frame["x_m"][0], frame["y_m"][0]) == (1.5, 2.5)
    assert frame.geometry[0].equals(shapely.Point(1.5, 2.5))
    assert "lon_deg" not in frame


def test_flatgeobuf_has_its_index_where_every_row_has_a_place(tmp_path):
    placed = make_view(trees=frame_of("trees", [leaving_tree(), leaving_tree(fid=2, tag="T2", lon_deg=9.3)]))
    path = written(layer_of(placed, "trees"), "fgb", tmp_path)
    assert pyogrio.read_info(path)["capabilities"]["fast_spatial_filter"]
    assert list(pyogrio.read_dataframe(path, bbox=(9.2, 47, 9.4, 48))["tag"]) == ["T2"]
    assert len(pyogrio.read_dataframe(written(layer_of(make_view(), "trees"), "fgb", tmp_path))) == 2


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_without_rows_leaves_as_a_whole_file(layer, form, tmp_path):
    leaving = layer_of(make_view(), layer)
    held = leaving.held
    empty = HeldLayer(replace(held, rows=held.rows[:0], shapes=held.shapes[:0], ids=held.ids[:0]))
    path = written(empty, form, tmp_path)
    if form in TYPED:
        frame = read(path)
        assert len(frame) == 0
        assert set(frame.columns) > {"site"}


@pytest.mark.parametrize("header", HEADERS)
@pytest.mark.parametrize("form", FORMATS)
def test_a_header_that_a_file_brought_cannot_spoil_a_file(header, form, tmp_path):
    records = site_records()
    records.trees["kept"] = [{header: "as it was"}, {}]
    path = written(layer_of(make_view(records=records), "trees"), form, tmp_path)
    if form in TYPED:
        frame = read(path)
        assert "as it was" in list(frame.iloc[0])
    else:
        assert b"as it was" in path.read_bytes()


def test_kml_has_a_placemark_for_every_tree_with_every_cell_by_name(tmp_path):
    """OGC 12-007r2 (KML 2.3): Placemark, ExtendedData/Data/value; longitude before latitude."""
    text = b"".join(layer_pieces(layer_of(make_view(), "trees"), "kml"))
    space = {"k": "http://www.opengis.net/kml/2.3"}
    first, second = ElementTree.fromstring(text).findall(".//k:Placemark", space)
    assert first.find("k:Point/k:coordinates", space).text == "9.17,47.66"
    assert second.find("k:Point", space) is None
    cells = {
        each.get("name"): each.find("k:value", space).text for each in first.iter(f"{{{space['k']}}}Data")
    }
    assert cells["dbh_cm"] == "31.830988618379067"
    assert cells["Status (as written)"] == "fällen?"
    assert second.find("k:name", space).text == HOSTILE


def test_kml_draws_areas_with_their_holes(tmp_path):
    holed = SQUARE.difference(shapely.box(9.165, 47.655, 9.17, 47.66))
    path = written(layer_of(make_view(areas=areas_frame(geometry=holed)), "areas"), "kml", tmp_path)
    assert pyogrio.read_dataframe(path).geometry[0].equals(holed)


def test_a_geopackage_holds_every_layer(package):
    contents = query(package, "SELECT table_name, data_type FROM gpkg_contents")
    assert dict(contents) == {**dict.fromkeys(LAYERS, "features"), "layer_styles": "attributes"}
    for name in LAYERS:
        assert query(package, f"SELECT count(*) FROM {name}") == [(layer_of(make_view(), name).facts.rows,)]


def test_a_geopackage_is_one_by_its_mark_and_version(package):
    """OGC 12-128r17, requirement 2: application_id GPKG, user_version MMmmPP."""
    assert query(package, "PRAGMA application_id") == [(0x47504B47,)]
    assert query(package, "PRAGMA user_version") == [(10300,)]


def test_a_geopackage_passes_the_validator_of_debian(package, tmp_path):
    """validate_gpkg of GDAL (OGC 12-128r17), in Debian's python3-gdal."""
    local = packed(make_view(terms=make_site(frame="local")), tmp_path / "local.gpkg")
    for path in (package, local):
        command = ["/usr/bin/python3", "-m", "osgeo_utils.samples.validate_gpkg", str(path)]
        found = subprocess.run(command, capture_output=True, text=True, check=False)
        assert (found.returncode, found.stdout, found.stderr) == (0, "", "")


def test_the_caution_describes_the_layers_that_hold_flags(package):
    said = dict(query(package, "SELECT table_name, description FROM gpkg_contents"))
    assert {layer for layer, text in said.items() if CAUTION in text} == CAUTIONED


def test_feature_numbers_are_ours_in_every_layer(package):
    assert query(package, "SELECT fid, tag FROM trees ORDER BY fid") == [(1, "T1"), (2, HOSTILE)]
    for name in LAYERS:
        number = "ogc_fid" if name in ("inspections", "figures") else "fid"
        ids = sorted(layer_of(make_view(), name).held.ids.tolist())
        assert query(package, f"SELECT {number} FROM {name} ORDER BY 1") == [(each,) for each in ids]


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
    trees = frame_of("trees", [leaving_tree(x_m=1.5, y_m=2.5)])
    path = packed(make_view(terms=make_site(frame="local"), trees=trees), tmp_path / "local.gpkg")
    assert query(path, "SELECT srs_id FROM gpkg_contents WHERE table_name = 'trees'") == [(-1,)]
    assert pyogrio.read_dataframe(path, layer="trees").geometry[0].equals(shapely.Point(1.5, 2.5))


@pytest.mark.parametrize("header", HEADERS)
def test_a_header_that_a_file_brought_cannot_spoil_the_package(header, tmp_path):
    records = site_records()
    records.trees["kept"] = [{header: "as it was"}, {}]
    path = packed(make_view(records=records), tmp_path / "odd.gpkg")
    assert "as it was" in query(path, "SELECT * FROM trees WHERE fid = 1")[0]


def test_styles_draw_every_size_class_by_colour_size_and_label(package):
    classes = drawn_classes(make_view().terms)
    ((table, sld, qml),) = query(package, "SELECT f_table_name, styleSLD, styleQML FROM layer_styles")
    assert table == "trees"
    named = {"se": "http://www.opengis.net/se", "ogc": "http://www.opengis.net/ogc"}
    rules = ElementTree.fromstring(sld).findall(".//se:Rule", named)
    drawn = ElementTree.fromstring(qml)
    markers = drawn.findall(".//symbol/layer")
    assert len(rules) == len(markers) == len(classes) + 2
    for one, rule, marker, said in zip(classes, rules, markers, drawn.findall(".//rule"), strict=False):
        assert rule.find("se:Description/se:Title", named).text == said.get("label") == one.label
        assert rule.find(".//se:Fill/se:SvgParameter", named).text == one.fill
        bounds = [each.text for each in rule.findall(".//ogc:Literal", named)][1:]
        assert bounds == [f"{each:g}" for each in (one.from_cm, one.to_cm) if each is not None]
        props = {each.get("k"): each.get("v") for each in marker.findall("prop")}
        colour = "#" + "".join(f"{int(part):02x}" for part in props["color"].split(",")[:3])
        assert colour == one.fill
        assert float(props["size"]) == float(rule.find(".//se:Size", named).text) == 2 * one.radius_px


def test_the_words_of_layers_are_said_to_be_dates_only_where_all_cells_are():
    kinds = {column.name: column.kind for column in layer_of(make_view(), "trees").facts.columns}
    assert kinds["planted_on"] == kinds["last_measured_on"] == "date"
    trees = frame_of("trees", [leaving_tree(planted_on="1950")])
    odd = layer_of(make_view(trees=trees), "trees").facts.columns
    assert {column.name: column.kind for column in odd}["planted_on"] == "text"
