"""In which language a page speaks, and how it writes days and numbers."""

import pytest
from flask import g

from service.app import create_app
from service.assets.catalogues import TRANSLATIONS, compile_catalogues
from service.settings import Settings
from service.web import display
from service.web.form import Form
from tests.web_site import SLUG, make_web_site

GERMAN, ENGLISH = "Mein Gelände beginnen", "Start my ground"
ADDRESS = f"/sites/{SLUG}"


@pytest.fixture(scope="module", autouse=True)
def made_ready():
    assert compile_catalogues(TRANSLATIONS)


def page(client, path="/", **headers):
    return client.get(path, headers={name.replace("_", "-"): said for name, said in headers.items()})


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("", ENGLISH),
        ("de", GERMAN),
        ("de-AT,en;q=0.5", GERMAN),
        ("nl,de;q=0.5,en;q=0.4", GERMAN),
        ("en,de;q=0.9", ENGLISH),
        ("de;q=0,en", ENGLISH),
        ("nl", ENGLISH),
        ("*", ENGLISH),
        ("x" * 3000, ENGLISH),
    ],
)
def test_a_page_speaks_what_the_browser_asks_for_first(client, asked, said):
    assert said in page(client, Accept_Language=asked).text


def test_the_server_s_language_is_for_browsers_that_ask_for_none_of_ours(store, tmp_path):
    client = create_app(store, Settings(data_folder=tmp_path, language="de")).test_client()
    assert GERMAN in page(client, Accept_Language="nl").text
    assert ENGLISH in page(client, Accept_Language="en").text


def test_what_was_chosen_at_the_foot_is_kept_and_goes_before_what_the_browser_asks(client):
    assert 'href="/?lang=de"' in page(client, Accept_Language="en").text
    answer = page(client, "/start?list=1&lang=de", Accept_Language="en")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/start?list=1")
    cookie = answer.headers["Set-Cookie"]
    assert "language=de;" in cookie and "HttpOnly" in cookie and "SameSite=Lax" in cookie
    german = page(client, Accept_Language="en")
    assert GERMAN in german.text and '<html lang="de">' in german.text


@pytest.mark.parametrize("said", ["xx", "../de", "", "de%00"])
def test_a_language_that_is_not_ours_changes_nothing(client, said):
    answer = page(client, f"/?lang={said}")
    assert answer.status_code == 200 and ENGLISH in answer.text
    assert "language=" not in answer.headers.get("Set-Cookie", "")
    client.set_cookie("language", said)
    assert ENGLISH in page(client).text


@pytest.mark.parametrize("path", ["//elsewhere.example/?lang=de", "/nowhere?lang=de", "/\\elsewhere?lang=de"])
def test_choosing_leads_to_no_other_site(client, path):
    answer = client.get(path)
    assert "elsewhere" not in answer.headers.get("Location", "") or answer.status_code == 404


def test_answers_say_that_they_depend_on_the_language(client):
    assert {"Accept-Language", "Cookie"} <= set(page(client).headers["Vary"].split(", "))
    with client.get("/static/site.css") as style:
        assert "Accept-Language" not in style.headers.get("Vary", "")


def test_the_map_of_one_language_is_not_taken_for_that_of_another(client, store, tmp_path):
    make_web_site(store, tmp_path)
    english = page(client, f"{ADDRESS}/map.json", Accept_Language="en")
    german = page(client, f"{ADDRESS}/map.json", Accept_Language="de", If_None_Match=english.headers["ETag"])
    assert german.status_code == 200
    assert english.get_json()["messages"]["trees"] == "Trees"
    assert german.get_json()["messages"]["trees"] == "Bäume"
    assert (english.get_json()["lang"], german.get_json()["lang"]) == ("en-GB", "de-DE")
    again = page(client, f"{ADDRESS}/map.json", Accept_Language="de", If_None_Match=german.headers["ETag"])
    assert again.status_code == 304


def test_data_are_the_same_in_all_languages(client, store, tmp_path):
    make_web_site(store, tmp_path)
    for path in (f"{ADDRESS}/layers/trees.csv", f"/api{ADDRESS}/trees"):
        assert page(client, path, Accept_Language="de").data == page(client, path, Accept_Language="en").data


@pytest.mark.parametrize(
    ("language", "country", "day", "short", "month", "number"),
    [  # as CLDR writes them
        ("en", None, "14 May 2026", "14 May 2026", "May 2026", "1,234.5"),
        ("en", "DE", "14 May 2026", "14 May 2026", "May 2026", "1,234.5"),
        ("en", "US", "May 14, 2026", "May 14, 2026", "May 2026", "1,234.5"),
        ("de", "DE", "14. Mai 2026", "14. Mai 2026", "Mai 2026", "1.234,5"),
        ("de", "US", "14. Mai 2026", "14. Mai 2026", "Mai 2026", "1.234,5"),
        ("de", "CH", "14. Mai 2026", "14. Mai 2026", "Mai 2026", "1’234.5"),
    ],
)
def test_days_and_numbers_are_written_as_usual_in_language_and_country(
    app, language, country, day, short, month, number
):
    with app.test_request_context("/", headers={"Accept-Language": language}):
        g.country = country
        said = display.day("2026-05-14"), display.day("2026-05-14", "short"), display.day("2026-05")
        assert (*said, display.number(1234.5, 1)) == (day, short, month, number)


def test_a_number_shown_with_a_comma_is_read_as_typed(app):
    with app.test_request_context("/", headers={"Accept-Language": "de"}):
        shown = display.number(94.25, 2)
    assert shown == "94,25"
    assert Form({"value": shown}).number("value") == 94.25
