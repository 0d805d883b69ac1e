"""The page of what phones sent and a person has to mend."""

import re

import pytest

from service import set_aside
from service.actors import LOCAL_MANAGER
from service.view import view_of
from tests import field_items as phone
from tests.field_items import SLUG, STEMS, TREES, item, reading, take
from tests.web_forms import words

PAGE = f"/sites/{SLUG}/set-aside"


@pytest.fixture
def ground(store):
    return phone.ground(store)


def settle(client, store, **typed):
    """Send the form of the first one that waits."""
    (one, *_rest) = set_aside.all_waiting(store, SLUG)
    page = client.get(PAGE).text
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    said = {"csrf_token": token, "version": one.version, "act": "take", **typed}
    return client.post(f"{PAGE}/{one.id}", data=said)


def readings(store):
    return view_of(store, SLUG, LOCAL_MANAGER).records.readings


def test_the_page_says_what_was_sent_by_whom_when_and_why_it_waits(client, ground):
    take(ground, [reading(tag="99", note="by the <b>gate</b>", first_guess=90.0)])
    page = client.get(PAGE).text
    said = words(page)
    for told in ("team 1: a measurement", "100 cm", "1.30 m", "4 May 2026, 10:00", "guessed first 90"):
        assert told in said
    assert "No tree had the number 99 before this day." in said
    assert "<b>gate</b>" not in page


def test_a_ground_on_which_nothing_waits_says_so_and_nothing_on_its_first_page(client, ground):
    assert "Nothing waits." in client.get(PAGE).text
    assert "set-aside" not in client.get(f"/sites/{SLUG}").text


def test_one_of_two_trees_with_a_number_is_chosen(client, ground):
    take(ground, [reading(tag="7")])
    page = client.get(PAGE).text
    assert page.count('name="meant"') == 2
    assert settle(client, ground).status_code == 422
    done = settle(client, ground, meant=STEMS[7])
    assert (done.status_code, done.headers["Location"]) == (303, PAGE)
    assert list(readings(ground)["stem_id"]) == [STEMS[7]]
    page = client.get(PAGE).text
    assert "Nothing waits." in page
    assert "taken in" in page


def test_a_tree_and_trunk_are_named_by_number_or_code(client, ground):
    take(ground, [reading(tag="99"), reading(tag="98")])
    for wrong in ({"tag": "97"}, {"tag": "7"}, {"tag": "6", "trunk": "3"}):
        assert settle(client, ground, **wrong).status_code == 422
    assert settle(client, ground, tag="6", trunk="2").status_code == 303
    code = next(tree["code"] for tree in _pack(ground)["trees"] if tree["id"] == TREES[6])
    assert settle(client, ground, tag=code).status_code == 303
    stems = view_of(ground, SLUG, LOCAL_MANAGER).records.stems
    second = stems[(stems["tree_id"] == TREES[5]) & (stems["number"] == 2)]["stem_id"].iloc[0]
    assert set(readings(ground)["stem_id"]) == {second, STEMS[6]}


def _pack(store):
    from service.field_pack import pack_of

    return pack_of(store, phone.passes(store)["team 1"])[0]


def test_what_is_dropped_needs_a_reason_and_stays_in_the_list_below(client, ground):
    take(ground, [reading(tag="99")])
    assert settle(client, ground, act="drop").status_code == 422
    assert settle(client, ground, act="drop", why="they stood at the wrong gate").status_code == 303
    assert "dropped: they stood at the wrong gate" in client.get(PAGE).text
    assert len(readings(ground)) == 0


def test_what_somebody_settled_meanwhile_is_said(client, ground):
    take(ground, [reading(tag="99")])
    (one,) = set_aside.all_waiting(ground, SLUG)
    page = client.get(PAGE).text
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    settle(client, ground, tag="1")
    said = {"csrf_token": token, "version": one.version, "act": "take", "tag": "2"}
    assert client.post(f"{PAGE}/{one.id}", data=said).status_code == 422
    assert list(readings(ground)["stem_id"]) == [STEMS[0]]


def test_every_kind_that_can_wait_is_shown(client, ground):
    take(ground, [reading(STEMS[0])], format=9)
    strange = [item("song", {"text": "la"}), item("observation", {"tag": "99", "what": "height", "value": 3})]
    strange += [item("status", {"tag": "99", "says": "only a stump"})]
    take(ground, strange)
    said = words(client.get(PAGE).text)
    for told in (
        "does not know records of the kind song",
        "only a stump",
        "A newer page of the phone",
    ):
        assert told in said
