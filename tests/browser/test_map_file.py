"""The map as one file, opened from a disk in a real browser."""

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image

from layers import maps
from layers.inputs import US_BREAKS_CM
from tests.builders import make_site
from tests.map_builders import DAY, HOSTILE, asset_texts, box_of, make_document, place_of

READY = ".bw-map-ready"


@pytest.fixture
def opened(tmp_path, open_page):
    """A function that writes the map of a document to a file and opens it."""

    def show(document, width=1440, height=900, **context):
        path = tmp_path / "map.html"
        path.write_text(maps.self_contained(document, asset_texts()), encoding="utf-8")
        watched = open_page(width, height, **context)
        watched.page.goto(path.as_uri())
        watched.page.wait_for_selector(READY)
        return watched

    return show


def find(page, query):
    page.fill("#bw-find", "")
    page.wait_for_function("() => document.querySelector('.bw-status').textContent === ''")
    page.fill("#bw-find", query)
    page.wait_for_function("() => document.querySelector('.bw-status').textContent !== ''")
    return page.locator(".bw-found button")


def pixel_of(page, tag):
    """Where a tree is drawn, in the page."""
    find(page, tag).first.click()
    page.keyboard.press("Escape")
    page.fill("#bw-find", "")
    i = page.evaluate(
        """tag => { const t = JSON.parse(document.getElementById('map_data').textContent).trees;
                    return t.tag.codes.findIndex(c => t.tag.values[c] === tag); }""",
        tag,
    )
    return page.evaluate(
        """i => { const t = JSON.parse(document.getElementById('map_data').textContent).trees;
                  const p = map_shell.latLngToContainerPoint([t.y[i], t.x[i]]);
                  const box = map_shell.getContainer().getBoundingClientRect();
                  return [box.x + p.x, box.y + p.y]; }""",
        i,
    )


def inked(page, tmp_path, selector):
    """How many pixels of an element are not its ground."""
    path = tmp_path / "shot.png"
    page.locator(selector).screenshot(path=str(path))
    pixels = np.asarray(Image.open(path).convert("RGB")).astype(int)
    return int((np.abs(pixels - pixels[-3, pixels.shape[1] // 2]).sum(axis=2) > 60).sum())


@pytest.mark.parametrize("frame", ["earth", "local"])
def test_it_opens_without_a_network_and_without_a_complaint(opened, frame):
    watched = opened(make_document(frame=frame), offline=True)
    assert watched.outside("file:") == []
    assert len(watched.asked) == 1
    assert watched.complaints == []
    assert watched.page.title() == f"School ground, as of {DAY}"


@pytest.mark.parametrize("said", HOSTILE)
def test_hostile_names_are_shown_verbatim_and_nothing_runs(opened, said):
    terms = make_site(name=said, phone=said)
    document = make_document(said=said, tags=(said,), terms=terms, attribution=said)
    watched = opened(document)
    page = watched.page
    find(page, said.lower().split("\n")[0]).last.click()
    card = page.locator(".bw-card")
    assert card.is_visible()
    assert said in page.locator("h1").evaluate("e => e.textContent")
    for part in (".bw-card dd", ".bw-name", ".bw-found", ".bw-legend", ".bw-caution", ".bw-credit"):
        texts = page.locator(part).evaluate_all("all => all.map(e => e.textContent)")
        assert any(said in text for text in texts), part
    assert page.evaluate("() => window.ran") is None
    assert page.locator(".bw-map img, .bw-map script, .bw-map iframe").count() == 0
    assert watched.complaints == []
    assert watched.outside("file:") == []


def test_a_click_on_a_tree_shows_its_card(opened):
    page = opened(make_document()).page
    x, y = pixel_of(page, "T030")
    page.mouse.click(x, y)
    card = page.locator(".bw-card")
    assert card.locator("h2").inner_text() == "T030"
    facts = card.locator("dl").inner_text()
    assert "89 cm give or take 2 cm" in facts  # 1.96 standard errors of 1.0 cm
    assert "80 cm and more" in facts
    assert "Last looked at by a qualified person: never" in card.inner_text()
    assert card.locator("a").get_attribute("href").startswith("/sites/school/trees/00000000-")


def test_a_tree_with_an_open_sign_says_so_and_one_without_is_called_nothing_good(opened):
    page = opened(make_document()).page
    find(page, "T006").first.click()
    assert "Is the crack still open?" in page.locator(".bw-card").inner_text()
    find(page, "T007").first.click()
    said = page.locator(".bw-card").inner_text()
    assert "Nothing recorded." in said
    assert "How high is it?" in said
    assert "Questions that could not be asked of this tree: 2." in said


def test_the_legend_carries_every_class_by_colour_size_and_label(opened):
    document = make_document()
    page = opened(document).page
    rows = page.locator(".bw-classes li")
    assert rows.locator(".bw-row-text").all_inner_texts() == [size["label"] for size in document["classes"]]
    drawn = rows.locator("circle").evaluate_all(
        "all => all.map(c => [c.getAttribute('fill'), +c.getAttribute('r')])"
    )
    assert drawn == [[size["fill"], size["radius_px"]] for size in document["classes"]]


def test_layers_can_be_switched_off_and_on_again(opened, tmp_path):
    page = opened(make_document()).page
    page.check('input[value="none"]')
    full = inked(page, tmp_path, ".folium-map")
    page.uncheck('[data-layer="trees"]')
    bare = inked(page, tmp_path, ".folium-map")
    assert bare < 0.7 * full
    page.check('[data-layer="trees"]')
    assert abs(inked(page, tmp_path, ".folium-map") - full) < 0.02 * full


def test_trees_can_be_clicked_after_the_areas_were_switched_off_and_on(opened):
    page = opened(make_document()).page
    for area_layer in ("areas parts", "areas grounds"):
        page.uncheck(f'[data-layer="{area_layer}"]')
        page.check(f'[data-layer="{area_layer}"]')
    x, y = pixel_of(page, "T030")
    page.mouse.click(x, y)
    assert page.locator(".bw-card h2").inner_text() == "T030"


def test_areas_are_shaded_by_what_is_chosen_and_the_steps_say_how(opened, tmp_path):
    page = opened(make_document()).page
    assert page.locator(".bw-steps li").all_inner_texts() == [
        "0 to under 10",
        "10 to under 20",
        "20 and more",
    ]
    page.check('input[value="stems"]')
    assert page.locator(".bw-steps li").first.inner_text() == "0 to under 50"
    shaded = inked(page, tmp_path, ".folium-map")
    page.check('input[value="none"]')
    assert page.locator(".bw-steps li").count() == 0
    assert inked(page, tmp_path, ".folium-map") < shaded


def test_all_is_reached_by_keyboard_alone(opened):
    page = opened(make_document()).page
    page.focus("#bw-find")
    page.keyboard.type("T030")
    page.wait_for_selector(".bw-found button")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("() => document.activeElement.classList.contains('bw-card')")
    assert page.locator(".bw-card h2").inner_text() == "T030"
    page.keyboard.press("Escape")
    assert page.locator(".bw-card").is_hidden()
    assert page.evaluate("() => document.activeElement.textContent").startswith("T030")


@pytest.mark.parametrize(
    ("query", "name"),
    [
        ("north y", "North yard"),
        ("path to", "Path to the gate"),
        ("gap by", "gap by the gate"),
        ("ACER", "T001"),
    ],
)
def test_areas_places_and_kinds_are_found_too(opened, query, name):
    page = opened(make_document()).page
    find(page, query).filter(has_text=name).first.click()
    assert page.locator(".bw-card h2").inner_text() == name


def test_the_very_number_is_found_before_those_that_hold_it(opened):
    page = opened(make_document(tags=("112", "12", "120", "12"))).page
    names = find(page, "12").locator("b").all_inner_texts()
    assert sorted(names[3:]) == ["112", "T012"]
    assert names[:3] == ["12", "12", "120"]


def test_a_tree_without_a_position_is_found_and_said_to_be_off_the_map(opened):
    page = opened(make_document()).page
    find(page, "T005").first.click()
    assert "This tree has no position yet." in page.locator(".bw-card").inner_text()


def test_a_site_in_inches_is_shown_in_inches(opened):
    page = opened(make_document(terms=make_site(units="us", breaks_cm=US_BREAKS_CM))).page
    find(page, "T030").first.click()
    assert "35.0 in" in page.locator(".bw-card dl").inner_text()
    assert "ft" in page.locator(".leaflet-control-scale").inner_text()
    assert "32 in and more" in page.locator(".bw-legend").inner_text()


@pytest.mark.parametrize("width", [360, 1440])
def test_it_can_be_read_on_a_phone_and_on_a_desk(opened, width):
    watched = opened(make_document(), width=width, height=800)
    page = watched.page
    find(page, "T006").first.click()
    assert page.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")
    card, ground = page.locator(".bw-card").bounding_box(), page.locator(".bw-map-ground").bounding_box()
    assert card["x"] >= ground["x"] - 1
    assert card["x"] + card["width"] <= ground["x"] + ground["width"] + 1
    violations = Axe().run(page).response["violations"]
    assert [v["id"] for v in violations] == []


@pytest.mark.parametrize("width", [360, 1440])
def test_the_card_does_not_hide_the_tree_it_tells_of(opened, width):
    page = opened(make_document(), width=width, height=800).page
    find(page, "T030").first.click()
    x, y = page.evaluate(
        """() => { const t = JSON.parse(document.getElementById('map_data').textContent).trees;
                   const i = t.tag.codes.findIndex(c => t.tag.values[c] === 'T030');
                   const p = map_shell.latLngToContainerPoint([t.y[i], t.x[i]]);
                   return [p.x, p.y]; }"""
    )
    card = page.locator(".bw-card").evaluate(
        "e => [e.offsetLeft, e.offsetTop, e.offsetWidth, e.offsetHeight]"
    )
    ground = page.locator(".bw-map-ground").evaluate("e => [e.offsetWidth, e.offsetHeight]")
    assert 0 < x < ground[0]
    assert 0 < y < ground[1]
    assert not (card[0] < x < card[0] + card[2] and card[1] < y < card[1] + card[3])


def test_it_prints_with_legend_and_without_switches(opened, tmp_path):
    page = opened(make_document()).page
    page.emulate_media(media="print")
    page.wait_for_function("() => map_shell.getSize().x === document.getElementById('map_shell').clientWidth")
    assert page.locator(".bw-search").is_hidden()
    assert page.locator(".leaflet-control-zoom").is_hidden()
    assert page.locator(".bw-classes").is_visible()
    assert page.locator(".bw-caution").is_visible()
    assert inked(page, tmp_path, ".folium-map") > 2000


def test_sixteen_thousand_trees_are_there_within_two_seconds(opened):
    document = make_document(number=16_000)
    watched = opened(document)
    assert watched.page.evaluate("() => performance.now()") < 2000
    assert watched.complaints == []


def test_a_plan_of_the_ground_lies_under_the_trees_and_can_be_taken_off(opened):
    dot = "data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///ywAAAAAAQABAAACAUwAOw=="
    west, south, east, north = make_document()["bounds"]
    watched = opened(make_document(plan_image={"url": dot, "bounds": [west, south, east, north]}))
    page = watched.page
    picture = page.locator(".bw-plan").bounding_box()
    ground = page.locator(".folium-map").bounding_box()
    assert picture["width"] > 0.5 * ground["width"] or picture["height"] > 0.5 * ground["height"]
    page.uncheck('[data-layer="plan"]')
    assert page.locator(".bw-plan").count() == 0
    assert watched.complaints == []


def test_an_address_with_a_tree_opens_its_card(tmp_path, open_page):
    document = make_document()
    path = tmp_path / "map.html"
    path.write_text(maps.self_contained(document, asset_texts()), encoding="utf-8")
    watched = open_page()
    watched.page.goto(path.as_uri() + "#tree=" + document["trees"]["tree_id"][3])
    watched.page.wait_for_selector(".bw-card h2")
    assert watched.page.locator(".bw-card").is_visible()


def ring(x0, y0, x1, y1):
    return {"name": "Keep out <b>", "geometry": box_of(x0, y0, x1, y1), "trees": [], **CLOSED}


CLOSED = {"from_on": "2026-05-01", "why": "storm", "how_marked": "tape", "who_may_reopen": "council"}
WIRE = {
    "kind": "overhead line",
    "note": "along the fence",
    "ask": "Stay away.",
    "geometry": box_of(0, 0.9, 1, 0.95),
}


def point_of(page, x, y):
    """Where a point of the unit square of the ground is drawn, in the page."""
    return page.evaluate(
        """([lon, lat]) => { const p = map_shell.latLngToContainerPoint([lat, lon]);
                             const box = map_shell.getContainer().getBoundingClientRect();
                             return [box.x + p.x, box.y + p.y]; }""",
        list(place_of(x, y)),
    )


def test_what_is_closed_is_hatched_on_top_and_can_be_switched(opened, tmp_path):
    bare = opened(make_document()).page
    without = inked(bare, tmp_path, ".bw-map-ground")
    watched = opened(make_document(closures=[ring(0.2, 0.2, 0.8, 0.8)]))
    page = watched.page
    drawn = inked(page, tmp_path, ".bw-map-ground")
    assert drawn > 1.05 * without
    page.locator('[data-layer="closures"]').uncheck()
    assert abs(inked(page, tmp_path, ".bw-map-ground") - without) < 0.02 * without
    for layer in page.locator('[data-layer^="areas"]').all():
        layer.uncheck()
        layer.check()
    page.locator('[data-layer="closures"]').check()
    assert abs(inked(page, tmp_path, ".bw-map-ground") - drawn) < 0.02 * drawn
    assert watched.complaints == []


def test_a_tree_in_a_closed_place_is_reached_and_its_card_says_closed(opened):
    document = make_document()
    name = document["trees"]["tag"]["values"][0]
    first = document["trees"]["tree_id"][document["trees"]["tag"]["codes"].index(0)]
    page = opened(make_document(closures=[ring(0, 0, 1, 1) | {"trees": [first]}])).page
    page.mouse.click(*pixel_of(page, name))
    card = page.locator(".bw-card")
    assert card.locator("h2").inner_text() == name
    assert "Closed since 1 May 2026: Keep out <b>. Keep out." in card.inner_text()


def test_the_edge_of_a_closed_place_and_the_search_open_its_card(opened):
    page = opened(make_document(closures=[ring(0.3, 0.3, 0.7, 0.7)])).page
    page.mouse.click(*point_of(page, 0.3, 0.41))
    card = page.locator(".bw-card")
    assert card.locator("h2").inner_text() == "Keep out <b>"
    assert "council" in card.inner_text()
    page.keyboard.press("Escape")
    find(page, "keep out").first.click()
    assert card.locator("h2").inner_text() == "Keep out <b>"


def test_hazards_are_a_layer_with_what_they_ask(opened, tmp_path):
    page = opened(make_document(hazards=[WIRE])).page
    find(page, "along the fence").first.click()
    assert "Stay away." in page.locator(".bw-card").inner_text()
    page.keyboard.press("Escape")
    drawn = inked(page, tmp_path, ".bw-map-ground")
    page.locator('[data-layer="hazards"]').uncheck()
    assert inked(page, tmp_path, ".bw-map-ground") < drawn


@pytest.mark.parametrize("width", [360, 1440])
def test_a_map_with_closed_places_and_hazards_has_no_fault_of_accessibility(opened, width):
    page = opened(make_document(closures=[ring(0.2, 0.2, 0.8, 0.8)], hazards=[WIRE]), width).page
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    assert [fault["id"] for fault in found] == []
