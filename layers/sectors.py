"""Which team measures which trees: for each one compact sector, of about equal time, past no barrier.

In words: the ground falls into parts between which nobody crosses a barrier; each part gets teams by the time
its trees take. A part is cut across its longer side by time, again and again, until each team has a piece.
Each team's walk goes from tree to tree and ends where everybody meets. Then trees at the edge of a longer
sector go over to a shorter one beside it, as long as that makes the times more equal. Trees that two teams
measure are given to the second team that has the least way to them, never to the same one. Nothing is drawn
by lot: the same trees give the same sectors.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from layers.error_model import Array, Whole
from layers.measuring_time import METRES_PER_MINUTE
from layers.walking import Ways

WITHIN = 0.15  # what longest and shortest may differ by, of the longest
_ENOUGH = 0.03
_NEAREST = 8  # trees of a sector that may go over to one beside it, at a time
_MOVES = 4000
_LEAST_GAIN = 0.05  # of the sum of squared minutes

FEW_TREES = "fewer trees than teams"
PARTS = "parts between which nobody crosses"
LARGE_TREES = "single trees take long"


@dataclass(frozen=True)
class Sector:
    """What one team does: rows of trees in the order of its walk, minutes [min], way [m] and its corners.

    ``again`` are those of its stops that another team measures as well, given to this one as the second.
    """

    stops: tuple[int, ...]
    again: frozenset[int]
    minutes: float
    way_m: float
    line: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Division:
    """The sectors, one for each team; rows that no team reaches; how far the times are apart, and why."""

    sectors: tuple[Sector, ...]
    unreached: tuple[int, ...]
    spread: float
    why: str | None


def spread_of(minutes: Sequence[float]) -> float:
    """Return by how much the shortest time is less than the longest, as a share of the longest [-]."""
    longest = max(minutes, default=0.0)
    return 0.0 if longest <= 0 else (longest - min(minutes)) / longest


def divided(
    at: Array,
    minutes: Array,
    teams: int,
    *,
    meeting: tuple[float, float] | None = None,
    barriers: Any = None,
    twice: Sequence[int] = (),
    metres_per_minute: float = METRES_PER_MINUTE,
) -> Division:
    """Return a sector for each team.

    Parameters
    ----------
    at : array
        Where each tree stands, east and north [m]; all finite.
    minutes : array
        How long a team is busy at each [min].
    teams : int
        How many teams there are, at least one.
    meeting : tuple, optional
        Where every walk begins and ends [m]. What cannot be reached from there is not reached.
    barriers : geometry, optional
        What nobody crosses [m].
    twice : sequence of int
        Rows of trees that two teams measure; where a part has one team, that team does, at its end.
    metres_per_minute : float
        How fast they walk [m/min].
    """
    size = len(at)
    points = np.vstack([at, np.array([meeting])]) if meeting is not None else at
    ways = Ways(points, barriers)
    desk = _Desk(ways, size, np.asarray(minutes, dtype=float), meeting is not None, metres_per_minute)
    parts, unreached = _parts(ways, size, minutes, teams, meeting is not None)
    given = _shared_out([float(minutes[rows].sum()) for rows in parts], teams)
    walks: list[_Walk] = []
    for rows, count in zip(parts, given, strict=True):
        walks += _part_walks(desk, rows, count, [row for row in twice if row in set(rows.tolist())])
    walks += [_Walk([], [])] * (teams - len(walks))
    found = tuple(desk.sector(walk) for walk in walks)
    apart = spread_of([sector.minutes for sector in found])
    why = None if apart <= WITHIN else _why(found, len(parts), minutes)
    return Division(found, unreached, apart, why)


def _why(found: Sequence[Sector], parts: int, minutes: Array) -> str:
    if any(not sector.stops for sector in found):
        return FEW_TREES
    return PARTS if parts > 1 else LARGE_TREES


def _parts(
    ways: Ways, size: int, minutes: Array, teams: int, is_met: bool
) -> tuple[list[Whole], tuple[int, ...]]:
    """The parts of the ground that get a team, those with most to do first; rows that get none."""
    part = ways.part[:size]
    if is_met:
        kept = [np.flatnonzero(part == ways.part[size])]
        kept = [rows for rows in kept if len(rows)]
    else:
        found = [np.flatnonzero(part == number) for number in dict.fromkeys(part.tolist())]
        kept = sorted(found, key=lambda rows: (-float(minutes[rows].sum()), int(rows[0])))[:teams]
    reached = {int(row) for rows in kept for row in rows}
    return kept, tuple(row for row in range(size) if row not in reached)


def _shared_out(times: Sequence[float], teams: int) -> list[int]:
    """How many teams each part gets: one each, every further one where a team has most to do."""
    given = [1] * len(times)
    for _ in range(teams - len(times) if times else 0):
        given[int(np.argmax([time / count for time, count in zip(times, given, strict=True)]))] += 1
    return given


@dataclass
class _Walk:
    """The stops of a team in their order, and those it does again at its end where it is alone."""

    stops: list[int]
    at_end: list[int]


def _part_walks(desk: "_Desk", rows: Whole, teams: int, twice: list[int]) -> list[_Walk]:
    pieces = _cut(rows, desk.at, desk.minutes, teams)
    desk.walks = [desk.tour([int(row) for row in piece]) for piece in pieces]
    if teams == 1:
        return [_Walk(desk.walks[0], desk.tour(twice))]
    desk.second = {}
    for row in sorted(twice, key=lambda row: (-desk.minutes[row], row)):
        desk.give_again(row)
    for _ in range(3):
        desk.even_out()
        desk.walks = [desk.tour(stops) for stops in desk.walks]
    return [_Walk(stops, []) for stops in desk.walks]


def _cut(rows: Whole, at: Array, minutes: Array, teams: int) -> list[Whole]:
    """Cut a part across its longer side by time, until there is a piece for each team."""
    if teams == 1 or not len(rows):
        return [rows, *[rows[:0]] * (teams - 1)]
    axis = int(np.argmax(np.ptp(at[rows], axis=0)))
    ordered = rows[np.lexsort((rows, at[rows, 1 - axis], at[rows, axis]))]
    first = teams // 2
    done = np.cumsum(minutes[ordered])
    cut = int(np.argmin(np.abs(done - done[-1] * first / teams))) + 1
    low, high = min(first, len(rows)), max(len(rows) - (teams - first), 0)
    cut = min(max(cut, low), max(high, low))
    return [*_cut(ordered[:cut], at, minutes, first), *_cut(ordered[cut:], at, minutes, teams - first)]


class _Desk:
    """Makes walks and moves trees between them. A stop is a row; one measured again is its row + size."""

    def __init__(self, ways: Ways, size: int, minutes: Array, is_met: bool, speed: float) -> None:
        self.ways, self.size, self.speed = ways, size, speed
        self.at = ways.at[:size]
        self.minutes = minutes
        self.is_met = is_met
        metres = ways.metres[:size, :size]
        home = ways.metres[size, :size] if is_met else np.zeros(size)  # without a meeting point: anywhere
        self.far = np.block([[metres, home[:, None]], [home[None, :], np.zeros((1, 1))]]) / speed
        self.walks: list[list[int]] = []
        self.second: dict[int, int] = {}

    def _rows(self, stops: Sequence[int]) -> Whole:
        return np.asarray(stops, dtype=np.int64) % self.size

    def _closed(self, stops: Sequence[int]) -> Whole:
        """The rows of a walk from the meeting point and back to it."""
        return np.concatenate([[self.size], self._rows(stops), [self.size]])

    def time(self, stops: Sequence[int]) -> float:
        """Minutes of a walk with its stops [min]."""
        if not stops:
            return 0.0
        closed = self._closed(stops)
        return float(self.minutes[self._rows(stops)].sum() + self.far[closed[:-1], closed[1:]].sum())

    def tour(self, stops: Sequence[int]) -> list[int]:
        """A short walk past stops: always to the nearest, crossings taken out; the last is nearer home."""
        left = sorted(stops)
        way: list[int] = []
        here = self.size
        while left:
            next_one = int(np.argmin(self.far[here, self._rows(left)]))
            here = left[next_one] % self.size
            way.append(left.pop(next_one))
        way = self._uncrossed(way)
        ends = [self.far[self.size, stop % self.size] for stop in (way[0], way[-1])] if way else [0.0, 0.0]
        return way[::-1] if ends[0] < ends[1] else way

    def _uncrossed(self, stops: list[int]) -> list[int]:
        way, improved = list(stops), True
        while improved and len(way) > 2:
            improved = False
            closed = self._closed(way)
            for first in range(len(way) - 1):
                a, b = closed[first], closed[first + 1]
                later = np.arange(first + 1, len(way))
                c, d = closed[later + 1], closed[later + 2]
                gain = self.far[a, b] + self.far[c, d] - self.far[a, c] - self.far[b, d]
                best = int(np.argmax(gain))
                if gain[best] > 1e-9:
                    last = int(later[best])
                    way[first : last + 1] = way[first : last + 1][::-1]
                    closed = self._closed(way)
                    improved = True
        return way

    def _insertion(self, stops: Sequence[int], row: int) -> tuple[float, int]:
        """How many minutes a stop adds to a walk, and before which place it is least."""
        if not stops:
            return float(self.minutes[row] + 2 * self.far[self.size, row]), 0
        closed = self._closed(stops)
        added = self.far[closed[:-1], row] + self.far[row, closed[1:]] - self.far[closed[:-1], closed[1:]]
        place = int(np.argmin(added))
        return float(self.minutes[row] + added[place]), place

    def give_again(self, row: int) -> None:
        """Give a tree to a second team: the one that has the least way to it."""
        options = [
            (self._insertion(stops, row)[0], self.time(stops), team)
            for team, stops in enumerate(self.walks)
            if row not in stops
        ]
        team = min(options)[2]
        self.walks[team].insert(self._insertion(self.walks[team], row)[1], row + self.size)

    def even_out(self) -> None:
        """Hand trees at the edge of longer sectors to shorter ones until nothing gets more equal."""
        times = [self.time(stops) for stops in self.walks]
        for _ in range(_MOVES):
            if spread_of(times) <= _ENOUGH:
                return
            move = next((m for team in np.argsort(times)[::-1] if (m := self._move(int(team), times))), None)
            if move is None:
                return
            stop, giver, taker = move
            self.walks[giver].remove(stop)
            place = self._insertion(self.walks[taker], stop % self.size)[1]
            self.walks[taker].insert(place, stop)
            times[giver], times[taker] = self.time(self.walks[giver]), self.time(self.walks[taker])

    def _move(self, giver: int, times: Sequence[float]) -> tuple[int, int, int] | None:
        """The tree of a sector that lies nearest to one where it makes times more equal: (stop, from, to)."""
        mine = self.walks[giver]
        if len(mine) < 2:
            return None
        rows, best = self._rows(mine), None
        for taker, theirs in enumerate(self.walks):
            if times[taker] >= times[giver]:
                continue
            ends = self._rows(theirs) if theirs else np.array([self.size])
            away = self.far[np.ix_(rows, ends)].min(axis=1)
            for place in np.argsort(away, kind="stable")[:_NEAREST]:
                stop = mine[int(place)]
                if self._has(theirs, stop) or (best is not None and away[place] >= best[0]):
                    continue
                if self._gain(giver, taker, int(place), times) > _LEAST_GAIN:
                    best = (float(away[place]), stop, taker)
        return None if best is None else (best[1], giver, best[2])

    def _has(self, stops: Sequence[int], stop: int) -> bool:
        """Whether a team measures a tree already, as the first or the second."""
        return stop % self.size in stops or stop % self.size + self.size in stops

    def _gain(self, giver: int, taker: int, place: int, times: Sequence[float]) -> float:
        mine = self.walks[giver]
        before, row, after = (int(x) for x in self._closed(mine)[place : place + 3])
        saved = self.minutes[row] + self.far[before, row] + self.far[row, after] - self.far[before, after]
        less = times[giver] - float(saved)
        more = times[taker] + self._insertion(self.walks[taker], row)[0]
        return times[giver] ** 2 + times[taker] ** 2 - less**2 - more**2

    def sector(self, walk: _Walk) -> Sector:
        """A walk as a sector."""
        stops = [*walk.stops, *(row + self.size for row in walk.at_end)]
        closed = self._closed(stops)
        rows = [int(row) for row in (closed if self.is_met else closed[1:-1])]
        metres = sum(self.far[a, b] for a, b in pairwise(rows)) * self.speed
        return Sector(
            stops=tuple(stop % self.size for stop in stops),
            again=frozenset(stop % self.size for stop in stops if stop >= self.size),
            minutes=self.time(stops),
            way_m=float(metres),
            line=tuple(self.ways.line(rows)) if stops else (),
        )
