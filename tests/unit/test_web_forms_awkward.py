"""Seldom needed parts of the form of measurements: goes, sightings, awkward trunks, counts of hands."""

import numpy as np
import pytest

from service.actors import LOCAL_MANAGER
from service.entry import enter_readings
from service.view import view_of
from tests.web_forms import form_values, send, words
from tests.web_site import SLUG, make_web_site


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def tree_at(view, at):
    return view.trees.sort_values("fid").iloc[at].tree_id


def measure(client, view, **typed):
    return send(client, f"/trees/{tree_at(view, 1)}/measure", **typed)


def last(store):
    return now(store).records.readings.iloc[-1]


def page_of(client, view):
    return words(client.get(f"/sites/{SLUG}/trees/{tree_at(view, 1)}").text)


def test_the_seldom_parts_are_closed_at_first(client, view):
    page = client.get(f"/sites/{SLUG}/trees/{tree_at(view, 1)}/measure").text
    assert "Something awkward about this trunk?" in page
    assert "<details open" not in page


def test_goes_of_a_ruler_make_the_size_and_are_shown_as_they_were_laid(client, store, view):
    sent = measure(
        client, view, value="", parts="1x30 + 22.5", instrument="string and ruler", resolution="0.5"
    )
    assert sent.status == 303
    assert (last(store).value, last(store).parts, last(store).resolution) == (52.5, "1x30 + 22.5", 0.5)
    assert "1x30 + 22.5 = 52.5 cm round" in page_of(client, view)


def test_what_does_not_add_up_takes_nothing(client, store, view):
    before = len(view.records.readings)
    sent = measure(client, view, value="60", parts="1x30 + 22.5")
    assert sent.status == 422
    assert "makes 52.5, not 60" in sent.whole
    assert len(now(store).records.readings) == before


def test_facts_of_an_awkward_trunk_are_kept_and_shown_with_their_rule_and_source(client, store, view):
    typed = {"awkward-slope": "yes", "vine_cm": "2", "side": "uphill", "rule": "above it", "tilt_deg": "5"}
    assert measure(client, view, value="52", **typed).status == 303
    kept = last(store)
    assert (kept.awkward, kept.side, kept.rule, kept.tilt_deg) == ("slope, vine 2", "uphill", "above it", 5.0)
    page = page_of(client, view)
    assert "it stands on a slope: the height counts from the ground on the uphill side (DeYoung 2016" in page
    assert "a vine or ivy is under the tape, 2 cm thick" in page
    assert "done: just above the awkward place, uphill side, tape tilted by 5°" in page


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"bark_share": "0.2"}, "bark_share"),
        ({"vine_cm": "0"}, "vine_cm"),
        ({"tilt_deg": "steep"}, "tilt_deg"),
        ({"tilt_deg": "80"}, "tilt_deg"),
        ({"awkward-too-short-for-breast-height": "yes", "height_m": ""}, "height_m"),
        ({"instrument": "hand breadths"}, "unit"),
        ({"resolution": "0"}, "resolution"),
    ],
)
def test_what_cannot_be_is_a_fault_beside_its_field(client, store, view, typed, field):
    before = len(view.records.readings)
    sent = measure(client, view, value="52", **typed)
    assert sent.status == 422
    assert list(sent.faults) == [field]
    assert "open" in sent.page or field in ("unit", "height_m")
    assert len(now(store).records.readings) == before


def test_a_plant_too_short_has_the_width_of_its_foot_and_none_at_breast_height(client, store, view):
    tree = view.trees[view.trees["dbh_cm"].isna()].iloc[0].tree_id
    short = {"awkward-too-short-for-breast-height": "yes"}
    assert send(client, f"/trees/{tree}/measure", value="6", height_m="0.15", **short).status == 303
    row = now(store).trees.set_index("tree_id").loc[tree]
    assert np.isnan(row["dbh_cm"])
    assert "too short for breast height" in words(client.get(f"/sites/{SLUG}/trees/{tree}").text)


def test_a_correction_shows_what_was_said_and_changes_it(client, store, view):
    stem = view.records.stems.iloc[1].stem_id
    said = {"stem_id": stem, "value": 52, "awkward": "slope, missing bark 0.96, lights 3", "side": "uphill"}
    (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    path = f"/readings/{answer.id}/correct"
    shown = form_values(client.get(f"/sites/{SLUG}{path}").text)
    assert (shown["awkward-slope"], shown["bark_share"], shown["side"]) == ("yes", "0.96", "uphill")
    sent = send(client, path, **{"awkward-slope": None, "awkward-lean": "yes", "reason": "misread"})
    assert sent.status == 303
    assert last(store).awkward == "lean, missing bark 0.96, lights 3"


def test_a_corrected_size_leaves_its_goes_and_corrected_goes_make_the_size(client, store, view):
    stem = view.records.stems.iloc[1].stem_id
    said = {"stem_id": stem, "parts": "1x30 + 22.5", "instrument": "string and ruler"}
    (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    send(client, f"/readings/{answer.id}/correct", parts="2x30 + 22.5", reason="a go was left out")
    assert (last(store).value, last(store).parts) == (82.5, "2x30 + 22.5")
    send(client, f"/readings/{last(store).reading_id}/correct", value="83", reason="misread")
    assert last(store).value == 83
    assert last(store).parts is None


def test_a_count_in_hands_is_said_as_one(client, store, view):
    assert measure(client, view, value="7.5", unit="hands", instrument="hand breadths").status == 303
    assert "7.5 hands round" in page_of(client, view)
    assert "the usual size of grown-ups, not measured here" in page_of(client, view)
