"""Measuring days in a real browser: planned with a tap on the map, readable, reachable, followed live."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from service.actors import LOCAL_MANAGER
from service.entry import enter_readings
from service.round_days import planned_round, start
from service.rounds import plan_round
from service.view import view_of
from tests.browser.web_server import served
from tests.web_site import SLUG, make_web_site

SITE = f"/sites/{SLUG}"
ASKED = {"name": "Spring <b>{{7*7}}", "from_on": "2999-05-04", "height_m": 1.3, "pupils": 2, "volunteers": 1}
ASKED |= {"lon_deg": 9.1703, "lat_deg": 47.6599, "meeting_words": "at the gate"}
WIDTHS = (360, 1440)
PAGES = {
    "labels": f"{SITE}/labels",
    "new": f"{SITE}/rounds/new",
    "list": f"{SITE}/rounds",
    "plan": f"{SITE}/rounds/{{planned}}/plan",
    "day": f"{SITE}/rounds/{{planned}}/day",
    "progress": f"{SITE}/rounds/{{running}}/progress",
    "close": f"{SITE}/rounds/{{running}}/close",
}


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rounds")
    with served(folder) as (store, address):
        make_web_site(store, folder)
        ids = {"planned": plan_round(store, SLUG, LOCAL_MANAGER, ASKED)}
        ids["running"] = plan_round(store, SLUG, LOCAL_MANAGER, {**ASKED, "pupils": 0, "volunteers": 2})
        start(store, SLUG, LOCAL_MANAGER, ids["running"], 1, "a test")
        yield store, address, ids


def go(watched, site, name):
    _store, address, ids = site
    answer = watched.page.goto(address + PAGES[name].format(**ids), wait_until="networkidle")
    assert answer.status == 200
    return watched.page


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_of_measuring_days_asks_nobody_else_complains_of_nothing_and_fits(
    open_page, site, name, width
):
    watched = open_page(width, 800)
    page = go(watched, site, name)
    assert watched.outside(site[1]) == []
    assert watched.complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", PAGES)
def test_a_page_of_measuring_days_has_no_fault_of_accessibility(open_page, site, name):
    page = go(open_page(1000, 800), site, name)
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    told = [f"{fault['id']}: {[node['html'][:160] for node in fault['nodes'][:3]]}" for fault in found]
    assert told == []


def test_days_are_planned_with_a_tap_where_all_meet(open_page, site):
    watched = open_page()
    page = go(watched, site, "new")
    page.wait_for_selector(".bw-map canvas")
    assert "No meeting point" in page.locator("#placed").inner_text()
    page.locator(".bw-map-ground").click(position={"x": 200, "y": 200})
    assert "is marked" in page.locator("#placed").inner_text()
    page.fill("#pupils", "0")
    page.fill("#volunteers", "3")
    with page.expect_navigation():
        page.click("text=Plan it")
    assert page.url.endswith("/plan")
    assert page.locator(".sectors .meet").count() == 1
    assert page.locator(".sectors .sector").count() == 3
    assert page.locator("tbody tr th", has_text="team ").count() == 3
    assert watched.complaints == []


def test_the_words_of_teams_are_seen_once_and_gone_when_the_page_is_opened_again(open_page, site):
    page = go(open_page(), site, "plan")
    with page.expect_navigation():
        page.click("text=Make words")
    words = page.locator(".slips .word b").all_inner_texts()
    assert len(words) == 3
    page = go(open_page(), site, "plan")
    text = page.locator("main").inner_text()
    assert not any(word in text for word in words)


def test_progress_is_looked_up_again_without_a_reload(open_page, site):
    store, _address, ids = site
    watched = open_page()
    watched.page.clock.install()
    page = go(watched, site, "progress")
    page.evaluate("window.kept = true")
    assert "0 of " in page.locator("[data-live] p").first.inner_text()
    view = view_of(store, SLUG, LOCAL_MANAGER)
    now = planned_round(view, ids["running"])
    sheet = now.plan["sheets"][0]
    stems = view.records.stems.set_index("tree_id")["stem_id"]
    said = {"unit": "cm", "instrument": "girth tape", "height_m": 1.3, "measured_on": "2026-06-01"}
    said |= {"round_id": now.id, "crew": now.codes[sheet["crew_id"]], "value": 60}
    tree = sheet["trees"][0]["tree_id"]
    assert enter_readings(store, SLUG, LOCAL_MANAGER, [{**said, "stem_id": stems[tree]}])
    page.clock.run_for(21_000)
    page.locator("[data-live] p", has_text="1 of ").wait_for()
    assert page.evaluate("window.kept") is True
    assert watched.complaints == []
