"""The JSON API: rows page by page, figures, readings and observations taken exactly once."""

import pytest

from layers import columns
from tests.web_site import HOSTILE_TAG, SLUG, TREES, make_web_site, new_id


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def api(name=""):
    return f"/api/sites/{SLUG}{name}"


def reading(view, **changes):
    stem = view.records.stems.iloc[1]["stem_id"]
    said = {"id": new_id(), "stem_id": stem, "value": 53.5, "unit": "cm", "measured_on": "2026-06-02"}
    return {**said, **changes}


def test_sites_are_listed_with_their_change_number(client, view):
    [site] = client.get("/api/sites").json
    assert (site["slug"], site["trees"], site["change_no"]) == (SLUG, TREES, 5)


def test_figures_are_a_list_with_every_key_and_the_whole_site_first(client, view):
    rows = client.get(api("/figures")).json
    assert set(rows[0]) == set(columns.names("figures"))
    assert rows[0]["area_id"] is None
    assert rows[0]["trees"] == TREES
    assert {row["layer"] for row in rows[1:]} == {"places"}
    then = client.get(api("/figures?as_of=2024-05-13")).json[0]
    assert then["as_of"] == "2024-05-13"
    assert then["measured_stems"] == 0
    assert then["mean_dbh_cm"] is None


def test_the_caution_goes_with_rows_as_a_link(client, view):
    for name in ("/trees", "/figures", "/flags"):
        assert '<http://localhost/cautions>; rel="describedby"' in client.get(api(name)).headers["Link"]


def test_rows_come_page_by_page_without_loss(client, view):
    found, address = [], api("/trees?limit=7")
    while address:
        answer = client.get(address)
        found += answer.json
        links = [link for link in answer.headers.get_all("Link") if 'rel="next"' in link]
        address = links[0][1 : links[0].index(">")] if links else None
    assert len(found) == len({row["tree_id"] for row in found}) == TREES
    assert HOSTILE_TAG in {row["tag"] for row in found}


def test_an_unchanged_list_is_304(client, view):
    tag = client.get(api("/trees")).headers["ETag"]
    assert client.get(api("/trees"), headers={"If-None-Match": tag}).status_code == 304
    client.post(api("/readings"), json=reading(view))
    assert client.get(api("/trees"), headers={"If-None-Match": tag}).status_code == 200


def test_a_reading_is_taken_once_and_known_again(client, view):
    item = reading(view)
    first = client.post(api("/readings"), json=item)
    assert (first.status_code, first.json["outcome"]) == (201, "taken")
    again = client.post(api("/readings"), json=item)
    assert (again.status_code, again.json["outcome"]) == (200, "already there")
    assert len([row for row in client.get(api("/readings")).json if row["reading_id"] == item["id"]]) == 1


def test_a_known_id_with_other_content_is_409_and_shows_both(client, view):
    item = reading(view)
    client.post(api("/readings"), json=item)
    answer = client.post(api("/readings"), json={**item, "value": 17.5})
    assert answer.status_code == 409
    assert (answer.json["sent"]["value"], answer.json["known"]["value"]) == (17.5, 53.5)


def test_a_batch_is_answered_item_by_item_in_its_order(client, view):
    good = reading(view)
    batch = [good, good, {**good, "value": 1.0}, reading(view, value=-1), reading(view, value=1100), {"x": 1}]
    answer = client.post(api("/readings"), json=batch)
    assert answer.status_code == 200
    assert [item["outcome"] for item in answer.json] == [
        "taken", "already there", "refused", "refused", "questioned", "refused",
    ]  # fmt: skip
    assert all(item["why"] for item in answer.json[2:])


def test_a_refused_record_alone_is_a_problem_with_its_reason(client, view):
    answer = client.post(api("/readings"), json=reading(view, stem_id=new_id()))
    assert answer.status_code == 422
    assert "There is no stem" in answer.json["detail"]


def test_every_fault_of_a_refused_record_is_told_with_its_place(client, view):
    bad = reading(view, unit="furlong", height_m=-1)
    alone = client.post(api("/readings"), json=bad).json
    assert {fault["where"] for fault in alone["errors"]} == {"/unit", "/height_m"}
    (in_a_batch,) = client.post(api("/readings"), json=[bad]).json
    assert {fault["where"] for fault in in_a_batch["faults"]} == {"/unit", "/height_m"}


def test_a_height_that_looks_like_feet_is_kept_and_asked_about(client, view):
    answer = client.post(api("/readings"), json=reading(view, height_m=4.5)).json
    assert answer["outcome"] == "questioned"
    assert "at 4.50 m" in answer["why"] and "Is the height right?" in answer["why"]


def test_a_day_before_living_memory_is_kept_and_asked_about(client, view):
    answer = client.post(api("/readings"), json=reading(view, measured_on="1726-05-04")).json
    assert answer["outcome"] == "questioned"
    assert "nothing says that the tree was there by then" in answer["why"]


def test_a_batch_that_is_too_large_is_refused_whole(client, view):
    answer = client.post(api("/readings"), json=[{}] * 5001)
    assert answer.status_code == 422
    assert "5001" in answer.json["detail"]


def test_an_observation_is_taken(client, view):
    item = {
        "id": new_id(),
        "tree_id": view.trees.iloc[2]["tree_id"],
        "what": "height",
        "value": 14,
        "unit": "m",
    }
    assert client.post(api("/observations"), json=item).status_code == 201
    assert client.post(api("/observations"), json=[item]).json[0]["outcome"] == "already there"


def test_changes_since_a_number_are_in_order(client, view):
    numbers = [change["change_no"] for change in client.get(api("/changes?since=2")).json["changes"]]
    assert numbers == [3, 4, 5]
