"""The addresses of phones: the pack, the picture of the ground, what is sent, pictures, saved files."""

import datetime as dt
import gzip
import io
import json
import uuid

import pytest
from PIL import Image

from layers import plan_image
from service.actors import LOCAL_MANAGER
from service.crew_tokens import give_token
from service.crew_words import make_words
from service.field_plan import MOST_BYTES
from service.file_box import FileBox
from service.photos import LONGEST_PX
from service.plan_images import add_plan_image, file_box, place_plan_image
from service.round_days import close, planned_round, start
from service.store import changes
from service.view import view_of
from tests import field_items as phone
from tests.command_line import done
from tests.field_items import SLUG, STEMS, TREES, item, reading, sent

PHOTO = str(uuid.UUID(int=4_100))


@pytest.fixture
def ground(store):
    return phone.ground(store)


@pytest.fixture
def tokens(ground):
    """What a phone of each team sends along, by the code of the team."""
    make_words(ground, SLUG, LOCAL_MANAGER, phone.ROUND)
    return {
        code: {"Authorization": f"Bearer {give_token(ground, mine, phone.PHONE, changes.now())}"}
        for code, mine in phone.passes(ground).items()
    }


def picture(size=(400, 300), form="JPEG", **more):
    out = io.BytesIO()
    Image.new("RGB", size, (120, 90, 60)).save(out, form, **more)
    return out.getvalue()


def put(client, token, content, id=PHOTO):
    return client.put(f"/field/api/photos/{id}", data=content, headers=token, content_type="image/jpeg")


def test_without_a_word_that_holds_nothing_is_told_or_taken(client, tokens):
    for wrong in ({}, {"Authorization": "Bearer none"}):
        assert client.get("/field/api/pack", headers=wrong).status_code == 401
        assert client.get("/field/api/plan.png", headers=wrong).status_code == 401
        assert (
            client.post("/field/api/send", json=sent([reading(STEMS[0])]), headers=wrong).status_code == 401
        )
        assert put(client, wrong, picture()).status_code == 401


def test_a_pack_that_is_known_is_not_sent_again_and_travels_compressed(client, tokens):
    mine = tokens["team 1"]
    first = client.get("/field/api/pack", headers=mine)
    told = first.json
    assert (told["format"], told["crew"]["code"], told["site"]["slug"]) == (1, "team 1", SLUG)
    again = client.get("/field/api/pack", headers={**mine, "If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    small = client.get("/field/api/pack", headers={**mine, "Accept-Encoding": "gzip"})
    assert json.loads(gzip.decompress(small.data))["trees"] == told["trees"]
    client.post("/field/api/send", json=sent([reading(told["trees"][0]["stems"][0]["id"])]), headers=mine)
    later = client.get("/field/api/pack", headers={**mine, "If-None-Match": first.headers["ETag"]})
    assert later.status_code == 200


def test_every_item_gets_an_answer_and_the_page_to_look_up_has_what_waits(client, tokens):
    items = [reading(STEMS[0]), reading(tag="99"), reading(STEMS[1], 99_999.0)]
    answer = client.post("/field/api/send", json=sent(items), headers=tokens["team 1"])
    assert dt.datetime.fromisoformat(answer.json["received_at"])
    told = {one["id"]: one for one in answer.json["answers"]}
    assert [told[one["id"]]["outcome"] for one in items] == ["taken", "set aside", "refused"]
    assert told[items[0]["id"]].keys() == {"id", "outcome"}
    assert "1 entry of a phone waits" in client.get(f"/sites/{SLUG}").text
    assert "No tree had the number 99" in client.get(f"/sites/{SLUG}/set-aside").text


def test_what_is_no_batch_is_refused_as_a_whole(client, tokens):
    mine = tokens["team 1"]
    assert client.post("/field/api/send", json=[], headers=mine).status_code == 422
    assert client.post("/field/api/send", json={"format": 1, "items": []}, headers=mine).status_code == 422
    many = sent([{} for _ in range(201)])
    assert client.post("/field/api/send", json=many, headers=mine).status_code == 422
    assert client.post("/field/api/send", data="x", headers=mine).status_code in (415, 422)


def test_what_is_nested_without_end_is_no_json(client, tokens):
    kind = {"Content-Type": "application/json"}
    for path, headers in (("send", tokens["team 1"]), ("join", {})):
        answer = client.post(f"/field/api/{path}", data="[" * 8000, headers={**headers, **kind})
        assert answer.status_code == 400


def test_a_word_that_ended_takes_nothing_and_what_was_kept_stays(client, tokens, ground):
    mine, items = tokens["team 1"], [reading(STEMS[0])]
    assert client.post("/field/api/send", json=sent(items), headers=mine).status_code == 200
    version = planned_round(view_of(ground, SLUG, LOCAL_MANAGER), phone.ROUND).version
    version = start(ground, SLUG, LOCAL_MANAGER, phone.ROUND, version, "a test")
    assert client.post("/field/api/send", json=sent(items), headers=mine).status_code == 200
    close(ground, SLUG, LOCAL_MANAGER, phone.ROUND, version)
    ended = client.post("/field/api/send", json=sent([reading(STEMS[1])]), headers=mine)
    assert (ended.status_code, ended.json["type"]) == (401, "/problems/word-ended")
    assert len(view_of(ground, SLUG, LOCAL_MANAGER).records.readings) == 1


def test_a_picture_comes_before_or_after_what_it_belongs_to_and_once(client, tokens, ground, settings):
    mine, other = tokens["team 1"], str(uuid.UUID(int=4_101))
    said = [
        item("photo", {"photo_id": id, "subject": "tree", "subject_id": TREES[0], "kind": "leaf"})
        for id in (PHOTO, other)
    ]
    taken = picture((2400, 1800), exif=_exif())
    assert put(client, mine, taken).status_code == 201
    assert client.post("/field/api/send", json=sent(said), headers=mine).status_code == 200
    assert put(client, mine, taken).status_code == 200
    assert put(client, mine, picture(form="PNG"), other).status_code == 201
    assert put(client, mine, picture((10, 10))).status_code == 409
    shown = client.get(f"/sites/{SLUG}/photos/{PHOTO}.jpg")
    with Image.open(io.BytesIO(shown.data)) as kept:
        assert (kept.format, max(kept.size), dict(kept.getexif())) == ("JPEG", LONGEST_PX, {})
    page = client.get(f"/sites/{SLUG}/trees/{TREES[0]}").text
    assert f"/sites/{SLUG}/photos/{PHOTO}.jpg" in page
    assert page.count("a leaf") >= 2


def _exif():
    exif = Image.Exif()
    exif[0x010E] = "who and where"
    return exif.tobytes()


def test_a_picture_of_forty_megabytes_stays_on_the_phone_with_a_sentence(client, tokens):
    answer = put(client, tokens["team 1"], b"\xff\xd8\xff" + b"\0" * (40 << 20))
    assert answer.status_code == 413
    assert answer.json["detail"]
    smaller = put(client, tokens["team 1"], b"\xff\xd8\xff" + b"\0" * (9 << 20))
    assert smaller.status_code == 413
    assert "stays on the phone" in smaller.json["detail"]


@pytest.mark.parametrize("content", [b"", b"no picture", b"\xff\xd8\xffbroken", b"%PDF-1.4"])
def test_what_is_no_picture_is_refused(client, tokens, content):
    assert put(client, tokens["team 1"], content).status_code == 422
    assert put(client, tokens["team 1"], picture(), "none").status_code == 422


def test_the_plan_of_the_ground_is_small_enough_for_a_phone(client, tokens, ground, settings):
    assert client.get("/field/api/plan.png", headers=tokens["team 1"]).status_code == 404
    assert client.get("/field/api/pack", headers=tokens["team 1"]).json["map"]["picture"] is None
    noisy = Image.effect_noise((2400, 1600), 80).convert("RGB")
    out = io.BytesIO()
    noisy.save(out, "PNG")
    box = file_box(ground, settings.data_folder)
    assert isinstance(box, FileBox)
    id = add_plan_image(ground, box, SLUG, LOCAL_MANAGER, "plan", out.getvalue())
    flat = plan_image.from_length((0, 0), (2400, 0), 120.0)
    placed = plan_image.with_point_on_earth(flat, (0, 1600), 9.0, 50.0)
    place_plan_image(ground, SLUG, LOCAL_MANAGER, id, 1, placed, 0.02)
    answer = client.get("/field/api/plan.png", headers=tokens["team 1"])
    assert len(answer.data) <= MOST_BYTES
    with Image.open(io.BytesIO(answer.data)) as small:
        assert small.width / small.height == pytest.approx(1.5, abs=0.01)
    told = client.get("/field/api/pack", headers=tokens["team 1"]).json["map"]["picture"]
    assert told["address"] == "/field/api/plan.png"
    (west, north), (east, _n), (_e, south), (_w, _s) = told["corners"]
    # the lower left corner of the plan lies where the first tree stands: the plane begins there
    assert (west, south) == pytest.approx((0.0, 0.0), abs=0.2)
    assert (east, north) == pytest.approx((120.0, 80.0), abs=0.3)


# --- a file that a phone saved ------------------------------------------------------------------------------


def saved(items, site=SLUG, **more):
    said = {"what": "boleward measurements of a phone", "format": 1, "site": site, "phone": phone.PHONE}
    return json.dumps(
        {**said, "program": "0", "saved_at": "2026-05-04T12:00:00+02:00", "items": items, **more}
    )


def upload(client, text, slug=SLUG):
    sending = {"file": (io.BytesIO(text.encode()), "school-team 1-2026-05-04.json")}
    page = client.get(f"/sites/{slug}/data").text
    token = page.split('name="csrf_token" value="')[1].split('"')[0]
    answer = client.post(f"/sites/{slug}/data/uploads", data={**sending, "csrf_token": token})
    assert answer.status_code == 303
    return answer.headers["Location"], token


def test_a_saved_file_is_taken_in_item_by_item_and_nothing_twice(client, tokens):
    items = [
        reading(STEMS[0]),
        reading(STEMS[1], crew="team 2"),
        reading(tag="7"),
        reading(STEMS[2], crew="x"),
    ]
    client.post("/field/api/send", json=sent(items[:1]), headers=tokens["team 1"])
    where, token = upload(client, saved(items))
    page = client.get(where).text
    assert "a measurement: 4" in page
    taken = client.post(where, data={"csrf_token": token})
    assert taken.status_code == 200
    assert taken.text.count("<td>already there</td>") == 1
    assert taken.text.count("<td>set aside</td>") == 2
    assert "It is of no team of these measuring days" in taken.text
    again = client.post(where, data={"csrf_token": token}).text
    assert "<td>taken</td>" not in again


def test_a_saved_file_of_another_ground_or_a_damaged_one_is_not_taken(client, tokens):
    where, token = upload(client, saved([reading(STEMS[0])], site="park"))
    assert "of the ground park" in client.get(where).text
    assert client.post(where, data={"csrf_token": token}).status_code == 422
    where, token = upload(client, saved([])[:-9])
    assert client.get(where).status_code == 400
    assert client.post(where, data={"csrf_token": token}).status_code == 422


def test_the_command_that_brings_lists_in_takes_a_saved_file_too(ground, settings, tmp_path):
    path = tmp_path / "saved.json"
    path.write_text(saved([reading(STEMS[0]), reading(tag="99")]), encoding="utf-8")
    assert "Nothing was taken" in done("import", path, "--dry-run", store=settings.store_address).out
    assert len(view_of(ground, SLUG, LOCAL_MANAGER).records.readings) == 0
    told = done("import", path, "--site", SLUG, store=settings.store_address).out
    assert "2 entries of a phone: 1 taken, 1 set aside" in told
    assert len(view_of(ground, SLUG, LOCAL_MANAGER).records.readings) == 1
