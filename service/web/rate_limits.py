"""How often something may be tried: counted in memory, by where it comes from and in all.

What is counted begins anew when the server starts. Reference: RFC 6585, section 4 (status 429).
"""

import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from ipaddress import IPv6Address, ip_address
from typing import TypeVar

from service.errors import TooOften

Clock = Callable[[], float]
Found = TypeVar("Found")

WRONG_OF_ONE, WRONG_OF_ONE_S = 10, 600.0
TRIED_OF_ONE, TRIED_OF_ONE_S = (
    300,
    600.0,
)  # right words too: no more than 1/30 of one processor goes into them
WRONG_OF_ALL, WRONG_OF_ALL_S = 60, 86_400.0
LONGEST_WAIT_S = 600.0
MOST_WAITING = 40  # a class that comes in at once
LONGEST_TURN_S = 10.0
MOST_PLACES = 10_000


class Counted:
    """When something happened at a place, over the last seconds; places used longest ago are forgotten."""

    def __init__(self, most: int, seconds: float, clock: Clock) -> None:
        self._most, self._seconds, self._clock = most, seconds, clock
        self._times: OrderedDict[str, deque[float]] = OrderedDict()
        self._lock = threading.Lock()

    def add(self, place: str) -> None:
        """Count one more."""
        with self._lock:
            times = self._times.setdefault(place, deque(maxlen=self._most))
            times.append(self._clock())
            self._times.move_to_end(place)
            if len(self._times) > MOST_PLACES:
                self._times.popitem(last=False)

    def wait(self, place: str) -> float:
        """Return how long it takes until there are fewer than the most [s]; 0 where there are."""
        with self._lock:
            times = self._times.get(place, deque())
            full = len(times) == self._most
            return max(0.0, times[0] + self._seconds - self._clock()) if full else 0.0


class GrowingWait:
    """Some are free over the last seconds, after each further one the wait doubles, up to a longest."""

    def __init__(self, free: int, seconds: float, clock: Clock) -> None:
        self._free, self._seconds, self._clock = free, seconds, clock
        self._times: deque[float] = deque()
        self._lock = threading.Lock()

    def add(self) -> None:
        """Count one more."""
        with self._lock:
            self._times.append(self._clock())

    def wait(self) -> float:
        """Return how long it takes until the next one is let through [s]."""
        with self._lock:
            now = self._clock()
            while self._times and self._times[0] <= now - self._seconds:
                self._times.popleft()
            beyond = len(self._times) - self._free
            if beyond < 0:
                return 0.0
            wait = LONGEST_WAIT_S if beyond >= 16 else min(2.0**beyond, LONGEST_WAIT_S)
            return max(0.0, self._times[-1] + wait - now)


class WordGate:
    """Words are looked at one after another, wrong ones only so often.

    The list of words gives about 228,000 pairs. A day lets through 60 wrong words, then one after 1, 2, 4 ...
    512 s and one every 10 min: at most 212. Where words of ten teams hold, somebody who tries a whole day
    from as many addresses as there are comes in with a chance of about 1 %; from one address at most 10 in
    10 min. Right words are not counted as wrong, so that a class behind one address comes in at once; while
    it waits for a guesser, phones that are in already go on. The slow hash is worked out for one word at a
    time, so that guessing takes one processor at most, and nobody waits longer than seconds for a turn.
    """

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._wrong = Counted(WRONG_OF_ONE, WRONG_OF_ONE_S, clock)
        self._tried = Counted(TRIED_OF_ONE, TRIED_OF_ONE_S, clock)
        self._all = GrowingWait(WRONG_OF_ALL, WRONG_OF_ALL_S, clock)
        self._turn = threading.Lock()
        self._places = threading.BoundedSemaphore(MOST_WAITING)

    def look(self, address: str, look: Callable[[], Found | None]) -> Found | None:
        """Return what ``look`` finds for a word from an address; None counts as a wrong one.

        Raises
        ------
        TooOften
            If there were too many wrong words, from there or in all, or too many words wait.
        """
        place = place_of(address)
        self._require_patience(place)
        with self._a_turn():
            self._require_patience(place)  # those before it in the queue may have been wrong
            found = look()
            self._tried.add(place)
            if found is None:
                self._wrong.add(place)
                self._all.add()
        return found

    def _require_patience(self, place: str) -> None:
        wait = max(self._wrong.wait(place), self._tried.wait(place), self._all.wait())
        if wait > 0:
            raise TooOften(wait)

    @contextmanager
    def _a_turn(self) -> Iterator[None]:
        if not self._places.acquire(blocking=False):
            raise TooOften(2.0)
        try:
            if not self._turn.acquire(timeout=LONGEST_TURN_S):
                raise TooOften(2.0)
            try:
                yield
            finally:
                self._turn.release()
        finally:
            self._places.release()


class Greetings:
    """How often somebody may ask for the time: a class behind one address, each phone every few seconds."""

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._asked = Counted(600, 60.0, clock)

    def take(self, address: str) -> None:
        """Count a greeting.

        Raises
        ------
        TooOften
            If there were too many from this address.
        """
        place = place_of(address)
        wait = self._asked.wait(place)
        if wait > 0:
            raise TooOften(wait)
        self._asked.add(place)


def place_of(address: str) -> str:
    """Return whom an address is counted for: an IPv6 one for its network of 64 bits, which one home has."""
    try:
        known = ip_address(address.partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(known, IPv6Address):
        if known.ipv4_mapped is not None:
            return str(known.ipv4_mapped)
        return str(IPv6Address(int(known) >> 64 << 64))
    return str(known)
