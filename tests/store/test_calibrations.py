"""Hands that teams measured: kept as they were said, corrected, taken back, and used by readings."""

import uuid

import numpy as np
import pytest

from service.actors import LOCAL_MANAGER, Actor
from service.edit import add_trees
from service.entry import enter_calibrations, enter_readings
from service.errors import NotPermitted
from service.store.site_rows import create_site
from service.undo import undo_last
from service.view import view_of

TREE = "7c9e6679-7425-40de-944b-e07fc1f90a01"
STEM = str(uuid.uuid5(uuid.UUID(TREE), "1"))


STRING = {"unit": "cm", "instrument": "string and ruler"}


def _id(number):
    return str(uuid.UUID(int=number))


def _hand(number=1, **said):
    return {
        "id": _id(number),
        "crew": "5b",
        "crew_kind": "pupils",
        "totals_cm": [70, 71, 69, 70.5, 69.5],
        "calibrated_on": "2024-05-01",
        **said,
    }


def _count(number=11, **said):
    own = {"id": _id(number), "stem_id": STEM, "value": 12, "unit": "hands", "crew": "5b"}
    return {**own, "measured_on": "2024-05-14", "height_m": 1.3, **said}


@pytest.fixture
def school(store):
    create_site(store, "school", name="School", actor=LOCAL_MANAGER, time_zone="Europe/Berlin")
    add_trees(store, "school", LOCAL_MANAGER, [{"id": TREE, "tag": "1", "lon_deg": 9.1, "lat_deg": 47.7}])
    return store


def _calibrate(store, **said):
    return enter_calibrations(store, "school", LOCAL_MANAGER, [_hand(**said)])[0]


def _read(store, **said):
    return enter_readings(store, "school", LOCAL_MANAGER, [_count(**said)])[0]


def _view(store, **at):
    return view_of(store, "school", LOCAL_MANAGER, as_of="2025-01-01", **at)


def test_a_hand_is_kept_once_and_counts_the_trunks_of_its_team(school):
    assert _calibrate(school).outcome == "taken"
    assert _calibrate(school).outcome == "already there"
    assert _calibrate(school, crew="6a").outcome == "refused"
    assert _read(school).outcome == "taken"
    view = _view(school)
    assert view.terms.hands[0].breadth_cm == pytest.approx(7.0)
    assert view.trees["dbh_cm"][0] == pytest.approx(12 * 7.0 / np.pi)
    assert f"calibration:{_id(1)}" in set(view.state.causes["cause"])


def test_the_unit_says_the_instrument_where_nobody_did(school):
    _read(school)
    assert _view(school).records.readings["instrument"][0] == "hand breadths"


def test_a_hand_that_comes_after_its_readings_counts_for_them_all_the_same(school):
    first = _read(school, calibration_id=_id(1))
    assert first.outcome == "questioned" and "has not been entered yet" in first.why
    before = _view(school).trees["dbh_cm"][0]
    _calibrate(school)
    assert before == pytest.approx(12 * 8.0 / np.pi)
    assert _view(school).trees["dbh_cm"][0] == pytest.approx(12 * 7.0 / np.pi)


@pytest.mark.parametrize(
    ("reading", "hand", "said"),
    [
        (
            {"calibration_id": _id(1)},
            {"calibrated_on": "2024-06-01"},
            "measured on 2024-06-01, after this reading",
        ),
        ({}, {"calibrated_on": "2024-06-01"}, "measured its hand only on 2024-06-01"),
        ({"calibration_id": _id(1), "crew": "6a"}, {}, "the hand of team 5b, not of 6a"),
        ({"calibration_id": _id(1), "unit": "spans"}, {}, "measured in hand breadths"),
    ],
)
def test_a_hand_that_may_be_the_wrong_one_is_a_question_and_the_reading_is_kept(school, reading, hand, said):
    _calibrate(school, **hand)
    answer = _read(school, **reading)
    assert answer.outcome == "questioned"
    assert said in answer.why
    assert len(_view(school).records.readings) == 1


def test_a_corrected_hand_counts_for_readings_that_name_the_first_one(school):
    _calibrate(school)
    _read(school, calibration_id=_id(1))
    _calibrate(school, number=2, supersedes=_id(1), totals_cm=[80, 81, 79], reason="inches")
    assert _view(school).trees["dbh_cm"][0] == pytest.approx(12 * 8.0 / np.pi)
    assert [hand.calibration_id for hand in _view(school).terms.hands] == [_id(2)]


def test_a_hand_can_be_taken_back(school):
    _calibrate(school)
    undo_last(school, "school", LOCAL_MANAGER)
    assert _view(school).terms.hands == ()


def test_what_was_known_earlier_is_counted_with_the_hands_of_then(school):
    _read(school)
    known_at = _view(school).known_at
    _calibrate(school)
    assert _view(school, known_at=known_at).trees["dbh_cm"][0] == pytest.approx(12 * 8.0 / np.pi)


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"totals_cm": [70, 71]}, "at least 3"),
        ({"totals_cm": [70, 0, 71]}, "0 cm is no length of 10 hands"),
        ({"totals_cm": [70, 71, 5000]}, "5000 cm is no length"),
        ({"totals_cm": [70, float("nan"), 71]}, "no number that can be used"),
        ({"crew": ""}, "at least 1"),
        ({"calibrated_on": "last week"}, "is not a day"),
        ({"instrument": "feet"}, "hand breadths"),
        ({"calibrated_on": "2999-01-01"}, "more than a year ahead"),
    ],
)
def test_what_is_no_hand_is_refused_with_the_reason(school, said, why):
    answer = _calibrate(school, **said)
    assert answer.outcome == "refused"
    assert why in answer.why
    assert len(_view(school).records.calibrations) == 0


@pytest.mark.parametrize(
    ("totals", "said"), [([300, 301, 302], "30.1 cm each, unusual"), ([50, 70, 90], "differ much")]
)
def test_an_odd_hand_is_kept_and_questioned(school, totals, said):
    answer = _calibrate(school, totals_cm=totals)
    assert answer.outcome == "questioned"
    assert said in answer.why


def test_who_may_only_look_measures_no_hand(school):
    with pytest.raises(NotPermitted):
        enter_calibrations(school, "school", Actor("key", "reader"), [_hand()])


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"instrument": "girth tape"}, "has the instrument hand breadths"),
        ({"quantity": "diameter"}, "goes round the trunk"),
        ({**STRING, "parts": "three and a half"}, "does not add up"),
        ({**STRING, "parts": "3x30 + 12.5"}, "makes 102.5, not 12"),
        ({"awkward": "missing bark 0.1"}, "Without bark 0.1"),
        ({"awkward": "too short for breast height", "height_m": None}, "Say at which height"),
        ({"unit": "ells"}, "'cm'"),
        ({"height_m": 11}, "10"),
        ({"value": -3}, "below zero"),
    ],
)
def test_what_cannot_be_of_a_reading_is_refused_with_the_reason(school, said, why):
    answer = _read(school, **said)
    assert answer.outcome == "refused"
    assert why in answer.why


def test_how_a_count_was_turned_into_centimetres_is_kept_as_written(school):
    answer = _read(school, unit="cm", instrument="hand breadths", value=100, parts="12.5 x 8")
    assert answer.outcome == "taken"
    assert _view(school).records.readings["parts"].tolist() == ["12.5 x 8"]


def test_goes_of_a_ruler_and_marks_of_a_sighting_make_the_value(school):
    goes = _read(school, unit="in", instrument="string and ruler", value=None, parts="7x12 + 5 1/2")
    seen = _read(
        school, number=12, unit="in", instrument="sighting", value=None, parts="mark 14.907, reach 25"
    )
    assert (goes.outcome, seen.outcome) == ("taken", "taken")
    kept = _view(school).records.readings
    assert kept["value"].tolist() == pytest.approx([89.5, 20.0], abs=1e-3)
    assert kept["quantity"].tolist() == ["girth", "diameter"]
