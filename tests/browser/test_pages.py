"""Every page in a real browser: keeps to itself, complains of nothing, can be read, reached and printed."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.web_server import served
from tests.web_site import (
    HOSTILE_NAME,
    HOSTILE_NOTE,
    HOSTILE_PLACE,
    HOSTILE_TAG,
    SLUG,
    make_web_site,
    write_list,
)

SITE = f"/sites/{SLUG}"
PAGES = {
    "first page": "/",
    "start": "/start",
    "start with a list": "/start?list=1",
    "cautions": "/cautions",
    "problems": "/problems/",
    "today": SITE,
    "figures": f"{SITE}/figures",
    "figures of a day": f"{SITE}/figures?as_of=2024-06-01",
    "trees": f"{SITE}/trees",
    "trees found": f"{SITE}/trees?q=tilia",
    "tree": f"{SITE}/trees/{{tree}}",
    "tree without a size": f"{SITE}/trees/{{unmeasured}}",
    "how of a tree": f"{SITE}/how?of=tree:{{tree}}",
    "how of a figure": f"{SITE}/how?of=figure:site:basal_area_m2",
    "to be looked at": f"{SITE}/flags",
    "all questions": f"{SITE}/flags?kind=all",
    "data": f"{SITE}/data",
    "to check": f"{SITE}/data/check",
    "list brought in": f"{SITE}/data/imports/2",
    "terms": f"{SITE}/terms",
    "ground": f"{SITE}/ground",
    "measuring": f"{SITE}/sheets",
    "new tree": f"{SITE}/trees/new",
    "measure": f"{SITE}/trees/{{tree}}/measure",
    "note": f"{SITE}/trees/{{tree}}/note",
    "facts": f"{SITE}/trees/{{tree}}/edit",
    "new area": f"{SITE}/areas/new",
    "new inspection": f"{SITE}/inspections/new",
    "open data": "/ogc?f=html",
    "standards": "/ogc/conformance?f=html",
    "collections": "/ogc/collections?f=html",
    "collection": "/ogc/collections/trees?f=html",
    "features": "/ogc/collections/trees/items?f=html&limit=10",
    "feature": "/ogc/collections/trees/items/1?f=html",
    "properties": "/ogc/collections/trees/schema?f=html",
    "how to ask": "/ogc/api?f=html",
}
WIDTHS = (360, 1440)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    with served(folder) as (store, address):
        view = make_web_site(store, folder)
        trees = view.trees.sort_values("fid")
        unmeasured = trees[trees["dbh_cm"].isna()].iloc[0]["tree_id"]
        yield address, {"tree": trees.iloc[0]["tree_id"], "unmeasured": unmeasured}


def go(watched, site, name):
    address, ids = site
    answer = watched.page.goto(address + PAGES[name].format(**ids), wait_until="networkidle")
    assert answer.status == 200
    return watched.page


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_asks_nobody_else_complains_of_nothing_and_fits(open_page, site, name, width):
    watched = open_page(width, 800)
    page = go(watched, site, name)
    assert watched.outside(site[0]) == []
    assert watched.complaints == []
    wide = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert wide[0] <= wide[1], f"{name} is {wide[0]} px wide"
    assert page.title() != "run"


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_no_fault_of_accessibility(open_page, site, name):
    page = go(open_page(1000, 800), site, name)
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    told = [f"{fault['id']}: {[node['html'][:160] for node in fault['nodes'][:3]]}" for fault in found]
    assert told == []


@pytest.mark.parametrize("name", ["today", "trees", "to be looked at", "tree"])
def test_text_can_be_read_at_twice_its_size(open_page, site, name):
    """WCAG 2.2, success criterion 1.4.10 Reflow: 320 px wide without two ways to scroll."""
    page = go(open_page(320, 640), site, name)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_hostile_names_are_seen_as_they_were_typed(open_page, site):
    page = go(open_page(), site, "today")
    assert page.locator(".where .site").inner_text() == HOSTILE_NAME
    page = go(open_page(), site, "trees")
    text = page.locator("main").inner_text()
    assert HOSTILE_TAG in text
    assert HOSTILE_PLACE in text
    page = go(open_page(), site, "tree")
    assert HOSTILE_NOTE in page.locator("main").inner_text()
    assert page.title() != "run"


def test_the_map_is_drawn_on_the_first_page_of_a_site(open_page, site):
    page = go(open_page(), site, "today")
    page.wait_for_selector(".bw-map canvas")
    assert page.locator(".bw-map-side").inner_text().strip()


def test_a_table_sorts_filters_and_leaves_as_csv(open_page, site):
    page = go(open_page(), site, "today")
    table = page.locator("table[data-ledger$=species]")
    heads = table.locator("thead button")
    heads.nth(1).click()
    numbers = [int(text) for text in table.locator("tbody td:nth-child(2)").all_inner_texts()]
    assert numbers == sorted(numbers)
    heads.nth(1).click()
    assert table.locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    with page.expect_download() as taking:
        page.locator("text=Take out as CSV").first.click()
    lines = taking.value.path().read_bytes().decode("utf-8-sig").split("\r\n")
    assert lines[0] == "scientific_name,trees,share,basal_area_m2,share_basal_area"
    assert len(lines) == 1 + 4 + 1

    page = go(open_page(), site, "tree")
    with page.expect_download() as taking:
        page.locator("text=Take out as CSV").first.click()
    text = taking.value.path().read_text(encoding="utf-8-sig")
    assert text.startswith("measured_on,measured_as,instrument")


def test_the_keyboard_reaches_the_content_first_and_shows_where_it_is(open_page, site):
    page = go(open_page(), site, "figures")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("rows", ["list", "question", "no list"])
def test_a_list_that_is_brought_in_is_shown_without_fault(open_page, site, tmp_path, rows, width):
    path = write_list(tmp_path / "{{7*7}}<b>.csv")
    if rows == "question":
        path.write_text(
            "Tag,Species,DBH\n" + "".join(f"{i},Oak,{8 + i % 20}\n" for i in range(40)), encoding="utf-8"
        )
    elif rows == "no list":
        path.write_bytes(b"a,b\n1,\x00\n")
    watched = open_page(width, 800)
    page = go(watched, site, "data")
    page.set_input_files("input[type=file]", path)
    with page.expect_navigation():
        page.click("text=See how it is understood")
    page.wait_for_load_state("networkidle")
    assert "{{7" in page.locator("main").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert watched.complaints == []
    assert watched.outside(site[0]) == []
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [fault["id"] for fault in found] == []


def test_a_page_of_a_problem_has_no_fault_of_accessibility(open_page, site):
    watched = open_page(360, 800)
    watched.page.goto(site[0] + "/sites/none-such")
    found = Axe().run(watched.page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [fault["id"] for fault in found] == []


@pytest.mark.parametrize("name", ["figures", "trees", "to be looked at"])
def test_wide_tables_fit_on_their_paper(open_page, site, name):
    page = go(open_page((297 - 28) * 96 // 25, 800), site, name)  # A4 landscape within its margins
    page.emulate_media(media="print")
    table = page.locator("table.ledger").first
    assert table.evaluate("e => e.getBoundingClientRect().right") <= page.viewport_size["width"]


@pytest.mark.parametrize("name", ["today", "figures", "tree", "to be looked at"])
def test_paper_gets_the_content_in_ink_and_no_forms(open_page, site, name, tmp_path):
    page = go(open_page(), site, name)
    page.emulate_media(media="print")
    assert page.locator("form:visible").count() == 0
    assert page.locator("nav:visible").count() == 0 or page.locator(".tabs:visible").count() == 0
    assert page.locator(".caution").first.is_visible()
    heads = page.locator("table[data-ledger] th button")
    assert all(
        head.is_visible() for head in heads.all() if head.evaluate("e => !e.closest('details:not([open])')")
    )
    inks = page.evaluate(
        "[...document.querySelectorAll('main p, main td, main th, main a, main dd')]"
        ".filter(e => e.offsetParent && !e.closest('.bw-map')).map(e => getComputedStyle(e).color)"
    )
    greys = {ink for ink in inks if len(set(ink.removeprefix("rgb(").removesuffix(")").split(", "))) == 1}
    assert set(inks) == greys
    page.pdf(path=tmp_path / "page.pdf", format="A4")
    assert (tmp_path / "page.pdf").stat().st_size > 10_000


def test_pages_work_without_scripts(open_page, site):
    watched = open_page(java_script_enabled=False)
    for name in ("today", "figures", "trees", "tree", "to be looked at", "data"):
        page = go(watched, site, name)
        assert page.locator("h1").count() == 1
        assert page.locator("main").inner_text().strip()


@pytest.mark.parametrize("name", ["all questions", "tree"])
def test_on_a_phone_long_rows_are_read_to_their_end_without_sideways_scrolling(open_page, site, name):
    page = go(open_page(360, 800), site, name)
    cells = page.locator(".stacked tbody tr").first.locator("td")
    assert cells.count() == 6
    for cell in cells.all():
        box = cell.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= 360
    region = page.locator(".scroll:has(.stacked)")
    assert region.evaluate("e => e.scrollWidth - e.clientWidth") == 0
    assert page.locator(".stacked thead").locator("a, button").first.is_visible()


def test_all_columns_of_the_figures_are_in_sight_on_a_wide_screen(open_page, site):
    page = go(open_page(1440, 800), site, "figures")
    assert page.locator(".scroll").first.evaluate("e => e.scrollWidth - e.clientWidth") == 0
