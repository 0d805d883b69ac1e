"""Every form in a real browser: keeps to itself, complains of nothing, can be read, reached and used."""

import json

import pytest
from axe_playwright_python.sync_playwright import Axe

from service.actors import LOCAL_MANAGER
from service.edit import add_areas, add_targets
from service.view import view_of
from tests.browser.web_server import served
from tests.web_site import HOSTILE_NAME, HOSTILE_PLACE, HOSTILE_TAG, SLUG, make_web_site

SITE = f"/sites/{SLUG}"
FORMS = {
    "new tree": "/trees/new",
    "facts": "/trees/{tree}/edit",
    "measure": "/trees/{tree}/measure",
    "seen": "/trees/{tree}/note",
    "correct": "/readings/{reading}/correct",
    "look": "/inspections/new",
    "answer": "/flags/answer?key={flag}",
    "ground": "/ground",
    "new area": "/areas/new",
    "area": "/areas/{area}/edit",
    "new target": "/targets/new",
    "target": "/targets/{target}/edit",
    "bring a plan": "/plans/new",
    "place the plan": "/plans/{plan}",
    "sheets": "/sheets",
    "grid": "/grid",
    "take back": "/undo",
    "terms": "/terms",
}
WIDTHS = (360, 1440)
OUTLINE = {
    "type": "Polygon",
    "coordinates": [[[9.17, 47.66], [9.1705, 47.66], [9.1705, 47.6603], [9.17, 47.6603], [9.17, 47.66]]],
}


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    from service.plan_images import add_plan_image, file_box
    from tests.unit.test_web_forms_ground import plan_file

    folder = tmp_path_factory.mktemp("forms")
    with served(folder) as (store, address):
        view = make_web_site(store, folder)
        tree = view.trees[view.trees["tag"] == HOSTILE_TAG].iloc[0].tree_id
        box = file_box(store, folder)
        plan = add_plan_image(store, box, SLUG, LOCAL_MANAGER, HOSTILE_NAME, plan_file()[0])
        (area,) = add_areas(store, SLUG, LOCAL_MANAGER, [{"name": HOSTILE_NAME, "geometry": OUTLINE}])
        line = {"type": "LineString", "coordinates": OUTLINE["coordinates"][0][:2]}
        (target,) = add_targets(store, SLUG, LOCAL_MANAGER, [{"name": HOSTILE_NAME, "geometry": line}])
        flags = view_of(store, SLUG, LOCAL_MANAGER).flags
        ids = {"tree": tree, "plan": plan, "area": area, "target": target}
        ids["reading"] = view.records.readings.iloc[-1].reading_id
        ids["flag"] = flags[flags["kind"] == "sign"].iloc[0].flag_key
        yield store, address, ids


def go(watched, site, name):
    _store, address, ids = site
    answer = watched.page.goto(address + SITE + FORMS[name].format(**ids), wait_until="networkidle")
    assert answer.status == 200
    return watched.page


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", FORMS)
def test_a_form_asks_nobody_else_complains_of_nothing_and_fits(open_page, site, name, width):
    watched = open_page(width, 900)
    page = go(watched, site, name)
    assert watched.outside(site[1]) == []
    assert watched.complaints == []
    wide = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert wide[0] <= wide[1], f"{name} is {wide[0]} px wide"
    assert page.title() != "run"


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", FORMS)
def test_a_form_has_no_fault_of_accessibility(open_page, site, name, width):
    page = go(open_page(width, 900), site, name)
    page.evaluate("document.querySelectorAll('details').forEach(e => { e.open = true; })")
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    told = [f"{fault['id']}: {[node['html'][:160] for node in fault['nodes'][:3]]}" for fault in found]
    assert told == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", FORMS)
def test_nothing_lies_over_the_title_and_no_label_over_another(open_page, site, name, width):
    page = go(open_page(width, 900), site, name)
    over = page.evaluate(
        """() => {
          const words = ["h1", ".note", "label", ".hint", "legend", ".caution", ".stop > h2"];
          const boxes = [...document.querySelectorAll(words.map(word => `main ${word}`))]
            .filter(e => e.checkVisibility() && !e.closest(".bw-map, .hidden"))
            .map(e => [e, e.getBoundingClientRect()]);
          const inside = (a, b) => a.contains(b) || b.contains(a);
          const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 2
            && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2;
          return boxes.flatMap(([a, p], i) => boxes.slice(i + 1)
            .filter(([b, q]) => !inside(a, b) && meet(p, q))
            .map(([b]) => `${a.textContent.trim().slice(0, 40)} / ${b.textContent.trim().slice(0, 40)}`));
        }"""
    )
    assert over == []


def test_hostile_names_are_seen_on_forms_as_they_were_typed(open_page, site):
    page = go(open_page(), site, "measure")
    assert HOSTILE_TAG in page.locator("h1").inner_text()
    page = go(open_page(), site, "ground")
    assert HOSTILE_NAME in page.locator("main table").first.inner_text()
    page = go(open_page(), site, "area")
    assert page.locator("#name").input_value() == HOSTILE_NAME
    page = go(open_page(), site, "place the plan")
    assert page.locator("#plan").get_attribute("alt") == HOSTILE_NAME
    page = go(open_page(), site, "look")
    assert HOSTILE_PLACE in page.locator("#zone").inner_text()
    page = go(open_page(), site, "grid")
    assert HOSTILE_TAG in page.locator("[data-grid]").inner_text()
    for name in FORMS:
        assert go(open_page(), site, name).title() != "run"


def test_a_tap_on_the_map_is_the_tree_s_position_and_opens_no_card(open_page, site):
    page = go(open_page(), site, "facts")
    page.wait_for_selector(".bw-map-ready")
    box = page.locator(".folium-map").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 3)
    lon, lat = (float(page.locator(f"#{name}").input_value()) for name in ("lon_deg", "lat_deg"))
    assert 9.169 < lon < 9.172
    assert 47.659 < lat < 47.662
    assert page.locator("#position_source").input_value() == "tap on plan"
    assert 0.5 <= float(page.locator("#position_accuracy_m").input_value()) < 5
    assert page.locator(".bw-card").is_hidden()
    assert page.locator("#placed").inner_text() == "Its place is marked on the map."


def test_a_finger_is_less_exact_than_a_pointer(open_page, site):
    told = []
    for touch in (False, True):
        page = go(open_page(has_touch=touch), site, "new tree")
        page.wait_for_selector(".bw-map-ready")
        box = page.locator(".folium-map").bounding_box()
        at = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 3)
        page.touchscreen.tap(*at) if touch else page.mouse.click(*at)
        page.wait_for_function("document.getElementById('position_accuracy_m').value !== ''")
        told.append(float(page.locator("#position_accuracy_m").input_value()))
    assert told[1] > told[0]


def draw(page, tool, *corners):
    page.wait_for_selector(".bw-map-ready")
    page.locator(f".leaflet-pm-icon-{tool}").click()
    box = page.locator(".folium-map").bounding_box()
    for across, down in corners:
        at = (box["x"] + box["width"] * across, box["y"] + box["height"] * down)
        page.mouse.move(*at, steps=4)
        page.wait_for_timeout(80)
        page.mouse.click(*at)
        page.wait_for_timeout(120)


def test_an_outline_is_drawn_kept_and_changed(open_page, site):
    store, address, _ids = site
    watched = open_page()
    page = go(watched, site, "new area")
    draw(page, "polygon", (0.3, 0.3), (0.6, 0.3), (0.6, 0.6), (0.3, 0.6), (0.3, 0.3))
    assert page.locator("#drawn").inner_text() == "An outline is drawn."
    page.fill("#name", "Drawn yard")
    page.get_by_role("button", name="Keep it").click()
    page.wait_for_url("**/ground")
    assert "Drawn yard is on the map." in page.locator(".news").all_inner_texts()
    areas = view_of(store, SLUG, LOCAL_MANAGER).areas
    area = areas[areas["name"] == "Drawn yard"].iloc[0]
    assert area.geometry.geom_type == "Polygon"
    page.goto(f"{address}{SITE}/areas/{area.area_id}/edit", wait_until="networkidle")
    page.wait_for_selector(".bw-map-ready")
    assert json.loads(page.locator("[name=geometry]").input_value())["type"] == "Polygon"
    assert watched.complaints == []


def test_enter_goes_down_the_grid_and_never_sends_it(open_page, site):
    page = go(open_page(), site, "grid")
    fields = page.locator("[name^=r1-]")
    fields.nth(0).focus()
    page.keyboard.type("94.2")
    page.keyboard.press("Enter")
    page.keyboard.type("120")
    page.keyboard.press("ArrowUp")
    assert page.evaluate("document.activeElement.name") == fields.nth(0).get_attribute("name")
    assert [fields.nth(at).input_value() for at in (0, 1)] == ["94.2", "120"]
    assert page.url.endswith("/grid")


def test_a_plan_is_clicked_field_after_field_and_by_keyboard(open_page, site):
    page = go(open_page(), site, "place the plan")
    picture = page.locator("#plan").bounding_box()
    scale = picture["width"] / 900
    for x, y in ((50, 50), (850, 50)):
        page.mouse.click(picture["x"] + x * scale, picture["y"] + y * scale)
    first, second = (page.locator(f"#length_{n}").input_value() for n in (1, 2))
    assert [round(float(part)) for part in first.split(",")] == pytest.approx([50, 50], abs=2)
    assert [round(float(part)) for part in second.split(",")] == pytest.approx([850, 50], abs=2)
    page.fill("#length_1", "60, 60")
    assert page.locator("#marks path").first.get_attribute("d").startswith("M45 60")
    page.get_by_label("It is a photo at a slant").check()
    assert page.locator("#corner_1").is_visible()
    assert page.locator("#length_1").is_hidden()


def test_a_fault_is_announced_and_tied_to_its_field(open_page, site):
    page = go(open_page(), site, "measure")
    page.fill("#value", "about 90")
    page.get_by_role("button", name="Keep the measurement").click()
    field = page.locator("#value")
    assert field.get_attribute("aria-invalid") == "true"
    said = page.locator(f"#{field.get_attribute('aria-describedby').split()[-1]}").inner_text()
    assert said == "about 90 is not a number; type digits, for example 94.2."
    assert page.locator("[role=alert]").inner_text().startswith("Nothing was taken yet.")
    assert field.input_value() == "about 90"


def test_forms_without_a_map_work_without_scripts(open_page, site):
    watched = open_page(java_script_enabled=False)
    page = go(watched, site, "measure")
    page.fill("#value", "73")
    page.get_by_role("button", name="Keep the measurement").click()
    assert "The measurement is kept." in page.locator(".news").all_inner_texts()
    for name in ("new area", "place the plan", "grid", "look"):
        assert go(watched, site, name).locator("h1").count() == 1
