"""Stems that a reading may have been taken of by mistake: those of the same tree, those of trees close by."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layers import ground, taper
from layers.error_model import Array, Whole
from layers.inputs import Records, SiteTerms
from layers.reading_check import Kind
from layers.stem_forecast import YEAR_SD_CM
from layers.stem_sizes import Ordered

CLOSE_M = 20.0  # whose number may be taken for that of the next tree
MOST_CLOSE = 60

_DAYS = 1 << 24  # more than there are days in the years that can be said

Found = tuple[Kind, str, float, float]


@dataclass(frozen=True)
class Beside:
    """For every stem those beside it, and how large they last were.

    ``start`` and ``count`` say by stem where its ones stand in ``other`` (stems) and ``is_same_tree``.
    """

    of_ordered: Ordered
    start: Whole
    count: Whole
    other: Whole
    is_same_tree: NDArray[np.bool_]
    stem_ids: NDArray[np.object_]
    key: Whole  # of the known readings: stem and day as one number
    known: Whole  # their rows
    coefficients: Array  # of the stem profile, by stem

    @classmethod
    def of(cls, ordered: Ordered, records: Records, terms: SiteTerms) -> "Beside":
        """Return what stands beside each stem that has readings."""
        stem = ordered.sizes.stem
        stems = int(stem.max()) + 1 if len(stem) else 0
        first = np.zeros(stems, dtype=np.int64)
        first[stem[::-1]] = np.arange(len(stem))[::-1]
        tree_ids = ordered.readings["tree_id"].to_numpy(dtype=object)[first]
        tree = pd.Index(records.trees["tree_id"]).get_indexer(tree_ids)
        a, b = _pairs(tree, records, terms)
        order = np.argsort(a, kind="stable")
        count = np.bincount(a, minlength=stems)
        known = np.flatnonzero(ordered.sizes.is_known)
        when = ordered.readings["when"].to_numpy(dtype=np.int64)
        return cls(
            ordered,
            np.cumsum(count) - count,
            count,
            b[order],
            tree[a[order]] == tree[b[order]],
            ordered.readings["stem_id"].to_numpy(dtype=object)[first],
            stem[known] * _DAYS + when[known],
            known,
            _coefficients(tree, records.trees),
        )

    def coefficient(self, row: int) -> float:
        """Return the coefficient of the stem profile of the tree of a row [-]."""
        return float(self.coefficients[self.of_ordered.sizes.stem[row]])

    def of_rows(self, rows: Whole) -> list[list[Found]]:
        """Return for each reading the stems beside: kind, stem id, what it would have read, deviation [cm].

        Only stems that had been measured by that day.
        """
        if not len(self.known):
            return [[] for _row in rows]
        sizes = self.of_ordered.sizes
        count = self.count[sizes.stem[rows]]
        mine = np.repeat(np.arange(len(rows)), count)
        offset = np.arange(len(mine)) - np.repeat(np.cumsum(count) - count, count)
        at = self.start[sizes.stem[rows]][mine] + offset
        other = self.other[at]
        day = self.of_ordered.readings["when"].to_numpy(dtype=np.int64)[rows][mine]
        last = np.searchsorted(self.key, other * _DAYS + day, "right") - 1
        there = np.where(last >= 0, self.known[last], 0)
        is_measured = (last >= 0) & (sizes.stem[there] == other)
        years = sizes.years[rows][mine] - sizes.years[there]
        mean = sizes.dbh_cm[there] + sizes.growth[there] * years
        variance = (
            _error_variance(self.of_ordered, there)
            + _error_variance(self.of_ordered, rows[mine])
            + (sizes.growth_sd[there] * years) ** 2
            + YEAR_SD_CM**2 * years
        )
        out: list[list[Found]] = [[] for _row in rows]
        kinds: tuple[Kind, Kind] = ("neighbour", "another stem")
        ids = self.stem_ids[other]
        for n in np.flatnonzero(is_measured).tolist():
            kind = kinds[bool(self.is_same_tree[at[n]])]
            out[mine[n]].append((kind, ids[n], float(mean[n]), float(np.sqrt(variance[n]))))
        return out


def _error_variance(ordered: Ordered, rows: Whole) -> Array:
    """The variance of readings with all that they share with others [cm2]."""
    sizes = ordered.sizes
    shared = np.sum(sizes.effect_cm[rows] ** 2, axis=1)
    return np.asarray(sizes.own_var[rows] + sizes.departure_cm[rows] ** 2 + shared)


def _pairs(tree: Whole, records: Records, terms: SiteTerms) -> tuple[Whole, Whole]:
    """Pairs of stems of the same tree or of trees close by, both ways."""
    order = np.argsort(tree, kind="stable")
    number = len(records.trees)
    count = np.bincount(tree[tree >= 0], minlength=number)
    start = np.cumsum(count) - count + int((tree < 0).sum())
    first, second = _close_trees(records, terms, count > 0)
    several = np.flatnonzero(count > 1)
    first = np.concatenate([first, second, several])
    second = np.concatenate([second, first[: len(second)], several])
    pairs = count[first] * count[second]
    of = np.repeat(np.arange(len(first)), pairs)
    step = np.arange(len(of)) - np.repeat(np.cumsum(pairs) - pairs, pairs)
    a = order[start[first[of]] + step // np.maximum(count[second[of]], 1)]
    b = order[start[second[of]] + step % np.maximum(count[second[of]], 1)]
    return a[a != b], b[a != b]


def _close_trees(records: Records, terms: SiteTerms, has_stems: NDArray[np.bool_]) -> tuple[Whole, Whole]:
    """Trees whose positions are within ``CLOSE_M``; each pair once."""
    middle = None if terms.frame == "local" else ground.centre(records.trees, records.areas, terms)
    if terms.frame != "local" and middle is None:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    frame = None if middle is None else ground.LocalFrame(*middle)
    at = ground.plane_positions(records.trees, frame, terms)
    placed = np.flatnonzero(np.isfinite(at).all(axis=1) & has_stems)
    if len(placed) < 2:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    near = cKDTree(at[placed])
    most = min(MOST_CLOSE + 1, len(placed))
    _distance, found = near.query(at[placed], k=most, distance_upper_bound=CLOSE_M)
    first = np.repeat(np.arange(len(placed)), most)
    second = found.reshape(-1)
    real = (second < len(placed)) & (second != first)
    low, high = np.minimum(first[real], second[real]), np.maximum(first[real], second[real])
    code = np.unique(low * len(placed) + high)
    return placed[code // len(placed)], placed[code % len(placed)]


def _coefficients(tree: Whole, trees: pd.DataFrame) -> Array:
    """The coefficient of the stem profile for the tree of each stem."""
    names = list(zip(trees["scientific_name"].tolist(), trees["genus"].tolist(), strict=True))
    known = {name: taper.coefficient(*_said(name))[0] for name in set(names)}
    nothing = taper.coefficient(None, None)[0]
    return np.array([known[names[n]] if n >= 0 else nothing for n in tree.tolist()], dtype=float)


def _said(name: tuple[object, object]) -> tuple[str | None, str | None]:
    first, second = (part if isinstance(part, str) else None for part in name)
    return first, second
