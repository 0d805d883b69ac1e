"""Copying addresses of open data: by mouse, by keyboard, where nothing can be copied, and without scripts."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.web_server import served
from tests.web_site import SLUG, make_web_site

DATA = f"/sites/{SLUG}/data"
MAY_COPY = ["clipboard-read", "clipboard-write"]


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    folder = tmp_path_factory.mktemp("addresses")
    with served(folder) as (store, address):
        make_web_site(store, folder)
        yield address


@pytest.fixture
def page(open_page, address):
    watched = open_page(1440, 900, permissions=MAY_COPY)
    watched.page.goto(address + DATA, wait_until="networkidle")
    return watched.page


def told(page):
    """What is said to whoever hears the page."""
    return page.locator("[role=status][data-copied]")


def clipboard(page):
    return page.evaluate("navigator.clipboard.readText()")


def test_every_text_that_can_be_copied_has_a_button_that_says_which(page):
    buttons = page.locator("button[data-copy]")
    assert buttons.count() == page.locator(".opened code").count() > 30
    names = buttons.evaluate_all("all => all.map(e => e.textContent.trim())")
    assert len(set(names)) == len(names)
    assert names[0] == "Copy: Live layers by OGC API - Features, All layers"


def test_the_keyboard_alone_copies_an_address(page, address):
    page.get_by_text("Look at it in the browser").focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.copy") == ""
    page.keyboard.press("Enter")
    expect(told(page)).to_have_text("Copied")
    assert clipboard(page) == f"{address}/ogc"
    assert page.evaluate("document.activeElement.dataset.copy") == ""  # stays where it was
    shown = page.locator("button[data-copy] > span").first
    expect(shown).to_have_text("Copied")
    expect(told(page)).to_be_empty()
    expect(shown).to_have_text("Copy")


def test_what_is_copied_is_the_line_as_it_is_shown(page):
    for fold in page.locator(".fold > summary").all()[1:]:
        fold.press("Enter")
    rows = page.locator(".opened dd")
    for number in (2, rows.count() // 2, rows.count() - 1):
        row = rows.nth(number)
        row.locator("button").click()
        expect(told(page)).to_have_text("Copied")
        assert clipboard(page) == row.locator("code").text_content()
        expect(told(page)).to_be_empty()


def test_where_nothing_can_be_copied_the_text_is_selected_and_that_is_said(open_page, address):
    watched = open_page()
    watched.page.add_init_script("Object.defineProperty(navigator, 'clipboard', {value: undefined})")
    watched.page.goto(address + DATA, wait_until="networkidle")
    watched.page.locator("button[data-copy]").first.press("Enter")
    expect(told(watched.page)).to_have_text("Selected: copy it with the keyboard")
    assert watched.page.evaluate("getSelection().toString()") == f"{address}/ogc"
    assert watched.complaints == []


def test_without_scripts_there_is_no_button_and_a_click_selects_the_whole_address(open_page, address):
    watched = open_page(java_script_enabled=False)
    watched.page.goto(address + DATA)
    assert watched.page.locator("button[data-copy]:visible").count() == 0
    code = watched.page.locator(".opened code").first
    assert code.inner_text() == f"{address}/ogc"
    assert code.evaluate("e => getComputedStyle(e).userSelect") == "all"


@pytest.mark.parametrize("width", [360, 1440])
def test_all_parts_unfolded_fit_and_nothing_is_cut(open_page, address, width):
    watched = open_page(width, 800)
    watched.page.goto(address + DATA, wait_until="networkidle")
    watched.page.evaluate("for (const e of document.querySelectorAll('.fold')) e.open = true")
    boxes = watched.page.locator(".opened code, .opened button, .forms a").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect()).map(b => [b.left, b.right, b.height])"
    )
    assert all(left >= 0 and right <= width and height > 0 for left, right, height in boxes)
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(watched.page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [fault["id"] for fault in found] == []
    high = watched.page.locator(".opened button").evaluate_all("all => all.map(e => e.offsetHeight)")
    assert min(high) >= (44 if width == 360 else 24)  # WCAG 2.2, 2.5.8; 44 px on a phone by 2.5.5


def test_rows_of_features_are_one_line_each_and_on_paper_ten_columns(open_page, address):
    page = open_page().page
    page.goto(f"{address}/ogc/collections/trees/items?f=html", wait_until="networkidle")
    rows = page.locator(".onelined tbody tr")
    assert max(rows.evaluate_all("all => all.map(e => e.offsetHeight)")) < 45
    assert not page.locator(".printed").is_visible()
    page.emulate_media(media="print")
    assert page.locator(".printed").is_visible()
    assert rows.first.locator(":is(th, td):visible").count() == 10
