"""GeoJSON, GeoPackage and WKT: areas, targets and trees, bounded before any library sees their geometry."""

import json
import struct

import pytest
import shapely
from pyproj import Transformer

from service.errors import InvalidRequest, Unreadable
from service.intake.bounded_shapes import MAX_POINTS, from_geojson, from_wkb, from_wkt
from service.intake.prepared import ImportOptions, SiteFacts
from service.intake.understand import prepare
from tests.intake_builders import (
    TODAY,
    asked,
    geometry_bytes,
    guess_of,
    prepared_of,
    write_geopackage,
)

SQUARE = [[9.10, 47.60], [9.11, 47.60], [9.11, 47.61], [9.10, 47.61], [9.10, 47.60]]
BOWTIE = [[9.10, 47.60], [9.11, 47.61], [9.11, 47.60], [9.10, 47.61], [9.10, 47.60]]


def polygon(ring):
    return {"type": "Polygon", "coordinates": [ring]}


def collection(*features, **members):
    made = [{"type": "Feature", "properties": p, "geometry": g} for p, g in features]
    return json.dumps({"type": "FeatureCollection", "features": made, **members})


def read(folder, text, **options):
    return prepared_of(folder, text, name="ground.geojson", **options)


def test_polygons_are_areas_with_name_kind_and_use(tmp_path):
    lawn = ({"name": "North lawn", "art": "x", "type": "Rasen", "use": "täglich", "id": 7}, polygon(SQUARE))
    prepared = read(tmp_path, collection(lawn))
    shape = prepared.shapes[0]
    assert (prepared.layer, shape.name, shape.kind, shape.use) == ("areas", "North lawn", "lawn", "every day")
    assert (shape.source_key, shape.kept) == ("7", {"art": "x"})
    assert shapely.from_wkb(shape.wkb).equals(shapely.Polygon(SQUARE))
    assert guess_of(prepared, "layer").value == "areas"


def test_lines_and_target_words_are_targets(tmp_path):
    line = {"type": "LineString", "coordinates": [[9.1, 47.6], [9.11, 47.6]]}
    point = {"type": "Point", "coordinates": [9.1, 47.6]}
    prepared = read(tmp_path, collection(({"kind": "Fußweg"}, line), ({"kind": "bench"}, point)))
    assert prepared.layer == "targets"
    assert [shape.kind for shape in prepared.shapes] == ["path", "bench"]


def test_points_with_species_and_girth_are_trees(tmp_path):
    point = {"type": "Point", "coordinates": [9.1, 47.6]}
    tree = ({"species": "Tilia cordata", "girth_cm": 80, "height_m": None}, point)
    prepared = read(tmp_path, collection(tree))
    row = prepared.trees[0]
    assert (row.lon_deg, row.lat_deg, row.readings[0].value) == (9.1, 47.6, 80)
    assert prepared.left_out == {"height_m": "The column is empty."}


def test_one_kind_for_all_is_an_option(tmp_path):
    prepared = read(tmp_path, collection(({"name": "A"}, polygon(SQUARE))), kind="boundary")
    assert prepared.shapes[0].kind == "boundary"
    with pytest.raises(InvalidRequest, match="--kind"):
        read(tmp_path, collection(({"name": "A"}, polygon(SQUARE))), kind="swamp")


def test_a_word_for_a_kind_that_is_not_known_is_other_and_kept(tmp_path):
    shape = read(tmp_path, collection(({"name": "A", "kind": "swamp"}, polygon(SQUARE)))).shapes[0]
    assert (shape.kind, shape.kept) == ("other", {"kind": "swamp"})


def test_rings_leave_against_the_clock_however_they_came(tmp_path):
    shape = read(tmp_path, collection(({"name": "A"}, polygon(SQUARE[::-1])))).shapes[0]
    assert shapely.is_ccw(shapely.from_wkb(shape.wkb).exterior)


@pytest.mark.parametrize(
    ("geometry", "says"),
    [
        (polygon(BOWTIE), "does not cross itself"),
        (polygon([[9.1, 47.6]] * 4), "invalid"),
        (polygon([[9.1, 47.6], [9.2, 47.6]]), "do not make a Polygon"),
        (polygon([SQUARE]), "nested"),
        (polygon([[9.1, 47.6, [1]]] * 4), "nested deeper"),
        (polygon([[str(x), y] for x, y in SQUARE]), "not a finite number"),
        (polygon([[9.1 + n / 1e6, 47.6] for n in range(MAX_POINTS + 1)]), "simplify"),
        ({"type": "GeometryCollection", "geometries": []}, "GeometryCollection"),
        ({"type": "Point", "coordinates": [9.1, 47.6]}, "An area is a polygon"),
        (None, "neither"),
        ("POLYGON", "no object"),
        ({"type": ["Polygon"], "coordinates": SQUARE}, "not taken"),
        (polygon([[x + 400, y] for x, y in SQUARE]), "cannot be in"),
    ],
)
def test_a_shape_that_cannot_be_is_refused_with_a_sentence(tmp_path, geometry, says):
    text = collection(
        *[({"name": f"good {n}"}, polygon(SQUARE)) for n in range(3)], ({"name": "bad"}, geometry)
    )
    shapes = read(tmp_path, text, layer="areas").shapes
    assert [shape.refused for shape in shapes[:3]] == [None, None, None]
    assert says in shapes[3].refused
    assert shapes[3].wkb is None


def test_deep_and_endless_nesting_never_reaches_the_geometry_library():
    deep: list = []
    for _ in range(100_000):
        deep = [deep]
    assert from_geojson({"type": "Polygon", "coordinates": deep}) == (
        None,
        "The coordinates are nested deeper than a shape can be.",
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("{", "cut off"),
        ('{"type": "FeatureCollection", "features": [', "cut off"),
        ('{"type": "FeatureCollection", "features": [}]}', "no whole JSON"),
        ("[1, 2]", "no GeoJSON"),
        ('{"type": "Topology"}', "'Topology'"),
        ('{"type": "FeatureCollection", "features": []}', "no features"),
        ('{"type": "FeatureCollection", "features": [1]}', "no object"),
        (collection(({"a": float("nan")}, None)), "NaN or Infinity"),
        (collection(({"a": float("inf")}, None)), "NaN or Infinity"),
        ('{"type": "FeatureCollection", "name": "\\ud800", "features": []}', "character code"),
        ("[" * 100_000 + "]" * 100_000, "nested deeper"),
    ],
)
def test_bad_geojson_gets_one_sentence(tmp_path, text, says):
    with pytest.raises(Unreadable) as found:
        read(tmp_path, text)
    assert says in str(found.value)
    assert "ground.geojson" in str(found.value)


def test_nul_and_numbers_without_end_refuse_their_row_alone(tmp_path):
    text = collection(({"name": "A"}, polygon(SQUARE)), ({"name": "B\0"}, polygon(SQUARE)))
    shapes = read(tmp_path, text).shapes
    assert shapes[0].refused is None
    assert "NUL" in shapes[1].refused
    far = collection(({"name": "A"}, polygon([[1e308, 47.6], *SQUARE[1:]]))).replace("1e+308", "1e999")
    with pytest.raises(Unreadable):
        read(tmp_path, far)


def test_a_named_system_is_followed_and_turned_into_wgs84(tmp_path):
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
    ring = [[513000, 5278000], [513100, 5278000], [513100, 5278100], [513000, 5278100], [513000, 5278000]]
    shape = shapely.from_wkb(
        read(tmp_path, collection(({"name": "A"}, polygon(ring)), crs=crs)).shapes[0].wkb
    )
    expected = Transformer.from_crs(25832, 4326, always_xy=True).transform(513050, 5278050)
    assert (shape.centroid.x, shape.centroid.y) == pytest.approx(expected, abs=1e-6)


def test_a_linked_system_is_not_fetched_but_guessed_from_the_numbers(tmp_path):
    crs = {"type": "link", "properties": {"href": "http://127.0.0.1:9/crs", "type": "proj4"}}
    prepared = read(tmp_path, collection(({"name": "A"}, polygon(SQUARE)), crs=crs))
    assert guess_of(prepared, "crs").why.startswith("The values are degrees")


def test_a_list_with_words_of_geometry_or_typed_hectares_is_one_of_areas(tmp_path):
    ring = ", ".join(f"{x} {y}" for x, y in SQUARE)
    text = f'Name;Nutzung;wkt\nHof;daily;"POLYGON (({ring}))"\nWiese;never;"POLYGON (({ring}))"\n'
    prepared = prepared_of(tmp_path, text)
    assert (prepared.layer, [s.name for s in prepared.shapes]) == ("areas", ["Hof", "Wiese"])
    assert [s.use for s in prepared.shapes] == ["every day", "hardly ever"]
    typed = prepared_of(tmp_path, "name,hectares\nYard,0.35\nLawn,\n", layer="areas").shapes
    assert (typed[0].typed_area_ha, typed[0].refused) == (0.35, None)
    assert "neither" in typed[1].refused


def test_an_outline_far_from_the_site_is_questioned(tmp_path):
    site = SiteFacts(box=(2.0, 48.0, 2.1, 48.1), today=TODAY)
    assert asked(read(tmp_path, collection(({"name": "A"}, polygon(SQUARE))), site=site).shapes[0]) == [
        "far_off"
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("POINT (1 2", "no geometry"),
        ("POINT (nan 2)", "no geometry"),
        ("GEOMETRYCOLLECTION (" * 5 + "POINT (1 2)" + ")" * 5, "nested deeper"),
        ("GEOMETRYCOLLECTION (POINT (1 2))", "no geometry"),
        ("LINESTRING (" + "1 2," * (MAX_POINTS + 1) + "1 2)", "simplify"),
        ("DROP TABLE tree", "no geometry"),
    ],
)
def test_words_that_are_no_bounded_geometry_are_refused(text, says):
    shape, fault, _ = from_wkt(text)
    assert shape is None
    assert says in fault


def test_bytes_are_walked_before_they_are_parsed():
    nested = struct.pack("<BII", 1, 7, 1) * 12_000 + struct.pack("<BI2d", 1, 1, 1.0, 2.0)
    assert from_wkb(nested)[0] is None
    within = struct.pack("<BII", 1, 6, 1) * 12_000
    assert from_wkb(within) == (None, "The coordinates are nested deeper than a shape can be.")
    claims = struct.pack("<BII", 1, 2, 2_000_000_000)
    assert from_wkb(claims)[0] is None
    assert from_wkb(struct.pack("<BII", 1, 2, 3))[1] == "The bytes of the geometry are cut off."
    assert from_wkb(b"")[1] == "The bytes of the geometry are cut off."
    square = shapely.Polygon(SQUARE)
    for flavour in ("extended", "iso"):
        raised = shapely.force_3d(square, 5.0)
        assert from_wkb(shapely.to_wkb(raised, flavor=flavour))[0].equals(square)


def test_a_geopackage_of_points_is_trees_in_wgs84(tmp_path):
    path = tmp_path / "trees.gpkg"
    points = [
        (geometry_bytes(shapely.Point(513000 + n, 5278000), 25832), "Tilia cordata", 80.0) for n in range(3)
    ]
    write_geopackage(path, [*points, (None, "Acer campestre", None)], srs_id=25832)
    prepared = prepare(path, ImportOptions(), SiteFacts(today=TODAY))
    assert [row.readings[0].value for row in prepared.trees[:3]] == [80, 80, 80]
    assert prepared.trees[0].lon_deg == pytest.approx(9.1732, abs=1e-3)
    assert prepared.trees[3].lon_deg is None
    assert guess_of(prepared, "crs").value == "EPSG:25832"
    assert prepared.key_rule == "position to 0.1 m and species as written"


def test_broken_geometry_in_a_geopackage_refuses_its_row_alone(tmp_path):
    path = tmp_path / "trees.gpkg"
    good = geometry_bytes(shapely.Point(9.1, 47.6))
    bad = [
        b"GP",
        b"XX\x00\x01aaaa",
        geometry_bytes(None, wkb=struct.pack("<BII", 1, 6, 1) * 9_000),
        good[:-3],
    ]
    write_geopackage(path, [(blob, "Tilia", 80.0) for blob in (good, *bad)])
    rows = prepare(path, ImportOptions(layer="trees"), SiteFacts(today=TODAY)).trees
    assert rows[0].refused is None
    assert all(row.refused for row in rows[1:])


def test_views_and_other_databases_are_refused(tmp_path):
    path = tmp_path / "view.gpkg"
    write_geopackage(path, [(geometry_bytes(shapely.Point(9.1, 47.6)), "Tilia", 80.0)], view=True)
    with pytest.raises(Unreadable, match="plain table"):
        prepare(path, ImportOptions(), SiteFacts(today=TODAY))
    text = tmp_path / "text.gpkg"
    text.write_text("no database")
    with pytest.raises(Unreadable, match="no GeoPackage"):
        prepare(text, ImportOptions(), SiteFacts(today=TODAY))
    torn = tmp_path / "torn.gpkg"
    torn.write_bytes(path.read_bytes()[:2_000])
    with pytest.raises(Unreadable, match=r"torn\.gpkg"):
        prepare(torn, ImportOptions(), SiteFacts(today=TODAY))


def test_reading_a_geopackage_writes_nothing_beside_it(tmp_path):
    path = tmp_path / "trees.gpkg"
    write_geopackage(path, [(geometry_bytes(shapely.Point(9.1, 47.6)), "Tilia", 80.0)])
    before = path.read_bytes()
    prepare(path, ImportOptions(), SiteFacts(today=TODAY))
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["trees.gpkg"]


@pytest.mark.parametrize("name", ["trees.xlsx", "trees.shp", "trees", "trees.vrt"])
def test_other_kinds_of_files_are_refused_with_what_to_do(tmp_path, name):
    with pytest.raises(Unreadable, match="export the list as CSV, GeoJSON or GeoPackage"):
        prepared_of(tmp_path, "tag,species\n1,Tilia\n", name=name)


def test_a_file_that_is_not_there_is_said(tmp_path):
    with pytest.raises(Unreadable, match="There is no file"):
        prepare(tmp_path / "none.csv", ImportOptions(), SiteFacts(today=TODAY))


def test_a_collection_inside_a_collection_is_refused_and_makes_no_tree(tmp_path):
    point = {"type": "Point", "coordinates": [9.1, 47.6]}
    feature = {"type": "Feature", "geometry": point, "properties": {"tag": "1", "girth_cm": 100}}
    inner = {"type": "FeatureCollection", "features": [feature, feature]}
    text = json.dumps({"type": "FeatureCollection", "features": [feature, inner, point]})
    prepared = prepared_of(tmp_path, text, name="nested.geojson")
    assert [bool(row.refused) for row in prepared.trees] == [False, True, True]
    assert "'FeatureCollection', no feature; nothing in it was read" in prepared.trees[1].refused


def test_geojson_in_utf_16_is_read(tmp_path):
    point = {"type": "Point", "coordinates": [9.1, 47.6]}
    feature = {"type": "Feature", "geometry": point, "properties": {"species": "Föhre", "girth_cm": 100}}
    prepared = prepared_of(tmp_path, json.dumps(feature).encode("utf-16"), name="wide.geojson")
    assert prepared.trees[0].name_as_written == "Föhre"


def test_an_unknown_system_that_a_file_names_is_said(tmp_path):
    point = {"type": "Point", "coordinates": [9.1, 47.6]}
    feature = {"type": "Feature", "geometry": point, "properties": {"girth_cm": 100}}
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::999999"}}
    prepared = prepared_of(tmp_path, json.dumps({**feature, "crs": crs}), name="odd.geojson")
    assert [guess.value for guess in prepared.guesses if guess.what == "crs"] == [
        "not as the file names it",
        "WGS84 (EPSG:4326)",
    ]
