"""Lines of a sheet that are no trees: titles, units under the headers, totals at the end, notes."""

from service.intake.decode import read_csv
from tests.intake_builders import guess_of, prepared_of

SHEET = """\
Register of trees;;;;
as of 2021;;;;
No;Species;Girth;Height;Note
;;cm;[m];
1;Quercus robur;125,5;12;
2;Tilia cordata;88;9,5;
3;Acer campestre;60;7;
Total;;273,5;;
"""


def test_units_under_the_headers_are_units_and_no_tree(tmp_path):
    prepared = prepared_of(tmp_path, SHEET)
    assert guess_of(prepared, "units").value == "Girth: cm, Height: m"
    assert guess_of(prepared, "size").value == "girth in cm"
    assert [row.row for row in prepared.trees] == [5, 6, 7, 8]
    assert [seen.value for row in prepared.trees[:3] for seen in row.observations] == [12.0, 9.5, 7.0]


def test_units_of_their_own_line_are_believed(tmp_path):
    text = SHEET.replace(";;cm;[m];", ";;mm;ft;")
    prepared = prepared_of(tmp_path, text)
    assert [reading.unit for row in prepared.trees[:3] for reading in row.readings] == ["mm"] * 3
    assert prepared.trees[0].observations[0].value == 3.6576


def test_a_line_of_totals_is_refused_and_makes_no_tree(tmp_path):
    prepared = prepared_of(tmp_path, SHEET)
    assert prepared.trees[3].refused == "The row is a line of totals ('Total'), no tree."
    assert [row.refused for row in prepared.trees[:3]] == [None] * 3


def test_a_tree_whose_tag_is_a_word_for_totals_is_a_tree(tmp_path):
    prepared = prepared_of(tmp_path, "tag,species,girth_cm\nA,Tilia,90\nSum,Tilia cordata,80\n")
    assert [row.refused for row in prepared.trees] == [None, None]


def test_lines_above_the_header_are_said(tmp_path):
    assert "'Register of trees as of 2021'" in guess_of(prepared_of(tmp_path, SHEET), "header row").why


def test_a_row_with_a_word_for_a_column_is_no_header(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("foo,bar,baz\na,b,c\nd,Park,f\ng,h,i\n")
    table = read_csv(path)
    assert (table.headers, table.rows) == (["foo", "bar", "baz"], [2, 3, 4])


def test_a_row_that_says_nothing_of_a_tree_is_refused(tmp_path):
    prepared = prepared_of(tmp_path, "tag,species,girth_cm,note\n1,Tilia,90,\n,,,seen by crew 4\n")
    assert prepared.trees[0].refused is None
    assert "says nothing of a tree" in prepared.trees[1].refused
