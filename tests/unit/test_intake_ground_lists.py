"""Areas and targets as offices keep them: coordinates in columns, square metres, points and polygons."""

import json
import sqlite3

import pytest
import shapely

from service.errors import Ask, InvalidRequest
from service.intake.prepared import ImportOptions, SiteFacts
from service.intake.understand import prepare
from tests.intake_builders import asked, geometry_bytes, guess_of, prepared_of, write_geopackage

SQUARE = [[9.10, 47.60], [9.101, 47.60], [9.101, 47.601], [9.10, 47.601], [9.10, 47.60]]


def polygon(ring):
    return {"type": "Polygon", "coordinates": [ring]}


def point(lon, lat):
    return {"type": "Point", "coordinates": [lon, lat]}


def collection(*features):
    made = [{"type": "Feature", "properties": p, "geometry": g} for p, g in features]
    return json.dumps({"type": "FeatureCollection", "features": made})


def test_targets_of_a_csv_stand_where_its_columns_of_coordinates_say(tmp_path):
    text = "name,kind,lon,lat\nBench 1,bench,9.1,47.6\nSwing,swing,9.2,47.7\nLost,bench,,\nHalf,bench,9.1,\n"
    prepared = prepared_of(tmp_path, text, layer="targets")
    first, second, lost, half = prepared.shapes
    assert [shapely.from_wkb(row.wkb) for row in (first, second)] == [
        shapely.Point(9.1, 47.6),
        shapely.Point(9.2, 47.7),
    ]
    assert (first.kind, second.kind) == ("bench", "play equipment")
    assert "point, line or polygon" in lost.refused
    assert "Only one of two" in half.refused
    assert prepared.understood == {"name": "name", "kind": "kind", "lon": "lon", "lat": "lat"}


def test_a_list_of_benches_with_coordinates_is_one_of_targets(tmp_path):
    prepared = prepared_of(tmp_path, "name,kind,lon,lat\nA,bench,9.1,47.6\nB,path,9.2,47.7\n")
    assert (prepared.layer, guess_of(prepared, "layer").value) == ("targets", "targets")


def test_targets_in_metres_of_a_national_grid_are_turned_into_degrees(tmp_path):
    text = "name,kind,x,y\nA,bench,513000,5278000\nB,bench,513010,5278010\n"
    prepared = prepared_of(tmp_path, text, layer="targets", crs="EPSG:25832")
    placed = shapely.from_wkb(prepared.shapes[0].wkb)
    assert (round(placed.x, 2), round(placed.y, 2)) == (9.17, 47.66)


@pytest.mark.parametrize(
    ("header", "cell", "hectares"),
    [
        ("hectares", "0.25", 0.25),
        ("Fläche (m²)", "2500", 0.25),
        ("area_sqm", "2500", 0.25),
        ("acres", "1", 0.4047),
    ],
)
def test_typed_areas_are_taken_in_the_unit_of_their_header(tmp_path, header, cell, hectares):
    shape = prepared_of(tmp_path, f"name,{header}\nYard,{cell}\n", layer="areas").shapes[0]
    assert shape.typed_area_ha == pytest.approx(hectares, abs=5e-5)


def test_an_area_without_a_unit_is_kept_as_written_and_never_taken_for_hectares(tmp_path):
    text = json.loads(collection(({"name": "Yard", "Fläche": 2500}, polygon(SQUARE))))
    prepared = prepared_of(tmp_path, json.dumps(text), name="ground.geojson", layer="areas")
    assert prepared.shapes[0].typed_area_ha is None
    assert prepared.shapes[0].kept == {"Fläche": "2500"}


def test_one_bad_cell_of_hectares_spoils_only_its_own_row(tmp_path):
    text = "name;hectares\nYard;1,5\nLawn;0,3\nWood;-2\nPark;abc\n"
    yard, lawn, wood, park = prepared_of(tmp_path, text, layer="areas").shapes
    assert (yard.typed_area_ha, lawn.typed_area_ha) == (1.5, 0.3)
    for row, cell in ((wood, "-2"), (park, "abc")):
        assert "neither" in row.refused
        assert row.kept == {"hectares": cell}


def test_trees_with_one_polygon_among_them_stay_trees_and_the_polygon_is_questioned(tmp_path):
    trees = [({"tag": str(n), "species": "Tilia cordata"}, point(9.1 + n / 1000, 47.6)) for n in range(4)]
    file = collection(*trees, ({"tag": "9", "species": "Tilia cordata"}, polygon(SQUARE)))
    prepared = prepared_of(tmp_path, file, name="trees.geojson")
    assert prepared.layer == "trees"
    assert "Most of its shapes are points" in guess_of(prepared, "layer").why
    assert [asked(row) for row in prepared.trees] == [[], [], [], [], ["position"]]
    assert prepared.trees[-1].lon_deg is None


def test_points_beside_polygons_that_nothing_tells_apart_are_asked_for(tmp_path):
    file = collection(({"name": "A"}, point(9.1, 47.6)), ({"name": "B"}, polygon(SQUARE)))
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, file, name="ground.geojson")
    assert (found.value.option, found.value.choices) == ("--layer", ["targets", "areas", "trees"])


def test_an_outline_far_from_the_others_is_questioned_on_a_new_ground(tmp_path):
    away = [[lat, lon] for lon, lat in SQUARE]
    near = [({"name": f"A{n}"}, polygon([[x + n / 100, y] for x, y in SQUARE])) for n in range(4)]
    shapes = prepared_of(tmp_path, collection(*near, ({"name": "B"}, polygon(away))), name="g.geojson").shapes
    assert [asked(shape) for shape in shapes] == [[], [], [], [], ["far_off"]]
    assert "km from the middle of the other rows" in shapes[-1].questions[0].detail


def test_a_property_nested_too_deep_refuses_its_row_alone(tmp_path):
    deep = "[" * 400 + "]" * 400
    fine = '{"type":"Feature","properties":{"tag":"1"},"geometry":null}'
    bad = f'{{"type":"Feature","properties":{{"tag":"2","note":{deep}}},"geometry":null}}'
    text = f'{{"type":"FeatureCollection","features":[{fine},{bad}]}}'
    first, second = prepared_of(tmp_path, text, name="trees.geojson").trees
    assert (first.refused, first.tag) == (None, "1")
    assert "too deep" in second.refused


def geopackage_of(path, tables):
    """A GeoPackage with a table of each (name, kind of shape), one row in each."""
    shapes = {"POINT": shapely.Point(9.1, 47.6), "POLYGON": shapely.Polygon(SQUARE)}
    shapes["LINESTRING"] = shapely.LineString(SQUARE[:2])
    name, kind = tables[0]
    write_geopackage(path, [(geometry_bytes(shapes[kind]), "Tilia cordata", 90)], table=name, kind=kind)
    with sqlite3.connect(path) as connection:
        for name, kind in tables[1:]:
            connection.execute(f"CREATE TABLE {name} (fid INTEGER PRIMARY KEY, geom BLOB, name TEXT)")
            connection.execute(
                "INSERT INTO gpkg_contents VALUES (?, ?, '', '', '', 0, 0, 0, 0, 4326)",
                (name, "features" if kind else "attributes"),
            )
            if kind:
                connection.execute(
                    "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, 4326, 0, 0)", (name, kind)
                )
                row = (geometry_bytes(shapes[kind]), "A")
                connection.execute(f"INSERT INTO {name} (geom, name) VALUES (?, ?)", row)
    connection.close()
    return path


def test_several_tables_of_a_geopackage_are_asked_for_by_what_they_can_be(tmp_path):
    path = geopackage_of(
        tmp_path / "park.gpkg", [("baeume", "POINT"), ("flaechen", "POLYGON"), ("wege", "LINESTRING")]
    )
    with pytest.raises(Ask) as found:
        prepare(path, ImportOptions(), SiteFacts())
    assert (found.value.option, found.value.choices) == ("--layer", ["trees", "areas", "targets"])
    layers = {layer: prepare(path, ImportOptions(layer=layer), SiteFacts()) for layer in found.value.choices}
    assert {layer: prepared.layer_name for layer, prepared in layers.items()} == {
        "trees": "baeume",
        "areas": "flaechen",
        "targets": "wege",
    }


def test_a_table_of_styles_beside_the_only_features_asks_nothing(tmp_path):
    path = geopackage_of(tmp_path / "park.gpkg", [("baeume", "POINT"), ("layer_styles", None)])
    assert prepare(path, ImportOptions(), SiteFacts()).layer_name == "baeume"


def test_two_tables_of_one_kind_are_refused_with_what_to_do(tmp_path):
    path = geopackage_of(tmp_path / "park.gpkg", [("baeume", "POINT"), ("alte_baeume", "POINT")])
    with pytest.raises(InvalidRequest, match="a file of its own"):
        prepare(path, ImportOptions(layer="trees"), SiteFacts())
