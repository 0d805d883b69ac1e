"""Tags of OpenStreetMap as columns: their units, names, objects and kinds, and when a list is one of tags.

Units and examples: OpenStreetMap wiki, Key:circumference (2.3 is 2.3 metres; 95 cm of DBH are 2.98),
Key:diameter (150 mm; millimetres where no unit is written), Key:diameter_crown and Key:height (metres),
Key:length (16'3" is 16 feet and 3 inches), Map features/Units. Object ids: Overpass turbo/GeoJSON.
"""

import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layers import columns
from service.errors import Ask, InvalidRequest
from service.intake.tag_cells import tag_size
from service.web import import_words
from tests.intake_builders import asked, guess_of, prepared_of


def row_of(folder, **tags):
    """One tree of a list of tags, prepared."""
    said = {"natural": "tree", **tags}
    return prepared_of(folder, "\t".join(said) + "\n" + "\t".join(said.values()) + "\n").trees[0]


def girth_cm(reading):
    """The girth [cm] that a reading says."""
    per = {"mm": 0.1, "cm": 1.0, "m": 100.0, "in": 2.54, "ft": 30.48}[reading.unit]
    return reading.value * per * (math.pi if reading.quantity == "diameter" else 1.0)


@pytest.mark.parametrize(
    ("key", "value", "girth"),
    [
        ("circumference", "2.3", 230.0),
        ("circumference", "1.2 m", 120.0),
        ("circumference", "120 cm", 120.0),
        ("circumference", "47 in", 119.38),
        ("circumference", "3'11\"", 119.38),
        ("diameter", "450", 45 * math.pi),
        ("diameter", "150 mm", 15 * math.pi),
        ("diameter", "0.45 m", 45 * math.pi),
        ("diameter", "45 cm", 45 * math.pi),
        ("diameter", '18"', 45.72 * math.pi),
    ],
)
def test_a_size_has_the_unit_of_its_tag_unless_it_names_one(tmp_path, key, value, girth):
    row = row_of(tmp_path, **{key: value})
    assert [girth_cm(reading) for reading in row.readings] == [pytest.approx(girth, abs=1e-9)]
    assert row.questions == []


def test_the_example_of_the_documentation_is_the_diameter_that_it_was_made_from(tmp_path):
    """Key:circumference: a diameter of 95 cm at breast height is 2.98 m, of which two digits are exact."""
    reading = row_of(tmp_path, circumference="2.98").readings[0]
    assert girth_cm(reading) / math.pi == pytest.approx(95, abs=0.5 / math.pi)


@pytest.mark.parametrize(
    ("value", "metres"), [("15", 15.0), ("15 m", 15.0), ("16'3\"", 4.953), ("40 ft", 12.192)]
)
def test_heights_and_crowns_are_in_metres_unless_they_name_a_unit(tmp_path, value, metres):
    row = row_of(tmp_path, height=value, diameter_crown=value)
    assert [(o.what, o.value) for o in row.observations] == [
        ("height", pytest.approx(metres)),
        ("crown diameter", pytest.approx(metres)),
    ]


@given(st.integers(10, 999), st.sampled_from([("mm", 0.1), ("cm", 1.0), ("m", 100.0), ("in", 2.54)]))
def test_any_number_with_a_unit_is_that_size_and_with_tildes_it_is_doubted(number, unit):
    word, _ = unit
    plain, about = tag_size(f"{number / 10:g} {word}"), tag_size(f"~{number / 10:g} {word}")
    assert (plain.values, plain.unit, plain.doubt) == ((number / 10,), word, None)
    assert (about.values, about.unit) == ((number / 10,), word)
    assert about.doubt


@given(st.text(max_size=300))
def test_no_value_of_a_tag_is_too_odd_to_be_read(text):
    size = tag_size(text)
    assert [bool(size.values), size.class_from is not None, size.missing, size.odd].count(True) == 1


@pytest.mark.parametrize(
    ("value", "low", "high"),
    [("1.2-1.4", 120, 140), ("<1.5", 0, 150), ("> 2", 200, None), ("1.2–1.4 m", 120, 140)],
)
def test_ranges_and_bounds_of_a_girth_are_classes_and_are_asked_about(tmp_path, value, low, high):
    row = row_of(tmp_path, circumference=value)
    reading = row.readings[0]
    assert reading.quantity == "class"
    assert reading.class_from_cm == pytest.approx(low / math.pi)
    assert reading.class_to_cm == (None if high is None else pytest.approx(high / math.pi))
    assert (reading.note, asked(row)) == (value, ["size"])


def test_a_size_that_is_marked_as_about_is_taken_and_asked_about(tmp_path):
    row = row_of(tmp_path, circumference="~1.5", height="~12")
    assert [reading.value for reading in row.readings] == [1.5]
    assert [observation.value for observation in row.observations] == [12.0]
    assert asked(row) == ["size", "size"]


@pytest.mark.parametrize("value", ["10-12", "tall", "8;12"])
def test_what_is_no_height_is_kept_as_written_and_asked_about(tmp_path, value):
    row = row_of(tmp_path, height=value)
    assert (row.observations, row.kept, asked(row)) == ([], {"height": value}, ["size"])


def test_a_girth_that_is_no_size_is_kept_as_written_and_asked_about(tmp_path):
    row = row_of(tmp_path, circumference="1.2;80 cm", height="12")
    assert (row.readings, row.kept, asked(row)) == ([], {"circumference": "1.2;80 cm"}, ["size"])


def test_several_sizes_are_those_of_several_trunks_and_it_is_said(tmp_path):
    prepared = prepared_of(tmp_path, "natural\tcircumference\ntree\t1.2;0.8;0.5\ntree\t0.9\n")
    row = prepared.trees[0]
    assert row.stems == 3
    assert [(r.stem_number, r.value, r.unit) for r in row.readings] == [
        (1, 1.2, "m"),
        (2, 0.8, "m"),
        (3, 0.5, "m"),
    ]
    assert guess_of(prepared, "stems").value == "in 1 rows"


def test_a_tag_far_too_small_or_far_too_big_for_a_trunk_is_not_passed_over(tmp_path):
    text = "natural\tdiameter\n" + "tree\t400\n" * 9 + "tree\t0.45\ntree\t45000\n"
    rows = prepared_of(tmp_path, text).trees
    assert asked(rows[9]) == ["size"]
    assert "only 0.14 cm" in rows[9].questions[0].detail
    assert "more than 4,500 cm" in rows[10].refused


def test_centimetres_without_a_unit_are_seen_by_the_values_of_the_whole_list(tmp_path):
    prepared = prepared_of(tmp_path, "osm_id,circumference\n" + "".join(f"{n},{60 + n}\n" for n in range(20)))
    assert guess_of(prepared, "size").value == "girth in cm"
    assert "speak against" in guess_of(prepared, "size").why


def test_where_the_values_fit_two_units_about_equally_the_unit_is_asked_for(tmp_path):
    text = "osm_id,circumference\n" + "".join(f"{n},{20 + n / 10}\n" for n in range(20))
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, text)
    assert found.value.option == "--size"
    said = prepared_of(tmp_path, text, size="girth-in")
    assert said.trees[0].readings[0].unit == "in"


def test_names_come_from_species_else_taxon_else_genus_else_the_plain_name(tmp_path):
    text = (
        "natural\tspecies\ttaxon\tgenus\tspecies:fr\tspecies:de\ttaxon:cultivar\n"
        "tree\tTilia cordata\t\tTilia\t\tWinterlinde\tGreenspire\n"
        "tree\t\tQuercus robur\t\t\t\t\n"
        "tree\t\t\tAcer\tÉrable\t\t\n"
        "tree\t\t\t\t\tBuche\t\n"
    )
    prepared = prepared_of(tmp_path, text)
    assert [row.name_as_written for row in prepared.trees] == [
        "Tilia cordata 'Greenspire'", "Quercus robur", "Acer", "Buche",
    ]  # fmt: skip
    assert [row.scientific_name for row in prepared.trees][:3] == [
        "Tilia cordata",
        "Quercus robur",
        "Acer spp.",
    ]
    assert [row.common_name for row in prepared.trees][::2] == ["Winterlinde", "Érable"]
    assert prepared.trees[1].kept == {"taxon": "Quercus robur"}


@pytest.mark.parametrize(
    ("kind", "place_kind", "refused"),
    [
        ("tree", None, None),
        ("tree_stump", "stump", None),
        ("shrub", "other", None),
        ("tree_row", None, "line of trees"),
        ("wood", None, "no single tree"),
        ("", None, "no other tag"),
    ],
)
def test_stumps_are_places_and_what_is_no_single_tree_is_refused_with_the_reason(
    tmp_path, kind, place_kind, refused
):
    row = prepared_of(tmp_path, f"natural\tref\tlon\tlat\n{kind}\t1\t9.1\t47.6\ntree\t2\t9.2\t47.6\n").trees[
        0
    ]
    assert row.place_kind == place_kind
    assert (row.refused is None) if refused is None else (refused in row.refused)
    assert row.questions == []


def test_a_row_without_the_tag_natural_is_a_tree_where_other_tags_say_so(tmp_path):
    row = prepared_of(tmp_path, "natural\tgenus\n\tTilia\ntree\tAcer\n").trees[0]
    assert (row.refused, asked(row)) == (None, ["kind"])


def collection(*features):
    return json.dumps({"type": "FeatureCollection", "features": [{"type": "Feature", **f} for f in features]})


TILIA = {"genus": "Tilia"}
POINT = {"type": "Point", "coordinates": [9.1, 47.6]}
LINE = {"type": "LineString", "coordinates": [[9.1, 47.6], [9.2, 47.6]]}


@pytest.mark.parametrize(
    ("name", "text", "left_out"),
    [
        ("a.csv", "@id\t@type\t@lat\t@lon\tgenus\n12\tnode\t47.6\t9.1\tTilia\n", {"@type"}),
        ("a.csv", "full_id\tosm_id\tosm_type\tlat\tlon\tgenus\nn12\t12\tnode\t47.6\t9.1\tTilia\n",
         {"osm_id", "osm_type"}),
        ("a.geojson", collection({"properties": {"@id": "node/12", **TILIA}, "geometry": POINT}), set()),
        ("a.geojson", collection({"id": "node/12", "properties": TILIA, "geometry": POINT}), set()),
        ("a.geojson", collection({"id": "node/12", "geometry": POINT,
                                  "properties": {"@id": "node/12", **TILIA}}), {"feature id"}),
    ],
)  # fmt: skip
def test_an_object_has_one_key_in_whichever_way_a_file_calls_it(tmp_path, name, text, left_out):
    prepared = prepared_of(tmp_path, text, name=name)
    row = prepared.trees[0]
    assert (row.source_key, row.external_id, row.name_as_written) == ("node/12", "node/12", "Tilia")
    assert (row.lon_deg, row.lat_deg) == (9.1, 47.6)
    assert set(prepared.left_out) == left_out


def test_editors_of_the_map_are_left_out_and_other_tags_are_kept_as_written(tmp_path):
    tags = {"leaf_type": "broadleaved", "leaf_cycle": "deciduous", "denotation": "natural_monument"}
    tags |= {
        "species:wikidata": "Q158746",
        "addr:street": "Am Ring",
        "operator": "Town",
        "check_date": "2024-01-02",
    }
    cells = {"@user": "somebody", "@uid": "7", **tags}
    text = "\t".join(cells) + "\n" + "\t".join(cells.values()) + "\n"
    prepared = prepared_of(tmp_path, text, columns={"tag": "operator"})
    assert set(prepared.left_out) == {"@user", "@uid"}
    assert (prepared.trees[0].tag, prepared.trees[0].place) == ("Town", None)
    assert prepared.trees[0].kept == {key: tag for key, tag in tags.items() if key != "operator"}


def test_days_of_a_survey_date_the_sizes_and_a_start_is_the_planting(tmp_path):
    row = row_of(tmp_path, circumference="1.2", start_date="1985-03", **{"survey:date": "2020-05-01"})
    assert (row.planted_on, row.readings[0].measured_on) == ("1985-03-15", "2020-05-01")
    old = row_of(tmp_path, circumference="1.2", start_date="~1855")
    assert (old.planted_on, old.kept["start_date"], asked(old)) == (None, "~1855", ["date"])


def test_the_height_of_measuring_counts_as_not_said_and_the_person_may_say_it(tmp_path):
    text = "natural\tcircumference\ntree\t1.2\n"
    prepared = prepared_of(tmp_path, text)
    assert prepared.trees[0].readings[0].height_m is None
    assert "1.3 m above ground" in guess_of(prepared, "height of measuring").why
    assert prepared_of(tmp_path, text, height_m=1.3).trees[0].readings[0].height_m == 1.3


@pytest.mark.parametrize(
    "headers",
    ["Nr,diameter,denotation", "id,diameter,leaf_type", "natural,diameter,type", "osm_id,diameter,species"],
)
def test_one_word_alone_makes_no_list_of_tags(tmp_path, headers):
    text = f"{headers}\n" + "".join(f"A{n},{30 + n / 10},x\n" for n in range(8))
    prepared = prepared_of(tmp_path, text)
    assert [guess for guess in prepared.guesses if guess.what == "file"] == []


def test_rows_of_trees_are_no_targets_and_benches_of_the_map_are(tmp_path):
    rows = collection({"properties": {"natural": "tree_row"}, "geometry": LINE})
    prepared = prepared_of(tmp_path, rows, name="a.geojson")
    assert (prepared.layer, [bool(row.refused) for row in prepared.trees]) == ("trees", [True])
    benches = collection({"properties": {"@id": "node/1", "kind": "bench"}, "geometry": POINT})
    assert prepared_of(tmp_path, benches, name="b.geojson").layer == "targets"


def test_trees_that_left_another_site_are_not_read_by_the_tags_that_they_keep(tmp_path):
    said = {"tree_id": "7d0c1b3e-7f55-4a53-9d3c-0d8f6c3f1a01", "tag": "1", "dbh_cm": "31.2"}
    said |= {"natural": "tree", "height": "60", "leaf_type": "broadleaved", "leaf_cycle": "deciduous"}
    headers = [*columns.names("trees"), "natural", "height", "leaf_type", "leaf_cycle"]
    text = ",".join(headers) + "\n" + ",".join(said.get(header, "") for header in headers) + "\n"
    prepared = prepared_of(tmp_path, text)
    assert [guess for guess in prepared.guesses if guess.what == "file"] == []
    assert prepared.trees[0].kept["natural"] == "tree"


@pytest.mark.parametrize(
    "text",
    [
        "natural\tcircumference\tdiameter\theight\tstart_date\ntree\t1.2;0.8\t\t12\t1985\ntree\t\t\t\t\n",
        "@id\t@user\tleaf_type\tcircumference\nnode/1\tx\tbroadleaved\t1.2\n",
        "osm_id,circumference\n" + "".join(f"{n},{60 + n}\n" for n in range(20)),
        "leaf_type,leaf_cycle,diameter\nbroadleaved,deciduous,400\n",
    ],
)
def test_every_reason_of_a_guess_about_tags_is_known_to_translators(tmp_path, text):
    prepared = prepared_of(tmp_path, text)
    whys = [guess.why for guess in prepared.guesses] + list(prepared.left_out.values())
    assert guess_of(prepared, "file").value == "tags of OpenStreetMap"
    assert [why for why in whys if not import_words.known(why)] == []


FUZZED = [
    *(
        "natural",
        "@id",
        "@type",
        "species",
        "taxon",
        "genus",
        "species:de",
        "circumference",
        "diameter",
        "height",
    ),
    *(
        "diameter_crown",
        "start_date",
        "survey:date",
        "ref",
        "leaf_type",
        "denotation",
        "@user",
        "@lat",
        "@lon",
    ),
]
VALUES = st.sampled_from(
    [
        *(
            "",
            "tree",
            "tree_row",
            "node/1",
            "n7",
            "1",
            "-5",
            "1e999",
            "1;2",
            ";;",
            "~",
            "~1..2",
            "<",
            "1-",
            "3'11\"",
        ),
        *("1;~2 cm;3-4", "1,2", "0", "NA", "Tilia", "C19", "2020-05", "9" * 300, "1;" * 80, "\u202e", "=1+1"),
    ]
)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.lists(VALUES, min_size=len(FUZZED), max_size=len(FUZZED)), min_size=1, max_size=5))
def test_any_values_of_tags_give_a_row_each_or_a_sentence(tmp_path, rows):
    text = "\n".join("\t".join(row) for row in [FUZZED, ["tree", *[""] * (len(FUZZED) - 1)], *rows]) + "\n"
    try:
        prepared = prepared_of(tmp_path, text)
    except InvalidRequest as said:
        assert str(said)
        return
    assert guess_of(prepared, "file").value == "tags of OpenStreetMap"
    accounted = [*prepared.understood, *prepared.kept, *prepared.left_out]
    assert sorted(accounted) == sorted(FUZZED)
    for row in prepared.trees:
        assert all(reading.value is None or 0 < reading.value < math.inf for reading in row.readings)
