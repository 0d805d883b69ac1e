"""Phones that came in with a word, in both databases: what lets them in, and what ends it."""

import threading
import uuid

import pytest

from service import crew_tokens
from service.actors import LOCAL_MANAGER
from service.crew_tokens import crew_with, give_token
from service.crew_words import crew_of, make_words
from service.edit import add_trees, cross_out
from service.errors import InvalidRequest, NotAWord
from service.round_days import close, planned_round, start
from service.rounds import plan_round
from service.store import changes, schema
from service.store.site_rows import create_site
from service.undo import undo_last
from service.view import view_of

SLUG = "school"
ASKED = {"name": "Spring", "from_on": "2999-05-04", "to_on": "2999-05-06", "height_m": 1.3, "pupils": 2}
ASKED |= {"lon_deg": 9.0, "lat_deg": 49.9999, "meeting_words": "at the gate", "practice": 1}
PHONE, OTHER = (str(uuid.UUID(int=n)) for n in (1, 2))


@pytest.fixture
def team(store):
    """A round of two teams: its id, the crew's pass and the word of the first one."""
    create_site(store, SLUG, actor=LOCAL_MANAGER)
    places = [{"tag": str(n), "lon_deg": 9.0 + n * 1e-4, "lat_deg": 50.0} for n in range(6)]
    add_trees(store, SLUG, LOCAL_MANAGER, places)
    round_id = plan_round(store, SLUG, LOCAL_MANAGER, ASKED)
    words = make_words(store, SLUG, LOCAL_MANAGER, round_id)
    return round_id, crew_of(store, next(iter(words.values())))


def version_of(store, round_id):
    return planned_round(view_of(store, SLUG, LOCAL_MANAGER), round_id).version


def tokens(store):
    with store.read() as connection:
        return connection.execute(schema.crew_token.select()).all()


def test_a_token_lets_its_crew_in_and_only_its_hash_is_kept(store, team):
    _, crew = team
    token = give_token(store, crew, PHONE, changes.now())
    assert len(token) == 43  # 32 bytes in base64 (RFC 4648, section 5), without the sign that fills up
    assert crew_with(store, token) == crew
    assert [token in str(row) for row in tokens(store)] == [False]
    for wrong in ("", token[:-1], token + "A", "x" * 43, "x" * 100_000, "\ud800", "\0"):
        assert crew_with(store, wrong) is None


def test_each_phone_has_its_own_and_coming_in_again_ends_the_one_before(store, team):
    _, crew = team
    first = give_token(store, crew, PHONE, changes.now())
    beside = give_token(store, crew, OTHER, changes.now())
    again = give_token(store, crew, PHONE, changes.now())
    assert [crew_with(store, token) for token in (first, beside, again)] == [None, crew, crew]


def test_a_new_word_for_a_lost_phone_ends_every_token_of_that_team_and_of_no_other(store, team):
    round_id, crew = team
    words = make_words(store, SLUG, LOCAL_MANAGER, round_id)
    passes = [crew_of(store, word) for word in words.values()]
    held = [give_token(store, one, PHONE, changes.now()) for one in passes]
    make_words(store, SLUG, LOCAL_MANAGER, round_id, crew.crew_id)
    assert [crew_with(store, token) for token in held] == [None, passes[1]]


def test_a_word_that_is_made_anew_while_the_former_one_is_looked_at_lets_nobody_in(store, team):
    round_id, crew = team
    since = changes.now()
    make_words(store, SLUG, LOCAL_MANAGER, round_id)
    with pytest.raises(NotAWord):
        give_token(store, crew, PHONE, since)
    assert tokens(store) == []


def test_closing_the_round_ends_them(store, team):
    round_id, crew = team
    token = give_token(store, crew, PHONE, changes.now())
    start(store, SLUG, LOCAL_MANAGER, round_id, version_of(store, round_id), "a test")
    assert crew_with(store, token) == crew
    close(store, SLUG, LOCAL_MANAGER, round_id, version_of(store, round_id))
    assert crew_with(store, token) is None


def test_the_last_day_on_the_clock_of_the_ground_ends_them(store, team, monkeypatch):
    token = give_token(store, team[1], PHONE, changes.now())
    monkeypatch.setattr(changes, "now", lambda: "2999-05-06T23:59:59.000000Z")
    assert crew_with(store, token) is not None
    monkeypatch.setattr(changes, "now", lambda: "2999-05-07T00:00:00.000000Z")
    assert crew_with(store, token) is None


@pytest.mark.parametrize("how", ["crossed out", "taken back"])
def test_a_round_that_is_gone_lets_nobody_in(store, team, how):
    round_id, crew = team
    token = give_token(store, crew, PHONE, changes.now())
    if how == "crossed out":
        cross_out(store, SLUG, LOCAL_MANAGER, "round", round_id, version_of(store, round_id))
    else:
        undo_last(store, SLUG, LOCAL_MANAGER)
    assert crew_with(store, token) is None


def test_when_a_phone_was_last_here_is_written_once_an_hour(store, team, monkeypatch):
    monkeypatch.setattr(changes, "now", lambda: "2999-05-04T08:00:00.000000Z")
    token = give_token(store, team[1], PHONE, changes.now())
    for time, seen in (("08:59:59", "08:00:00"), ("09:00:00", "09:00:00"), ("09:30:00", "09:00:00")):
        monkeypatch.setattr(changes, "now", lambda time=time: f"2999-05-04T{time}.000000Z")
        assert crew_with(store, token) is not None
        assert tokens(store)[0].last_seen_at == f"2999-05-04T{seen}.000000Z"


def test_more_phones_than_any_class_has_are_told_so_and_the_others_stay_in(store, team, monkeypatch):
    monkeypatch.setattr(crew_tokens, "MOST_PHONES", 2)
    _, crew = team
    held = [give_token(store, crew, phone, changes.now()) for phone in (PHONE, OTHER)]
    with pytest.raises(InvalidRequest, match="new one"):
        give_token(store, crew, str(uuid.UUID(int=3)), changes.now())
    assert all(crew_with(store, token) == crew for token in held)


def test_thirty_phones_that_come_in_at_once_all_get_a_token(store, team):
    _, crew = team
    since, given = changes.now(), []

    def come_in(number):
        given.append(give_token(store, crew, str(uuid.UUID(int=number)), since))

    phones = [threading.Thread(target=come_in, args=(number,)) for number in range(1, 31)]
    for phone in phones:
        phone.start()
    for phone in phones:
        phone.join()
    assert len({*given}) == 30
    assert all(crew_with(store, token) == crew for token in given)
