"""Pages of a site: what they say, and that texts from people stay texts."""

import html
import re

import pytest

from layers.caution import CAUTION
from service.actors import LOCAL_MANAGER
from service.danger import answer_dangers
from service.entry import enter_observations
from service.records import ObservationIn
from service.store.site_rows import create_site
from service.view import view_of
from service.web.data_pages import short_name
from tests.web_site import (
    HOSTILE_HEADER,
    HOSTILE_NAME,
    HOSTILE_NOTE,
    HOSTILE_PLACE,
    HOSTILE_TAG,
    SLUG,
    TREES,
    make_web_site,
)

TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')
PAGES = (
    "",
    "/figures",
    "/trees",
    "/flags",
    "/flags?kind=all",
    "/data",
    "/data/check",
    "/terms",
    "/ground",
    "/sheets",
)


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def page(client, path=""):
    answer = client.get(f"/sites/{SLUG}{path}")
    assert answer.status_code == 200
    return answer.text


def words(text):
    """What a person reads: without tags, entities resolved, blanks folded."""
    bare = re.sub(r"<(script|style)\b.*?</\1>", " ", text, flags=re.S)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", bare)))


def first_tree(view):
    return view.trees.sort_values("fid").iloc[0]


@pytest.mark.parametrize("path", PAGES)
def test_hostile_names_are_shown_as_they_were_typed(client, view, path):
    text = page(client, path)
    assert HOSTILE_NAME in html.unescape(text)
    assert "49" not in re.sub(r"\d{3,}|\d+[.,]\d+|&#\d+;", "", words(text)) or "{{7*7}}" in words(text)
    for typed in (HOSTILE_NAME, HOSTILE_TAG, HOSTILE_NOTE, HOSTILE_PLACE, HOSTILE_HEADER):
        if re.search("[<>]", typed):
            assert typed not in text


def test_hostile_texts_of_a_tree_are_shown_as_they_were_typed(client, view):
    tree = first_tree(view)
    said = html.unescape(page(client, f"/trees/{tree.tree_id}"))
    for typed in (HOSTILE_NOTE, HOSTILE_HEADER, "=K0", "Council <i>"):
        assert typed in said
    by_tag = client.get(f"/sites/{SLUG}/trees", query_string={"tag": HOSTILE_TAG})
    assert HOSTILE_TAG in html.unescape(by_tag.text)
    assert HOSTILE_TAG not in by_tag.text


def test_the_short_caution_stands_word_for_word_where_things_to_look_at_are_shown(client, view):
    tree = first_tree(view)
    caution = CAUTION.replace("{phone}", "112 <b>")
    for path in ("", "/figures", "/trees", "/flags", "/data", f"/trees/{tree.tree_id}"):
        assert caution in words(page(client, path))
    assert "long caution" in page(client)


def test_the_first_page_of_a_site_says_what_is_to_be_seen_to(client, view):
    said = words(page(client))
    assert "1 tree is to be looked at" in said
    assert f"trees {TREES} " in said
    assert f"of these measured {TREES - TREES // 6} " in said
    assert "of these looked at by a qualified person within the interval 1 " in said
    assert "give or take" in said
    assert ", assumed" in said


def test_a_danger_that_was_seen_stands_first_until_it_is_answered(client, store, view):
    tree = view.trees.sort_values("fid").iloc[4]
    assert "Danger was seen" not in words(page(client))
    seen = {"tree_id": tree.tree_id, "what": "hanging or broken branch", "observed_on": "2026-06-02"}
    enter_observations(store, SLUG, LOCAL_MANAGER, [seen])
    text = page(client)
    assert "Danger was seen here. Keep people away. Call now: 112 <b>" in words(text)
    assert words(text).index("Danger was seen") < words(text).index("to be looked at by a qualified")
    assert tree.tag in words(page(client, f"/flags?kind=sign&tree_id={tree.tree_id}"))
    (danger,) = view_of(store, SLUG, LOCAL_MANAGER).dangers["danger_id"]
    done = {"report_id": danger, "did": "cut off", "organisation": "council", "answered_on": "2026-06-03"}
    answer_dangers(store, SLUG, LOCAL_MANAGER, [done])
    assert "Danger was seen" not in words(page(client))


def test_another_day_is_said_on_every_page(client, view):
    for path in ("", "/figures", "/trees", "/flags", "/data"):
        then = words(page(client, f"{path}?as_of=2024-06-01"))
        assert "as it was on 1 June 2024" in then
        assert "as it was on" not in words(page(client, path))


def test_a_day_still_to_come_is_said_to_be_carried_forward_and_never_as_it_was(client, view):
    for path, known in (("?as_of=2099-06-01", "from what is known today"), ("/trees?as_of=2099-06-01", "")):
        then = words(page(client, path))
        assert f"This day is still to come: 1 June 2099 is carried forward {known}" in then
        assert "as it was on" not in then
    then = words(page(client, f"?as_of=2099-06-01&known_at={view.known_at}"))
    assert f"1 June 2099 is carried forward from what was known at change {view.known_at}." in then
    assert "as it was on" not in then


def test_nothing_on_an_empty_ground_is_made_up(client, store):
    create_site(store, "empty", actor=LOCAL_MANAGER, name="Empty")
    for path in ("", "/figures", "/trees", "/flags", "/data", "/data/check", "/ground", "/sheets"):
        answer = client.get(f"/sites/empty{path}")
        assert answer.status_code == 200
        assert "nan" not in words(answer.text).split()
        assert "None" not in words(answer.text).split()
    assert "trees 0 " in words(client.get("/sites/empty").text)


def test_a_tree_shows_its_measurements_with_their_source_and_what_makes_up_the_error(client, view):
    said = words(page(client, f"/trees/{first_tree(view).tree_id}"))
    assert "58.5 cm round, at 0.90 m" in said
    assert "40 cm round, height not said" in said
    assert "pupils with their leader" in said
    assert "used now" in said
    assert "What makes up the give or take" in said
    assert "the instrument, on all trees alike" in said
    assert "Growth says nothing about whether a branch or trunk may break" in said


def test_a_tree_that_is_not_there_is_404_and_says_so(client, view):
    answer = client.get(f"/sites/{SLUG}/trees/7c9e6679-7425-40de-944b-e07fc1f90a01")
    assert answer.status_code == 404
    assert "tree on this ground" in answer.text


def test_pages_ask_as_of_a_day_and_keep_it_in_their_links(client, view):
    then = page(client, "/trees?as_of=2024-06-01")
    assert "As of 1 June 2024" in words(then)
    assert f"/sites/{SLUG}/flags?as_of=2024-06-01" in then
    tree = first_tree(view).tree_id
    assert "58.5" not in words(page(client, f"/trees/{tree}?as_of=2024-06-01")).split("How do you know?")[0]


def test_trees_are_found_by_number_kind_and_part(client, view):
    assert "1 tree" in words(page(client, "/trees?tag=A2"))
    assert "6 trees" in words(page(client, "/trees?q=tilia"))
    assert "No" not in words(page(client, "/trees?q=tilia+front")).split("nothing")[0].split("Page")[0].split(
        " "
    )
    table = client.get(f"/sites/{SLUG}/trees.csv?q=tilia").get_data(as_text=True)
    assert table.count("Tilia cordata") >= 6
    assert "Quercus" not in table
    assert "'=K1" in table


def test_the_list_to_be_looked_at_never_says_how_many_of_a_hundred(client, view):
    for path in ("", "/flags"):
        said = words(page(client, path)).split("Kinds")[0]
        assert not re.search(r"\d\s*%", said)


def test_terms_are_changed_with_the_former_kept_and_an_old_version_is_refused(client, view):
    text = page(client, "/terms")
    form = {
        "csrf_token": TOKEN.search(text).group(1),
        "version": "1",
        "name": "Yard",
        "phone": "999",
        "qualified": "tree office",
        "units": "us",
        "breast_height_m": "1.4",
        "country": "gb",
        "time_zone": "Europe/London",
    }
    assert client.post(f"/sites/{SLUG}/terms", data=form).status_code == 303
    said = words(page(client))
    assert "call 999 now" in said
    assert "tree office" in said
    assert " sq ft" in said
    again = client.post(f"/sites/{SLUG}/terms", data=form)
    assert again.status_code == 422
    assert "changed this meanwhile" in words(again.text)
    bad = {**form, "version": "2", "time_zone": "Mars/Base", "name": ""}
    answer = words(client.post(f"/sites/{SLUG}/terms", data=bad).text)
    assert "Area/City" in answer
    assert "Give the ground a name" in answer


def test_starting_a_ground_asks_three_things_and_takes_the_height_from_the_country(client):
    token = TOKEN.search(client.get("/start").text).group(1)
    form = {
        "csrf_token": token,
        "name": "Schule Öst <b>",
        "country": "us",
        "units": "us",
        "time_zone": "nowhere",
    }
    made = client.post("/start", data=form)
    assert made.headers["Location"] == "/sites/schule-ost-b"
    assert "4 ft 6 in" in client.get("/sites/schule-ost-b").text
    again = client.post("/start", data=form)
    assert again.headers["Location"] == "/sites/schule-ost-b-2"
    assert client.post("/start", data={**form, "name": " "}).status_code == 422
    assert client.post("/start", data={**form, "units": "cubits"}).status_code == 422


@pytest.mark.parametrize(
    ("name", "short"),
    [("Schule am Weiß", "schule-am-weiss"), ("  ", "ground"), ("公園", "ground"), ("A" * 90, "a" * 50)],
)
def test_a_name_becomes_a_short_name_for_addresses(name, short):
    assert short_name(name) == short


def test_the_first_page_has_three_doors(client, view):
    said = words(client.get("/").text)
    assert "Look at a sample ground" in said
    assert "Start my ground" in said
    assert "I have a list" in said
    assert HOSTILE_NAME in said


def test_samples_come_and_go_with_one_click_and_take_nothing_else_along(client, view):
    token = TOKEN.search(client.get("/start").text).group(1)
    assert client.post("/samples", data={"csrf_token": token}).headers["Location"] == "/"
    samples = [site["slug"] for site in client.get("/api/sites").json if site["invented"]]
    assert len(samples) == 2
    assert "invented sample" in words(client.get(f"/sites/{samples[0]}").text)
    for slug in samples:
        assert client.post(f"/samples/{slug}/discard", data={"csrf_token": token}).status_code == 303
    assert [site["slug"] for site in client.get("/api/sites").json] == [SLUG]
    assert client.get(f"/api/sites/{SLUG}/figures").json[0]["trees"] == TREES
    refused = client.post(f"/samples/{SLUG}/discard", data={"csrf_token": token})
    assert refused.status_code == 422
    assert "no invented ground" in words(refused.text)


def test_pages_say_entries_rules_and_positions_in_plain_words(client, store, view):
    tree = first_tree(view)
    seen = [
        ObservationIn(tree_id=tree.tree_id, what="hollow", observed_on="2026-06-01", crew_kind="volunteers")
    ]
    enter_observations(store, SLUG, LOCAL_MANAGER, seen)
    data, flags = words(page(client, "/data")), words(page(client, "/flags?kind=all"))
    assert "entered what was seen" in data and "entered observation" not in data
    assert "Source of the rule: " in flags and "rule: " not in flags.replace("Source of the rule: ", "")
    record = words(page(client, f"/trees/{tree.tree_id}")).split("Permanent id")[1]
    assert "latitude, longitude from a list" in record
