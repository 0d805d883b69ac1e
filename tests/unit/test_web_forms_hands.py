"""The form of a team's hand, and trunks that are then counted in it."""

import json

import numpy as np
import pytest

from service.actors import LOCAL_MANAGER
from service.view import view_of
from tests.web_forms import send, told, words
from tests.web_site import SLUG, make_web_site

TOTALS = {f"total_{n}": str(total) for n, total in enumerate((70, 71, 69, 70.5, 69.5), start=1)}


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def measure_hand(client, **typed):
    given = {"crew": "5b", "calibrated_on": "2024-05-01", **TOTALS}
    return send(client, "/hands", **{**given, **typed})


def test_a_hand_is_measured_and_shown_with_its_error(client, store, view):
    assert measure_hand(client).status == 303
    (hand,) = now(store).terms.hands
    assert (hand.crew, hand.instrument) == ("5b", "hand breadths")
    assert hand.breadth_cm == pytest.approx(7.0)
    page = words(client.get(f"/sites/{SLUG}/hands").text)
    assert "5b" in page and "7.00 cm, give or take 0.07" in page


def test_inches_are_kept_in_centimetres(client, store, view):
    measure_hand(client, unit="in", **{name: str(float(said) / 2.5) for name, said in TOTALS.items()})
    assert json.loads(now(store).records.calibrations["totals_cm"][0])[0] == pytest.approx(28 * 2.54)


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("total_1", "about 70"),
        ("crew", ""),
        ("crew", "Annabel Miller"),
        ("calibrated_on", ""),
        ("calibrated_on", "yesterday"),
    ],
)
def test_a_fault_stands_beside_its_field_and_nothing_is_taken(client, store, view, field, typed):
    sent = measure_hand(client, **{field: typed})
    assert sent.status == 422
    assert list(sent.faults) == [field]
    assert len(now(store).records.calibrations) == 0


def test_two_lengths_are_too_few(client, store, view):
    sent = measure_hand(client, total_3="", total_4="", total_5="")
    assert "at least three times" in sent.faults["total_3"]


def test_an_odd_hand_is_kept_and_questioned(client, view):
    measure_hand(client, **dict.fromkeys(TOTALS, "30"))
    assert any("unusual for hand breadths" in line for line in told(client))


def test_the_api_takes_a_hand(client, store, view):
    said = {"crew": "5b", "totals_cm": [70, 71, 69], "calibrated_on": "2024-05-01"}
    answer = client.post(f"/api/sites/{SLUG}/calibrations", json=said)
    assert answer.status_code == 201
    assert client.post(f"/api/sites/{SLUG}/calibrations", json={**said, "crew": ""}).status_code == 422
    assert np.isclose(now(store).terms.hands[0].breadth_cm, 7.0)
