"""Lists of trees as people keep them: stumps among statuses, signs in size cells, days of every kind."""

import pytest

from service.errors import Ask, InvalidRequest
from service.intake import cells, day_cells
from service.intake.identity import base_key
from tests.intake_builders import asked, guess_of, prepared_of


def listed(header, values, *, first="tag"):
    return f"{first}\t{header}\n" + "".join(f"{n}\t{value}\n" for n, value in enumerate(values, start=1))


def rows_of(folder, header, values, **options):
    return prepared_of(folder, listed(header, values), name="list.tsv", **options).trees


def test_a_status_of_a_stump_or_a_vacant_place_makes_a_place_and_no_living_tree(tmp_path):
    words = ["alive", "dead", "stump", "Stubben", "vacant", "souche", "alive"]
    text = listed("species\tgirth cm\tstatus", [f"Tilia cordata\t100\t{word}" for word in words])
    prepared = prepared_of(tmp_path, text, name="list.tsv")
    assert [r.place_kind for r in prepared.trees] == [None, None, "stump", "stump", "vacant", "stump", None]
    assert prepared.trees[2].readings == []
    assert prepared.trees[2].kept["girth cm"] == "100"
    assert guess_of(prepared, "places").value == "3 stump, 1 vacant"


def test_a_name_that_says_stump_or_vacant_makes_a_place_and_dead_a_dead_tree(tmp_path):
    names = ["Stump", "Vacant site, large", "Acer rubrum", "Dead", "Baumstumpf", "Missing", "Stump Oak"]
    text = listed("species\tdbh (in)", [f"{name}\t12" for name in names])
    prepared = prepared_of(tmp_path, text, name="list.tsv")
    rows = prepared.trees
    assert [r.place_kind for r in rows] == ["stump", "vacant", None, None, "stump", None, "stump"]
    assert [r.status for r in rows if not r.place_kind] == ["unknown", "dead", "unknown"]
    assert [len(r.readings) for r in rows] == [0, 0, 1, 1, 0, 1, 0]
    assert rows[0].kept["dbh (in)"] == "12"
    assert guess_of(prepared, "places").value == "3 stump, 1 vacant"
    assert "2 not known" in guess_of(prepared, "names").value


def test_a_status_column_has_the_last_word_on_a_tree_named_dead(tmp_path):
    rows = rows_of(tmp_path, "species\tstatus", ["Dead\talive", "Dead\t", "Tilia\talive"])
    assert [r.status for r in rows] == ["living", "dead", "living"]


def test_a_tree_that_was_not_found_is_no_gap(tmp_path):
    rows = rows_of(tmp_path, "species\tstatus", ["Tilia\talive", "Tilia\tmissing", "Tilia\tdead"])
    assert [(r.place_kind, r.status) for r in rows] == [(None, "living"), (None, "unknown"), (None, "dead")]


def test_words_of_a_status_that_are_not_known_are_said_with_how_often(tmp_path):
    words = ["vital", "vital", "zu fällen", "zu fällen", "stehend tot", "nicht mehr vorhanden"]
    prepared = prepared_of(tmp_path, listed("Art\tZustand", [f"Tilia\t{w}" for w in words]), name="list.tsv")
    assert [r.status for r in prepared.trees[2:]] == ["unknown", "unknown", "dead", "removed"]
    guess = guess_of(prepared, "status")
    assert guess.value == "unknown in 2 rows"
    assert "'zu fällen' (2)" in guess.why


@pytest.mark.parametrize(
    ("cell", "quantity", "value"),
    [
        ("ø 40", "diameter", 40),
        ("d = 40", "diameter", 40),
        ("BHD 40", "diameter", 40),
        ("Ø ca. 40", "diameter", 40),
    ],
)
def test_a_cell_that_says_diameter_is_one_even_among_girths_and_is_questioned(
    tmp_path, cell, quantity, value
):
    rows = rows_of(tmp_path, "girth cm", ["120", cell, "U 120", "StU 98"])
    assert [(r.readings[0].quantity, r.readings[0].value) for r in rows] == [
        ("girth", 120),
        (quantity, value),
        ("girth", 120),
        ("girth", 98),
    ]
    assert [asked(row) for row in rows] == [[], ["size"], [], []]
    assert "says that it is a diameter" in rows[1].questions[0].detail


def test_a_girth_among_diameters_is_no_diameter(tmp_path):
    row = rows_of(tmp_path, "dbh cm", ["30", "u=120"])[1]
    assert (row.readings[0].quantity, row.readings[0].value, asked(row)) == ("girth", 120, ["size"])


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        ("3-Apr-21", ("2021-04-03", "day")),
        ("12-May-2021", ("2021-05-12", "day")),
        ("12/May/2021 10:30", ("2021-05-12", "day")),
        ("3rd May 2021", ("2021-05-03", "day")),
        ("May 3rd, 2021", ("2021-05-03", "day")),
        ("1er mai 2021", ("2021-05-01", "day")),
        ("3. Mai 21", ("2021-05-03", "day")),
        ("1.5.65", ("1965-05-01", "day")),
        ("1.5.26", ("2026-05-01", "day")),
        ("May 21", None),
        ("31-Feb-21", None),
    ],
)
def test_days_of_spreadsheets_are_read(cell, day):
    assert day_cells.day(cell) == day


def test_numbers_that_make_no_day_do_not_tell_the_order_of_the_others():
    assert day_cells.order_of(["99/99/2021", "03/04/2021"], north_america=False)[0] == "day first"
    order, why, sure = day_cells.order_of(["25/04/2021", "26/04/2021", "04/13/2021"], north_america=True)
    assert (order, sure < 0.7) == ("day first", True)
    assert "1 the other" in why


def test_a_day_of_planting_far_ahead_is_not_taken_and_kept_as_written(tmp_path):
    rows = rows_of(tmp_path, "planted", ["2019", "2099", "1.1.2031", "1.7.2026", "2026-12"])
    assert [row.planted_on for row in rows] == ["2019-07-02", None, None, "2026-07-01", "2026-12-15"]
    assert [asked(row) for row in rows] == [[], ["date"], ["date"], ["date"], ["date"]]
    assert rows[1].kept["planted"] == "2099"


def test_a_tree_measured_before_it_was_planted_is_questioned(tmp_path):
    values = ["90\t2020-05-01\t2022", "90\t2020-05-01\t2020", "90\t2020-05-01\t2020-05-02", "90\t\t2022"]
    rows = rows_of(tmp_path, "girth cm\tdate\tplanted", values)
    assert [asked(row) for row in rows] == [["date"], [], ["date"], []]
    assert "planted (2022) after it was measured (2020-05-01)" in rows[0].questions[0].detail


@pytest.mark.parametrize("said", ["03/04/2021", "4-3-21"])
def test_a_day_of_measuring_that_may_be_two_days_is_refused(tmp_path, said):
    with pytest.raises(InvalidRequest, match="write YYYY-MM-DD"):
        prepared_of(tmp_path, "tag,girth cm\n1,100\n", measured_on=said)
    assert prepared_of(tmp_path, "tag,girth cm\n1,100\n", measured_on="3.4.2021").trees[0].readings


def test_a_few_impossible_positions_do_not_hide_that_headers_name_degrees(tmp_path):
    text = "tag,longitude,latitude\n" + "".join(f"{n},9.1{n},47.1{n}\n" for n in range(1, 9)) + "9,190,47\n"
    prepared = prepared_of(tmp_path, text)
    assert guess_of(prepared, "crs").value == "WGS84 (EPSG:4326)"
    assert [asked(row) for row in prepared.trees] == [[]] * 8 + [["position"]]


def test_one_far_row_of_a_short_list_is_questioned(tmp_path):
    text = "tag,longitude,latitude\n1,9.1,47.1\n2,9.11,47.1\n3,9.12,47.1\n4,-80.1,40.1\n"
    assert [asked(row) for row in prepared_of(tmp_path, text).trees] == [[], [], [], ["far_off"]]


def test_a_system_that_cannot_be_is_refused_even_where_nothing_has_a_position(tmp_path):
    for said in ("EPSG:999999", "bananas"):
        with pytest.raises(InvalidRequest, match="coordinate system"):
            prepared_of(tmp_path, "tag,girth cm\n1,100\n", crs=said)


def test_metres_of_web_maps_are_not_taken_for_those_of_an_island_in_the_sea(tmp_path):
    text = "tag,species,x,y\n" + "".join(f"{n},Tilia,{1012000 + n},{5960000 + n}\n" for n in range(5))
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, text)
    assert "EPSG:3857" in found.value.choices


def test_a_plain_number_is_no_quantity():
    assert cells.size_cell("120").quantity is None
    assert cells.size_cell("dead 120").odd


def test_a_column_headed_size_is_asked_for_and_settled_by_the_option(tmp_path):
    text = listed("species\tsize", [f"Tilia\t{30 + n}" for n in range(20)])
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, text, name="list.tsv")
    assert found.value.option == "--size"
    reading = prepared_of(tmp_path, text, name="list.tsv", size="girth-cm").trees[0].readings[0]
    assert (reading.quantity, reading.value, reading.unit) == ("girth", 30, "cm")


def test_a_column_headed_size_beside_a_girth_stays_as_written(tmp_path):
    row = rows_of(tmp_path, "girth cm\tsize", ["100\t3", "90\t4"])[0]
    assert ([r.value for r in row.readings], row.kept) == ([100], {"size": "3"})


def test_a_size_that_is_said_of_a_file_without_sizes_asks_which_column_it_is(tmp_path):
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, "tag,species,mark\n1,Tilia,30\n2,Tilia,40\n", size="diameter-cm")
    assert (found.value.option, found.value.choices) == ("--columns", ["diameter=mark"])
    with pytest.raises(InvalidRequest, match="--columns girth="):
        prepared_of(tmp_path, "tag,species\n1,Tilia\n", size="girth-cm")


def test_inches_are_asked_for_where_nothing_says_where_the_trees_stand(tmp_path):
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, listed("girth", range(10, 50)), name="list.tsv")
    assert {"girth-in", "girth-cm"} <= set(found.value.choices)


@pytest.mark.parametrize(
    "word",
    ["k.A.", "non rilevato", "no data", "nicht erfasst", "non renseigné", "no medido", "n.v.t.", "0", ""],
)
def test_words_for_not_known_are_no_kind_of_tree_and_no_size(tmp_path, word):
    row = rows_of(tmp_path, "species\tgirth cm", [f"Tilia\t{n}" for n in (90, 100)] + [f"{word}\t{word}"])[-1]
    assert (row.name_as_written, row.readings, asked(row), row.refused) == (None, [], [], None)


def test_doubtful_and_unknown_names_are_said_before_anything_is_taken(tmp_path):
    names = ["Tilia cordata", "Tillia cordata", "Winterlinde", "Tilia cordata"]
    guess = guess_of(prepared_of(tmp_path, listed("species", names), name="list.tsv"), "names")
    assert guess.value == "1 doubtful, 1 not known, of 3 names"
    assert "'Tillia cordata' = Tilia cordata" in guess.why
    assert "'Winterlinde'" in guess.why


def test_without_tags_and_positions_rows_go_by_what_the_file_calls_them(tmp_path):
    text = "tree id,species,girth cm\nA,Tilia,100\nB,Tilia,90\nB,Tilia,80\n"
    rows = prepared_of(tmp_path, text).trees
    assert [base_key(row, "list") for row in rows] == ["A", "B", "B"]
