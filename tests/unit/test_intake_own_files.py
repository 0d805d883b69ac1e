"""Files that left here and come back: matched by our ids, nothing guessed, nothing computed taken."""

import json

import pytest

from layers import columns
from service.errors import InvalidRequest
from service.intake.prepared import SiteFacts
from service.outlets.formula_guard import guarded
from service.outlets.layer_rows import PLACE_COLUMNS
from tests.intake_builders import TODAY, prepared_of

TREE = "7d0c1b3e-7f55-4a53-9d3c-0d8f6c3f1a01"
STEM = "7d0c1b3e-7f55-4a53-9d3c-0d8f6c3f1a02"
READING = "7d0c1b3e-7f55-4a53-9d3c-0d8f6c3f1a03"
AREA = "7d0c1b3e-7f55-4a53-9d3c-0d8f6c3f1a04"
KNOWN = SiteFacts(today=TODAY, own_ids=frozenset({TREE, STEM, READING, AREA}))


def text_of(headers, values):
    return ",".join(headers) + "\n" + ",".join(str(values.get(h, "")) for h in headers) + "\n"


def tree_text(**changes):
    said = {"tree_id": TREE, "tag": "12", "place": "Yard", "name_as_written": "Tilia cordata", "fid": 3}
    said |= {"scientific_name": "Tilia cordata", "lon_deg": 9.1, "lat_deg": 47.6, "dbh_cm": 31.2, "stems": 1}
    said |= {"planted_on": "1990-07-02", "status": "living", "keeper": "ours"}
    return text_of([*columns.names("trees"), *(h for h in changes if h not in said)], said | changes)


def reading_text(**changes):
    said = {"reading_id": READING, "stem_id": STEM, "tree_id": TREE, "number": 2, "quantity": "girth"}
    said |= {"value": 98.0, "unit": "cm", "instrument": "girth tape", "height_m": 1.3, "crew": "B2"}
    said |= {"measured_on": "2024-05-01", "date_precision": "day", "tilt_deg": 4}
    headers = ["reading_id", "fid", "tree_id", "tag", "stem_id", "number"]
    headers += [name for name in columns.names("reading_record") if name not in headers]
    return text_of(headers, said | changes)


def test_a_layer_of_trees_is_understood_word_by_word(tmp_path):
    prepared = prepared_of(tmp_path, tree_text(), site=KNOWN)
    row = prepared.trees[0]
    assert row.own_ids == {"tree_id": TREE}
    assert (row.tag, row.place, row.scientific_name) == ("12", "Yard", "Tilia cordata")
    assert (row.lon_deg, row.lat_deg, row.planted_on, row.keeper) == (9.1, 47.6, "1990-07-02", "ours")
    assert (row.readings, row.questions, prepared.kept) == ([], [], [])
    assert [guess.what for guess in prepared.guesses if guess.sure < 0.9] == []


def test_what_was_computed_is_left_out_and_every_column_accounted_for(tmp_path):
    prepared = prepared_of(tmp_path, tree_text(), site=KNOWN)
    for header in ("dbh_cm", "basal_area_m2", "growth_cm_per_yr", "signs", "size_class", "height_m"):
        assert prepared.left_out[header] == "computed"
    assert {*prepared.understood, *prepared.kept, *prepared.left_out} == {*columns.names("trees")}


def test_columns_of_other_files_come_back_under_their_own_headers(tmp_path):
    text = tree_text(**{"contract": guarded("=K7"), "status (as written)": "good"})
    prepared = prepared_of(tmp_path, text, site=KNOWN)
    assert prepared.trees[0].kept == {"contract": "=K7", "status": "good"}


def test_a_layer_of_readings_keeps_who_measured_and_how(tmp_path):
    row = prepared_of(tmp_path, reading_text(), site=KNOWN).trees[0]
    assert row.own_ids == {"tree_id": TREE, "stem_id": STEM, "reading_id": READING}
    reading = row.readings[0]
    assert (reading.stem_number, reading.quantity, reading.value, reading.unit) == (2, "girth", 98.0, "cm")
    assert (reading.instrument, reading.height_m, reading.measured_on) == ("girth tape", 1.3, "2024-05-01")
    assert reading.extra == {"crew": "B2", "tilt_deg": 4.0}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"value": "9000"}, "no size of a trunk"),
        ({"value": "-5"}, "no size of a trunk"),
        ({"value": "abc"}, "no number"),
        ({"value": ""}, "no value"),
        ({"quantity": "weight"}, "no reading"),
        ({"unit": "ell"}, "no reading"),
        ({"measured_on": "2024"}, "no day"),
        ({"measured_on": "2031-01-01"}, "in the future"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(tmp_path, change, says):
    row = prepared_of(tmp_path, reading_text(**change), site=KNOWN).trees[0]
    assert says in row.refused
    assert row.readings == []


def test_a_layer_of_areas_is_matched_by_its_id(tmp_path):
    ring = "POLYGON ((9.1 47.6, 9.11 47.6, 9.11 47.61, 9.1 47.6))"
    said = {"area_id": AREA, "layer": "plan", "name": "Yard", "kind": "play area", "area_ha": 0.4}
    headers = [*[n for n in columns.names("area_record") if n != "geometry"], "area_ha", "geometry"]
    prepared = prepared_of(tmp_path, text_of(headers, said | {"geometry": f'"{ring}"'}), site=KNOWN)
    shape = prepared.shapes[0]
    assert (prepared.layer, shape.own_ids, shape.name, shape.kind) == (
        "areas",
        {"area_id": AREA},
        "Yard",
        "play area",
    )
    assert (shape.typed_area_ha, shape.refused) == (None, None)
    assert prepared.left_out["area_ha"] == "computed"


def test_geojson_of_ours_has_its_position_in_the_geometry(tmp_path):
    said = {
        name: None for name in columns.names("trees") if not name.startswith(("lon_", "lat_", "x_m", "y_m"))
    }
    said |= {"tree_id": TREE, "tag": "12", "name_as_written": "Tilia cordata"}
    point = {"type": "Point", "coordinates": [9.1, 47.6]}
    feature = {"type": "Feature", "id": 3, "properties": said, "geometry": point}
    text = json.dumps({"type": "FeatureCollection", "features": [feature]})
    prepared = prepared_of(tmp_path, text, name="trees.geojson", site=KNOWN)
    assert (prepared.trees[0].lon_deg, prepared.trees[0].own_ids) == (9.1, {"tree_id": TREE})
    assert prepared.kept == []


def test_ids_of_another_store_are_keys_and_the_diameter_is_the_size(tmp_path):
    prepared = prepared_of(tmp_path, tree_text())
    row = prepared.trees[0]
    assert (row.own_ids, row.source_key) == ({}, TREE)
    assert [(r.quantity, r.value, r.unit) for r in row.readings] == [("diameter", 31.2, "cm")]
    assert prepared.left_out["basal_area_m2"] == "computed"


@pytest.mark.parametrize("site", [KNOWN, None])
@pytest.mark.parametrize("headers", [columns.names("flags"), columns.names("figures"), list(PLACE_COLUMNS)])
def test_lists_that_were_computed_cannot_be_imported(tmp_path, headers, site):
    with pytest.raises(InvalidRequest, match="cannot be imported"):
        prepared_of(tmp_path, text_of(headers, {"tree_id": TREE, "name": "Yard"}), site=site)


def test_trees_of_another_site_keep_their_names_as_written_and_where_positions_came_from(tmp_path):
    text = tree_text(
        name_as_written="Winter-Linde", external_id="K 7", position_source="gps", position_accuracy_m=3.5
    )
    prepared = prepared_of(tmp_path, text, site=SiteFacts(today=TODAY))
    row = prepared.trees[0]
    assert (row.name_as_written, row.scientific_name) == ("Winter-Linde", "Tilia cordata")
    assert (row.external_id, row.position_source, row.position_accuracy_m) == ("K 7", "gps", 3.5)
    assert not {"name_as_written", "external_id", "position_source"} & set(prepared.kept)


def test_counts_in_hands_and_awkward_trunks_come_back(tmp_path):
    said = {"unit": "hands", "instrument": "hand breadths", "value": 12.5, "awkward": "vine 2"}
    reading = prepared_of(tmp_path, reading_text(**said), site=KNOWN).trees[0].readings[0]
    assert (reading.unit, reading.value) == ("hands", 12.5)
    assert reading.extra["awkward"] == "vine 2"
