"""A first day on a ground of which there is only a plan on the wall: from the picture to figures."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from service.actors import LOCAL_MANAGER
from service.view import view_of
from tests.browser.test_forms import draw
from tests.browser.web_server import served
from tests.unit.test_web_forms_ground import plan_file

SLUG = "hill-school"


@pytest.fixture
def served_here(tmp_path):
    with served(tmp_path) as (store, address):
        yield store, address


def keep(page, button):
    with page.expect_navigation():
        page.get_by_role("button", name=button, exact=True).click()
    return page.locator(".news").all_inner_texts()


def at(page, across, down):
    """A place on the map, as shares of its width and height."""
    page.wait_for_selector(".bw-map-ready")
    box = page.locator(".folium-map").bounding_box()
    return box["x"] + box["width"] * across, box["y"] + box["height"] * down


def begin(page, address):
    page.goto(address)
    page.get_by_role("link", name="Start", exact=True).click()
    page.fill("#name", "Hill School")
    page.fill("#country", "DE")
    keep(page, "Start")


def bring_the_plan(page, folder):
    """Wall of 80 m along the top; the side of 50 m is measured as 51 m, as a check."""
    page.get_by_role("link", name="Ground", exact=True).click()
    page.get_by_role("link", name="Bring a plan or photo").click()
    (folder / "plan.png").write_bytes(plan_file()[0])
    page.set_input_files("#file", folder / "plan.png")
    page.fill("#name", "Wall")
    assert keep(page, "Bring it in") == ["The picture is here. Now say how it lies on the ground."]
    picture = page.locator("#plan").bounding_box()
    scale = picture["width"] / 900
    for x, y in ((50, 50), (850, 50)):
        page.mouse.click(picture["x"] + x * scale, picture["y"] + y * scale)
    page.fill("#length_m", "80")
    page.fill("#check_1", "50, 50")
    page.fill("#check_2", "50, 550")
    page.fill("#check_m", "51")
    news = keep(page, "Place the plan")
    assert news[0] == "The plan lies on the ground."
    assert "Areas drawn on this plan are known to give or take" in news[1]


def put_trees_in(page, places):
    page.get_by_role("link", name="Trees", exact=True).click()
    page.get_by_role("link", name="Enter a new tree").click()
    for tag, (across, down) in enumerate(places, 1):
        page.mouse.click(*at(page, across, down))
        page.fill("#tag", str(tag))
        page.fill("#name_as_written", "Quercus robur")
        keep(page, "Keep it and add the next")


def test_from_a_plan_on_the_wall_to_figures_with_the_plan_s_error(open_page, served_here, tmp_path):
    store, address = served_here
    watched = open_page()
    page = watched.page
    begin(page, address)
    bring_the_plan(page, tmp_path)
    put_trees_in(page, [(0.4, 0.4), (0.5, 0.5), (0.6, 0.4)])

    page.get_by_role("link", name="Ground", exact=True).click()
    page.get_by_role("link", name="Draw an area, or type its hectares").click()
    draw(page, "polygon", (0.3, 0.3), (0.7, 0.3), (0.7, 0.7), (0.3, 0.7), (0.3, 0.3))
    page.fill("#name", "Yard")
    page.select_option("#kind", "boundary")
    assert keep(page, "Keep it") == ["Yard is on the map."]

    page.get_by_role("link", name="Measuring", exact=True).click()
    keep(page, "Type sheets back")
    page.locator("[name^=r1-]").first.focus()
    for girth in ("94.2", "120", "61"):
        page.keyboard.type(girth)
        page.keyboard.press("Enter")
    assert keep(page, "Keep these rows")[0] == "Kept: 3 entries."

    page.get_by_role("link", name="Today", exact=True).click()
    facts = page.locator(".measures").inner_text()
    assert "give or take" in facts.split("Trees")[0]
    view = view_of(store, SLUG, LOCAL_MANAGER)
    site = view.figures[0]
    assert view.terms.frame == "local"
    assert (site["trees"], site["measured_stems"]) == (3, 3)
    misfit = view.records.plan_images.iloc[-1]["misfit_share"]
    assert misfit == pytest.approx(1 / 51, rel=0.2)
    assert site["area_se_ha"] == pytest.approx(2 * misfit * site["area_ha"])
    assert site["error_by_cause"]["area"] > 0
    assert set(view.records.trees["position_source"]) == {"tap on plan"}
    assert (view.records.trees["position_accuracy_m"] >= 0.5).all()

    page.get_by_role("link", name="Data", exact=True).click()
    assert page.locator("h1").count() == 1
    tree = view.records.trees.iloc[0].tree_id
    page.goto(f"{address}/sites/{SLUG}/trees/{tree}", wait_until="networkidle")
    assert "m, " in page.locator("text=east, north on this ground").locator("..").inner_text()
    for path in ("", "/figures", "/flags?kind=all", "/data", "/ground", f"/trees/{tree}", "/trees/new"):
        page.goto(f"{address}/sites/{SLUG}{path}", wait_until="networkidle")
        found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
        assert [fault["id"] for fault in found] == [], path
    assert watched.outside(address) == []
    assert watched.complaints == []


def test_a_sheet_of_a_ground_with_only_a_plan_is_printed(open_page, served_here, tmp_path):
    _store, address = served_here
    watched = open_page()
    page = watched.page
    begin(page, address)
    bring_the_plan(page, tmp_path)
    page.goto(f"{address}/sites/{SLUG}/trees/new", wait_until="networkidle")
    page.mouse.click(*at(page, 0.5, 0.5))
    page.fill("#place", "Yard")
    keep(page, "Put it in the list")
    page.get_by_role("link", name="Measuring", exact=True).click()
    asked = page.evaluate(
        "new URLSearchParams(new FormData(document.querySelector('form[action$=\".pdf\"]'))).toString()"
    )
    answer = page.request.get(f"{address}/sites/{SLUG}/sheets.pdf?{asked}")
    assert answer.status == 200
    assert answer.body().startswith(b"%PDF-")
    assert watched.complaints == []


def test_a_new_ground_says_what_to_do_where_there_is_nothing_to_tap_on(open_page, served_here):
    _store, address = served_here
    page = open_page().page
    begin(page, address)
    page.goto(f"{address}/sites/{SLUG}/trees/new", wait_until="networkidle")
    page.wait_for_selector(".nowhere:not([hidden])")
    assert page.locator(".bw-map").is_hidden()
    assert page.locator("#lon_deg").is_visible()
    page.fill("#place", "Yard")
    assert keep(page, "Put it in the list")[0].startswith("The tree is in the list.")
