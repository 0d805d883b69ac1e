"""Sizes: quantity and unit from words and values, limits, stems, classes, years in headers."""

import math

import numpy as np
import pytest

from service.errors import Ask, InvalidRequest
from service.intake.guess_size import likelihoods
from service.intake.prepared import SiteFacts
from tests.intake_builders import TODAY, asked, guess_of, prepared_of

VANCOUVER = SiteFacts(box=(-123.2, 49.2, -123.0, 49.3), today=TODAY)
KONSTANZ = SiteFacts(box=(9.1, 47.6, 9.2, 47.7), today=TODAY)


def table(header, cells):
    return f"tag,{header}\n" + "".join(f"{n},{cell}\n" for n, cell in enumerate(cells, start=1))


def test_a_header_that_says_all_is_believed(tmp_path):
    guess = guess_of(prepared_of(tmp_path, table("stammumfangCM", [72, 169, 74])), "size")
    assert (guess.value, guess.sure) == ("girth in cm", 0.98)


def test_quarter_steps_in_north_america_are_inches(tmp_path):
    cells = [3, 7.5, 6.25, 12, 18.75, 24, 30.5, 9, 10, 4.5]
    guess = guess_of(prepared_of(tmp_path, table("diameter", cells), site=VANCOUVER), "size")
    assert guess.value == "diameter in inches"
    assert "quarter" in guess.why
    assert "North America" in guess.why


def test_tenths_elsewhere_are_centimetres(tmp_path):
    cells = [23.1, 17.5, 36.2, 12.9, 48.7, 24, 30.3]
    guess = guess_of(prepared_of(tmp_path, table("BHD", cells), site=KONSTANZ), "size")
    assert guess.value == "diameter in cm"


def test_metres_are_told_by_their_magnitude(tmp_path):
    cells = [0.72, 1.69, 0.74, 2.31, 0.35]
    assert (
        guess_of(prepared_of(tmp_path, table("Umfang", cells), site=KONSTANZ), "size").value == "girth in m"
    )


def test_what_cannot_be_told_is_asked_with_its_choices(tmp_path):
    text = "tag,Fall'14,Fall'15\n" + "".join(f"{n},{10 + n / 10},{11 + n / 10}\n" for n in range(30))
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, text)
    assert found.value.option == "--size"
    assert "diameter-cm" in found.value.choices
    assert len(found.value.choices) > 1


def test_a_nameless_column_of_sizes_is_asked_for(tmp_path):
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, table("mark", [n + 0.3 for n in range(30)]))
    assert found.value.option == "--columns"
    assert found.value.choices == ["diameter=mark", "girth=mark", "kept=mark"]
    assert prepared_of(tmp_path, table("mark", [n + 0.3 for n in range(30)]), columns={"kept": "mark"}).kept


def test_the_option_wins_over_header_and_values(tmp_path):
    prepared = prepared_of(tmp_path, table("stammumfangCM", [72, 169]), size="girth-mm")
    assert prepared.trees[0].readings[0].unit == "mm"


def test_the_unit_of_a_yearly_header_holds_against_the_option_and_is_said(tmp_path):
    text = "tag,2017,2018 (in)\n1,30,12\n2,31,12.5\n"
    prepared = prepared_of(tmp_path, text, size="diameter-cm")
    said = [(r.measured_on[:4], r.quantity, r.unit) for r in prepared.trees[0].readings]
    assert said == [("2017", "diameter", "cm"), ("2018", "diameter", "in")]
    guess = guess_of(prepared, "size")
    assert guess.why == "--size says cm, but the header '2018 (in)' says inches: the header holds."


def test_headers_that_differ_keep_their_units_whatever_the_option_says(tmp_path):
    text = "tag,dbh 2017 (cm),dbh 2018 (in)\n1,30,12\n2,31,12.5\n"
    rows = prepared_of(tmp_path, text, size="diameter-cm").trees
    assert [r.unit for r in rows[0].readings] == ["cm", "in"]


def test_an_option_that_overrules_a_header_is_said(tmp_path):
    prepared = prepared_of(tmp_path, table("stammumfangCM", [72, 169]), size="girth-mm")
    assert "--size says girth in mm: that holds" in guess_of(prepared, "size").why


SHORT = [80, 95.5, 101.25, 110, 112, 113.75, 120, 130.5, 150, 170]


@pytest.mark.parametrize("top", [190, 900, 1750, 3800])
@pytest.mark.parametrize("header", ["Umfang", "circonférence", "perímetro"])
def test_one_slip_at_the_top_of_a_short_list_makes_no_saplings_of_its_trees(tmp_path, header, top):
    guess = guess_of(prepared_of(tmp_path, table(header, [*SHORT, top])), "size")
    assert guess.value == "girth in cm"
    assert "language of countries with metric units" in guess.why


def test_a_short_list_that_may_be_in_inches_is_still_asked_for(tmp_path):
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, table("girth", [*SHORT, 190]))
    assert found.value.choices[:2] == ["girth-cm", "girth-in"]


@pytest.mark.parametrize("size", ["girth", "cm", "girth-yard", "volume-cm"])
def test_a_size_option_that_cannot_be_is_refused(tmp_path, size):
    with pytest.raises(InvalidRequest, match="--size"):
        prepared_of(tmp_path, table("umfang", [80]), size=size)


def test_likelihoods_add_up_to_one():
    for north_america in (True, False, None):
        found = likelihoods(None, None, np.array([10.0, 12.5, 30.0]), north_america)
        assert sum(found.values()) == pytest.approx(1, abs=1e-12)


def test_impossible_sizes_are_refused_and_large_ones_questioned(tmp_path):
    rows = prepared_of(tmp_path, table("umfang cm", [-5, 9000, 4500, 1001, 1000, 0, ""])).trees
    assert "below 0" in rows[0].refused
    assert "4,500" in rows[1].refused
    assert [asked(r) for r in rows[2:]] == [["large_size"], ["large_size"], [], [], []]
    assert [len(r.readings) for r in rows[2:]] == [1, 1, 1, 0, 0]


def test_a_size_far_above_the_rest_of_its_file_is_questioned(tmp_path):
    cells = [*(50 + n % 100 for n in range(300)), 300]
    rows = prepared_of(tmp_path, table("umfang cm", cells)).trees
    assert asked(rows[-1]) == ["large_size"]
    assert not any(asked(r) for r in rows[:-1])


def test_one_bad_cell_of_a_wide_row_leaves_the_good_ones(tmp_path):
    text = "tag,umfang cm 2010,umfang cm 2015\n1,80,9000\n2,81,83\n3,-1,9000\n"
    rows = prepared_of(tmp_path, text).trees
    assert [r.value for r in rows[0].readings] == [80]
    assert asked(rows[0]) == ["size"]
    assert rows[2].refused is not None
    assert not rows[1].questions


def test_stems_are_numbered_and_counted(tmp_path):
    rows = prepared_of(tmp_path, table("umfang cm", ["240 - 184", "3x10", "77"])).trees
    assert [(r.stem_number, r.value, r.note) for r in rows[0].readings] == [
        (1, 240.0, "240 - 184"),
        (2, 184.0, "240 - 184"),
    ]
    assert [r.stems for r in rows] == [2, 3, 1]
    assert rows[2].readings[0].note is None


def test_columns_of_stems_are_stems(tmp_path):
    rows = prepared_of(tmp_path, "tag,dbh 1 (cm),dbh 2 (cm)\n1,30,20\n2,40,\n").trees
    assert [(r.stem_number, r.value) for r in rows[0].readings] == [(1, 30.0), (2, 20.0)]
    assert [r.stems for r in rows] == [2, 1]


def test_text_that_is_no_size_is_questioned_and_the_tree_taken(tmp_path):
    row = prepared_of(tmp_path, table("umfang cm", ["see note", 80, 90])).trees[0]
    assert (row.refused, row.readings, asked(row)) == (None, [], ["size"])


def test_classes_stay_classes_in_centimetres(tmp_path):
    cells = ["1) <= 20cm", "2) 20cm< & <=50cm", "4) >100cm", ""]
    prepared = prepared_of(tmp_path, table("classe diametro", cells))
    said = [
        (r.quantity, r.value, r.class_from_cm, r.class_to_cm) for row in prepared.trees for r in row.readings
    ]
    assert said == [("class", None, 0.0, 20.0), ("class", None, 20.0, 50.0), ("class", None, 100.0, None)]


def test_bare_ranges_that_touch_are_classes_and_girths_become_diameters(tmp_path):
    cells = ["0-31.4", "31.4-62.8", "0-31.4", "31.4-62.8", "62.8-94.2"]
    reading = prepared_of(tmp_path, table("umfang cm", cells)).trees[1].readings[0]
    assert reading.quantity == "class"
    assert reading.class_from_cm == pytest.approx(31.4 / math.pi, abs=1e-6)
    assert reading.class_to_cm == pytest.approx(62.8 / math.pi, abs=1e-6)


def test_years_in_headers_date_the_readings_and_dead_is_said_from_then_on(tmp_path):
    text = "Tag#,Fall'15,Fall'14,Fall'13\n1,DEAD,DEAD,10.1\n2,12.5,12.4,12.2\n3,DEAD,too short,0.4\n"
    prepared = prepared_of(tmp_path, text, size="diameter-cm")
    first, second, third = prepared.trees
    assert [(r.measured_on, r.date_precision, r.value) for r in second.readings] == [
        ("2013-07-02", "year", 12.2),
        ("2014-07-02", "year", 12.4),
        ("2015-07-02", "year", 12.5),
    ]
    assert [(s.status, s.as_said, s.happened_on) for s in first.statuses] == [("dead", "DEAD", "2014-07-02")]
    assert asked(third) == ["size"]
    assert third.statuses[0].happened_on == "2015-07-02"


def test_a_year_with_nothing_but_its_unit_is_a_size_of_that_year(tmp_path):
    text = "tag,2014 (cm),2016 cm\n1,20,22\n2,30,31\n"
    rows = prepared_of(tmp_path, text, size="diameter-cm").trees
    assert [(r.measured_on[:4], r.value, r.unit) for r in rows[0].readings] == [
        ("2014", 20.0, "cm"),
        ("2016", 22.0, "cm"),
    ]


def test_a_dead_stem_with_a_size_keeps_both(tmp_path):
    text = "Tag#,Fall'15,Fall'14\n1,DEAD,DEAD - 18.1\n2,12.5,12.4\n3,11,10\n"
    row = prepared_of(tmp_path, text, size="diameter-cm").trees[0]
    assert [(r.value, r.note) for r in row.readings] == [(18.1, "DEAD - 18.1")]
    assert [(s.status, s.happened_on) for s in row.statuses] == [("dead", "2014-07-02")]
    assert asked(row) == ["size"]


def test_a_stem_that_was_dead_and_has_a_size_again_is_questioned(tmp_path):
    text = "Tag#,Fall'16,Fall'12,Fall'11\n1,0.5,DEAD,0.7\n2,12.5,12.4,12.3\n3,11,10,9.5\n"
    row = prepared_of(tmp_path, text, size="diameter-cm").trees[0]
    assert [s.status for s in row.statuses] == ["dead", "living"]
    assert asked(row) == ["status"]


def test_the_height_of_measurement_is_taken_from_option_header_or_column(tmp_path):
    assert prepared_of(tmp_path, table("umfang cm", [80]), height_m=1.0).trees[0].readings[0].height_m == 1.0
    assert prepared_of(tmp_path, table("Umfang in 1.00 m (cm)", [80])).trees[0].readings[0].height_m == 1.0
    rows = prepared_of(tmp_path, "tag,umfang cm,messhöhe cm\n1,80,100\n2,90,130\n").trees
    assert [r.readings[0].height_m for r in rows] == [1.0, 1.3]
    with pytest.raises(InvalidRequest, match="--height-m"):
        prepared_of(tmp_path, table("umfang cm", [80]), height_m=130)


def test_days_in_the_future_are_questioned_then_refused(tmp_path):
    text = "tag,umfang cm,datum\n1,80,2026-05-05\n2,80,2026-05-06\n3,80,2028-01-01\n4,80,never\n"
    rows = prepared_of(tmp_path, text).trees
    assert [asked(r) for r in rows] == [[], ["date"], [], ["date"]]
    assert "more than a year" in rows[2].refused
    assert rows[3].readings[0].measured_on is None


def test_a_day_given_by_the_person_goes_before_a_column(tmp_path):
    text = "tag,umfang cm,datum\n1,80,2020-05-05\n2,80,2020-05-06\n"
    prepared = prepared_of(tmp_path, text, measured_on="2019-03")
    assert prepared.trees[0].readings[0].measured_on == "2019-03-15"
    assert "datum" in prepared.kept
    with pytest.raises(InvalidRequest, match="--measured-on"):
        prepared_of(tmp_path, text, measured_on="last week")


def test_heights_that_cannot_be_are_questioned(tmp_path):
    rows = prepared_of(tmp_path, "tag,umfang cm,höhe m\n1,80,0\n2,80,400\n3,80,-2\n4,80,12\n").trees
    assert [len(r.observations) for r in rows] == [0, 0, 0, 1]
    assert [asked(r) for r in rows] == [[], ["size"], ["size"], []]


def test_stumps_and_gaps_are_places_and_keep_what_they_say(tmp_path):
    text = "Tipologia;Essenza;classe diametro;StatoVegetativo\n" + "".join(
        f"{kind};Tilia cordata;{size};{state}\n"
        for kind, size, state in [
            ("Albero", "1) <= 20cm", "Morto"),
            ("Albero", "2) 20cm< & <=50cm", "Buono"),
            ("Ceppaia", "1) <= 20cm", ""),
            ("Fallanza", "", ""),
            ("posta vuota", "", ""),
            ("Neoimpianto", "1) <= 20cm", "Buono"),
        ]
    )
    rows = prepared_of(tmp_path, text).trees
    assert [r.place_kind for r in rows] == [None, None, "stump", "gap", "vacant", None]
    assert [(r.status, r.status_as_said) for r in rows[:2]] == [("dead", "Morto"), ("living", "Buono")]
    assert rows[2].readings == []
    assert rows[2].kept["classe diametro"] == "1) <= 20cm"


def listed(headers, rows):
    return f"tag\t{headers}\n" + "".join(f"{n}\t{row}\n" for n, row in enumerate(rows, start=1))


@pytest.mark.parametrize(
    ("size", "cells_", "metres"),
    [
        ("girth in", ["24 in", "54 in", "24"], [0.6096, 1.3716, 0.6096]),
        ("girth in", ["24", "54", "4.5"], [0.6096, 1.3716, 1.3716]),
        ("girth in", ["2 ft", '24"', "1.37"], [0.6096, 0.6096, 1.37]),
        ("girth cm", ["100", "130", "1.3"], [1.0, 1.3, 1.3]),
        ("girth cm", ["24 in", "54 in", "ground"], [0.6096, 1.3716, None]),
    ],
)
def test_the_height_of_measurement_is_read_in_the_units_of_the_list(tmp_path, size, cells_, metres):
    rows = [f"{40 + n}\t{cell}" for n, cell in enumerate(cells_)]
    prepared = prepared_of(tmp_path, listed(f"{size}\theight of measurement", rows), name="a.tsv")
    heights = [row.readings[0].height_m for row in prepared.trees]
    assert heights == [None if m is None else pytest.approx(m) for m in metres]
    assert [asked(row) for row in prepared.trees] == [["size"] if m is None else [] for m in metres]


def test_in_which_unit_heights_of_measurement_were_read_is_said(tmp_path):
    rows = [f"{40 + n}\t{cell}" for n, cell in enumerate(["24", "54", "54"])]
    prepared = prepared_of(tmp_path, listed("girth in\tpom", rows), name="a.tsv")
    assert guess_of(prepared, "height of measuring").value == "pom in in"
    assert "the sizes are in inches" in guess_of(prepared, "height of measuring").why
