"""Forms of the ground: areas and what is underneath, their errors, plan images."""

import io
import json

import pytest
from PIL import Image, ImageDraw

from layers.error_model import Z95
from service.actors import LOCAL_MANAGER
from service.store.site_rows import create_site
from service.view import view_of
from tests.web_forms import send, told, words
from tests.web_site import HOSTILE_NAME, SLUG, make_web_site

SQUARE = [[9.17, 47.66], [9.1705, 47.66], [9.1705, 47.6603], [9.17, 47.6603], [9.17, 47.66]]
DRAWN = json.dumps({"type": "Polygon", "coordinates": [SQUARE]})
CORNERS = "\n".join(f"{lon} {lat}" for lon, lat in SQUARE[:-1])
BEYOND = json.dumps({"type": "Polygon", "coordinates": [[[9, 47], [9, 95], [8, 95], [9, 47]]]})
PATH = json.dumps({"type": "LineString", "coordinates": SQUARE[:2]})


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


@pytest.fixture
def bare(store):
    """A ground on which nothing is yet."""
    create_site(store, SLUG, actor=LOCAL_MANAGER, name=HOSTILE_NAME, country="DE")


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def area_named(store, name):
    areas = now(store).areas
    return areas[areas["name"] == name].iloc[0]


def plan_file(width=900, height=600):
    picture = Image.new("RGB", (width, height), "white")
    ImageDraw.Draw(picture).rectangle((50, 50, 850, 550), outline="black", width=4)
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue(), "plan {{7*7}}.png"


def bring(client, content=None, file_name="plan.png", **typed):
    file = plan_file() if content is None else (content, file_name)
    return send(client, "/plans/new", file=(io.BytesIO(file[0]), file[1]), **typed)


def place_of(sent):
    return sent.location.removeprefix(f"/sites/{SLUG}")


PLACED = {"length_1": "50, 50", "length_2": "850, 50", "length_m": "80"}
CHECKED = {"check_1": "50, 50", "check_2": "50, 550", "check_m": "51"}


@pytest.fixture
def plan(client, bare):
    """A ground with a placed plan: 0.1 m a pixel, its check length 1 in 51 too short."""
    path = place_of(bring(client, name="Wall"))
    assert send(client, path, **PLACED, **CHECKED).status == 303
    return path


def test_a_drawn_area_is_on_the_map_with_its_figures(client, store, view):
    sent = send(client, "/areas/new", name=HOSTILE_NAME, kind="play area", use="every day", geometry=DRAWN)
    assert sent.status == 303
    area = area_named(store, HOSTILE_NAME)
    assert (area.kind, area.use, area.layer) == ("play area", "every day", "drawn")
    assert area.area_ha == pytest.approx(0.1251, abs=2e-3)
    row = next(row for row in now(store).figures if row["area_id"] == area.area_id)
    assert row["trees"] > 0
    assert HOSTILE_NAME in words(client.get(f"/sites/{SLUG}/ground").text)


def test_corners_in_numbers_are_an_outline_without_a_mouse(client, store, view):
    send(client, "/areas/new", name="Drawn", geometry=DRAWN)
    send(client, "/areas/new", name="Typed", corners=CORNERS)
    assert area_named(store, "Typed").geometry.equals(area_named(store, "Drawn").geometry)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"name": "", "geometry": DRAWN}, "name"),
        ({"geometry": ""}, ""),
        ({"geometry": "{"}, "geometry"),
        ({"geometry": '{"type": "Point", "coordinates": [9, 47]}'}, "geometry"),
        (
            {"geometry": '{"type": "Polygon", "coordinates": [[[9, 47], [9, 95], [8, 95], [9, 47]]]}'},
            "geometry",
        ),
        ({"geometry": "[" * 5000}, "geometry"),
        ({"corners": "9.1 47.6\n9.2"}, "corners"),
        ({"corners": "9.1 47.6\n9.2 47.6"}, "corners"),
        ({"typed_area_ha": "0.5"}, "area_source"),
        ({"typed_area_ha": "large", "area_source": "register"}, "typed_area_ha"),
        ({"geometry": DRAWN, "give_or_take_pct": "120"}, "give_or_take_pct"),
        ({"geometry": DRAWN, "counting_limit_cm": "-1"}, "counting_limit_cm"),
    ],
)
def test_a_fault_of_an_area_is_shown_and_nothing_is_taken(client, store, view, typed, field):
    sent = send(client, "/areas/new", **{"name": "Yard", **typed})
    assert sent.status == 422
    assert sent.whole.startswith("Nothing was taken yet.")
    assert field in sent.faults or not field
    assert len(now(store).areas) == 0


def test_an_area_of_typed_hectares_has_its_source_and_its_give_or_take(client, store, view):
    typed = {"typed_area_ha": "0.8", "area_source": "land register", "give_or_take_pct": "5"}
    assert send(client, "/areas/new", name="Yard", kind="boundary", **typed).status == 303
    area = area_named(store, "Yard")
    assert area.area_ha == 0.8
    assert area.area_se_ha == pytest.approx(0.8 * 0.05 / Z95)
    page = client.get(f"/sites/{SLUG}/areas/{area.area_id}/edit").text
    assert 'name="give_or_take_pct" value="5"' in page


def test_a_changed_area_keeps_its_former_version_and_a_stale_one_changes_nothing(client, store, view):
    send(client, "/areas/new", name="Yard", geometry=DRAWN)
    path = f"/areas/{area_named(store, 'Yard').area_id}/edit"
    assert send(client, path, name="Court").status == 303
    changed = area_named(store, "Court")
    assert changed.version == 2
    assert "Somebody changed this meanwhile" in send(client, path, name="Garden", version="1").whole
    assert send(client, path, at=path.replace("edit", "cross-out")).status == 303
    assert len(now(store).areas) == 0
    send(client, "/undo")
    assert len(now(store).areas) == 1


def test_a_word_of_a_list_that_is_none_of_the_form_stays(client, store, view):
    from service.edit import add_areas

    add_areas(
        store,
        SLUG,
        LOCAL_MANAGER,
        [{"name": "Yard", "kind": "orchard", "layer": "wards", "geometry": json.loads(DRAWN)}],
    )
    path = f"/areas/{area_named(store, 'Yard').area_id}/edit"
    assert send(client, path, name="Court").status == 303
    area = area_named(store, "Court")
    assert (area.kind, area.layer) == ("orchard", "wards")


def test_what_is_underneath_is_drawn_typed_changed_and_crossed_out(client, store, view):
    assert send(client, "/targets/new", name="Path", kind="path", geometry=PATH).status == 303
    assert send(client, "/targets/new", name="Shed", kind="building", corners=CORNERS).status == 303
    assert send(client, "/targets/new", name="Seat", kind="bench", corners="9.1701 47.6601").status == 303
    kinds = {row.name: row.geometry.geom_type for row in now(store).records.targets.itertuples(index=False)}
    assert kinds == {"Path": "LineString", "Shed": "Polygon", "Seat": "Point"}
    target = now(store).records.targets.iloc[0]
    path = f"/targets/{target.target_id}/edit"
    assert send(client, path, name="Long path").status == 303
    assert send(client, path, at=path.replace("edit", "cross-out")).status == 303
    assert len(now(store).records.targets) == 2


@pytest.mark.parametrize(("typed", "field"), [({"name": "", "geometry": PATH}, "name"), ({}, "geometry")])
def test_a_fault_of_a_target_is_shown_and_nothing_is_taken(client, store, view, typed, field):
    sent = send(client, "/targets/new", **{"name": "Path", **typed})
    assert sent.status == 422
    assert field in sent.faults
    assert len(now(store).records.targets) == 0


@pytest.mark.parametrize("kind", ["areas", "targets"])
def test_what_is_not_there_is_not_found(client, view, kind):
    path = f"/sites/{SLUG}/{kind}/00000000-0000-4000-8000-000000000000/edit"
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    ("content", "name", "typed", "field"),
    [
        (b"", "", {}, "file"),
        (b"not a picture", "plan.png", {}, ""),
        (b"%PDF-1.7 broken", "plan.pdf", {}, ""),
        (None, "", {"page": "first"}, "page"),
    ],
)
def test_what_is_no_picture_is_not_taken(client, store, bare, content, name, typed, field):
    sent = bring(client, content, name, **typed)
    assert sent.status == 422
    assert field in sent.faults if field else sent.whole
    assert len(now(store).records.plan_images) == 0


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"length_2": ""}, "length_2"),
        ({"length_m": ""}, "length_m"),
        ({"length_m": "-3"}, ""),
        ({"length_2": "50, 50"}, ""),
        ({"length_1": "left"}, "length_1"),
        ({"check_1": "middle"}, "check_1"),
        ({"point": "50, 50", "point_lon": "far"}, "point_lon"),
    ],
)
def test_a_placing_with_a_fault_places_nothing(client, store, bare, typed, field):
    path = place_of(bring(client))
    sent = send(client, path, **{**PLACED, **typed})
    assert sent.status == 422
    assert field in sent.faults if field else sent.whole
    assert now(store).records.plan_images["placement"].isna().all()


def test_a_plan_without_a_place_on_earth_makes_a_ground_of_its_own(client, store, plan):
    assert now(store).terms.frame == "local"
    said = words(client.get(f"/sites/{SLUG}/ground").text)
    assert "in a grid of its own without a place on earth; its check length is 2.0 % off" in said
    assert client.get(f"/sites/{SLUG}{plan}/north-up.png").data.startswith(b"\x89PNG")


def test_an_area_drawn_on_a_plan_is_as_well_known_as_twice_the_misfit(client, store, plan):
    """A length off by a share s puts an area off by 2 s: dA/A = 2 ds/s (definitions R8), by hand."""
    corners = "0 0\n80 0\n80 -50\n0 -50"
    assert send(client, "/areas/new", name="Yard", kind="boundary", corners=corners).status == 303
    area = area_named(store, "Yard")
    misfit = 1 / 51
    assert area.area_ha == pytest.approx(0.4)
    assert area.area_se_ha == pytest.approx(2 * misfit * 0.4)
    assert area.area_source == "drawn on the plan “Wall”; its check length is 2.0 % off"


def test_the_error_of_figures_per_hectare_holds_the_plan_s_misfit(client, store, plan):
    from service.entry import enter_readings

    send(client, "/areas/new", name="Yard", kind="boundary", corners="0 0\n80 0\n80 -50\n0 -50")
    for at in range(4):
        place = {"x_m": str(38 + at), "y_m": "-25", "position_source": "tap on plan"}
        send(client, "/trees/new", tag=str(at), **place)
    stems = now(store).records.stems["stem_id"]
    enter_readings(store, SLUG, LOCAL_MANAGER, [{"stem_id": stem, "value": 120} for stem in stems])
    site = now(store).figures[0]
    assert site["trees"] == 4
    part = site["basal_area_m2"] * site["area_se_ha"] / site["area_ha"] ** 2
    assert site["error_by_cause"]["area"] == pytest.approx(part**2 / site["basal_area_se_m2_per_ha"] ** 2)
    without = site["basal_area_se_m2"] / site["area_ha"]
    assert site["basal_area_se_m2_per_ha"] == pytest.approx((without**2 + part**2) ** 0.5)


def test_a_typed_accuracy_stands_before_the_plan_s(client, store, plan):
    corners = "0 0\n80 0\n80 -50\n0 -50"
    send(client, "/areas/new", name="Yard", corners=corners, give_or_take_pct="10")
    area = area_named(store, "Yard")
    assert area.area_se_ha == pytest.approx(0.4 * 0.1 / Z95)
    path = f"/areas/{area.area_id}/edit"
    assert send(client, path, name="Court").status == 303
    assert area_named(store, "Court").area_se_ha == pytest.approx(0.4 * 0.1 / Z95)


def test_renaming_an_area_keeps_its_error_and_redrawing_takes_the_plan_s(client, store, plan):
    from service.edit import add_areas

    outline = {"type": "Polygon", "coordinates": [[[0, 0], [80, 0], [80, -50], [0, -50], [0, 0]]]}
    survey = {"name": "Yard", "geometry": outline, "area_se_ha": 0.001, "area_source": "survey"}
    add_areas(store, SLUG, LOCAL_MANAGER, [survey])
    path = f"/areas/{area_named(store, 'Yard').area_id}/edit"
    send(client, path, name="Court", give_or_take_pct="")
    kept = area_named(store, "Court")
    assert (kept.area_se_ha, kept.area_source) == (0.001, "survey")
    send(client, path, corners="0 0\n40 0\n40 -50\n0 -50", give_or_take_pct="", area_source="")
    drawn = area_named(store, "Court")
    assert drawn.area_se_ha == pytest.approx(2 / 51 * 0.2)
    assert drawn.area_source.startswith("drawn on the plan")


def test_without_a_check_length_nobody_knows_how_good_the_plan_is(client, store, bare):
    path = place_of(bring(client, name="Wall"))
    send(client, path, **PLACED)
    assert told(client, "/ground")[-1] == "The plan lies on the ground."
    send(client, "/areas/new", name="Yard", kind="boundary", corners="0 0\n80 0\n80 -50\n0 -50")
    site = now(store).figures[0]
    assert site["area_se_ha"] is None
    assert site["why"]["area_se_ha"]


def test_a_slanted_photo_and_known_points_place_a_plan_too(client, store, bare):
    path = place_of(bring(client))
    corners = {"corner_1": "100,500", "corner_2": "800,500", "corner_3": "650,100", "corner_4": "250,100"}
    slanted = {**corners, "side_1_m": "40", "side_2_m": "30", "how": "rectangle"}
    assert send(client, path, **slanted).status == 303
    assert json.loads(now(store).records.plan_images.iloc[0]["placement"])["how"] == "rectangle"
    known = {"known_1": "50,50", "known_1_across": "0", "known_1_up": "50"}
    known |= {"known_2": "850,550", "known_2_across": "80", "known_2_up": "0"}
    assert send(client, path, how="points", **known).status == 303
    assert json.loads(now(store).records.plan_images.iloc[0]["placement"])["how"] == "points"


def test_one_known_point_puts_the_plan_on_earth(client, store, bare):
    path = place_of(bring(client))
    point = {"point": "450, 300", "point_lon": "9.17", "point_lat": "47.66"}
    assert send(client, path, **PLACED, **point).status == 303
    assert now(store).terms.frame == "earth"
    west, south, east, north = client.get(f"/sites/{SLUG}/map.json").json["plan_image"]["bounds"]
    assert west < 9.17 < east
    assert south < 47.66 < north


def test_a_plan_that_somebody_placed_meanwhile_is_not_placed_over(client, plan):
    assert "Somebody changed this meanwhile" in send(client, plan, **PLACED, version="1").whole
