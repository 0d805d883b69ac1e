"""The review page by keyboard: from question to question, each settled by one key; no fault at any size."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from service.actors import LOCAL_MANAGER
from service.entry import enter_readings
from service.view import view_of
from tests.browser.web_server import served
from tests.web_site import SLUG, make_web_site

ODD = {1: 20.0, 2: 24.4, 3: 28.7, 7: 330.0}  # by row of the list: too small by 2.54, far too big


@pytest.fixture
def site(tmp_path):
    with served(tmp_path) as (store, address):
        view = make_web_site(store, tmp_path)
        for row, value in ODD.items():
            stem = view.records.stems.iloc[row]["stem_id"]
            said = {"stem_id": stem, "value": value, "measured_on": f"2025-05-0{row}", "height_m": 1.3}
            enter_readings(store, SLUG, LOCAL_MANAGER, [said])
        yield store, f"{address}/sites/{SLUG}/check"


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def held(page):
    """The question that has the focus."""
    return page.evaluate("document.activeElement.id")


def settle(page, key):
    with page.expect_navigation():
        page.keyboard.press(key)
    page.wait_for_load_state("load")


def test_questions_are_gone_through_and_settled_by_keys(open_page, site):
    store, address = site
    watched = open_page()
    page = watched.page
    page.goto(address, wait_until="load")
    items = page.locator("[data-item]")
    assert items.count() == len(ODD)
    walked = [held(page)]
    for key in "jjkjjjk":
        page.keyboard.press(key)
        walked.append(held(page))
    assert walked == [f"item-{n}" for n in (0, 1, 2, 1, 2, 3, 3, 2)]

    second = items.nth(2).inner_text()
    settle(page, "a")
    assert held(page) == "item-2"
    assert second not in page.locator(".review").inner_text()
    assert list(now(store).records.settlings["answer"]) == ["accept"]

    settle(page, "s")
    kept = now(store).records.readings.iloc[-1]
    assert (kept.value, kept.unit, kept.first_entry) == (20.0, "in", 20.0)

    settle(page, "v")
    assert now(store).records.readings.iloc[-1]["void"]
    assert items.count() == len(now(store).questioned) == len(ODD) - 3
    assert watched.complaints == []


def test_letters_typed_into_a_field_settle_nothing(open_page, site):
    store, address = site
    page = open_page().page
    page.goto(address, wait_until="load")
    field = page.locator("[data-value]").first
    field.fill("")
    field.press_sequentially("avsjk51")
    assert field.input_value() == "avsjk51"
    assert not len(now(store).records.settlings)
    field.fill("51.5")
    with page.expect_navigation():
        field.press("Enter")
    assert now(store).records.settlings["answer"].iloc[-1] == "supersede"
    assert now(store).records.readings.iloc[-1]["value"] == 51.5


def test_without_a_suggestion_the_key_of_correcting_leads_to_the_field(open_page, site):
    store, address = site
    page = open_page().page
    page.goto(address, wait_until="load")
    assert "330 cm round" in page.locator("#item-0").inner_text()
    page.keyboard.press("s")
    assert page.evaluate("document.activeElement.name") == "value"
    assert not len(now(store).records.settlings)
    page.keyboard.type("133")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    kept = now(store).records.readings.iloc[-1]
    assert (kept["value"], kept["first_entry"]) == (133.0, 330.0)


@pytest.mark.parametrize("width", [360, 1440])
def test_the_page_fits_and_has_no_fault_of_accessibility(open_page, site, width):
    _store, address = site
    watched = open_page(width, 800)
    page = watched.page
    page.goto(address, wait_until="networkidle")
    wide = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert wide[0] <= wide[1]
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [(f["id"], [n["html"][:160] for n in f["nodes"][:3]]) for f in found] == []
    assert watched.complaints == []
