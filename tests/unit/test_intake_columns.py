"""Which column is what, in seven languages, and what each header adds."""

import pytest

from service.errors import InvalidRequest
from service.intake.words import language, roles_of, taken_apart
from tests.intake_builders import prepared_of

LISTS = {
    "en": "Tree No;Species;Girth (cm);Height (m);Crown spread (m);Location;Survey date;Year planted",
    "de": "Baum-Nr.;Baumart;Stammumfang cm;Baumhöhe m;Kronendurchmesser m;Standort;Aufnahmedatum;Pflanzjahr",
    "es": "Nº árbol;Especie;Perímetro (cm);Altura (m);Diámetro copa (m);Ubicación;Fecha;Año plantación",
    "fr": "N° arbre;Espèce;Circonférence (cm);Hauteur (m);Houppier (m);Lieu;Date relevé;Année plantation",
    "it": "Numero albero;Specie;Circonferenza (cm);Altezza (m);Chioma (m);Luogo;Data rilievo;Anno impianto",
    "nl": "Boomnummer;Boomsoort;Omtrek (cm);Boomhoogte (m);Kroondiameter (m);Locatie;Datum meting;Plantjaar",
    "pt": "Número;Espécie;Circunferência (cm);Altura (m);Copa (m);Local;Data medição;Ano plantio",
}


@pytest.mark.parametrize("code", list(LISTS))
def test_headers_of_seven_languages_are_understood(tmp_path, code):
    head = LISTS[code]
    rows = [";".join(("7", "Tilia cordata", "120", "12", "6", "Park A", "2023-05-01", "1990"))]
    prepared = prepared_of(tmp_path, "\n".join([head, *rows * 3]) + "\n")
    words = list(prepared.understood.values())
    assert words == ["tag", "species", "girth", "height", "crown", "place", "measured_on", "planted_on"]
    row = prepared.trees[0]
    assert (row.tag, row.place, row.planted_on) == ("7", "Park A", "1990-07-02")
    reading = row.readings[0]
    assert (reading.quantity, reading.value, reading.unit) == ("girth", 120.0, "cm")
    assert (reading.measured_on, reading.date_precision) == ("2023-05-01", "day")
    assert [(o.what, o.value, o.unit) for o in row.observations] == [
        ("height", 12.0, "m"),
        ("crown diameter", 6.0, "m"),
    ]


@pytest.mark.parametrize("code", list(LISTS))
def test_the_language_of_headers_is_told(code):
    assert language(LISTS[code].split(";")) == code


@pytest.mark.parametrize(
    ("header", "unit", "year", "index", "height_m"),
    [
        ("stammumfangCM", "cm", None, None, None),
        ("DBH (in)", "in", None, None, None),
        ('Diameter "', "in", None, None, None),
        ("Fall'15", None, 2015, None, None),
        ("dbh_2015", None, 2015, None, None),
        ("DBH 2", None, None, 2, None),
        ("Girth at 1.00 m (cm)", "cm", None, None, 1.0),
        ("d130", None, None, None, 1.3),
    ],
)
def test_a_header_is_taken_apart(header, unit, year, index, height_m):
    words = taken_apart(header, 2026)
    assert (words.unit, words.year, words.index, words.height_m) == (unit, year, index, height_m)


@pytest.mark.parametrize("header", ["height_range_id", "AltezzaPrimoPalco", "AGOL_Name", "mark", "Notes:"])
def test_a_header_with_words_that_are_not_known_is_nothing(header):
    assert roles_of(header) == {}


def test_what_the_person_says_wins(tmp_path):
    text = "a,b,girth_cm\n1,88,40\n2,90,50\n"
    prepared = prepared_of(tmp_path, text, columns={"tag": "a", "girth": "b"}, size="girth-cm")
    assert prepared.understood == {"a": "tag", "b": "girth"}
    assert prepared.kept == ["girth_cm"]
    assert prepared.trees[0].readings[0].value == 88


@pytest.mark.parametrize(
    ("columns", "says"), [({"tag": "Nr"}, "Did you mean Nr."), ({"colour": "Art"}, "no column of ours")]
)
def test_words_and_columns_that_are_not_there_are_refused(tmp_path, columns, says):
    with pytest.raises(InvalidRequest, match=says):
        prepared_of(tmp_path, "Nr.,Art,Umfang cm\n1,Tilia,80\n", columns=columns)


def test_every_column_is_understood_kept_or_left_out(tmp_path):
    text = "tag,species,girth_cm,condition class,contract,empty\n1,Tilia,80,B,K7,\n2,Acer,90,A,K9,\n"
    prepared = prepared_of(tmp_path, text)
    assert prepared.understood == {"tag": "tag", "species": "species", "girth_cm": "girth"}
    assert prepared.kept == ["condition class", "contract"]
    assert prepared.left_out == {"empty": "The column is empty."}
    assert prepared.trees[0].kept == {"condition class": "B", "contract": "K7"}


def test_a_diameter_computed_from_the_girth_is_left_out_and_said(tmp_path):
    rows = "".join(f"{n},{20 + 7 * n},{(20 + 7 * n) / 3.14159:.1f}\n" for n in range(1, 9))
    prepared = prepared_of(tmp_path, "tag,girth_cm,dbh (cm)\n" + rows)
    assert list(prepared.left_out) == ["dbh (cm)"]
    assert "computed from girth_cm" in prepared.left_out["dbh (cm)"]
    assert [len(row.readings) for row in prepared.trees] == [1] * 8


def test_the_key_is_a_column_that_is_unique_and_named_as_one(tmp_path):
    text = "OBJECTID,baumId,baumNr,umfang cm\n1,7,1,80\n2,9,1,81\n3,11,2,82\n"
    prepared = prepared_of(tmp_path, text)
    assert prepared.key_rule == "column baumId"
    assert [row.source_key for row in prepared.trees] == ["7", "9", "11"]


def test_a_size_that_happens_to_be_unique_is_no_key(tmp_path):
    prepared = prepared_of(tmp_path, "tag,umfang cm,lon,lat\n1,80,9.1,47.1\n1,81,9.2,47.2\n")
    assert prepared.key_rule == "tag and place"
    assert prepared.trees[0].source_key is None


def test_a_place_is_a_name_or_a_header(tmp_path):
    text = "tag,park,street,girth cm\n1,North,A,80\n2,South,B,81\n"
    assert [r.place for r in prepared_of(tmp_path, text).trees] == ["North", "South"]
    assert [r.place for r in prepared_of(tmp_path, text, place="street").trees] == ["A", "B"]
    named = prepared_of(tmp_path, text, place="Yard")
    assert [r.place for r in named.trees] == ["Yard", "Yard"]
    assert {"park", "street"} <= set(named.kept)


def test_genus_species_and_cultivar_make_one_name(tmp_path):
    head = "tree_id,genus_name,species_name,cultivar_name,dbh_cm\n"
    text = head + "1.0,ACER,PLATANOIDES,GLOBOSUM,20\n2.0,TILIA,CORDATA,,30\n"
    rows = prepared_of(tmp_path, text).trees
    assert [r.name_as_written for r in rows] == ["ACER PLATANOIDES 'GLOBOSUM'", "TILIA CORDATA"]
    assert rows[1].scientific_name == "Tilia cordata"
    assert [r.source_key for r in rows] == ["1", "2"]


def test_a_tag_that_is_zero_again_and_again_is_no_tag(tmp_path):
    rows = prepared_of(tmp_path, "baumNr,umfang cm\n0,80\n0,81\n5,82\n").trees
    assert [r.tag for r in rows] == [None, None, "5"]


@pytest.mark.parametrize(
    ("header", "role", "unit", "height_m", "stem"),
    [
        ("Umfang in 1,30 m Höhe", "girth", None, 1.3, None),
        ("Stammumfang in 1 m Höhe (cm)", "girth", "cm", 1.0, None),
        ("Umfang in 100 cm Höhe [cm]", "girth", "cm", 1.0, None),
        ("girth at 1.3 m height (cm)", "girth", "cm", 1.3, None),
        ("Trunk circumference at 1 m above ground (cm)", "girth", "cm", 1.0, None),
        ("Circonférence à 1m", "girth", None, 1.0, None),
        ("DBH at 4.5 ft (in)", "diameter", "in", 1.3716, None),
        ("omtrek op 1,30 m", "girth", None, 1.3, None),
        ("d1.3 (cm)", "diameter", "cm", 1.3, None),
        ("C130", "girth", None, 1.3, None),
        ("Stamm-Ø (cm)", "diameter", "cm", None, None),
        ("Kronen-Ø in m", "crown", "m", None, None),
        ("Umfang 2. Stamm", "girth", None, None, 2),
        ("Trunk 3 DBH (cm)", "diameter", "cm", None, 3),
        ("girth stem 2 (cm)", "girth", "cm", None, 2),
    ],
)
def test_a_header_says_at_which_height_of_which_stem_and_in_what_it_was_measured(
    header, role, unit, height_m, stem
):
    words = taken_apart(header)
    assert role in roles_of(header)
    assert (words.unit, words.height_m, words.index) == (unit, height_m, stem)


@pytest.mark.parametrize("header", ["Trunk height (m)", "Stem condition", "Height of first branch (m)"])
def test_a_stem_in_a_header_makes_no_height_or_status_of_the_tree(header):
    assert not {"height", "status", "girth", "diameter"} & set(roles_of(header))


def test_the_word_in_is_an_inch_only_at_the_end_of_a_header():
    assert taken_apart("DBH in 2019").unit is None
    assert (taken_apart("dbh_in").unit, taken_apart("DBH (in) 2019").unit) == ("in", "in")


def test_girths_at_two_heights_of_one_stem_are_two_readings(tmp_path):
    text = "Nr;Umfang in 1 m Höhe (cm);Umfang in 1,30 m Höhe (cm)\n1;112;104\n2;90;\n"
    rows = prepared_of(tmp_path, text).trees
    assert [[(r.value, r.height_m, r.stem_number) for r in row.readings] for row in rows] == [
        [(112, 1.0, 1), (104, 1.3, 1)],
        [(90, 1.0, 1)],
    ]


def test_days_with_the_month_first_are_found_though_most_are_no_days_the_other_way_round(tmp_path):
    days = ["3/14/2019 12:00:00 AM", "4/25/2019", "12/31/2019", "1/2/2020"]
    text = "tag,girth cm,Inspection Date\n" + "".join(f"{n},90,{day}\n" for n, day in enumerate(days))
    rows = prepared_of(tmp_path, text).trees
    assert [row.readings[0].measured_on for row in rows] == [
        "2019-03-14",
        "2019-04-25",
        "2019-12-31",
        "2020-01-02",
    ]


def test_epithets_of_hybrids_beside_a_genus_make_whole_names(tmp_path):
    text = "Identifiant;Genre;Espèce;Variété\nA1;Platanus;x acerifolia;\nA2;Tilia;cordata;Greenspire\n"
    rows = prepared_of(tmp_path, text).trees
    assert [row.name_as_written for row in rows] == ["Platanus x acerifolia", "Tilia cordata 'Greenspire'"]


def test_a_system_in_brackets_does_not_hide_a_column_of_coordinates(tmp_path):
    text = "Identifiant;Essence;Coord X (L93);Coord Y (L93)\n" + "".join(
        f"A{n};Tilia;{650000 + n * 5};{6860000 + n * 3}\n" for n in range(5)
    )
    row = prepared_of(tmp_path, text).trees[0]
    assert (round(row.lon_deg, 1), round(row.lat_deg, 1)) == (2.3, 48.8)


@pytest.mark.parametrize(
    ("cut", "role"),
    [
        ("stammumfan", "girth"),  # stammumfangCM
        ("kronendurc", "crown"),  # kronendurchmesser
        ("trunk_diam", "diameter"),  # trunk_diameter
        ("circumfere", "girth"),  # circumference
        ("species_na", "species"),  # species_name
        ("planting_y", "planted_on"),  # planting_year
        ("measuremen", None),  # measurement_date, or measurement_height
        ("diameter_c", None),  # diameter_cm, or diameter_class
        ("diametro_c", None),  # diametro_cm, or diametro_chioma
        ("stammumfa", None),  # dBASE cuts at ten
        ("wirtschaft", None),
    ],
)
def test_a_header_that_a_shapefile_cut_off_is_known_where_only_one_word_goes_on(cut, role):
    assert list(roles_of(cut)) == ([role] if role else [])
