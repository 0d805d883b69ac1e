"""What cells say: numbers, stems, classes, days, statuses."""

import pytest

from service.intake import cells, day_cells, status_cells


@pytest.mark.parametrize(
    ("cell", "comma", "value"),
    [
        ("12", False, 12.0),
        ("12.5", False, 12.5),
        (".5", False, 0.5),
        ("-5", False, -5.0),
        ("−5", False, -5.0),
        ("1,234.5", False, 1234.5),
        ("12,5", True, 12.5),
        ("1.234,5", True, 1234.5),
        ("12.5", True, 12.5),
        ("1 234,5", True, 1234.5),
        ("1e2", False, 100.0),
    ],
)
def test_a_number_is_read_with_the_decimal_sign_of_its_column(cell, comma, value):
    assert cells.number(cell, comma=comma) == value


@pytest.mark.parametrize(
    "cell",
    ["1_000", "nan", "NaN", "inf", "-Infinity", "٣٤", "१२", "12,5", "1e999", "0x1F", "1.2.3", "", "12 cm"],
)
def test_what_only_looks_like_a_number_is_none(cell):
    assert cells.number(cell) is None


@pytest.mark.parametrize(
    ("cell", "values"),
    [
        ("240 - 184", (240, 184)),
        ("240-184", (240, 184)),
        ("107/122", (107, 122)),
        ("30+25", (30, 25)),
        ("30 + 25 + 12", (30, 25, 12)),
        ("3x10", (10, 10, 10)),
        ("2 x 35 + 40", (35, 35, 40)),
        ("12.5, 13.5", (12.5, 13.5)),
        ("30 und 25", (30, 25)),
        ("88", (88,)),
        ("ca. 80", (80,)),
    ],
)
def test_a_cell_of_several_stems_gives_each_its_size(cell, values):
    assert cells.size_cell(cell).values == values


@pytest.mark.parametrize(
    ("cell", "comma", "values"),
    [
        *(("½", False, (0.5,)), ("¾", True, (0.75,)), ("⅛", True, (0.125,)), ('¾"', False, (0.75,))),
        *(("9½", False, (9.5,)), ("9 ½", True, (9.5,)), ("12⅛", True, (12.125,)), ("9-½", False, (9.5,))),
        *(("30 + ½", False, (30, 0.5)), ("½ / ¾", False, (0.5, 0.75)), ("1/2", False, (1, 2))),
    ],
)
def test_the_sign_of_a_fraction_is_a_fraction_and_never_two_stems(cell, comma, values):
    assert cells.size_cell(cell, comma=comma).values == values


@pytest.mark.parametrize(
    ("cell", "value", "unit"),
    [("30 cm", 30, "cm"), ('12"', 12, "in"), ("1.2 m", 1.2, "m"), ("3' 4\"", 40, "in")],
)
def test_a_unit_in_the_cell_goes_with_its_number(cell, value, unit):
    size = cells.size_cell(cell)
    assert (size.values, size.unit) == ((value,), unit)


@pytest.mark.parametrize(
    "cell", ["", "0", "0.0", "NA", "n/a", "unknown", "unbekannt", "-", "?", "k.A.", "null", "#N/A", "0 - 0"]
)
def test_zero_and_words_for_not_known_are_missing(cell):
    assert cells.size_cell(cell).missing


def test_a_count_that_may_be_a_size_is_doubted():
    size = cells.size_cell("40x3")
    assert size.values == (40, 40, 40)
    assert size.doubt is not None


@pytest.mark.parametrize(
    ("cell", "bounds"),
    [
        ("1) <= 20cm", (0, 20, "cm")),
        ("2) 20cm< & <=50cm", (20, 50, "cm")),
        ("4) >100cm", (100, None, "cm")),
        ("> 60", (60, None, None)),
        ("under 10 in", (0, 10, "in")),
        ("bis 30 cm", (0, 30, "cm")),
        ("80 cm und mehr", (80, None, "cm")),
        ("von 20 bis 40 cm", (20, 40, "cm")),
    ],
)
def test_a_size_class_stays_a_class(cell, bounds):
    assert cells.class_bounds(cell) == bounds
    assert cells.size_cell(cell).class_from == bounds[0]


def test_ranges_are_classes_only_where_the_column_says_so():
    assert cells.are_ranges(["10-20", "20-30", "10-20", "30-40", "", "20-30"])
    assert not cells.are_ranges(["240-184", "107-122", "33-40"])
    assert cells.size_cell("10-20").values == (10, 20)


def test_a_decimal_comma_is_told_by_the_whole_column():
    assert cells.decimal_comma(["12,5", "3"], by_default=False)
    assert not cells.decimal_comma(["1,234", "12.5"], by_default=True)
    assert not cells.decimal_comma(["1,234"], by_default=False)
    assert cells.decimal_comma(["1,234"], by_default=True)


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        ("2015-01-31", ("2015-01-31", "day")),
        ("2008-01-07T00:00:00Z", ("2008-01-07", "day")),
        ("31.1.2015", ("2015-01-31", "day")),
        ("20150131", ("2015-01-31", "day")),
        ("12 May 2019", ("2019-05-12", "day")),
        ("May 12, 2019", ("2019-05-12", "day")),
        ("12 de mayo de 2019", ("2019-05-12", "day")),
        ("Mai 2019", ("2019-05-15", "month")),
        ("2020-02", ("2020-02-14", "month")),
        ("5/2019", ("2019-05-15", "month")),
        ("2019", ("2019-07-02", "year")),
        ("31.02.2020", None),
        ("soon", None),
    ],
)
def test_a_day_is_read_as_precisely_as_it_was_written(cell, day):
    assert day_cells.day(cell) == day


def test_the_order_of_day_and_month_is_told_by_the_column_then_by_the_place():
    assert day_cells.order_of(["03/14/2020"], north_america=False)[0] == "month first"
    assert day_cells.order_of(["14/03/2020"], north_america=True)[0] == "day first"
    assert day_cells.order_of(["03/04/2020"], north_america=True)[0] == "month first"
    assert day_cells.order_of(["03/04/2020"], north_america=False)[0] == "day first"
    assert day_cells.day("03/04/2020", "month first") == ("2020-03-04", "day")


def test_a_spreadsheets_day_number_is_a_day():
    assert day_cells.spreadsheet_day("43831") == ("2020-01-01", "day")


@pytest.mark.parametrize(
    ("cell", "status"),
    [
        ("Morto", "dead"),
        ("abgestorben", "dead"),
        ("Dead standing", "dead"),
        ("gefällt", "removed"),
        ("Buono", "living"),
        ("vivant", "living"),
        ("???", None),
    ],
)
def test_status_words_of_several_languages_are_known(cell, status):
    assert status_cells.status_of(cell) == status


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("DEAD", ("dead", "")),
        ("DEAD - 18.1", ("dead", "18.1")),
        ("DEAD<1.4m", ("dead", "<1.4m")),
        ("too short", None),
        ("12.5", None),
    ],
)
def test_a_status_in_a_size_cell_is_taken_off(cell, said):
    assert status_cells.status_in_size(cell) == said


@pytest.mark.parametrize(
    ("cell", "kind"),
    [
        *(("Albero", "tree"), ("Neoimpianto", "tree"), ("Ceppaia", "stump"), ("Fallanza", "gap")),
        *(("posta vuota", "vacant"), ("dismesso", "other"), ("alcorque vacío", "vacant"), ("house", None)),
    ],
)
def test_words_for_trees_stumps_and_gaps_are_told_apart(cell, kind):
    assert status_cells.kind_of(cell) == kind
