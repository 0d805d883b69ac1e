"""Which trees a round measures, and which are kept off lists of helpers, with the reason.

References
----------
.. [1] BEAGLE school project, beagle.miljolare.no: trees of more than 50 cm of girth at chest height are
   looked over before pupils measure them.
"""

import random
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely

from layers.error_model import Array
from layers.translating import N_

SIGN, DANGER, CLOSED, ROAD, WATER, LINE = "sign", "danger", "closed", "road", "water", "line"
UNSEEN, NO_PLACE, BEYOND = "unseen", "no place", "beyond"
UNSEEN_GIRTH_CM = 50.0  # [1]
KEEP_OFF_M = 5.0  # from roads, water and lines: assumption, no source
REPEAT_SHARE = 0.10  # common practice, no source
LEAST_REPEATS = 10  # as much as the published errors weigh (10 degrees of freedom)
PRACTICE_TREES = 2

FOR_EVERYBODY = frozenset({CLOSED, DANGER, BEYOND})  # other reasons keep pupils off only
NEVER_PUT_BACK = frozenset({BEYOND})

REASONS: dict[str, str] = {
    SIGN: N_("to be looked at: {detail}"),
    DANGER: N_("a danger that was seen"),
    CLOSED: N_("closed: {detail}"),
    ROAD: N_("{detail} from a road"),
    WATER: N_("{detail} from water"),
    LINE: N_("{detail} from an overhead line"),
    UNSEEN: N_("{detail} round the trunk, and nobody qualified has looked at it"),
    NO_PLACE: N_("no place on the map: nobody can tell what it stands beside"),
    BEYOND: N_("behind a road, water or fence that no team crosses"),
}


@dataclass(frozen=True)
class LeftOut:
    """Why a tree is kept off a list: a word of REASONS, with metres, centimetres or words."""

    tree_id: str
    reason: str
    metres: float | None = None
    cm: float | None = None
    words: str | None = None


@dataclass(frozen=True)
class Near:
    """Something that pupils keep away from: road, water or line, its shape [m], and how far [m]."""

    reason: str
    shape: Any
    keep_off_m: float


def chosen(
    trees: pd.DataFrame,
    *,
    inside: Iterable[str] | None = None,
    from_cm: float | None = None,
    to_cm: float | None = None,
    not_since: str | None = None,
) -> pd.DataFrame:
    """Return the standing trees that a manager asks for, by tag.

    Parameters
    ----------
    trees : DataFrame
        Columns of TREES.
    inside : iterable of str, optional
        The trees of an area or place; all by default.
    from_cm, to_cm : float, optional
        Width of the tree, from (included) to (left out) [cm]. Trees without a size are taken where there is
        no lower end.
    not_since : str, optional
        Only trees that were not measured on this day or later.
    """
    kept = np.array(trees["status"].isin(["living", "unknown"]), dtype=bool)
    if inside is not None:
        kept &= trees["tree_id"].isin(set(inside)).to_numpy(dtype=bool)
    width = trees["dbh_cm"].to_numpy(dtype=float, na_value=np.nan)
    if from_cm is not None:
        kept &= np.nan_to_num(width, nan=-1.0) >= from_cm
    if to_cm is not None:
        kept &= np.nan_to_num(width, nan=-1.0) < to_cm
    if not_since is not None:
        last = trees["last_measured_on"]
        kept &= (last.isna() | (last.fillna("") < not_since)).to_numpy(dtype=bool)
    found = trees[kept]
    order = sorted(range(len(found)), key=lambda row: _by_tag(found, row))
    return found.iloc[order].reset_index(drop=True)


def _by_tag(trees: pd.DataFrame, row: int) -> tuple[str, str]:
    tag = trees["tag"].iloc[row]
    said = tag if isinstance(tag, str) else "~"
    return said.zfill(12) if said.isdigit() else f"~{said}", str(trees["tree_id"].iloc[row])


def kept_off(
    trees: pd.DataFrame,
    at: Array,
    *,
    closed: Mapping[str, Sequence[str]],
    near: Sequence[Near],
    in_danger: Collection[str] = (),
    unseen_girth_cm: float = UNSEEN_GIRTH_CM,
) -> list[LeftOut]:
    """Return why trees are kept off lists of pupils, closed and dangerous ones off every list; all of them.

    Parameters
    ----------
    trees : DataFrame
        ``tree_id``, ``signs``, ``dbh_cm``, ``last_inspected_on`` and ``position_accuracy_m`` of TREES.
    at : array
        Their positions [m], NaN where there is none.
    closed : mapping
        What closes a tree, in words, by ``tree_id``.
    in_danger : collection of str
        Trees at which a danger was seen that nobody has answered.
    near : sequence of Near
        Roads, water and lines. A tree whose position is not known to so many metres counts as nearer by
        that.
    unseen_girth_cm : float
        Trees above this girth that nobody qualified has looked at are left out [cm].
    """
    is_placed = np.isfinite(at[:, 0]) & np.isfinite(at[:, 1])
    slack = np.nan_to_num(trees["position_accuracy_m"].to_numpy(dtype=float, na_value=np.nan))
    away = {thing: _apart(thing.shape, at, is_placed) for thing in near}
    out: list[LeftOut] = []
    for row, tree in enumerate(trees.itertuples(index=False)):
        out += [LeftOut(tree.tree_id, CLOSED, words=name) for name in closed.get(tree.tree_id, ())]
        if tree.tree_id in in_danger:
            out.append(LeftOut(tree.tree_id, DANGER))
        if tree.signs is not None and len(tree.signs):
            out.append(LeftOut(tree.tree_id, SIGN))
        for thing, metres in _nearest(away, row).items():
            if metres - slack[row] < thing.keep_off_m:
                out.append(LeftOut(tree.tree_id, thing.reason, metres=round(metres, 1)))
        girth = np.pi * float(tree.dbh_cm) if tree.dbh_cm == tree.dbh_cm else 0.0
        if girth > unseen_girth_cm and not isinstance(tree.last_inspected_on, str):
            out.append(LeftOut(tree.tree_id, UNSEEN, cm=round(girth)))
        if not is_placed[row]:
            out.append(LeftOut(tree.tree_id, NO_PLACE))
    return out


def _apart(shape: Any, at: Array, is_placed: Any) -> Array:
    out = np.full(len(at), np.nan)
    out[is_placed] = shapely.distance(shape, shapely.points(at[is_placed]))
    return out


def _nearest(away: Mapping[Near, Array], row: int) -> dict[Near, float]:
    """What is nearest of each reason, where the tree has a place."""
    best: dict[str, tuple[float, Near]] = {}
    for thing, metres in away.items():
        distance = float(metres[row])
        margin = distance - thing.keep_off_m
        if np.isfinite(distance) and (thing.reason not in best or margin < best[thing.reason][0]):
            best[thing.reason] = (margin, thing)
    return {thing: float(away[thing][row]) for _margin, thing in best.values()}


def drawn_twice(tree_ids: Sequence[str], share: float, seed: int) -> list[str]:
    """Return the trees that are measured by two teams, drawn at random.

    Parameters
    ----------
    tree_ids : sequence of str
        Those of the round.
    share : float
        Of them [-]; at least ten, or all where there are fewer. None at 0.
    seed : int
        The same seed draws the same trees.
    """
    if share <= 0:
        return []
    count = min(len(tree_ids), max(LEAST_REPEATS, round(share * len(tree_ids))))
    return sorted(random.Random(seed).sample(sorted(tree_ids), count))


def for_practice(
    at: Array, allowed: Sequence[int], count: int, meeting: tuple[float, float] | None
) -> list[int]:
    """Return the rows of the trees that every team measures first: nearest to where all meet.

    Without a meeting point, nearest to the middle of all.
    """
    if not allowed or count <= 0:
        return []
    rows = np.array(allowed)
    middle = np.array(meeting) if meeting is not None else at[rows].mean(axis=0)
    away = np.hypot(*(at[rows] - middle).T)
    return [int(row) for row in rows[np.argsort(away, kind="stable")[:count]]]
