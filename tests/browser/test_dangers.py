"""Pages of dangers, closed places and hazards in a real browser, with a danger on top of each."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from service.actors import LOCAL_MANAGER
from service.closures import add_closures, add_hazards
from service.danger import enter_dangers
from service.view import view_of
from tests.browser.web_server import served
from tests.web_site import HOSTILE_NOTE, HOSTILE_TAG, SLUG, make_web_site

SITE = f"/sites/{SLUG}"
PAGES = {
    "today": "",
    "tree": "/trees/{tree}",
    "note": "/trees/{tree}/note",
    "dangers": "/dangers",
    "report": "/dangers/new",
    "answer": "/dangers/{danger}/answer",
    "close": "/closures/new",
    "close round a tree": "/closures/new?tree={tree}",
    "closed": "/closures/{closure}/edit",
    "reopen": "/closures/{closure}/reopen",
    "hazard": "/hazards/{hazard}/edit",
    "new hazard": "/hazards/new",
    "ground": "/ground",
}
WIDTHS = (360, 1440)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("dangers")
    with served(folder) as (store, address):
        tree = make_web_site(store, folder).trees
        tree = tree[tree["tag"] == HOSTILE_TAG].iloc[0]["tree_id"]
        at_once = {"leader_did": ["moved away", "called"], "leader_called": HOSTILE_NOTE}
        seen = {"sight": "new lean", "seen_on": "2026-06-01", "crew_kind": "pupils", "crew": "5b", **at_once}
        reports = [{**seen, "tree_id": tree, "text": HOSTILE_NOTE}, {**seen, "place": HOSTILE_NOTE}]
        enter_dangers(store, SLUG, LOCAL_MANAGER, reports)
        shut = {"name": HOSTILE_NOTE[:100], "tree_id": tree, "radius_m": 9, "from_on": "2026-06-01"}
        shut |= {"why": HOSTILE_NOTE, "who_may_reopen": HOSTILE_NOTE}
        add_closures(store, SLUG, LOCAL_MANAGER, [shut])
        line = {"type": "LineString", "coordinates": [[9.17, 47.66], [9.1705, 47.6603]]}
        add_hazards(
            store, SLUG, LOCAL_MANAGER, [{"kind": "overhead line", "geometry": line, "voltage_kv": 20}]
        )
        view = view_of(store, SLUG, LOCAL_MANAGER)
        ids = {"tree": tree, "danger": view.dangers["danger_id"][0]}
        ids |= {"closure": view.closures["id"][0], "hazard": view.hazards["id"][0]}
        yield store, address, ids


def go(watched, site, name):
    _store, address, ids = site
    answer = watched.page.goto(address + SITE + PAGES[name].format(**ids), wait_until="networkidle")
    assert answer.status == 200
    return watched.page


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_with_a_danger_on_top_fits_complains_of_nothing_and_has_no_fault(open_page, site, name, width):
    watched = open_page(width, 900)
    page = go(watched, site, name)
    assert watched.outside(site[1]) == []
    assert watched.complaints == []
    box = page.locator(".stop.on-top")
    assert box.is_visible()
    assert box.bounding_box()["y"] < page.locator("h1").bounding_box()["y"]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.title() != "run"
    page.evaluate("document.querySelectorAll('details').forEach(e => { e.open = true; })")
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    told = [f"{fault['id']}: {[node['html'][:160] for node in fault['nodes'][:3]]}" for fault in found]
    assert told == []


@pytest.mark.parametrize("name", ["today", "answer", "dangers"])
def test_it_can_be_read_at_twice_its_size_and_works_without_scripts(open_page, site, name):
    """WCAG 2.2, success criterion 1.4.10 Reflow: 320 px wide without two ways to scroll."""
    page = go(open_page(320, 640, java_script_enabled=False), site, name)
    assert page.locator(".stop.on-top").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_the_box_is_drawn_in_ink_on_white_and_stays_on_paper(open_page, site):
    page = go(open_page(), site, "today")
    box = page.locator(".stop.on-top")
    look = box.evaluate("e => [getComputedStyle(e).borderTopColor, getComputedStyle(e).backgroundColor]")
    assert look == ["rgb(29, 42, 58)", "rgb(255, 255, 255)"]
    page.emulate_media(media="print")
    assert box.is_visible()
    assert not box.locator("text=Answer").first.is_visible()


def test_an_outline_that_is_drawn_is_closed_and_hatched_on_the_map(open_page, site):
    store = site[0]
    page = go(open_page(1440, 900), site, "close")
    page.wait_for_selector(".bw-map-ready")
    page.locator(".leaflet-pm-icon-polygon").click()
    page.locator(".leaflet-container").scroll_into_view_if_needed()
    box = page.locator(".leaflet-container").bounding_box()
    for x, y in ((0.3, 0.3), (0.6, 0.3), (0.6, 0.6), (0.3, 0.6), (0.3, 0.3)):
        page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
    assert page.locator("#drawn").inner_text() == "An outline is drawn."
    for name, said in (("name", "corner"), ("why", "storm"), ("who_may_reopen", "council")):
        page.fill(f"[name={name}]", said)
    with page.expect_navigation():
        page.click("text=Close it")
    closures = view_of(store, SLUG, LOCAL_MANAGER).closures
    assert closures[closures["name"] == "corner"]["geometry"].iloc[0].geom_type == "Polygon"


def test_a_danger_at_a_place_is_tapped_and_answered_with_the_keyboard_alone(open_page, site):
    store = site[0]
    page = go(open_page(360, 900), site, "report")
    page.wait_for_selector(".bw-map-ready")
    page.locator(".leaflet-container").scroll_into_view_if_needed()
    box = page.locator(".leaflet-container").bounding_box()
    page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
    page.check("[value='fresh crack']")
    with page.expect_navigation():
        page.click("text=Report it")
    told = view_of(store, SLUG, LOCAL_MANAGER).dangers
    told = told[told["sight"] == "fresh crack"].iloc[0]
    assert told["lon_deg"] is not None and told["tree_id"] is None
    page.goto(f"{site[1]}{SITE}/dangers/{told['danger_id']}/answer")
    for name, said in (
        ("radius_m", "8"),
        ("who_may_reopen", "council"),
        ("did", "tape"),
        ("organisation", "school"),
    ):
        page.focus(f"[name={name}]")
        page.keyboard.press("ControlOrMeta+a")
        page.keyboard.type(said)
    with page.expect_navigation():
        page.keyboard.press("Enter")
    view = view_of(store, SLUG, LOCAL_MANAGER)
    assert bool(view.dangers.set_index("danger_id")["answered"][told["danger_id"]])
    assert 8 in view.closures["radius_m"].to_list()
