"""The plan of a round: the sheets of its teams, in the order of their walks, and what is on none, with why.

Practice trees come first on every sheet. Where pupils and others measure together, trees that pupils are kept
off go to the others, and of the rest the others get those nearest to these until all have as much to do.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from layers.error_model import Array, Whole
from layers.measuring_time import METRES_PER_MINUTE
from layers.round_choice import (
    BEYOND,
    FOR_EVERYBODY,
    NEVER_PUT_BACK,
    LeftOut,
    drawn_twice,
    for_practice,
)
from layers.sectors import PARTS, WITHIN, Division, Sector, divided, spread_of
from layers.walking import Ways

PRACTICE, FIRST, REPEAT = "practice", "first", "repeat"
PUPILS = "pupils"
MOST_TREES = 2000
_TRIES = 6
ROUND_A_SECTOR_M = 4.0
ONE_KIND = "only the others may measure most trees"


@dataclass(frozen=True)
class Team:
    """A team of a round: its id and kind (pupils, volunteers, trained staff)."""

    id: str
    kind: str


@dataclass(frozen=True)
class Ask:
    """What is asked of a plan: where all meet [m], barriers [m], shares, and who put what back."""

    teams: tuple[Team, ...]
    meeting: tuple[float, float] | None = None
    barriers: Any = None
    repeat_share: float = 0.0
    practice: int = 0
    seed: int = 0
    put_back: frozenset[str] = frozenset()
    metres_per_minute: float = METRES_PER_MINUTE


@dataclass(frozen=True)
class Sheet:
    """What one team does: (tree, role) in order, minutes [min], way [m], its sector and walk [m]."""

    team: Team
    trees: tuple[tuple[str, str], ...]
    minutes: float
    way_m: float
    sector: Any
    line: Any


@dataclass(frozen=True)
class Plan:
    """The sheets of a round; what is on none of them; how far their times are apart, and why."""

    sheets: tuple[Sheet, ...]
    left_out: tuple[LeftOut, ...]
    spread: float
    why: str | None


def drafted(trees: pd.DataFrame, at: Array, minutes: Array, reasons: Iterable[LeftOut], ask: Ask) -> Plan:
    """Return the plan of a round.

    Parameters
    ----------
    trees : DataFrame
        ``tree_id`` of the chosen trees.
    at : array
        Where they stand [m], NaN where they have no place.
    minutes : array
        How long a team is busy at each [min].
    reasons : iterable of LeftOut
        Why trees are kept off lists; those that were put back are not, but for what is never put back.
    ask : Ask
    """
    ids = trees["tree_id"].to_list()
    row_of = {id: row for row, id in enumerate(ids)}
    kept_off = [
        one
        for one in reasons
        if one.tree_id in row_of and (one.tree_id not in ask.put_back or one.reason in NEVER_PUT_BACK)
    ]
    nobody = {row_of[one.tree_id] for one in kept_off if one.reason in FOR_EVERYBODY}
    not_pupils = {row_of[one.tree_id] for one in kept_off}
    desk = _Desk(ids, at, minutes, not_pupils, ask)
    if not desk.others:
        nobody = not_pupils
    return desk.plan([row for row in range(len(ids)) if row not in nobody], kept_off)


@dataclass(frozen=True)
class _Group:
    """Teams that may measure the same trees, the rows of these, and their sectors."""

    teams: Sequence[Team]
    rows: Sequence[int]
    division: Division

    @property
    def times(self) -> list[float]:
        return [sector.minutes for sector in self.division.sectors]

    def unreached(self) -> set[int]:
        return {self.rows[place] for place in self.division.unreached}


class _Desk:
    def __init__(self, ids: Sequence[str], at: Array, minutes: Array, not_pupils: set[int], ask: Ask) -> None:
        self.ids, self.at, self.minutes, self.ask = ids, at, np.asarray(minutes, dtype=float), ask
        self.pupils = [team for team in ask.teams if team.kind == PUPILS]
        self.others = [team for team in ask.teams if team.kind != PUPILS]
        self.not_pupils = not_pupils
        self.is_placed = np.isfinite(at[:, 0]) & np.isfinite(at[:, 1])

    def plan(self, rows: list[int], kept_off: Sequence[LeftOut]) -> Plan:
        placed = [row for row in rows if self.is_placed[row]]
        near = self._reached(placed)
        may_all = [row for row in near if not (self.pupils and row in self.not_pupils)]
        count = min(self.ask.practice, max(0, len(may_all) - len(self.ask.teams)))
        practice = for_practice(self.at, may_all, count, self.ask.meeting)
        left = [row for row in near if row not in practice]
        groups = self._groups(left, self._twice(left))
        sheets = self._sheets(groups, practice, [row for row in rows if not self.is_placed[row]])
        lost = set(placed).difference(near).union(*(group.unreached() for group in groups))
        beyond = [LeftOut(self.ids[row], BEYOND) for row in sorted(lost)]
        on_paper = {tree for sheet in sheets for tree, _role in sheet.trees}
        apart = spread_of([sheet.minutes for sheet in sheets])
        return Plan(
            tuple(sheets),
            tuple(one for one in (*kept_off, *beyond) if one.tree_id not in on_paper),
            apart,
            _why(groups) if apart > WITHIN else None,
        )

    def _reached(self, rows: list[int]) -> list[int]:
        """What can be reached from where all meet, without crossing a barrier."""
        if self.ask.meeting is None or not rows:
            return rows
        part = Ways(np.vstack([self.at[_whole(rows)], [self.ask.meeting]]), self.ask.barriers).part
        return [row for row, number in zip(rows, part, strict=False) if number == part[-1]]

    def _divided(self, teams: Sequence[Team], rows: Sequence[int], twice: Sequence[int]) -> _Group:
        place_of = {row: place for place, row in enumerate(rows)}
        found = divided(
            self.at[_whole(rows)].reshape(-1, 2),
            self.minutes[_whole(rows)],
            len(teams),
            meeting=self.ask.meeting,
            barriers=self.ask.barriers,
            twice=[place_of[row] for row in twice if row in place_of],
            metres_per_minute=self.ask.metres_per_minute,
        )
        return _Group(teams, rows, found)

    def _twice(self, rows: Sequence[int]) -> list[int]:
        drawn = set(drawn_twice([self.ids[row] for row in rows], self.ask.repeat_share, self.ask.seed))
        return [row for row in rows if self.ids[row] in drawn]

    def _groups(self, rows: list[int], twice: list[int]) -> list[_Group]:
        if not self.pupils or not self.others:
            return [self._divided(self.pupils or self.others, rows, twice)]
        own = [row for row in rows if row in self.not_pupils]
        shared = self._nearest_first([row for row in rows if row not in self.not_pupils], own)
        done = np.cumsum(self.minutes[_whole(shared)])
        weight = len(self.others) * len(self.pupils) / len(self.ask.teams)
        share = self._time(rows) * len(self.others) / len(self.ask.teams) - self._time(own)
        best: list[_Group] = []
        for _ in range(_TRIES):  # the walks are known only once the sectors are made
            cut = int(np.searchsorted(done, max(0.0, share)))
            groups = [
                self._divided(self.others, sorted(own + shared[:cut]), twice),
                self._divided(self.pupils, sorted(shared[cut:]), twice),
            ]
            if not best or _spread(groups) < _spread(best):
                best = groups
            share += (float(np.mean(groups[1].times)) - float(np.mean(groups[0].times))) * weight
        return best

    def _time(self, rows: Sequence[int]) -> float:
        return float(self.minutes[_whole(rows)].sum())

    def _nearest_first(self, shared: list[int], own: list[int]) -> list[int]:
        """Trees that everybody may measure, those first that stand near trees that only the others may."""
        spots = self.at[_whole(shared)].reshape(-1, 2)
        if not len(spots):
            return []
        if own:
            away = cKDTree(self.at[_whole(own)]).query(spots)[0]
        else:
            away = spots[:, int(np.argmax(np.ptp(spots, axis=0)))]
        return [shared[int(place)] for place in np.argsort(away, kind="stable")]

    def _sheets(
        self, groups: Sequence[_Group], practice: Sequence[int], unplaced: Sequence[int]
    ) -> list[Sheet]:
        first = [(self.ids[row], PRACTICE) for row in practice]
        made = {
            team.id: self._sheet(team, group, sector, first, self._time(practice))
            for group in groups
            for team, sector in zip(group.teams, group.division.sectors, strict=True)
        }
        for row in unplaced:  # one after the other to whoever has least to do
            may = [one for one in made.values() if one.team.kind != PUPILS or row not in self.not_pupils]
            least = min(may, key=lambda one: (one.minutes, one.team.id))
            made[least.team.id] = replace(
                least,
                trees=(*least.trees, (self.ids[row], FIRST)),
                minutes=least.minutes + float(self.minutes[row]),
            )
        return [made[team.id] for team in self.ask.teams]

    def _sheet(
        self, team: Team, group: _Group, sector: Sector, first: list[tuple[str, str]], minutes: float
    ) -> Sheet:
        rows = [group.rows[stop] for stop in sector.stops]
        roles, seen = list(first), set[int]()
        for stop, row in zip(sector.stops, rows, strict=True):
            is_again = stop in sector.again and (stop in seen or sector.stops.count(stop) == 1)
            roles.append((self.ids[row], REPEAT if is_again else FIRST))
            seen.add(stop)
        line = shapely.LineString(sector.line) if len(sector.line) > 1 else None
        own = [row for row, stop in zip(rows, sector.stops, strict=True) if stop not in sector.again]
        shape = self._shape(own or rows)
        return Sheet(team, tuple(roles), sector.minutes + minutes, sector.way_m, shape, line)

    def _shape(self, rows: Sequence[int]) -> Any:
        """The outline of a sector: its trees with some metres round them, without the barriers."""
        if not rows:
            return None
        spots = shapely.multipoints(self.at[_whole(rows)])
        shape = shapely.concave_hull(spots, ratio=0.6).buffer(ROUND_A_SECTOR_M, quad_segs=2).simplify(0.5)
        return shape if self.ask.barriers is None else shape.difference(self.ask.barriers)


def _whole(rows: Sequence[int]) -> Whole:
    return np.array(rows, dtype=np.int64)


def _spread(groups: Sequence[_Group]) -> float:
    return spread_of([time for group in groups for time in group.times])


def _why(groups: Sequence[_Group]) -> str:
    told = [group.division.why for group in groups if group.division.why is not None]
    return told[0] if told else ONE_KIND if len(groups) > 1 else PARTS


def sizes_of(trees: pd.DataFrame) -> tuple[Array, Whole]:
    """Return girth [cm], all trunks as one, and number of trunks of TREES, for the minutes at each."""
    girth = np.pi * trees["dbh_cm"].to_numpy(dtype=float, na_value=np.nan)
    return girth, trees["stems"].fillna(1).to_numpy(dtype=np.int64)
