"""How many of the questions could be asked of a tree at all, and why others could not.

A tree without a flag has not been found anything; what could not be asked has to be said beside it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layers import underneath
from layers.screening_rules import (
    NO_CROWN,
    NO_HEIGHT,
    NO_POSITION,
    NO_TARGETS,
    NO_USE,
    NOTHING_WRITTEN,
    QUESTIONS,
    REASONS,
    SIGN_RULES,
)
from layers.seen import sights_by_tree
from layers.standing import UNKNOWN
from layers.surroundings import Surroundings
from layers.underneath import Rows

ASKED = -1


@dataclass(frozen=True)
class Questions:
    """Tree by question why it could not be asked: the place in REASONS, -1 where it was asked."""

    tree_id: NDArray[np.object_]
    reason: Rows

    @property
    def asked(self) -> Rows:
        """How many could be asked of each tree."""
        return np.asarray((self.reason == ASKED).sum(axis=1))

    @property
    def not_askable(self) -> Rows:
        """How many could not be asked of each tree."""
        return np.asarray((self.reason != ASKED).sum(axis=1))

    def words(self, tree_id: str | None = None) -> str:
        """Return in words how many questions could be asked, of one tree or of all together.

        Raises
        ------
        KeyError
            If there is no such tree.
        """
        reason = self.reason if tree_id is None else self.reason[[self._row(tree_id)]]
        asked = int((reason == ASKED).sum())
        found, times = np.unique(reason[reason != ASKED], return_counts=True)
        why = ", ".join(f"{REASONS[r]} {n}" for r, n in zip(found.tolist(), times.tolist(), strict=True))
        told = f" ({why})" if why else ""
        return f"{reason.size} questions: {asked} asked, {reason.size - asked} could not be asked{told}."

    def _row(self, tree_id: str) -> int:
        rows = np.flatnonzero(self.tree_id == tree_id)
        if not len(rows):
            raise KeyError(tree_id)
        return int(rows[0])


def questions(around: Surroundings) -> Questions:
    """Return which questions could be asked of each standing tree.

    Notes
    -----
    A sign can be asked for where somebody wrote down what was seen: that sight, "none of these", or a look by
    a qualified person; whether it is dead also where a status was said. Reach and crown need their size, a
    position and something drawn underneath.
    """
    count = len(around.trees)
    looked_over, by_rule = sights_by_tree(around.sights, count)
    looked_over |= around.looks.row >= 0
    unseen = np.zeros(count, dtype=bool)
    status_said = (around.trees["status"] != UNKNOWN).to_numpy(dtype=bool)
    reason: dict[str, Rows] = {}
    for rule in SIGN_RULES:
        asked = looked_over | by_rule.get(rule, unseen) | (status_said & (rule == "dead"))
        reason[rule] = _unless(asked, NOTHING_WRITTEN)
    reason["reach"] = _by_size(around, np.isfinite(around.reach_m), NO_HEIGHT)
    reason["crown over"] = _by_size(around, np.isfinite(around.half_crown_m), NO_CROWN)
    reason["use"] = _unless(around.use != underneath.NOT_SAID, NO_USE)
    for rule in ("look", "height", "name"):
        reason[rule] = np.full(count, ASKED, dtype=np.int64)
    ids = around.trees["tree_id"].to_numpy(dtype=object)
    return Questions(ids, np.column_stack([reason[rule] for rule in QUESTIONS]))


def _unless(asked: NDArray[np.bool_], why: str) -> Rows:
    return np.where(asked, ASKED, REASONS.index(why)).astype(np.int64)


def _by_size(around: Surroundings, is_known: NDArray[np.bool_], missing: str) -> Rows:
    has_place = np.isfinite(around.at).all(axis=1)
    drawn = np.full(len(around.trees), len(around.targets) > 0)
    why = [REASONS.index(word) for word in (missing, NO_POSITION, NO_TARGETS)]
    return np.select([~is_known, ~has_place, ~drawn], why, ASKED).astype(np.int64)
