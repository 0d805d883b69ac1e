import json

import numpy as np
import pytest
import shapely
from shapely.geometry import shape

from layers import columns
from layers.inputs import Records
from service.errors import NotFound
from service.outlets.geojson_out import ROWS_A_PIECE, geojson_pieces
from service.outlets.layer_rows import LAYERS, POSITION, layer_rows
from tests.builders import TREE_ID, frame_of, make_site
from tests.outlet_view import (
    AREA_ID,
    HOSTILE,
    OTHER_TREE,
    Stems,
    layer_of,
    leaving_tree,
    make_view,
    site_records,
)


def collection(view, layer):
    def refused(constant):
        raise AssertionError(f"{constant} is not JSON")

    return json.loads(b"".join(geojson_pieces(layer_of(view, layer))), parse_constant=refused)


@pytest.mark.parametrize("layer", LAYERS)
def test_every_layer_is_a_feature_collection_without_a_crs_member(layer):
    """RFC 7946, sections 3.3 and 4."""
    document = collection(make_view(), layer)
    assert document["type"] == "FeatureCollection"
    assert "crs" not in document
    assert document["features"]
    for feature in document["features"]:
        assert set(feature) <= {"type", "id", "geometry", "properties"}
        assert set(feature) >= {"type", "geometry", "properties"}


def test_an_unknown_layer_is_not_found():
    with pytest.raises(NotFound, match="bushes"):
        layer_rows(make_view(), "bushes")


def test_trees_carry_every_word_of_the_nomenclature_but_the_position():
    properties = collection(make_view(), "trees")["features"][0]["properties"]
    assert [name for name in columns.names("trees") if name not in POSITION] == list(properties)[:37]
    assert not set(POSITION) & set(properties)
    assert properties["dbh_cm"] == 31.830988618379067
    assert properties["signs"] == ["dead branch"]


def test_columns_kept_as_written_leave_under_their_own_headers_and_never_hide_ours():
    first, second = (f["properties"] for f in collection(make_view(), "trees")["features"])
    assert first["Pflege"] == "2023"
    assert first["status"] == "living"
    assert first["Status (as written)"] == "fällen?"
    assert second["Pflege"] is None


def test_a_position_leaves_to_the_last_bit_longitude_first():
    lon, lat = 0.1 + 0.2, 47.123456789012344
    trees = frame_of("trees", [leaving_tree(lon_deg=lon, lat_deg=lat)])
    assert collection(make_view(trees=trees), "trees")["features"][0]["geometry"] == {
        "type": "Point",
        "coordinates": [lon, lat],
    }


def test_a_tree_without_a_position_leaves_with_a_null_geometry_and_its_name_as_it_is():
    second = collection(make_view(), "trees")["features"][1]
    assert second["geometry"] is None
    assert second["properties"]["tag"] == HOSTILE
    assert second["properties"]["dbh_cm"] is None


def test_a_ground_without_a_place_on_earth_leaves_null_geometries_and_says_so_once():
    view = make_view(terms=make_site(frame="local"))
    trees = collection(view, "trees")
    assert {feature["geometry"] for feature in trees["features"]} == {None}
    assert "no place on earth" in trees["note"]
    assert "note" not in collection(make_view(), "trees")


def test_outer_rings_run_against_the_clock():
    """RFC 7946, section 3.1.6."""
    for turned in (shapely.box(9, 47, 10, 48, ccw=False), shapely.box(9, 47, 10, 48, ccw=True)):
        areas = make_view().areas.assign(geometry=[turned])
        ring = collection(make_view(areas=areas), "areas")["features"][0]["geometry"]["coordinates"][0]
        assert shapely.is_ccw(shapely.linearrings(ring))


def test_every_part_of_a_multipolygon_is_turned():
    both = shapely.MultiPolygon([shapely.box(0, 0, 1, 1, ccw=False), shapely.box(2, 0, 3, 1, ccw=False)])
    areas = make_view().areas.assign(geometry=[both])
    parts = collection(make_view(areas=areas), "areas")["features"][0]["geometry"]["coordinates"]
    assert [bool(shapely.is_ccw(shapely.linearrings(part[0]))) for part in parts] == [True, True]


@pytest.mark.parametrize("layer", LAYERS)
def test_the_caution_goes_once_with_everything_that_holds_flags(layer):
    text = b"".join(geojson_pieces(layer_of(make_view(), layer))).decode()
    expected = 1 if layer in ("trees", "flags", "inspections", "figures") else 0
    assert text.count("It is not an inspection") == expected
    if expected:
        assert "call 112 now" in json.loads(text)["caution"]


def test_readings_leave_that_were_known_by_the_day_at_the_site():
    """3 o'clock UTC on 2 June is still 1 June in New York: the undated one had arrived by then."""
    ids = [f["properties"]["reading_id"] for f in collection(make_view(), "readings")["features"]]
    assert ids == [make_view().records.readings["reading_id"][0], "undated"]


def test_readings_say_which_tree_and_stem_they_are_of():
    properties = collection(make_view(), "readings")["features"][0]["properties"]
    assert (properties["tree_id"], properties["tag"], properties["number"]) == (TREE_ID, "T1", 1)


def test_inspections_leave_one_feature_a_tree_each_with_a_number_of_its_own_that_stays():
    features, again = (collection(make_view(), "inspections")["features"] for _ in range(2))
    assert [f["properties"]["tree_id"] for f in features] == [TREE_ID, OTHER_TREE]
    assert len({f["id"] for f in features}) == 2
    assert [f["id"] for f in features] == [f["id"] for f in again]


def test_crossed_out_inspections_stay_here():
    view = make_view()
    view.records.inspections["void"] = [True, False]
    assert [f["properties"]["tree_id"] for f in collection(view, "inspections")["features"]] == [OTHER_TREE]


def test_figures_have_the_outline_of_their_area_and_of_their_place():
    whole, yard, north = collection(make_view(), "figures")["features"]
    assert whole["geometry"] is None
    assert yard["properties"]["area_id"] == AREA_ID
    assert shape(yard["geometry"]).equals(shape(north["geometry"]))
    assert yard["properties"]["why"] == {"shannon": "one species only"}
    assert list(whole["properties"]) == [*columns.names("figures"), "site"]


def test_many_rows_leave_in_pieces_none_lost():
    count = 2 * ROWS_A_PIECE + 1
    rows = [leaving_tree(tree_id=f"t{n}", fid=n) for n in range(1, count + 1)]
    view = make_view(trees=frame_of("trees", rows))
    pieces = list(geojson_pieces(layer_of(view, "trees")))
    assert len(pieces) == 5
    ids = [feature["id"] for feature in json.loads(b"".join(pieces))["features"]]
    assert ids == list(range(1, count + 1))


@pytest.mark.parametrize("layer", LAYERS)
def test_an_empty_site_has_every_layer(layer):
    view = make_view(
        records=Records(places=site_records().places.iloc[:0]),
        trees=columns.empty("trees"),
        areas=make_view().areas.iloc[:0],
        flags=columns.empty("flags"),
        figures=[],
        state=Stems(columns.empty("stem_state")),
    )
    assert collection(view, layer)["features"] == []


def test_places_of_a_site_without_any_are_an_empty_layer():
    assert collection(make_view(records=Records()), "places")["features"] == []


def test_numbers_of_the_array_library_in_lists_are_numbers():
    trees = frame_of("trees", [leaving_tree(signs=[np.int64(3)])])
    assert collection(make_view(trees=trees), "trees")["features"][0]["properties"]["signs"] == [3]


def test_two_headers_that_differ_by_case_only_are_both_kept():
    records = site_records()
    records.trees["kept"] = [{"Note": "a", "NOTE": "b"}, {}]
    view = make_view(records=records)
    properties = collection(view, "trees")["features"][0]["properties"]
    assert (properties["Note"], properties["NOTE (as written)"]) == ("a", "b")


def test_places_bring_the_columns_their_file_had():
    assert collection(make_view(), "places")["features"][0]["properties"]["Straße"] == "Hauptweg"
