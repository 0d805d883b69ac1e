"""What a team's phone is told of what its measuring taught: its own guesses, and no size of a tree."""

import json
import re

import pytest

from service.actors import LOCAL_MANAGER
from service.crew_words import make_words
from service.entry import enter_readings
from service.round_days import close, planned_round, start
from service.rounds import plan_round
from service.view import view_of
from tests.web_site import SLUG, make_web_site

ASKED = {"name": "Spring", "from_on": "2999-05-04", "to_on": "2999-05-06", "height_m": 1.3}
ASKED |= {
    "volunteers": 2,
    "lon_deg": 9.1703,
    "lat_deg": 47.6599,
    "meeting_words": "at the gate",
    "practice": 1,
}


@pytest.fixture
def field(store, client, tmp_path):
    """Running measuring days of two teams and a token of each: the id of the round, {code: headers}."""
    make_web_site(store, tmp_path)
    id = plan_round(store, SLUG, LOCAL_MANAGER, ASKED)
    start(store, SLUG, LOCAL_MANAGER, id, 1, "a test")
    return id, headers_of(store, client, id)


def headers_of(store, client, id):
    now = planned_round(view_of(store, SLUG, LOCAL_MANAGER), id)
    found = {}
    for n, (crew_id, word) in enumerate(make_words(store, SLUG, LOCAL_MANAGER, id).items()):
        phone = f"00000000-0000-4000-8000-{n:012}"
        token = client.post("/field/api/join", json={"word": word, "phone": phone}).json["token"]
        found[now.codes[crew_id]] = {"Authorization": f"Bearer {token}"}
    return found


def measured(store, id, crew, factor, number=8):
    stems = view_of(store, SLUG, LOCAL_MANAGER).records.stems["stem_id"].tolist()[:number]
    same = {"unit": "cm", "instrument": "girth tape", "height_m": 1.3, "measured_on": "2026-05-20"}
    same |= {"round_id": id, "crew": crew, "crew_kind": "volunteers"}
    rows = [
        {**same, "stem_id": stem, "value": 43.0 + 11 * n, "first_guess": round(factor * (43.0 + 11 * n), 1)}
        for n, stem in enumerate(stems)
    ]
    enter_readings(store, SLUG, LOCAL_MANAGER, rows)


def learned(client, headers, status=200):
    answer = client.get("/field/api/learned", headers=headers)
    assert answer.status_code == status
    return answer


def test_a_team_is_told_of_its_own_guesses_and_of_no_tree(store, client, field):
    id, teams = field
    one, other = sorted(teams)
    measured(store, id, one, 0.8)
    measured(store, id, other, 1.5)
    said = learned(client, teams[one]).json
    assert said["crew"] == one
    assert (said["trunks"], said["guesses"]["count"], said["guesses"]["lean"]) == (8, 8, "below")
    assert said["guesses"]["off"]["middle"] == pytest.approx(0.2, abs=0.001)
    assert said["sentences"] == [
        "Your team measured 8 trunks.",
        "Half of the guesses were off by less than 20 %.",
        "Most guesses were too small: 8 of 8.",
    ]
    assert other not in json.dumps(said)
    girths = {f"{43.0 + 11 * n:g}" for n in range(8)}
    assert not girths & set(re.findall(r"[\d.]+", json.dumps(said)))
    assert "too big: 8 of 8" in learned(client, teams[other]).json["sentences"][2]


def test_with_the_days_ends_what_a_phone_is_told(store, client, field):
    id, teams = field
    headers = next(iter(teams.values()))
    learned(client, headers)
    close(store, SLUG, LOCAL_MANAGER, id, 2)
    learned(client, headers, 401)


def test_nobody_without_a_token_is_told_anything_and_the_same_again_is_unchanged(client, field):
    _id, teams = field
    assert client.get("/field/api/learned").status_code == 401
    headers = next(iter(teams.values()))
    first = learned(client, headers)
    again = client.get("/field/api/learned", headers={**headers, "If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    assert first.json["sentences"] == ["Your team measured 0 trunks."]
