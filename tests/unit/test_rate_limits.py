"""How often words may be tried, on a clock that the tests turn."""

import threading
from contextlib import suppress

import pytest

from service.errors import TooOften
from service.web.rate_limits import (
    LONGEST_WAIT_S,
    WRONG_OF_ALL,
    WRONG_OF_ONE,
    WRONG_OF_ONE_S,
    Greetings,
    WordGate,
    place_of,
)
from service.word_list import QUALITIES, THINGS


class Clock:
    def __init__(self):
        self.now = 1_000.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def gate(clock):
    return WordGate(clock)


def wrong():
    return None


def test_ten_wrong_words_from_an_address_are_followed_by_a_wait_and_then_one_more(gate, clock):
    for _ in range(WRONG_OF_ONE):
        assert gate.look("192.0.2.1", wrong) is None
        clock.now += 10
    with pytest.raises(TooOften) as told:
        gate.look("192.0.2.1", lambda: "right")
    assert told.value.seconds == pytest.approx(WRONG_OF_ONE_S - 10 * WRONG_OF_ONE)
    assert gate.look("192.0.2.2", lambda: "right") == "right"
    clock.now += told.value.seconds
    assert gate.look("192.0.2.1", lambda: "right") == "right"
    clock.now += 5
    assert gate.look("192.0.2.1", wrong) is None
    with pytest.raises(TooOften):
        gate.look("192.0.2.1", wrong)


def test_a_class_behind_one_address_comes_in_at_once_with_right_words(gate):
    came = []
    phones = [
        threading.Thread(target=lambda: came.append(gate.look("192.0.2.1", lambda: "crew")))
        for _ in range(32)
    ]
    for phone in phones:
        phone.start()
    for phone in phones:
        phone.join()
    assert came == ["crew"] * 32


def guess_all_day(gate, clock, seconds):
    """As many wrong words as somebody gets through who has all addresses; how many that were."""
    done, end, number = 0, clock.now + seconds, 0
    while clock.now < end:
        number += 1
        try:
            gate.look(f"10.{number >> 16 & 255}.{number >> 8 & 255}.{number & 255}", wrong)
            done += 1
        except TooOften as told:
            assert told.seconds <= LONGEST_WAIT_S
            clock.now += told.seconds
    return done


def test_a_day_of_guessing_from_everywhere_gets_through_what_the_comment_says_and_no_more(gate, clock):
    through = guess_all_day(gate, clock, 86_400)
    assert WRONG_OF_ALL < through <= 212
    assert guess_all_day(gate, clock, 86_400) <= 212
    assert 10 * 212 / (len(QUALITIES) * len(THINGS)) < 0.0105


def test_words_are_looked_at_one_after_another_and_few_wait(gate, monkeypatch):
    monkeypatch.setattr("service.web.rate_limits.LONGEST_TURN_S", 0.05)
    at_work, most, release, refused = [], [], threading.Event(), []

    def slow():
        at_work.append(1)
        most.append(len(at_work))
        release.wait(5)
        at_work.pop()
        return "crew"

    def come():
        try:
            gate.look("192.0.2.1", slow)
        except TooOften as told:
            refused.append(told.seconds)

    phones = [threading.Thread(target=come) for _ in range(60)]
    for phone in phones:
        phone.start()
    for phone in phones[1:]:
        phone.join(0.5)
    release.set()
    for phone in phones:
        phone.join()
    assert max(most) == 1
    assert refused == [2.0] * 59  # those beyond the queue at once, those in it after the longest turn


def test_a_word_that_waited_is_refused_where_those_before_it_were_wrong(gate):
    looked, started, go_on = [], threading.Event(), threading.Event()

    def first():
        started.set()
        go_on.wait(5)

    def come():
        with suppress(TooOften):
            gate.look("192.0.2.1", lambda: looked.append(1))

    opening = threading.Thread(target=lambda: gate.look("192.0.2.1", first))
    opening.start()
    started.wait(5)
    others = [threading.Thread(target=come) for _ in range(30)]
    for other in others:
        other.start()
    go_on.set()
    for thread in (opening, *others):
        thread.join()
    assert len(looked) == WRONG_OF_ONE - 1


def test_asking_for_the_time_is_free_for_a_class_and_not_for_a_flood(clock):
    greetings = Greetings(clock)
    for _ in range(600):
        greetings.take("192.0.2.1")
    with pytest.raises(TooOften) as told:
        greetings.take("192.0.2.1")
    assert told.value.seconds == 60
    greetings.take("192.0.2.2")
    clock.now += 60
    greetings.take("192.0.2.1")


@pytest.mark.parametrize(
    ("address", "place"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"),
        ("fe80::1%eth0", "fe80::"),
        ("no address", "unknown"),
        ("", "unknown"),
    ],
)
def test_an_address_counts_for_its_computer_or_its_home(address, place):
    assert place_of(address) == place
