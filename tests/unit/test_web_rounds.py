"""Pages of measuring days: planned, put back, words shown once, day page, start, progress, close, paper."""

import html
import re

import pypdfium2
import pytest

from layers.cautions import LONG
from layers.round_choice import NO_PLACE
from service.actors import LOCAL_MANAGER
from service.edit import add_crews, add_rounds, add_trees
from service.outlets.sheet_layout import rows_a_sheet
from service.round_days import planned_round
from service.view import today_in, view_of
from tests.web_forms import form_values, send, words
from tests.web_site import SLUG, make_web_site

ASKED = {
    "name": "Spring <b>{{7*7}}</b>",
    "from_on": "2999-05-04",
    "pupils": "2",
    "volunteers": "0",
    "meeting_words": "at the gate",
    "lon_deg": "9.1703",
    "lat_deg": "47.6599",
}


@pytest.fixture
def site(store, tmp_path, app):
    make_web_site(store, tmp_path)
    return store


def view(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def planned(client, store, **more):
    sent = send(client, "/rounds/new", **{**ASKED, **more})
    assert sent.status == 303, sent.faults or sent.whole
    id = re.fullmatch(rf"/sites/{SLUG}/rounds/([0-9a-f-]+)/plan", sent.location)[1]
    return id, planned_round(view(store), id)


def page(client, path, status=200):
    answer = client.get(f"/sites/{SLUG}{path}")
    assert answer.status_code == status
    return answer.text


def pages(pdf):
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [" ".join(sheet.get_textpage().get_text_bounded().split()) for sheet in document]
    finally:
        document.close()


def paper(client, id, leader=False):
    answer = client.get(f"/sites/{SLUG}/rounds/{id}/sheets.pdf{'?leader=yes' if leader else ''}")
    assert answer.status_code == 200
    assert answer.content_type == "application/pdf"
    return pages(answer.data)


def form_at(text, action):
    """The fields of the form that is sent to an address."""
    part = text[text.index(f'action="/sites/{SLUG}{action}"') :]
    return dict(
        re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', part[: part.index("</form>")])
    )


def post(client, path, shown, **typed):
    return client.post(f"/sites/{SLUG}{path}", data={**form_at(shown, path), **typed})


def test_a_plan_is_made_on_the_page_and_its_plan_tells_teams_trees_and_why_trees_are_left_out(client, site):
    id, now = planned(client, site)
    text = page(client, f"/rounds/{id}/plan")
    said = words(text)
    assert "team 1" in said and "team 2" in said
    assert "Spring <b>{{7*7}}</b>" in html.unescape(text)
    assert "<b>{{7" not in text
    unseen = {one["tree_id"] for one in now.plan["left_out"] if one["reason"] == "unseen"}
    assert unseen
    assert "round the trunk, and nobody qualified has looked at it" in said
    assert said.count("nobody qualified has looked at it") == len(unseen)
    assert "<svg" in text


def test_volunteers_get_what_pupils_are_kept_off(client, site):
    _id, now = planned(client, site, pupils="1", volunteers="1")
    assert now.plan["left_out"] == []
    _id, now = planned(client, site, pupils="0", volunteers="2")
    assert now.plan["left_out"] == []


def test_a_tree_is_put_back_with_a_reason_and_not_without(client, site):
    id, now = planned(client, site)
    tree = next(one["tree_id"] for one in now.plan["left_out"] if one["reason"] == "unseen")
    shown = page(client, f"/rounds/{id}/plan")
    at = f"/rounds/{id}/put-back"
    assert post(client, at, shown, tree_id=tree, reason="  ").status_code == 422
    done = post(client, at, shown, tree_id=tree, reason="the caretaker <i>looked</i>")
    assert done.status_code == 303
    after = page(client, f"/rounds/{id}/plan")
    assert "the caretaker &lt;i&gt;looked&lt;/i&gt;" in after
    assert tree not in {one["tree_id"] for one in planned_round(view(site), id).plan["left_out"]}
    assert any("put back: the caretaker" in text for text in paper(client, id, leader=True))


def test_a_tree_without_a_place_is_left_out_for_pupils_and_cannot_be_put_back(client, site):
    add_trees(site, SLUG, LOCAL_MANAGER, [{"tag": "NOWHERE"}])
    id, now = planned(client, site)
    lost = view(site).trees.set_index("tag").loc["NOWHERE", "tree_id"]
    assert [one["reason"] for one in now.plan["left_out"] if one["tree_id"] == lost] == [NO_PLACE]
    assert f'name="tree_id" value="{lost}"' not in page(client, f"/rounds/{id}/plan")


def test_the_plan_is_asked_for_anew_with_the_form_as_it_was(client, site):
    id, _now = planned(client, site, repeat_pct="25", keep_off_m="8", practice="1")
    shown = page(client, f"/rounds/{id}/plan")
    values = form_values(shown[shown.index('id="h-again"') :])
    assert (values["repeat_pct"], values["keep_off_m"], values["practice"]) == ("25", "8", "1")
    sent = client.post(f"/sites/{SLUG}/rounds/{id}/plan", data={**values, "pupils": "3"})
    assert sent.status_code == 303
    assert len(planned_round(view(site), id).plan["sheets"]) == 3
    late = client.post(f"/sites/{SLUG}/rounds/{id}/plan", data={**values, "pupils": "1"})
    assert late.status_code == 422
    assert "Somebody changed this meanwhile" in late.text


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"pupils": "-1"}, "pupils"),
        ({"pupils": "2.5"}, "pupils"),
        ({"from_on": "soon"}, "from_on"),
        ({"height_m": ""}, "height_m"),
        ({"repeat_pct": "200"}, "repeat_pct"),
        ({"lon_deg": "east"}, "lon_deg"),
        ({"size": "wide-"}, "size"),
    ],
)
def test_what_cannot_be_planned_is_said_beside_its_field(client, site, typed, field):
    sent = send(client, "/rounds/new", **{**ASKED, **typed})
    assert sent.status == 422
    assert field in sent.faults
    assert not len(view(site).records.rounds)


def test_words_are_shown_once_and_never_kept_by_the_browser(client, site):
    id, _now = planned(client, site)
    shown = page(client, f"/rounds/{id}/plan")
    made = post(client, f"/rounds/{id}/words", shown, crew_id="")
    assert made.status_code == 200
    assert made.headers["Cache-Control"] == "no-store"
    found = re.findall(r'<p class="word"><b>([a-z]+ [a-z]+)</b></p>', made.text)
    assert len(found) == 2
    again = page(client, f"/rounds/{id}/plan")
    assert not any(word in again for word in found)
    assert "has a word, until" in again


def test_a_round_starts_only_with_its_lines_or_a_reason_and_closes_with_what_is_missing(client, site):
    id, now = planned(client, site)
    shown = page(client, f"/rounds/{id}/day")
    assert "Not ready:" in shown
    refused = post(client, f"/rounds/{id}/start", shown)
    assert refused.status_code == 422
    assert "write why you start anyway" in words(refused.text)
    begun = post(client, f"/rounds/{id}/start", shown, anyway="the wind meter is broken")
    assert begun.status_code == 303
    text = words(page(client, f"/rounds/{id}/progress"))
    assert "Started anyway because: the wind meter is broken" in text
    assert "0 of " in text
    closing = page(client, f"/rounds/{id}/close")
    missing = sum(len({t["tree_id"] for t in sheet["trees"]}) for sheet in now.plan["sheets"])
    assert f"<dt>Trees missing</dt><dd>{missing}</dd>" in closing
    ended = send(client, f"/rounds/{id}/close", note="rain")
    assert ended.status == 303
    kept = words(page(client, f"/rounds/{id}/close"))
    assert "This is what was missing when they were closed." in kept
    assert "Note: rain" in kept


def test_the_day_page_keeps_its_lines_and_a_round_starts_when_they_are_filled(client, site):
    send(client, "/terms", wind_limit="small branches move")
    id, _now = planned(client, site)
    today = today_in("Europe/Berlin")
    typed = {
        "tree_check_by": "Council inspector",
        "tree_check_on": today,
        "wind_reading": "leaves move, 8:10",
    }
    sent = send(client, f"/rounds/{id}/day", **typed, allergies_asked="yes", first_aid="in the red bag")
    assert sent.status == 303
    shown = page(client, f"/rounds/{id}/day")
    assert "Tree check and wind are written down." in shown
    values = form_values(shown)
    assert values["first_aid"] == "in the red bag"
    assert post(client, f"/rounds/{id}/start", shown).status_code == 303
    first = paper(client, id)[0]
    for said in ("Council inspector", "small branches move", "leaves move, 8:10", "in the red bag"):
        assert said in first


def test_the_first_sheet_is_the_day_page_with_lines_for_leader_and_stand_in_and_the_kit(client, site):
    id, _now = planned(client, site, pupils="3", instrument="string and ruler")
    first = paper(client, id)[0]
    for said in ("Day page", "Leader:", "Stand-in:", "kept nowhere", "Permission asked on", "Meeting point"):
        assert said in first
    assert "4 strings with a ruler" in first
    assert "6 pieces of chalk" in first
    assert all(point.title in first for point in LONG)
    assert "team 3" in first


def test_sheets_follow_each_walk_practice_first_and_only_the_leader_s_copy_has_last_sizes(client, site):
    id, now = planned(client, site, pupils="0", volunteers="2")
    tags = dict(zip(view(site).trees["tree_id"], view(site).trees["tag"], strict=True))
    helpers, leader = paper(client, id), paper(client, id, leader=True)
    assert len(helpers) == 1 + sum(
        -(-len(sheet["trees"]) // rows_a_sheet("A4")) for sheet in now.plan["sheets"]
    )
    of_team = [text for text in helpers if f"Team: {now.codes[now.plan['sheets'][0]['crew_id']]}" in text]
    joined = " ".join(of_team)
    order = [tags[tree["tree_id"]] for tree in now.plan["sheets"][0]["trees"]]
    shown = [(row, tag) for row, tag in enumerate(order, start=1) if re.fullmatch(r"A\d+", tag)]
    assert len(shown) > 10
    places = [joined.index(f" {row} {tag} ") for row, tag in shown]
    assert places == sorted(places)
    assert joined.count("practice tree") == 2
    assert "two teams" not in " ".join(helpers) and "two teams" in " ".join(leader)
    assert "last time (cm)" not in " ".join(helpers) and "last time (cm)" in " ".join(leader)


def test_a_round_s_sheet_is_typed_back_by_its_code_for_its_team(client, site):
    id, now = planned(client, site, pupils="0", volunteers="2", instrument="string and ruler")
    code = re.search(r"typing it back: ([A-Z0-9]{3}-[A-Z0-9]{3})", paper(client, id)[1])[1]
    sheet = now.plan["sheets"][0]
    shown = page(client, f"/grid?sheet={code.lower()}")
    values = form_values(shown)
    assert values["crew"] == now.codes[sheet["crew_id"]]
    assert values["instrument"] == "string and ruler"
    fields = re.findall(r'name="(r1-[^"]+)"', shown)
    trees = view(site).records.stems.set_index("stem_id")["tree_id"]
    assert [trees[field[3:]] for field in fields] == [
        tree["tree_id"] for tree in sheet["trees"][: rows_a_sheet("A4")]
    ]
    sent = send(client, f"/grid?sheet={code}", measured_on="2026-06-01", **{fields[0]: "61", fields[1]: "72"})
    assert sent.status == 303, sent.faults or sent.whole
    readings = view(site).records.readings
    mine = readings[readings["round_id"] == id]
    assert sorted(mine["value"]) == [61.0, 72.0]
    assert set(mine["crew"]) == {now.codes[sheet["crew_id"]]}
    assert "2 of " in words(page(client, f"/rounds/{id}/progress"))


def test_one_team_types_a_trunk_that_it_measured_again_in_a_row_of_its_own(client, site):
    id, _now = planned(client, site, pupils="0", volunteers="1", practice="0", size="10-20")
    codes = [re.search(r"typing it back: ([A-Z0-9]{3}-[A-Z0-9]{3})", text) for text in paper(client, id)[1:]]
    code = codes[0][1]
    again = re.search(r'name="(r1-[^"]+-again)"', page(client, f"/grid?sheet={code}"))[1]
    sent = send(client, f"/grid?sheet={code}", measured_on="2026-06-01", **{again: "80"})
    assert sent.status == 303, sent.faults or sent.whole
    assert (view(site).records.readings["round_id"] == id).sum() == 1


def test_days_that_were_only_named_have_no_plan_and_an_unknown_one_is_not_there(client, site):
    made = add_rounds(site, SLUG, LOCAL_MANAGER, [{"name": "Old days", "from_on": "2024-05-01"}])
    add_crews(site, SLUG, LOCAL_MANAGER, [{"round_id": made[0], "code": "5b", "kind": "pupils"}])
    for path in ("plan", "day", "progress", "close", "sheets.pdf"):
        page(client, f"/rounds/{made[0]}/{path}", 404)
        page(client, f"/rounds/none/{path}", 404)
    assert "Old days" in page(client, "/rounds")


def test_the_first_page_names_the_next_days_and_those_that_are_under_way(client, site):
    id, _now = planned(client, site)
    said = page(client, "")
    assert f'href="/sites/{SLUG}/rounds/{id}/day"' in said
    assert "the next measuring days; their day page" in said
    post(client, f"/rounds/{id}/start", page(client, f"/rounds/{id}/day"), anyway="a test")
    assert f'href="/sites/{SLUG}/rounds/{id}/progress"' in page(client, "")


def test_the_list_of_measuring_days_leads_to_planning_and_to_each_plan(client, site):
    id, _now = planned(client, site)
    text = page(client, "/rounds")
    assert f'href="/sites/{SLUG}/rounds/new"' in text
    assert f'href="/sites/{SLUG}/rounds/{id}/plan">planned</a>' in text
