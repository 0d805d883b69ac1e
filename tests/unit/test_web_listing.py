"""A page of a long table: found, sorted, counted."""

import re

import pandas as pd
import pytest

from service.actors import LOCAL_MANAGER
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.store.site_rows import create_site
from service.web.listing import PAGE_ROWS, listing

FRAME = pd.DataFrame(
    {
        "tag": ["10", "9", None, "A2", "a10"],
        "name": ["Oak (red)", "oak", "Lime", None, "Élm"],
        "dbh_cm": [30.0, float("nan"), 10.0, 20.0, 40.0],
        "stems": pd.array([1, 2, pd.NA, 1, 3], dtype="Int64"),
    }
)


def ask(frame=FRAME, **asked):
    return listing(frame, asked, searched=("tag", "name"), exact=("tag",), default_sort="tag")


def order(shown):
    return list(shown.rows.index)


def test_numbers_in_text_are_sorted_by_their_size_and_what_is_missing_comes_last():
    assert order(ask()) == [1, 0, 3, 4, 2]
    assert order(ask(sort="-tag")) == [4, 3, 0, 1, 2]
    assert order(ask(sort="dbh_cm")) == [2, 3, 0, 4, 1]
    assert order(ask(sort="-dbh_cm")) == [4, 0, 3, 2, 1]
    assert order(ask(sort="stems"))[-1] == 2


def test_every_word_has_to_occur_and_nothing_is_a_pattern():
    assert order(ask(q="oak")) == [1, 0]
    assert order(ask(q="OAK 9")) == [1]
    assert order(ask(q="(red)")) == [0]
    assert order(ask(q=".*")) == []
    assert order(ask(q="élm")) == [4]


def test_exact_columns_are_equal_and_not_contained():
    assert order(ask(tag="9")) == [1]
    assert order(ask(tag="1")) == []


@pytest.mark.parametrize("page", ["0", "-1", "99999999999999", "x", "²", ""])
def test_a_page_that_is_not_there_is_the_nearest_one(page):
    assert ask(page=page).page == 1


def test_pages_hold_every_row_once():
    many = pd.DataFrame({"tag": [str(i) for i in range(2 * PAGE_ROWS + 1)], "name": None})
    pages = [ask(many, page=str(n)) for n in (1, 2, 3)]
    assert pages[0].pages == 3
    assert sorted(tag for page in pages for tag in page.rows["tag"]) == sorted(many["tag"])
    assert ask(many, page="9").page == 3


def test_addresses_keep_what_was_asked_and_escape_it():
    shown = ask(q="a&b=<c>", sort="dbh_cm", as_of="2024-01-01")
    assert shown.sorted_by("dbh_cm") == "?q=a%26b%3D%3Cc%3E&sort=-dbh_cm&as_of=2024-01-01"
    assert "page=2" in shown.at(2)


def test_an_unknown_column_to_sort_by_is_passed_over():
    assert ask(sort="; drop").sort == "tag"


def test_figures_of_many_places_come_a_page_at_a_time_and_are_found_and_sorted_over_all(
    client, store, tmp_path
):
    rows = [f"{n},Tilia cordata,{40 + n},Street {n}" for n in range(1, 151)]
    path = tmp_path / "streets.csv"
    path.write_text("\n".join(["tag,species,girth_cm,place", *rows]))
    create_site(store, "town", actor=LOCAL_MANAGER)
    import_file(store, path, "town", ImportOptions(), LOCAL_MANAGER)

    def places(address):
        answer = client.get(f"/sites/town/figures{address}")
        assert answer.status_code == 200
        return re.findall(r'<th scope="row">Street (\d+)</th>', answer.text)

    assert len(places("")) == 100 and len(places("?page=2")) == 50
    assert places("?q=street+149") == ["149"]
    assert places("?sort=-mean_dbh_cm")[:3] == ["150", "149", "148"]
