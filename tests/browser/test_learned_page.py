"""The learning page in a real browser: readable, reachable, printed; its tape agrees with the server."""

import json

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe

from service.actors import LOCAL_MANAGER
from service.edit import add_rounds
from service.entry import enter_readings
from service.view import view_of
from tests.browser.web_server import served
from tests.shared_cases.make_tape_geometry import FILE
from tests.web_site import SLUG, make_web_site

HEADINGS = ("Our guesses", "A slanted or slack tape", "Hands and tape", "How far do", "How the trees grew")
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}


def measured(store, round_id):
    """Two teams with guesses, one with hands, on trees of the list of two years before."""
    stems = view_of(store, SLUG, LOCAL_MANAGER).records.stems["stem_id"].tolist()
    same = {"unit": "cm", "height_m": 1.3, "measured_on": "2026-05-20", "round_id": round_id}
    rows = []
    for n, stem in enumerate(stems[:18]):
        girth = 43.0 + 11 * n
        tape = {**same, "stem_id": stem, "instrument": "girth tape", "crew_kind": "pupils"}
        rows.append({**tape, "value": girth, "crew": "T1", "first_guess": round(girth * (0.7 + 0.04 * n))})
        if n % 3 == 0:
            rows.append({**tape, "value": girth + n % 4, "crew": "T2", "first_guess": round(girth * 1.1)})
        if n % 2:
            hands = {"instrument": "hand breadths", "unit": "hands", "crew": "T2"}
            rows.append({**tape, **hands, "value": round(girth / 8.5 * 2) / 2})
    enter_readings(store, SLUG, LOCAL_MANAGER, rows)


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    folder = tmp_path_factory.mktemp("learned")
    with served(folder) as (store, server):
        make_web_site(store, folder)
        (id,) = add_rounds(store, SLUG, LOCAL_MANAGER, [{"name": "Spring {{7*7}}", "from_on": "2026-05-20"}])
        measured(store, id)
        yield f"{server}/sites/{SLUG}/rounds/{id}/learned"


@pytest.mark.parametrize("width", [360, 1440])
@pytest.mark.parametrize("query", ["", "?team=T1"])
def test_the_page_asks_nobody_else_complains_of_nothing_and_fits(open_page, address, width, query):
    watched = open_page(width, 800)
    assert watched.page.goto(address + query, wait_until="networkidle").status == 200
    assert watched.outside(address.split("/sites")[0]) == []
    assert watched.complaints == []
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width
    drawn = watched.page.evaluate("[...document.querySelectorAll('.shown img')].map((i) => i.naturalWidth)")
    assert drawn == [360 if width < 640 else 680] * 4


def test_the_page_has_no_fault_of_accessibility_with_all_tables_open(open_page, address):
    page = open_page(1000, 800).page
    page.goto(address, wait_until="networkidle")
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [f"{fault['id']}: {[n['html'][:160] for n in fault['nodes'][:3]]}" for fault in found] == []


def test_the_browser_works_out_every_shared_case_as_the_server_does(open_page, address):
    page = open_page().page
    page.goto(address, wait_until="networkidle")
    cases = json.loads(FILE.read_text(encoding="utf-8"))
    said = page.evaluate(
        """async (cases) => { const { tapeShows } = await import("/static/learn.js");
        return cases.map((one) => tapeShows(one.trunk, one.tilt, one.gap, one.height)); }""",
        cases,
    )
    assert said == pytest.approx([case["shows"] for case in cases], abs=1e-8)


def test_sliders_are_moved_by_keys_and_the_tape_says_what_it_shows(open_page, address):
    watched = open_page()
    page = watched.page
    page.goto(address, wait_until="networkidle")
    shows = page.locator("#trytape .shows")
    assert shows.inner_text() == "The tape shows 100.0 cm. That is right."
    taut = page.locator("#trytape svg").nth(1).locator(".band").get_attribute("d")
    page.focus("#tape-tilt")
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    assert shows.inner_text() == "The tape shows 100.8 cm. That is 0.8 cm too much."
    assert page.locator("#tape-tilt").get_attribute("aria-valuetext") == "10°"
    page.fill("#tape-tilt", "0")
    page.fill("#tape-gap", "2")
    assert shows.inner_text() == "The tape shows 101.3 cm. That is 1.3 cm too much."
    assert page.locator("#trytape svg").nth(1).locator(".band").get_attribute("d") != taut
    page.fill("#tape-gap", "0")
    page.fill("#tape-height", "1.5")
    assert shows.inner_text() == "The tape shows 98.5 cm. That is 1.5 cm too little."
    sizes = page.evaluate("[...document.querySelectorAll('#trytape input')].map((i) => i.offsetHeight)")
    assert min(sizes) >= 44
    assert watched.complaints == []


def test_without_scripts_the_table_says_the_same(open_page, address):
    page = open_page(java_script_enabled=False).page
    page.goto(address)
    assert page.locator("#trytape").is_hidden()
    row = page.locator("section[aria-labelledby='h-tape'] tr", has_text="slanted by 10°")
    assert row.is_visible()
    assert "100.8" in row.inner_text()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_prints_on_few_sheets_with_pictures_and_without_sliders(open_page, address, paper):
    page = open_page(1000, 800).page
    page.goto(address, wait_until="networkidle")
    document = pypdfium2.PdfDocument(page.pdf(format=paper, prefer_css_page_size=False))
    try:
        assert [round(side) for side in document[0].get_size()] == pytest.approx(PAPERS[paper], abs=1)
        text = " ".join(sheet.get_textpage().get_text_bounded() for sheet in document)
        assert len(document) <= 6
    finally:
        document.close()
    said = " ".join(text.split())
    assert [heading for heading in HEADINGS if heading not in said] == []
    assert "what was measured" in said  # the key of a picture
    assert "Height of the tape" not in said
