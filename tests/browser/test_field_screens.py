"""The further screens of the phone page: what a hand taps and types, and what the outbox sends of it."""

import io
import json
import math
from types import SimpleNamespace

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image

from layers import hands
from layers.sights import SIGHTS
from service.actors import LOCAL_MANAGER
from service.crew_words import make_words
from service.field_meaning import checked
from service.field_records import Team, canonical, entry_of
from service.view import view_of
from tests import field_items
from tests.browser.fake_field import fake_field, pack_of
from tests.browser.web_server import served
from tests.shared_cases import make_position_fixing as shared

TARGETS = """[...document.querySelectorAll(
    'button, a, input:not([type=radio], [type=checkbox]), select, summary, label.tick, .ways label'
  )].filter(e => e.checkVisibility()).map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
  .filter(([, box]) => Math.min(box.height, box.width) < 43.5).map(([html]) => html)"""
KEPT_PICTURES = """import('/static/field/keep.js').then((keep) => keep.pictures())
  .then((all) => all.map((one) => [one.state, one.blob.size]))"""
TILTED = "(beta) => dispatchEvent(new DeviceOrientationEvent('deviceorientation', { beta }))"
WALK = "import('/static/field/keep.js').then((keep) => keep.get('walk'))"


def a_pack(**changes):
    pack = pack_of(**changes)
    pack["sights"] = [{"word": s.word, "plain": s.plain, "danger": s.danger} for s in SIGHTS.values()]
    return pack


class Phone:
    """A phone of a team on a fake of the server."""

    def __init__(self, watched, fake):
        self.watched, self.page, self.fake, self.pack = watched, watched.page, fake, fake.pack
        self.tree = fake.pack["trees"][0]
        self.page.goto(f"{fake.address}/field/#{fake.word.replace(' ', '-')}")
        self.page.wait_for_selector("main[data-screen=next] canvas")

    def go(self, name, **args):
        """Another screen."""
        show = "([name, args]) => import('/static/field/app.js').then((app) => app.go(name, args))"
        self.page.evaluate(show, [name, args])
        self.page.wait_for_selector(f"main[data-screen={name}]")

    def type(self, label, value):
        """Fills the field with a label."""
        self.page.get_by_label(label).first.fill(str(value))

    def tap(self, name):
        """Taps a button."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def sent(self, kind, least=1):
        """What arrived of a kind, as its content; waits until there is so much."""
        for _try in range(200):
            found = [item for item in self.fake.items.values() if item["kind"] == kind]
            if len(found) >= least:
                assert all(item["crew"] == "T1" for item in found)
                return [item["content"] for item in found]
            self.page.wait_for_timeout(25)
        raise AssertionError(f"{kind}: only {self.fake.items}")


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with fake_field(tmp_path_factory.mktemp("field")) as (fake, _address):
        yield fake


@pytest.fixture
def field(server, open_page):
    """A function that makes a phone; extra arguments go to its browser."""

    def made(pack=None, width=390, script=None, **context):
        server.reset(pack or a_pack())
        watched = open_page(width, 844, **context)
        if script:
            watched.page.add_init_script(script)
        return Phone(watched, server)

    return made


def accepted(phone, kind, least=1):
    """What arrived of a kind, as the server reads it: nothing that it would refuse."""
    found = phone.sent(kind, least)
    team = Team("T1", "pupils", phone.pack["round"]["id"])
    return [checked(entry_of(phone.tree["id"], kind, canonical(said), 1, team, None)) for said in found]


# --- numbers ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", [shared.POSITIONS, shared.HEIGHTS], ids=["positions", "heights"])
def test_the_phone_finds_the_same_positions_and_heights_as_the_server(field, file):
    cases = json.loads(file.read_text(encoding="utf-8"))["cases"]
    rules = {
        "two_tapes": "twoTapes",
        "along_and_off": "alongAndOff",
        "along_and_off_in_paces": "alongAndOffInPaces",
        "bearing_and_distance": "bearingAndDistance",
        "averaged": "averaged",
        "tapped": "tapped",
        "height_by_angle": "heightByAngle",
        "height_by_stick": "heightByStick",
    }
    run = """async (cases) => {
      const positions = await import('/static/field/positions.js');
      const rules = { ...positions, ...await import('/static/field/height_by_angle.js') };
      return cases.map(([rule, given]) => rules[rule](given));
    }"""
    found = field().page.evaluate(run, [[rules[case["of"]], case["given"]] for case in cases])
    assert len(found) == len(cases) > 30
    for case, said in zip(cases, found, strict=True):
        compare(said, case["expected"], case["name"])


def compare(said, expected, name):
    assert said.keys() == expected.keys(), name
    for key, value in expected.items():
        if isinstance(value, dict):
            compare(said[key], value, name)
        elif isinstance(value, str):
            assert said[key] == value, name
        else:
            assert said[key] == pytest.approx(value, rel=1e-5, abs=1e-6), (name, key)


# --- hands --------------------------------------------------------------------------------------------------


def test_a_hand_is_measured_and_its_readings_name_it(field):
    pack = a_pack(instrument="hand breadths")
    pack["round"]["unit"] = "hands"
    phone = field(pack)
    phone.go("hands")
    totals = [84.5, 85.5, 84, 86, 85]
    for n, total in enumerate(totals[:2], start=1):
        phone.type(f"Length of all, time {n}", total)
    phone.tap("Keep it")
    assert phone.page.get_by_text("Type a number above 0").count() == 1
    for n, total in enumerate(totals, start=1):
        phone.type(f"Length of all, time {n}", total)
    each, error, _placement = hands.breadth(totals)
    assert phone.page.get_by_text(f"One is {each:.1f} cm, give or take {error:.2f} cm.").is_visible()
    phone.tap("Keep it")
    phone.page.wait_for_selector("main[data-screen=next]")
    said = accepted(phone, "calibration")[0]
    told = {"crew": "T1", "instrument": "hand breadths", "counts": 10, "totals_cm": totals}
    assert {name: said[name] for name in told} == told
    phone.go("measure", tree_id=phone.tree["id"], step="read", guess=12)
    phone.page.locator("form input.number").first.fill("11,5")
    phone.tap("Keep it")
    reading = accepted(phone, "reading")[0]
    calibration = next(item for item in phone.fake.items.values() if item["kind"] == "calibration")
    assert reading["calibration_id"] == calibration["id"]
    assert (reading["instrument"], reading["unit"], reading["value"]) == ("hand breadths", "hands", 11.5)


def test_a_hand_is_measured_in_inches_where_the_ground_has_feet(field):
    pack = a_pack()
    pack["site"]["units"] = "us"
    phone = field(pack)
    phone.go("hands")
    for n, total in enumerate((33, 33.5, 34), start=1):
        phone.type(f"Length of all, time {n} (in)", total)
    assert phone.page.get_by_text("One is 3.4 in, give or take 0.03 in.").is_visible()
    phone.tap("Keep it")
    assert accepted(phone, "calibration")[0]["totals_cm"] == [83.82, 85.09, 86.36]


def test_a_hand_of_half_a_metre_is_asked_again(field):
    phone = field()
    phone.go("hands")
    for n in (1, 2, 3):
        phone.type(f"Length of all, time {n}", 401 if n == 2 else 85)
    phone.tap("Keep it")
    assert phone.page.get_by_text("That is too long for 10").is_visible()
    assert phone.page.locator("main").get_attribute("data-screen") == "hands"


# --- what is seen -------------------------------------------------------------------------------------------


def test_what_is_ticked_becomes_one_observation_each_with_the_words_that_were_written(field):
    phone = field()
    phone.go("see", tree_id=phone.tree["id"])
    phone.page.get_by_label("a hole in the trunk").check()
    phone.page.get_by_label("a dead branch").check()
    phone.type("In your own words", "two metres up")
    phone.tap(SIGHTS["none of these"].plain)
    assert phone.page.get_by_text("Something is ticked").is_visible()
    phone.tap("Keep it")
    seen = accepted(phone, "observation", 2)
    assert {one["what"] for one in seen} == {"hollow", "dead branch"}
    told = {"tree_id": phone.tree["id"], "text": "two metres up", "observed_on": phone.pack["today"]}
    assert all({name: one[name] for name in told} == told for one in seen)


def test_a_second_tap_says_nothing_twice(field):
    phone = field()
    phone.go("see", tree_id=phone.tree["id"])
    phone.page.get_by_label("a hole in the trunk").check()
    phone.page.get_by_role("button", name="Keep it").dblclick(no_wait_after=True)
    phone.page.wait_for_selector("main[data-screen=next]")
    phone.go("new_tree", step="where")
    phone.page.get_by_role("button", name="Without a place").dblclick()
    phone.page.wait_for_selector("main .rows")
    assert phone.page.locator("main .rows li").count() == 1
    assert len(phone.sent("observation")) == 1


def test_having_looked_for_all_and_seen_none_is_said_as_such_and_nothing_is_kept_without_a_tick(field):
    phone = field()
    phone.go("see")
    phone.type("Find a tree", "2")
    phone.page.get_by_role("button", name="Tree 2 ·").click()
    phone.tap("Keep it")
    assert phone.page.get_by_text("Tick what you see").is_visible()
    phone.tap(SIGHTS["none of these"].plain)
    assert [one["what"] for one in phone.sent("observation")] == ["none of these"]


def test_a_danger_among_what_is_seen_is_reported_at_once_for_that_tree(field):
    phone = field()
    phone.go("see", tree_id=phone.tree["id"])
    for sight in (sight for sight in SIGHTS.values() if sight.danger):
        assert phone.page.get_by_role("button", name=sight.plain, exact=True).is_visible()
    phone.tap(SIGHTS["fresh crack"].plain)
    phone.page.wait_for_selector("main[data-screen=danger] .stop")
    danger = accepted(phone, "danger")[0]
    assert (danger["sight"], danger["tree_id"]) == ("fresh crack", phone.tree["id"])


def test_a_danger_at_a_tree_that_is_not_on_the_list_says_its_number(field):
    phone = field()
    phone.go("see", tag="501")
    phone.tap(SIGHTS["new lean"].plain)
    danger = accepted(phone, "danger")[0]
    assert (danger["tag"], danger["place"]) == ("501", "Tree 501")


# --- heights and crowns -------------------------------------------------------------------------------------


def test_a_height_with_a_stick_from_two_sides_is_kept_as_their_mean_with_what_was_read(field):
    phone = field()
    phone.go("heights", tree_id=phone.tree["id"], part="stick")
    phone.type("From the eye to the stick", 60)
    phone.type("What the tree covers", 60)
    phone.type("From you to the trunk", 14)
    assert phone.page.get_by_text("14.0 m, give or take").is_visible()
    phone.tap("Once more from another side")
    phone.type("What the tree covers", 30)
    phone.type("From you to the trunk", "28,4")
    phone.tap("Keep it")
    said = accepted(phone, "observation")[0]
    assert (said["what"], said["value"], said["unit"]) == ("height", 14.1, "m")
    assert said["method"] == "stick and equal triangles, 2 places"
    assert said["text"] == "14 m, 60 cm, 60 cm; 28.4 m, 30 cm, 60 cm"


def test_two_sides_that_are_far_apart_are_asked_about_once(field):
    phone = field()
    phone.go("heights", tree_id=phone.tree["id"], part="stick")
    for far in (14, 20):
        phone.type("From the eye to the stick", 60)
        phone.type("What the tree covers", 60)
        phone.type("From you to the trunk", far)
        if far == 14:
            phone.tap("Once more from another side")
    phone.tap("Keep it")
    assert phone.page.get_by_text("The two sides are far apart").is_visible()
    phone.tap("Keep it")
    assert phone.sent("observation")[0]["value"] == 17


def test_a_height_by_angles_typed_with_a_slope(field):
    phone = field()
    phone.go("heights", tree_id=phone.tree["id"], part="angle")
    phone.type("From you to the trunk", 25)
    phone.type("Up to the tip", 30)
    phone.type("To the foot", "-5")
    phone.type("Slope of the tape", "-9")
    phone.tap("Keep it")
    said = accepted(phone, "observation")[0]
    level = 25 * math.cos(math.radians(9))
    expected = level * (math.tan(math.radians(30)) + math.tan(math.radians(5)))
    assert said["value"] == pytest.approx(expected, abs=0.006)
    assert (said["method"], said["text"]) == ("angle and distance", "25 m, 30°, -5°, -9°")


def test_angles_come_from_the_tilt_of_the_phone_where_it_says_so(field):
    phone = field()
    phone.go("heights", tree_id=phone.tree["id"], part="angle")
    take = phone.page.get_by_role("button", name="Take from the phone")
    take.first.click()
    assert phone.page.get_by_text("This phone does not say how it is tilted").is_visible()
    for n, beta in enumerate((40.0, 176.0)):  # on its back, 176 is 4 above the level
        for _sample in range(9):
            phone.page.evaluate(TILTED, beta)
        take.nth(n).click()
    assert phone.page.get_by_label("Up to the tip").input_value() == "40.0"
    assert phone.page.get_by_label("To the foot").input_value() == "4.0"
    phone.type("From you to the trunk", 20)
    by_phone = phone.page.get_by_text("give or take").first.inner_text()
    phone.go("heights", tree_id=phone.tree["id"], part="angle")
    phone.type("From you to the trunk", 20)
    phone.type("Up to the tip", 40)
    phone.type("To the foot", 4)
    by_hand = phone.page.get_by_text("give or take").first.inner_text()
    assert by_phone.split(",")[0] == by_hand.split(",")[0]
    assert float(by_phone.split()[-2]) < float(by_hand.split()[-2])


def test_a_crown_in_two_directions_is_kept_as_their_mean(field):
    pack = a_pack()
    pack["site"]["units"] = "us"
    phone = field(pack)
    phone.go("heights", tree_id=phone.tree["id"], part="crown")
    phone.type("Across, one way (ft)", 20)
    phone.type("Across, at right angles to it (ft)", 30)
    phone.tap("Keep it")
    said = accepted(phone, "observation")[0]
    assert (said["what"], said["unit"], said["value"]) == ("crown diameter", "m", 7.62)
    assert (said["method"], said["text"]) == ("tape, mean of two directions", "6.1 m and 9.14 m")


def test_numbers_that_say_no_height_are_not_kept(field):
    phone = field()
    phone.go("heights", tree_id=phone.tree["id"], part="angle")
    phone.type("From you to the trunk", 25)
    phone.type("Up to the tip", "-5")
    phone.type("To the foot", 10)
    phone.tap("Keep it")
    assert phone.page.get_by_text("From these numbers no height follows").is_visible()
    assert phone.fake.items == {}


# --- pictures -----------------------------------------------------------------------------------------------


def a_jpeg(wide=3000, high=2000):
    picture = Image.new("RGB", (wide, high), "olive")
    exif = Image.Exif()
    exif[0x010F] = "a maker of cameras"
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


def choose(phone, name, kind, data):
    phone.page.locator("input[type=file]").last.set_input_files(
        {"name": name, "mimeType": kind, "buffer": data}
    )


def test_a_picture_is_made_smaller_and_leaves_without_what_the_camera_wrote_into_it(field):
    phone = field()
    phone.go("photo", subject="tree", subject_id=phone.tree["id"], kind="leaf")
    choose(phone, "leaf.jpg", "image/jpeg", a_jpeg())
    phone.page.get_by_text("The picture is kept on this phone").wait_for()
    content = accepted(phone, "photo")[0]
    for _try in range(200):
        if phone.fake.photos:
            break
        phone.page.wait_for_timeout(25)
    body = phone.fake.photos[content["photo_id"]]
    picture = Image.open(io.BytesIO(body))
    assert (picture.format, picture.size, dict(picture.getexif())) == ("JPEG", (1600, 1067), {})
    assert b"maker of cameras" not in body
    about = {"subject": "tree", "subject_id": phone.tree["id"], "kind": "leaf"}
    assert {name: content[name] for name in about} == about


def test_a_picture_that_the_phone_cannot_read_stays_there_with_a_sentence_and_is_not_sent(field):
    phone = field()
    phone.go("photo", subject="tree", subject_id=phone.tree["id"], kind="tree")
    choose(phone, "huge.jpg", "image/jpeg", b"\xff\xd8" + bytes(4_000_000))
    phone.page.get_by_text("This phone cannot make that picture smaller").wait_for()
    assert phone.page.evaluate(KEPT_PICTURES) == [["refused", 4_000_002]]
    choose(phone, "notes.txt", "text/plain", b"no picture")
    phone.page.get_by_text("That is no picture").wait_for()
    assert phone.page.evaluate(KEPT_PICTURES) == [["refused", 4_000_002]]
    phone.tap("Delete it")
    phone.page.get_by_text("Delete it").wait_for(state="detached")
    assert phone.page.evaluate(KEPT_PICTURES) == []
    assert (phone.fake.photos, phone.fake.items) == ({}, {})


# --- new trees ----------------------------------------------------------------------------------------------


def way(phone, name):
    phone.page.get_by_role("radio", name=name).check()


def pick(phone, label, words):
    phone.page.get_by_label(label).select_option(label=words)


def placed(phone, **details):
    """Keeps the place, enters the tree with details, and returns what was sent."""
    phone.tap("Keep this place")
    phone.page.get_by_role("button", name="Place 1").last.click()
    for label, value in details.items():
        phone.type(label, value)
    phone.tap("Enter it")
    phone.sent("tree")
    assert accepted(phone, "tree")
    return phone.sent("tree")[0]


def with_corners():
    pack = a_pack()
    pack["map"]["known"] = [{"name": "A house", "x": 0, "y": 0}, {"name": "B house", "x": 5, "y": 0}]
    return pack


def test_a_tree_by_two_tapes_stands_where_they_meet_on_the_side_that_was_said(field):
    phone = field(with_corners())
    phone.go("new_tree", step="where")
    way(phone, "Two tapes")
    pick(phone, "From point A", "A house")
    pick(phone, "Point B", "B house")
    phone.type("Tape from A", 3)
    phone.type("Tape from B", 1)
    assert phone.page.get_by_text("These two tapes do not reach each other").is_visible()
    phone.type("Tape from B", 4)
    phone.tap("Keep this place")
    assert phone.page.get_by_text("Something is missing").is_visible()
    phone.page.get_by_label("right").check()
    assert phone.page.get_by_text("Known to about 0.6 m").is_visible()
    sent = placed(phone)
    assert (sent["x"], sent["y"], sent["position_source"]) == (1.8, -2.4, "two tapes")
    assert sent["position_accuracy_m"] == 0.57
    assert sent["how"] == {
        "method": "two tapes",
        "a": [0, 0, 0.5],
        "b": [5, 0, 0.5],
        "from_a_m": 3,
        "from_b_m": 4,
        "side": "right",
        "from": ["A house", "B house"],
    }
    assert [stem["number"] for stem in sent["stems"]] == [1]


def test_a_tree_along_a_wall_and_off_it_in_feet(field):
    pack = with_corners()
    pack["site"]["units"] = "us"
    phone = field(pack)
    phone.go("new_tree", step="where")
    way(phone, "Along a wall")
    pick(phone, "From point A", "A house")
    pick(phone, "Point B", "B house")
    phone.type("Along, from A towards B (ft)", 10)
    phone.type("Off the line, to the trunk (ft)", 20)
    phone.page.get_by_label("left").check()
    sent = placed(phone)
    assert (sent["x"], sent["y"], sent["position_source"]) == (3.05, 6.1, "baseline and offset")


def test_a_tree_by_compass_and_tape_with_and_without_declination(field):
    phone = field(with_corners())
    phone.go("new_tree", step="where")
    way(phone, "Compass")
    pick(phone, "From point A", "A house")
    phone.type("Degrees on the compass", 85)
    phone.type("From A to the trunk", 20)
    assert phone.page.get_by_text("Known to about 5.3 m").is_visible()
    phone.type("Declination", 5)
    sent = placed(phone)
    assert (sent["x"], sent["y"], sent["position_source"]) == (20, 0, "bearing and distance")
    assert (sent["how"]["bearing_deg"], sent["how"]["declination_deg"]) == (85, 5)


def test_a_tree_by_paces_asks_for_the_pace_once_and_knows_it_at_the_next_tree(field):
    phone = field(with_corners())
    for n in (1, 2):
        phone.go("new_tree", step="where")
        way(phone, "Paces")
        if n == 1:
            for time in (1, 2, 3):
                phone.type(f"Paces over 20 m, time {time}", 25)
        pick(phone, "From point A", "A house")
        pick(phone, "Point B", "B house")
        phone.type("Paces along", 20)
        phone.type("Paces off", 10)
        phone.page.get_by_label("left").check()
        phone.tap("Keep this place")
        phone.page.wait_for_selector("main .rows")
    phone.tap("Send all as they are")
    for sent in phone.sent("tree", 2):
        assert (sent["x"], sent["y"], sent["position_source"]) == (16, 8, "paces")
        assert (sent["how"]["counts"], sent["how"]["walked_m"]) == ([25, 25, 25], 20)


def test_a_tree_by_gps_is_the_mean_of_some_seconds_and_never_better_than_5_m(field):
    here = {"longitude": 9.17 + 24 / 75_000, "latitude": 47.66 + 12 / 111_200, "accuracy": 3}
    phone = field(geolocation=here, permissions=["geolocation"])
    phone.go("new_tree", step="where")
    way(phone, "GPS")
    phone.tap("Start")
    phone.page.context.set_geolocation({**here, "accuracy": 4})
    phone.page.get_by_text("Known to about 5.0 m").wait_for()
    sent = placed(phone)
    assert (sent["x"], sent["y"]) == pytest.approx((24, 12), abs=0.02)
    assert (sent["lon_deg"], sent["lat_deg"]) == pytest.approx(
        (here["longitude"], here["latitude"]), abs=2e-7
    )
    assert (sent["position_source"], sent["position_accuracy_m"]) == ("GPS", 5)
    assert {fix[2] for fix in sent["how"]["fixes"]} <= {3, 4}


def test_a_ground_without_a_place_on_earth_takes_no_gps_and_says_so(field):
    pack = a_pack()
    pack["frame"] = {"kind": "local"}
    phone = field(pack)
    phone.go("new_tree", step="where")
    way(phone, "GPS")
    assert phone.page.get_by_text("This ground has no place on earth yet").is_visible()


def test_a_tap_on_the_plan_is_known_the_better_the_larger_the_plan_is(field):
    phone = field()
    phone.go("new_tree", step="where")
    canvas = phone.page.locator("canvas")
    canvas.click(position={"x": 180, "y": 150})
    told = phone.page.get_by_text("Known to about")
    coarse = float(told.inner_text().split()[-2])
    phone.page.get_by_role("button", name="Nearer").click(click_count=3)
    canvas.click(position={"x": 180, "y": 150})
    fine = float(told.inner_text().split()[-2])
    assert fine == pytest.approx(coarse / 1.6**3, abs=0.06)
    sent = placed(phone)
    assert sent["position_source"] == "tap on plan"
    assert sent["position_accuracy_m"] == pytest.approx(0.007 * sent["how"]["scale"], abs=0.01)


def test_a_corner_that_is_tapped_becomes_a_known_point_with_the_fingers_error(field):
    phone = field(with_corners())
    phone.go("new_tree", step="where")
    way(phone, "Two tapes")
    pick(phone, "Point B", "B house")
    phone.page.locator("canvas").click(position={"x": 180, "y": 150})
    assert phone.page.get_by_label("From point A").evaluate("e => e.selectedOptions[0].text") == "Corner 1"
    assert phone.page.get_by_label("Point B").evaluate("e => e.selectedOptions[0].text") == "B house"
    corner = phone.page.locator("canvas").bounding_box()
    assert corner is not None
    for name, far in (("Tape from A", 40), ("Tape from B", 40)):
        phone.type(name, far)
    phone.page.get_by_label("left").check()
    sent = placed(phone)
    assert sent["how"]["from"] == ["Corner 1", "B house"]
    assert sent["how"]["a"][2] > 1
    assert sent["position_accuracy_m"] > sent["how"]["a"][2] / math.sqrt(2)


def test_places_come_first_and_details_later_and_both_survive_a_reload(field):
    phone = field()
    phone.go("new_tree")
    for _place in range(3):
        phone.page.locator("button.main").click()
        phone.tap("Without a place")
        phone.page.wait_for_selector("main .rows")
    assert phone.page.locator("main button.main").inner_text() == "Place 4: where does it stand?"
    assert phone.fake.items == {}
    phone.page.reload()
    phone.page.wait_for_selector("html[data-ready]")
    phone.go("new_tree")
    phone.page.get_by_role("button", name="Place 2").click()
    phone.type("Number of the tag", "14")
    assert phone.page.get_by_text("A tree of the list has the number 14").is_visible()
    phone.type("Number of the tag", "99b")
    phone.type("Kind of tree", "an oak?")
    phone.page.get_by_label("think so").check()
    phone.type("How many trunks?", "2,5")
    phone.tap("Enter it")
    assert phone.page.get_by_text("Type how many trunks").is_visible()
    phone.type("How many trunks?", "2")
    phone.page.reload()
    phone.page.wait_for_selector("main[data-screen=new_tree] fieldset")
    assert phone.page.get_by_label("Kind of tree").input_value() == "an oak?"
    phone.tap("Enter it and measure")
    phone.page.wait_for_selector("main[data-screen=measure]")
    sent = phone.sent("tree")[0]
    assert (sent["tag"], sent["name_as_written"], sent["name_sure"]) == ("99b", "an oak?", "think so")
    assert [stem["number"] for stem in sent["stems"]] == [1, 2]
    assert "x" not in sent and "position_source" not in sent
    assert phone.page.get_by_text("Trunk 1 of 2").is_visible()
    phone.go("new_tree")
    assert phone.page.locator(".rows li").count() == 2


def test_a_reading_of_a_new_tree_names_its_trunk(field):
    phone = field()
    phone.go("new_tree", step="where", tag="77")
    phone.tap("Without a place")
    phone.page.get_by_role("button", name="77").click()
    phone.tap("Enter it and measure")
    phone.page.locator("form input.number").fill("80")
    phone.tap("That is our guess")
    phone.page.get_by_label("Reading").fill("82")
    phone.tap("Keep it")
    assert phone.sent("reading")[0]["stem_id"] == phone.sent("tree")[0]["stems"][0]["id"]


# --- awkward trunks, tags -----------------------------------------------------------------------------------


def test_what_makes_a_trunk_awkward_goes_with_its_reading(field):
    phone = field()
    phone.go("measure", tree_id=phone.tree["id"], step="read", guess=90)
    phone.page.get_by_text("Not level, ivy").click()
    phone.page.get_by_label("it stands on a slope").check()
    phone.page.get_by_label("a vine or ivy").check()
    phone.page.get_by_label("bark is missing").check()
    phone.type("How thick is the vine", "2")
    phone.type("How much of the width", "40")
    phone.page.keyboard.press("Tab")
    phone.page.get_by_label("Side on which").select_option("uphill")
    phone.page.get_by_label("How level").select_option("10")
    assert phone.page.get_by_text("That cannot be. Type it again").is_visible()
    phone.type("How much of the width", "96")
    phone.page.get_by_label("Reading").fill("94.5")
    phone.tap("Keep it")
    said = accepted(phone, "reading")[0]
    assert said["awkward"] == "slope, vine 2, missing bark 0.96"
    assert (said["side"], said["tilt_deg"]) == ("uphill", 10)


def test_the_code_of_a_tag_finds_its_tree_where_the_browser_reads_codes(field):
    reads = """self.BarcodeDetector = class {
      async detect() { return self.seen ? [{ rawValue: self.seen }] : []; }
    }"""
    phone = field(script=reads)
    phone.go("heights")
    blank = a_jpeg(40, 40)
    choose(phone, "tag.jpg", "image/jpeg", blank)
    phone.page.get_by_text("No code was found on that picture").wait_for()
    phone.page.evaluate("self.seen = 'https://trees.example/t/YRD-HJ4WX'")
    choose(phone, "tag.jpg", "image/jpeg", blank)
    phone.page.get_by_role("button", name="Tree 3 ·").click()
    assert phone.page.get_by_text("Tree 3").is_visible()
    phone.go("trees")
    phone.page.evaluate("self.seen = 'YRD-HJ3WX'")
    choose(phone, "tag.jpg", "image/jpeg", blank)
    phone.page.wait_for_selector("main .rows li:only-child >> text=2th from the gate")


# --- with the real server -----------------------------------------------------------------------------------


def states(page, least):
    """What the phone knows of what it entered, once all of it was answered."""
    said = """import('/static/field/keep.js').then((keep) => keep.items())
      .then((all) => all.map((one) => [one.kind, one.state, one.why]))"""
    for _try in range(400):
        found = page.evaluate(said)
        if len(found) >= least and all(state != "waiting" for _kind, state, _why in found):
            return found
        page.wait_for_timeout(25)
    raise AssertionError(found)


def test_a_new_tree_with_all_that_belongs_to_it_stands_in_the_records_of_the_ground(tmp_path, open_page):
    with served(tmp_path) as (store, address):
        field_items.ground(store)
        words = make_words(store, field_items.SLUG, LOCAL_MANAGER, field_items.ROUND)
        word = words[field_items.passes(store)["team 1"].crew_id]
        fake = SimpleNamespace(address=address, word=word, pack={"trees": [{"id": field_items.TREES[0]}]})
        phone = Phone(open_page(390, 844), fake)
        phone.go("hands")
        for n in (1, 2, 3):
            phone.type(f"Length of all, time {n}", 84 + n)
        phone.tap("Keep it")
        phone.page.wait_for_selector("main[data-screen=next]")
        phone.go("new_tree", step="where", tag="91")
        phone.page.locator("canvas").click(position={"x": 150, "y": 120})
        phone.tap("Keep this place")
        phone.page.get_by_role("button", name="91").click()
        phone.type("Kind of tree", "Quercus robur")
        phone.tap("Enter it and measure")
        phone.page.locator("form input.number").fill("80")
        phone.tap("That is our guess")
        phone.page.get_by_label("Reading").fill("82")
        phone.tap("Keep it")
        phone.page.get_by_role("button", name="Photo of the tape").click()
        choose(phone, "tape.jpg", "image/jpeg", a_jpeg(400, 300))
        phone.page.get_by_text("The picture is kept").wait_for()
        for screen, args in (("see", {}), ("heights", {"part": "crown"})):
            phone.go(screen, tree_id=field_items.TREES[1], **args)
            if screen == "see":
                phone.page.get_by_label("a dead branch").check()
            else:
                phone.type("Across, one way", 7)
                phone.type("Across, at right angles", 6)
            phone.tap("Keep it")
            phone.page.wait_for_selector(f"main:not([data-screen={screen}])")
        kinds = ["calibration", "tree", "reading", "photo", "observation", "observation"]
        assert states(phone.page, len(kinds)) == [[kind, "taken", None] for kind in kinds]
        view = view_of(store, field_items.SLUG, LOCAL_MANAGER)
        tree = view.trees.set_index("tag").loc["91"]
        assert (tree["position_source"], tree["scientific_name"]) == ("tap on plan", "Quercus robur")
        assert tree["dbh_cm"] == pytest.approx(82 / math.pi, rel=0.01)
        crowned = view.trees.set_index("tree_id").loc[field_items.TREES[1]]
        assert crowned["crown_diameter_m"] == 6.5


# --- how it looks -------------------------------------------------------------------------------------------

SCREENS = {
    "see": {"tree_id": None},
    "which tree": {},
    "hands": {},
    "heights": {"tree_id": None},
    "stick": {"tree_id": None, "part": "stick"},
    "angle": {"tree_id": None, "part": "angle"},
    "crown": {"tree_id": None, "part": "crown"},
    "photo": {"subject": "tree", "subject_id": None, "kind": "leaf"},
    "new trees": {},
    "where": {"step": "where"},
    "details": {"step": "details", "tree_id": None},
    "awkward": {"tree_id": None, "step": "read"},
}
NAMES = {
    "which tree": "see",
    "stick": "heights",
    "angle": "heights",
    "crown": "heights",
    "awkward": "measure",
}
NAMES |= dict.fromkeys(("new trees", "where", "details"), "new_tree")


@pytest.mark.parametrize("larger", [False, True], ids=["", "text at 200 %"])
def test_each_screen_fits_360_px_has_no_fault_and_targets_of_44_px(field, larger):
    phone = field(width=360)
    if larger:
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
    phone.go("new_tree", step="where")
    phone.tap("Without a place")
    phone.page.wait_for_selector("main .rows")
    draft = phone.page.evaluate(WALK)["places"][0]["tree_id"]
    for screen, args in SCREENS.items():
        ids = draft if screen == "details" else phone.tree["id"]
        given = {name: ids if value is None else value for name, value in args.items()}
        phone.go(NAMES.get(screen, screen), **given)
        looked_at(phone, screen, larger)
        if screen == "where":
            for name in ("Two tapes", "Along a wall", "Compass", "Paces", "GPS"):
                way(phone, name)
                looked_at(phone, f"{screen}, {name}", larger)
    assert phone.watched.complaints == []


def looked_at(phone, screen, larger):
    page = phone.page
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    for n in range(page.locator(".awkward input[type=checkbox]").count()):
        page.locator(".awkward input[type=checkbox]").nth(n).check()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360, screen
    assert page.evaluate(TARGETS) == [], screen
    assert page.locator("h1").count() == 1, screen
    if not larger:
        found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
        told = [f"{fault['id']}: {[node['html'][:160] for node in fault['nodes'][:3]]}" for fault in found]
        assert told == [], screen
