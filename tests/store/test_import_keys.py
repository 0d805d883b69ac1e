"""A list that was put right is known again: nothing is taken twice for being told apart another way."""

import pytest

from service.actors import LOCAL_MANAGER
from service.intake.prepared import ImportOptions
from service.intake.run import import_file

HEADERS = "tag,species,girth cm,Park,lon,lat\n"
ROWS = [f"{n},Tilia cordata,{90 + n},{'North' if n % 2 else 'South'},9.1{n:02},47.1" for n in range(1, 9)]
DOUBLE = "8,Acer campestre,50,South,9.1005,47.1005"


@pytest.fixture
def bring(store, tmp_path):
    def run(rows, headers=HEADERS, **options):
        path = tmp_path / "list.csv"
        path.write_text(headers + "\n".join(rows) + "\n", encoding="utf-8")
        return import_file(store, path, "park", ImportOptions(**options), LOCAL_MANAGER)

    return run


def key_guess(report):
    return next(guess for guess in report.guesses if guess.what == "key")


def new_trees(report):
    return report.records["trees"]["new"]


def test_a_number_that_repeats_since_then_makes_one_new_tree_only(bring):
    bring(ROWS)
    report = bring([*ROWS, DOUBLE])
    assert (report.already_there, report.questioned, new_trees(report)) == (8, 1, 1)
    assert key_guess(report).value == "tag"
    assert "from an earlier import" in key_guess(report).why
    assert bring([*ROWS, DOUBLE]).already_there == 9


def test_double_numbers_that_were_put_right_make_no_list_of_doubles(bring):
    first = bring([*ROWS, DOUBLE])
    assert key_guess(first).value == "tag and place"
    report = bring([*ROWS, DOUBLE.replace("8,", "9,", 1)])
    assert new_trees(report) == 1
    assert bring([*ROWS, DOUBLE.replace("8,", "9,", 1)]).already_there == 9


def test_a_list_that_got_numbers_since_then_is_known_by_its_positions(bring):
    bring([row.partition(",")[2] for row in ROWS], HEADERS.partition(",")[2])
    report = bring(ROWS)
    assert (new_trees(report), report.records["trees"]["changed"]) == (0, 8)
    assert bring(ROWS).already_there == 8


def test_another_list_with_the_same_numbers_is_not_taken_for_a_known_one(bring):
    bring([*ROWS, DOUBLE])
    away = [row.replace(",9.1", ",9.2").replace("Tilia", "Quercus") for row in ROWS]
    report = bring(away, place="East")
    assert new_trees(report) == 8
    elsewhere = [row.replace(",47.1", ",47.2").replace("cordata", "platyphyllos") for row in ROWS]
    assert key_guess(bring(elsewhere)).value == "tag"


def test_a_list_that_is_taken_once_more_under_another_place_is_questioned_tree_by_tree(bring):
    assert bring(ROWS).taken == 8
    again = bring([row for row in ROWS if not row.startswith("8")], place="Everywhere")
    assert (again.taken, again.questioned, new_trees(again)) == (0, 7, 7)
    assert bring([row for row in ROWS if not row.startswith("8")], place="Everywhere").already_there == 7
