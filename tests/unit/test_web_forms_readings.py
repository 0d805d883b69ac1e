"""Forms of measurements: a new one, its answer, a correction."""

import datetime as dt

import pytest

from layers.history import live_readings
from service.actors import LOCAL_MANAGER
from service.edit import add_trees
from service.entry import enter_readings, enter_statuses
from service.view import today_in, view_of
from tests.web_forms import send, told, words
from tests.web_site import HOSTILE_NOTE, SLUG, make_web_site


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def tree_at(view, at):
    return view.trees.sort_values("fid").iloc[at].tree_id


def last_reading(store):
    return now(store).records.readings.iloc[-1]


def test_a_measurement_is_kept_as_it_was_said(client, store, view):
    tree = tree_at(view, 1)
    sent = send(
        client,
        f"/trees/{tree}/measure",
        value="52,5",
        first_guess="60",
        height_m="1.0",
        measured_on="2026-06-01",
        crew_kind="pupils",
        crew="5b",
        note="ivy",
    )
    assert sent.status == 303
    kept = last_reading(store)
    assert (kept.value, kept.first_guess, kept.height_m, kept.unit) == (52.5, 60.0, 1.0, "cm")
    assert (kept.crew_kind, kept.crew, kept.note) == ("pupils", "5b", "ivy")
    assert (kept.measured_on, kept.date_precision) == ("2026-06-01", "day")


def test_the_form_shows_the_height_of_the_last_measurement_and_never_its_size(client, view):
    page = client.get(f"/sites/{SLUG}/trees/{tree_at(view, 0)}/measure").text
    assert 'name="height_m" value="0.9"' in page
    assert "58.5" not in page


def test_the_height_shown_is_that_of_the_last_day_even_where_it_was_used_before(client, view):
    tree = tree_at(view, 1)
    for day, height in (("2021-06-01", "1.3"), ("2026-05-20", "1.3"), ("2022-06-01", "0.8")):
        send(client, f"/trees/{tree}/measure", value="70", measured_on=day, height_m=height)
    assert 'name="height_m" value="1.3"' in client.get(f"/sites/{SLUG}/trees/{tree}/measure").text


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("value", ""),
        ("value", "0"),
        ("value", "about 90"),
        ("height_m", "11"),
        ("measured_on", "yesterday"),
        ("crew", "Annabel Miller"),
        ("crew", "Tom"),
    ],
)
def test_a_fault_stands_beside_its_field_and_nothing_is_taken(client, store, view, field, typed):
    before = len(view.records.readings)
    sent = send(client, f"/trees/{tree_at(view, 1)}/measure", **{"value": "52", field: typed})
    assert sent.status == 422
    assert list(sent.faults) == [field]
    assert len(now(store).records.readings) == before


def test_what_cannot_be_a_trunk_is_refused_with_the_reason(client, store, view):
    before = len(view.records.readings)
    sent = send(client, f"/trees/{tree_at(view, 1)}/measure", value="9000")
    assert sent.status == 422
    assert "more than 45 m round the trunk" in sent.whole
    assert len(now(store).records.readings) == before


def test_a_code_that_is_known_may_be_used_again(client, store, view):
    stem = view.records.stems.iloc[1].stem_id
    enter_readings(store, SLUG, LOCAL_MANAGER, [{"stem_id": stem, "value": 52, "crew": "caretaker"}])
    assert send(client, f"/trees/{tree_at(view, 1)}/measure", value="52", crew="caretaker").status == 303


def test_a_reading_that_fits_is_told_so_and_the_word_is_about_the_reading(client, view):
    send(client, f"/trees/{tree_at(view, 1)}/measure", value="53", measured_on="2026-05-14", height_m="")
    assert told(client) == ["The measurement is kept.", "The measurement fits those before it."]


def test_a_reading_that_does_not_fit_is_kept_and_questioned_with_the_slip_that_would_explain_it(
    client, store, view
):
    tree = tree_at(view, 1)
    send(client, f"/trees/{tree}/measure", value="20", measured_on="2024-06-01", height_m="")
    said = told(client)
    assert said[1].startswith("Please check tree A2: 20 cm round")
    assert "Were these inches?" in said[1]
    assert said[1].endswith("It is kept and counts; measure again, or correct it.")
    assert last_reading(store).value == 20


def test_what_was_typed_first_stays_beside_a_correction_after_a_question(client, store, view):
    send(client, f"/trees/{tree_at(view, 1)}/measure", value="20", measured_on="2024-06-01", height_m="")
    asked = last_reading(store).reading_id
    send(client, f"/readings/{asked}/correct", value="50.8", reason="these were inches")
    assert (last_reading(store).value, last_reading(store).first_entry) == (50.8, 20)
    fits = last_reading(store).reading_id
    send(client, f"/readings/{fits}/correct", value="51", reason="rounded")
    assert (last_reading(store).value, last_reading(store).first_entry) == (51, 20)

    good = view.records.readings.iloc[2]
    send(client, f"/readings/{good.reading_id}/correct", value="62.5", reason="read again")
    assert last_reading(store).value == 62.5
    assert last_reading(store).first_entry != last_reading(store).first_entry


@pytest.mark.parametrize(
    ("day", "why"),
    [
        ("1999-05-01", "It is dated before the tree was planted, 1 April 2010."),
        ("2021-05-01", "It is dated after the tree was taken out, 3 March 2020."),
        ("ahead", "lies ahead. Please check the date."),
    ],
)
def test_a_day_that_does_not_go_with_the_tree_is_kept_and_questioned(client, store, view, day, why):
    (tree,) = add_trees(store, SLUG, LOCAL_MANAGER, [{"tag": "N1", "planted_on": "2010-04-01"}])
    if "taken out" in why:
        gone = {"subject_id": tree, "status": "removed", "happened_on": "2020-03-03"}
        enter_statuses(store, SLUG, LOCAL_MANAGER, [gone])
    if day == "ahead":
        day = (dt.date.fromisoformat(today_in("Europe/Berlin")) + dt.timedelta(days=5)).isoformat()
    stem = now(store).records.stems.iloc[-1]["stem_id"]
    said = {"stem_id": stem, "value": 61.0, "measured_on": day}
    answer = client.post(f"/api/sites/{SLUG}/readings", json=said)
    assert (answer.status_code, answer.json["outcome"]) == (201, "questioned")
    assert why in answer.json["why"]
    assert last_reading(store).value == 61.0
    assert len(now(store).questioned) == 1


def test_a_first_reading_has_nothing_to_fit(client, view):
    send(client, f"/trees/{tree_at(view, 5)}/measure", value="53")
    assert told(client)[1].startswith("It is the first of this trunk")


def test_a_correction_stands_in_front_and_both_stay_with_the_reason(client, store, view):
    tree = tree_at(view, 0)
    wrong = view.records.readings[view.records.readings["value"] == 58.5].iloc[0]
    sent = send(client, f"/readings/{wrong.reading_id}/correct", value="48.5", reason="misread <b>")
    assert sent.status == 303
    kept = last_reading(store)
    assert (kept.supersedes, kept.value, kept.reason) == (wrong.reading_id, 48.5, "misread <b>")
    same = ["stem_id", "instrument", "height_m", "measured_on", "crew_kind", "note", "date_precision"]
    assert kept[same].to_list() == wrong[same].to_list()
    page = words(client.get(f"/sites/{SLUG}/trees/{tree}").text)
    assert "58.5 cm round, at 0.90 m" in page
    assert "corrected since" in page
    assert "why: misread <b>" in page


def test_of_two_corrections_of_one_reading_the_later_one_is_used(client, store, view):
    wrong = view.records.readings[view.records.readings["value"] == 58.5].iloc[0]
    for value in ("48.5", "49.5"):
        sent = send(client, f"/readings/{wrong.reading_id}/correct", value=value, reason="misread")
        assert sent.status == 303
        assert last_reading(store).recorded_at
    readings = live_readings(view_of(store, SLUG, LOCAL_MANAGER).records.readings)
    forked = readings[readings["supersedes"] == wrong.reading_id].set_index("value")["state"]
    assert forked.to_dict() == {48.5: "superseded", 49.5: "live"}


def test_a_correction_without_a_reason_takes_nothing(client, store, view):
    wrong = view.records.readings.iloc[0]
    sent = send(client, f"/readings/{wrong.reading_id}/correct", value="48.5")
    assert sent.status == 422
    assert list(sent.faults) == ["reason"]
    assert len(now(store).records.readings) == len(view.records.readings)


def test_a_measurement_is_crossed_out_and_leaves_no_size(client, store, view):
    tree = tree_at(view, 1)
    stems = view.records.stems
    stem = stems[stems["tree_id"] == tree].iloc[0].stem_id
    wrong = view.records.readings[view.records.readings["stem_id"] == stem].iloc[0]
    form = {"act": "cross out", "reason": "another tree"}
    assert send(client, f"/readings/{wrong.reading_id}/correct", **form).status == 303
    trees = now(store).trees.set_index("tree_id")
    assert trees.loc[tree].isna()["dbh_cm"]
    send(client, "/undo")
    trees = now(store).trees.set_index("tree_id")
    assert not trees.loc[tree].isna()["dbh_cm"]


def test_a_class_that_is_corrected_stays_a_class(client, store, view):
    stem = view.records.stems.iloc[5].stem_id
    said = {"stem_id": stem, "quantity": "class", "class_from_cm": 20, "class_to_cm": 40}
    (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    assert (
        send(client, f"/readings/{answer.id}/correct", measured_on="2025-05-01", reason="day").status == 303
    )
    kept = last_reading(store)
    assert (kept.quantity, kept.class_from_cm, kept.class_to_cm) == ("class", 20, 40)
    assert kept.measured_on == "2025-05-01"


def test_hostile_notes_are_shown_as_they_were_typed(client, view):
    wrong = view.records.readings[view.records.readings["value"] == 58.5].iloc[0]
    page = client.get(f"/sites/{SLUG}/trees/{tree_at(view, 0)}").text
    assert HOSTILE_NOTE in words(page.replace("&lt;", "‹").replace("&gt;", "›")).replace("‹", "<").replace(
        "›", ">"
    )
    assert client.get(f"/sites/{SLUG}/readings/{wrong.reading_id}/correct").status_code == 200


def test_a_measurement_that_is_not_there_is_not_found(client, view):
    path = f"/sites/{SLUG}/readings/00000000-0000-4000-8000-000000000000/correct"
    assert client.get(path).status_code == 404


def test_a_height_high_up_is_kept_and_asked_about_and_is_not_said_to_count(client, view):
    path = f"/trees/{tree_at(view, 1)}/measure"
    assert send(client, path, value="70", measured_on="2024-06-01", height_m="4.5").status == 303
    (asked,) = [said for said in told(client) if "Please check" in said]
    assert "no figure can use it. Is the height right? It is kept; measure again, or correct it." in asked
    assert "counts" not in asked


def test_a_caliper_reading_corrected_to_a_girth_leaves_its_second_axis(client, store, view):
    said = {"stem_id": view.records.stems.iloc[1]["stem_id"], "measured_on": "2024-09-01", "height_m": 1.3}
    said |= {"quantity": "diameter", "instrument": "caliper", "value": 51.0, "value_2": 50.0}
    (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    form = {"quantity": "girth", "instrument": "girth tape", "reason": "it was a tape"}
    assert send(client, f"/readings/{answer.id}/correct", **form).status == 303
    kept = last_reading(store)
    assert (kept.quantity, kept.value, kept.value_2 == kept.value_2) == ("girth", 51.0, False)
