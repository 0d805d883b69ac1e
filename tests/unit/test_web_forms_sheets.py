"""Measuring by paper: sheets of an area or place, and typing them back."""

import re
import uuid

import pypdfium2
import pytest

from service.actors import LOCAL_MANAGER
from service.view import view_of
from service.web import grid_pages
from tests.web_forms import form_values, send, told, words
from tests.web_site import HOSTILE_PLACE, SLUG, TREES, make_web_site

SHEET = {"measured_on": "2026-06-12", "crew": "5b", "crew_kind": "pupils", "height_m": "1.3"}


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def stems(view):
    return view.records.stems.sort_values("fid")["stem_id"].to_list()


def place_id(view, name):
    places = view.records.places
    return places[places["name"] == name].iloc[0]["id"]


def new_readings(store, view):
    return now(store).records.readings.iloc[len(view.records.readings) :]


def test_a_sheet_is_typed_back_with_guesses_and_two_readings(client, store, view):
    first, second, *_ = stems(view)
    rows = {f"guess-{first}": "50", f"r1-{first}": "58", f"r2-{first}": "58,5", f"r1-{second}": "52"}
    sent = send(client, "/grid", **SHEET, **rows)
    assert sent.status == 303
    kept = new_readings(store, view)
    assert kept["value"].to_list() == [58, 58.5, 52]
    assert kept["first_guess"].to_list()[:2] == [50, 50]
    assert set(kept["crew"]) == {"5b"}
    assert set(kept["source"]) == {"typed from a sheet"}
    assert told(client, "/grid")[0] == "Kept: 3 entries."


def test_a_sheet_that_is_sent_twice_is_kept_once(client, store, view):
    stem = stems(view)[0]
    rows = {f"r1-{stem}": "58", "batch": str(uuid.uuid4())}
    for _ in range(2):
        assert send(client, "/grid", **SHEET, **rows).status == 303
    assert len(new_readings(store, view)) == 1
    assert "1 entry had been kept before." in told(client, "/grid")


def test_a_row_that_was_kept_and_is_then_typed_otherwise_is_shown_and_not_kept_twice(client, store, view):
    stem = stems(view)[0]
    batch = str(uuid.uuid4())
    send(client, "/grid", **SHEET, batch=batch, **{f"r1-{stem}": "58"})
    sent = send(client, "/grid", **SHEET, batch=batch, **{f"r1-{stem}": "59"})
    assert sent.status == 422
    assert sent.faults[f"r1-{stem}"].startswith("This row was kept before, as 58.0 cm.")
    assert new_readings(store, view)["value"].to_list() == [58]


def printed_sheet(client, view, name):
    """The code at the foot of the first sheet, and the numbers on the trees of its rows from the top."""
    asked = {"zone": place_id(view, name), "instrument": "girth tape", "unit": "cm", "height_m": "1.3"}
    pdf = client.get(f"/sites/{SLUG}/sheets.pdf", query_string=asked).data
    text = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_range()
    code = re.search(r"typing it back: (\S+)", text).group(1)
    return code, re.findall(r"^\d+ (A\d+)", text, re.MULTILINE)


def typed_rows(page):
    return re.findall(r'<th scope="row">(.*?)</th>', page)


def test_the_code_of_a_sheet_brings_its_rows_in_the_order_of_the_paper(client, view):
    code, tags = printed_sheet(client, view, "Front yard")
    page = client.get(f"/sites/{SLUG}/grid?sheet={code.lower().replace('-', ' ')}").text
    rows = typed_rows(page)
    assert len(tags) > 3 and rows == tags
    assert rows != sorted(rows, key=lambda tag: int(tag[1:]))
    assert f"Sheet {code.replace('-', ' ')}, in its order" in words(page)


def test_a_code_that_no_sheet_has_says_so_and_shows_all_rows(client, view):
    page = client.get(f"/sites/{SLUG}/grid?sheet=QQQ-<b>").text
    assert "No sheet with the code QQQ-&lt;b&gt; can be printed" in page
    assert page.count('name="r1-') == len(stems(view))


def test_another_height_and_boxes_are_typed_as_they_stand_on_the_sheet(client, store, view):
    first, second, third, fourth, *_ = stems(view)
    rows = {f"r1-{first}": "58", f"height-{first}": "0.8", f"ivy-{first}": "yes"}
    boxes = {f"gone-{second}": "yes", f"saw-{third}": "yes", f"two-{fourth}": "yes"}
    batch = {"batch": str(uuid.uuid4())}
    for _ in range(2):
        assert send(client, "/grid", **SHEET, **batch, **rows, **boxes).status == 303
    kept = new_readings(store, view)
    assert kept[["value", "height_m", "note"]].to_numpy().tolist() == [[58, 0.8, "ivy, ticked on the sheet"]]
    records = now(store).records
    tree_of = dict(zip(records.stems["stem_id"], records.stems["tree_id"], strict=True))
    event = records.status_events.iloc[len(view.records.status_events) :]
    assert event[["subject_id", "as_said", "in_doubt"]].to_numpy().tolist() == [
        [tree_of[second], "not found", True]
    ]
    seen = records.observations.iloc[len(view.records.observations) :]
    assert seen["tree_id"].to_list() == [tree_of[third], tree_of[fourth]]
    assert set(seen["crew"]) == {"5b"}
    assert any(said.startswith("Something was seen at tree A3.") for said in told(client, "/grid"))


@pytest.mark.parametrize(("typed", "value"), [("37 1/2", 37.5), ("37-3/8", 37.375), ("3/4", 0.75)])
def test_inches_are_typed_in_fractions_as_tapes_show_them(client, store, view, typed, value):
    assert send(client, "/grid", **{**SHEET, "unit": "in"}, **{f"r1-{stems(view)[0]}": typed}).status == 303
    assert new_readings(store, view)["value"].to_list() == [value]


@pytest.mark.parametrize("typed", ["37 1/0", "1/2/3", "5o", "0", "-3", "9000"])
def test_a_fault_in_one_row_takes_nothing_and_loses_nothing(client, store, view, typed):
    first, second, *_ = stems(view)
    sent = send(client, "/grid", **SHEET, **{f"r1-{first}": "58", f"r1-{second}": typed})
    assert sent.status == 422
    assert list(sent.faults) == [f"r1-{second}"]
    assert len(new_readings(store, view)) == 0
    again = form_values(sent.page)
    assert (again[f"r1-{first}"], again[f"r1-{second}"], again["crew"]) == ("58", typed, "5b")
    fixed = send(client, "/grid", **{**again, f"r1-{second}": "52"})
    assert fixed.status == 303
    assert new_readings(store, view)["value"].to_list() == [58, 52]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"measured_on": "in June"}, "measured_on"),
        ({"height_m": "12"}, "height_m"),
        ({"crew": "Tim"}, "crew"),
    ],
)
def test_a_fault_above_the_rows_is_shown_beside_its_field(client, store, view, typed, field):
    rows = {f"r1-{stems(view)[0]}": "58", f"saw-{stems(view)[1]}": "yes"}
    sent = send(client, "/grid", **{**SHEET, **typed, **rows})
    assert sent.status == 422
    assert list(sent.faults) == [field]
    assert len(new_readings(store, view)) == 0


def test_a_sheet_without_a_number_says_so(client, view):
    sent = send(client, "/grid", **SHEET)
    assert sent.status == 422
    assert "No row has a number yet." in sent.whole


def test_rows_that_do_not_fit_are_kept_and_named(client, store, view):
    first, second, third, *_ = stems(view)
    rows = {f"r1-{first}": "58", f"r2-{first}": "80", f"r1-{second}": "20", f"r1-{third}": "64"}
    send(client, "/grid", **SHEET, **rows)
    assert len(new_readings(store, view)) == 4
    said = told(client, "/grid")
    assert "2 measurements fit those before them." in said
    assert any(news.startswith("Please check tree A2: 20 cm round") for news in said)
    assert any(news.startswith("Please check tree A1: 80 cm round") for news in said)


def test_a_place_has_its_own_rows_and_its_hostile_name_is_shown(client, view):
    page = client.get(f"/sites/{SLUG}/grid?zone={place_id(view, HOSTILE_PLACE)}").text
    assert page.count('name="r1-') == TREES // 2
    assert "<b>Back `${8*8}` &#34;yard&#34; {# x #}</b>" in page


def test_a_ground_of_many_trunks_is_typed_in_parts(client, store, view, monkeypatch):
    monkeypatch.setattr(grid_pages, "ROWS_A_PART", 10)
    second = client.get(f"/sites/{SLUG}/grid?part=2").text
    assert second.count('name="r1-') == 10
    field = next(name for name in form_values(second) if name.startswith("r1-"))
    sent = send(client, "/grid?part=2", **SHEET, **{field: "70"})
    assert sent.location.endswith("part=2")
    assert new_readings(store, view)["stem_id"].to_list() == [field.removeprefix("r1-")]
    for odd in ("0", "-1", "x", "99999999"):
        assert client.get(f"/sites/{SLUG}/grid?part={odd}").status_code == 200


def test_sheets_are_printed_for_a_place_for_helpers_and_for_the_leader(client, view):
    zone = place_id(view, "Front yard")
    asked = {"zone": zone, "instrument": "girth tape", "unit": "cm", "height_m": "1.3", "paper": "A4"}
    for leader in ({}, {"leader": "yes"}):
        answer = client.get(f"/sites/{SLUG}/sheets.pdf", query_string={**asked, **leader})
        assert answer.status_code == 200
        assert answer.data.startswith(b"%PDF-")
        assert answer.headers["Content-Type"] == "application/pdf"


@pytest.mark.parametrize("field", ["instrument", "unit", "height_m", "paper"])
def test_sheets_with_a_word_that_is_none_are_refused_in_a_sentence(client, view, field):
    asked = {"zone": place_id(view, "Front yard"), field: "{{7*7}}"}
    answer = client.get(f"/sites/{SLUG}/sheets.pdf", query_string=asked)
    assert answer.status_code in (400, 422)
    assert "Choose instrument, unit, height and paper" in answer.text


def test_sheets_of_no_place_are_not_found(client, view):
    answer = client.get(f"/sites/{SLUG}/sheets.pdf", query_string={"zone": "nowhere"})
    assert answer.status_code == 404


def test_goes_of_a_short_ruler_are_typed_as_they_stand_on_the_sheet(client, store, view):
    stem = stems(view)[0]
    how = {**SHEET, "instrument": "string and ruler"}
    assert send(client, "/grid", **how, **{f"r1-{stem}": "1x30 + 28.5", f"r2-{stem}": "58"}).status == 303
    kept = new_readings(store, view)
    assert kept["value"].to_list() == [58.5, 58]
    assert kept["parts"].to_list() == ["1x30 + 28.5", None]


def test_hands_on_a_sheet_are_counts(client, store, view):
    stem = stems(view)[0]
    how = {**SHEET, "instrument": "hand breadths"}
    assert list(send(client, "/grid", **how, **{f"r1-{stem}": "7"}).faults) == ["unit"]
    assert send(client, "/grid", **how, unit="hands", **{f"r1-{stem}": "7"}).status == 303
    assert new_readings(store, view)["unit"].to_list() == ["hands"]


def test_heights_are_offered_in_the_unit_of_the_ground(client, view):
    page = client.get(f"/sites/{SLUG}/grid").text
    assert '<option value="1.30 m"><option value="1.00 m">' in page
    send(client, "/terms", units="us")
    page = client.get(f"/sites/{SLUG}/grid").text
    assert '<option value="2 ft">' in page and '<option value="4 ft 6 in">' in page


@pytest.mark.parametrize(
    ("instrument", "unit", "said"),
    [
        ("hand breadths", "cm", "HANDS (to a half)"),
        ("hand spans", "hands", "SPANS (to a half)"),
        ("girth tape", "hands", "CENTIMETRES (cm)"),
        ("string and ruler", "in", "goes 3x30 + 12.5"),
    ],
)
def test_a_sheet_of_hands_is_read_in_hands_and_one_of_string_in_goes(client, view, instrument, unit, said):
    asked = {"zone": place_id(view, "Front yard"), "instrument": instrument, "unit": unit, "leader": "yes"}
    answer = client.get(f"/sites/{SLUG}/sheets.pdf", query_string=asked)
    page = pypdfium2.PdfDocument(answer.data)[0].get_textpage().get_text_range()
    assert said in page
