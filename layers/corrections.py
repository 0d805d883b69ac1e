"""Which of the records that correct one another is the one that holds.

A correction names the record it supersedes. What holds depends on the set of records alone, never on the
order in which they came.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.days import seconds_of

LIVE, SUPERSEDED, VOID, WAITING, CYCLE = "live", "superseded", "void", "waiting", "cycle"


def corrected(records: pd.DataFrame, id_column: str, subject_column: str) -> pd.DataFrame:
    """Return for each record whether it holds.

    Parameters
    ----------
    records : DataFrame
        ``id_column``, ``subject_column`` (the stem or tree it is about), ``supersedes``, ``void`` and, where
        there is one, ``recorded_at``. The ids are unique.

    Returns
    -------
    DataFrame
        Same index. ``state``: *live*, it holds; *superseded*, another stands in its place; *void*, it crosses
        out what it supersedes and nothing holds; *waiting*, the record that it (or one before it) corrects
        has not arrived for that subject; *cycle*, it corrects itself through others and is to be refused.
        ``is_forked``: several records correct the same one; only one of them is live, all are questioned.

    Notes
    -----
    Of several corrections of one record the one whose last word was recorded latest holds (no time is
    earliest), then the one with the greater id. A correction that was itself crossed out does not compete;
    where all were, nothing holds.
    """
    out = pd.DataFrame({"state": LIVE, "is_forked": False}, index=records.index).astype({"state": object})
    void = records["void"].to_numpy(dtype=bool)
    out.loc[void, "state"] = VOID
    supersedes = records["supersedes"]
    if not len(records) or supersedes.isna().all():
        return out
    chains = _Chains(records, id_column, subject_column)
    state, forked = out["state"].to_numpy(copy=True), np.zeros(len(records), dtype=bool)
    for settled in chains.settled():
        for row, word in settled.states.items():
            state[row] = word
        forked[settled.forked] = True
    return pd.DataFrame({"state": state, "is_forked": forked}, index=records.index)


@dataclass
class _Settled:
    """The states of the records of one chain, and the rows in question because it forks."""

    states: dict[int, str]
    forked: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class _Outcome:
    """What comes out of a record and all that corrects it: the row that has the last word."""

    row: int
    withdrawn: bool  # crossed out deeper down: does not compete with its siblings
    forks: tuple[int, ...]


class _Chains:
    """Records as trees: each under the one it supersedes."""

    def __init__(self, records: pd.DataFrame, id_column: str, subject_column: str) -> None:
        self.ids: NDArray[np.object_] = records[id_column].to_numpy(dtype=object)
        self.void: NDArray[np.bool_] = records["void"].to_numpy(dtype=bool)
        self.recorded: list[object] = list(records["recorded_at"]) if "recorded_at" in records else []
        subject = records[subject_column].to_numpy(dtype=object)
        supersedes = records["supersedes"].to_numpy(dtype=object)
        self.corrects = np.flatnonzero(~pd.isna(supersedes))
        parents = pd.Index(self.ids).get_indexer(supersedes[self.corrects])
        self.parent: dict[int, int] = {}
        self.children: dict[int, list[int]] = {}
        self.orphans: list[int] = []
        for row, parent in zip(self.corrects.tolist(), parents.tolist(), strict=True):
            if parent < 0 or subject[parent] != subject[row]:
                self.orphans.append(row)
            else:
                self.parent[row] = parent
                self.children.setdefault(parent, []).append(row)

    def settled(self) -> Iterator[_Settled]:
        """Yield the states of every chain of more than one record, of those that wait, and of cycles."""
        seen: set[int] = set()
        for row in self.orphans:
            below = self._below(row)
            seen.update(below)
            yield _Settled(dict.fromkeys(below, WAITING))
        for row in sorted(set(self.children) - set(self.parent) - seen):
            below = self._below(row)
            seen.update(below)
            yield self._chain(below)
        left = set(self.corrects.tolist()) - seen
        if left:
            yield _Settled(dict.fromkeys(left, CYCLE))

    def _below(self, row: int) -> list[int]:
        """The record and all that corrects it, each after the one it corrects."""
        found = [row]
        for each in found:
            found.extend(self.children.get(each, []))
        return found

    def _chain(self, below: list[int]) -> _Settled:
        outcome: dict[int, _Outcome] = {}
        for row in reversed(below):
            outcome[row] = self._outcome(row, [outcome[child] for child in self.children.get(row, [])])
        last = outcome[below[0]]
        states = dict.fromkeys(below, SUPERSEDED)
        for row in below:
            if self.void[row] and row not in self.children:
                states[row] = VOID
        states[last.row] = VOID if self.void[last.row] else LIVE
        return _Settled(states, list(last.forks))

    def _outcome(self, row: int, corrections: list[_Outcome]) -> _Outcome:
        if not corrections:
            return _Outcome(row, False, ())
        # A void record among the corrections crosses out this record; one further down only its own branch.
        competing = [one for one in corrections if not one.withdrawn]
        forks = tuple(fork for one in corrections for fork in one.forks)
        if len(competing) > 1:
            forks += tuple(one.row for one in competing)
        last = max(competing or corrections, key=lambda one: self._rank(one.row))
        crossed_out = last.withdrawn or bool(self.void[last.row])
        return _Outcome(last.row, crossed_out, forks)

    def _rank(self, row: int) -> tuple[float, str]:
        said = self.recorded[row] if self.recorded else None
        return seconds_of(said), str(self.ids[row])
