"""Sums over the trees and stems of many areas at once."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import girth, size_classes
from layers.error_model import Array, SharedParts, Whole, expanded
from layers.standing import COUNTED, DEAD

Flags = NDArray[np.bool_]

EDGE = "edge"


@dataclass(frozen=True)
class Stand:
    """The trees and stems of a site on a day as arrays.

    Trees are in the order of ``tree_id``; the stems of tree i are [start[i], start[i] + count[i]).
    """

    tree_id: pd.Index
    living: Flags
    dead: Flags
    in_doubt: Flags
    start: Whole
    count: Whole
    stem_living: Flags  # living stem of a living tree
    dbh_cm: Array
    own_var_cm2: Array
    departure_var_cm2: Array
    undated: Flags
    parts: SharedParts

    @classmethod
    def of(cls, stem_state: pd.DataFrame, stem_parts: pd.DataFrame, causes: pd.DataFrame) -> "Stand":
        """Return the arrays of the three frames."""
        tree, tree_ids = pd.factorize(stem_state["tree_id"].to_numpy(dtype=object))
        first = np.full(len(tree_ids), -1, dtype=np.int64)
        first[tree[::-1]] = np.arange(len(tree))[::-1]
        status = stem_state["tree_status"].to_numpy(dtype=object)[first]
        living = np.isin(status, COUNTED)
        stems = np.flatnonzero(stem_state["stem_id"].notna().to_numpy())
        stems = stems[np.argsort(tree[stems], kind="stable")]
        rows = stem_state.iloc[stems]
        count = np.bincount(tree[stems], minlength=len(tree_ids))
        return cls(
            tree_id=pd.Index(tree_ids),
            living=living,
            dead=status == DEAD,
            in_doubt=stem_state["in_doubt"].to_numpy(dtype=bool)[first] & living,
            start=np.cumsum(count) - count,
            count=count,
            stem_living=np.isin(rows["status"].to_numpy(dtype=object), COUNTED) & living[tree[stems]],
            dbh_cm=rows["dbh_cm"].to_numpy(dtype=float),
            own_var_cm2=rows["own_var_cm2"].to_numpy(dtype=float),
            departure_var_cm2=np.nan_to_num(rows["departure_var_cm2"].to_numpy(dtype=float)),
            undated=rows["undated"].to_numpy(dtype=bool),
            parts=SharedParts.of(pd.Index(rows["stem_id"]), stem_parts, causes),
        )

    def tree_sums(self, stem_values: NDArray[np.generic]) -> Whole:
        """Return the sum over the stems of every tree of whole numbers or flags."""
        tree = np.repeat(np.arange(len(self.tree_id)), self.count)
        return np.bincount(tree, weights=stem_values, minlength=len(self.tree_id)).astype(np.int64)


@dataclass(frozen=True)
class Sums:
    """What is added up in every group; arrays of one number a group."""

    trees: Whole
    stems: Whole
    measured_stems: Whole
    partly_measured_trees: Whole
    unmeasured_trees: Whole
    undated_sizes: Whole
    dead_trees: Whole
    in_doubt_trees: Whole
    basal_area_m2: Array
    diameter_cm: Array
    density_index: Array
    diameter_variance_cm2: Array  # sum of the variances of the diameters
    variance_m4: Array  # of basal area, by kind of cause, own and departure first: (groups, kinds)
    kinds: tuple[str, ...]
    class_stems: Whole  # (groups, classes)
    class_basal_area_m2: Array


@dataclass(frozen=True)
class CountedStems:
    """The stems with a size at or above the counting limit, once for every group that they are in."""

    group: Whole
    pair: Whole  # position of the (group, tree) pair
    stem: Whole
    basal_area_m2: Array


def counted_stems(stand: Stand, group: Whole, tree: Whole, limits_cm: Array) -> CountedStems:
    """Return the stems that count in the sizes of every group."""
    pair, stem = _stems_of_pairs(stand, tree)
    dbh = stand.dbh_cm[stem]
    limit = np.nan_to_num(limits_cm, nan=0.0)[group[pair]]
    counts = stand.stem_living[stem] & np.isfinite(dbh) & (dbh >= limit)
    pair, stem = pair[counts], stem[counts]
    return CountedStems(group[pair], pair, stem, girth.basal_area_m2(stand.dbh_cm[stem]))


def sizes_in(stand: Stand, group: Whole, tree: Whole, limits_cm: Array) -> Array:
    """Return what each (group, tree) pair adds to the basal area of its group if it is in it [m2]."""
    counted = counted_stems(stand, group, tree, limits_cm)
    return np.asarray(np.bincount(counted.pair, weights=counted.basal_area_m2, minlength=len(tree)))


def _stems_of_pairs(stand: Stand, tree: Whole) -> tuple[Whole, Whole]:
    pair = np.repeat(np.arange(len(tree)), stand.count[tree])
    return pair, expanded(stand.start[tree], stand.count[tree])


def sums_of(
    stand: Stand,
    group: Whole,
    tree: Whole,
    counted: CountedStems,
    groups: int,
    breaks_cm: Sequence[float],
) -> Sums:
    """Return the sums of every group of (group, tree) pairs."""
    living_stems = stand.tree_sums(stand.stem_living)
    sized = stand.tree_sums(stand.stem_living & np.isfinite(stand.dbh_cm))
    per_tree = {
        "trees": stand.living,
        "stems": living_stems,
        "partly_measured_trees": stand.living & (sized > 0) & (sized < living_stems),
        "unmeasured_trees": stand.living & (sized == 0),
        "dead_trees": stand.dead,
        "in_doubt_trees": stand.in_doubt,
    }
    whole = {
        name: np.bincount(group, weights=value[tree], minlength=groups).astype(np.int64)
        for name, value in per_tree.items()
    }
    dbh = stand.dbh_cm[counted.stem]
    variance = stand.own_var_cm2 + stand.parts.item_variance()

    def summed(values: NDArray[np.generic] | None) -> Array:
        return np.asarray(np.bincount(counted.group, weights=values, minlength=groups), dtype=float)

    classes = len(breaks_cm) + 1
    code = counted.group * classes + size_classes.class_of(dbh, breaks_cm)
    return Sums(
        **whole,
        measured_stems=summed(None).astype(np.int64),
        undated_sizes=summed(stand.undated[counted.stem]).astype(np.int64),
        basal_area_m2=summed(counted.basal_area_m2),
        diameter_cm=summed(dbh),
        density_index=summed(girth.density_index(dbh)),
        diameter_variance_cm2=summed(variance[counted.stem]),
        variance_m4=_variance_m4(stand, counted, groups),
        kinds=("own", "departure", *stand.parts.kinds),
        class_stems=np.bincount(code, minlength=groups * classes).reshape(groups, classes),
        class_basal_area_m2=np.asarray(
            np.bincount(code, weights=counted.basal_area_m2, minlength=groups * classes), dtype=float
        ).reshape(groups, classes),
    )


def with_edges(sums: Sums, variance_m4: Array) -> Sums:
    """Return the sums with the variance that trees near an edge add in every group, kind ``edge``."""
    wide = np.column_stack([sums.variance_m4, variance_m4])
    return replace(sums, variance_m4=wide, kinds=(*sums.kinds, EDGE))


def _variance_m4(stand: Stand, counted: CountedStems, groups: int) -> Array:
    per_cm = girth.basal_area_per_cm(stand.dbh_cm[counted.stem])
    alone, departure = stand.own_var_cm2[counted.stem], stand.departure_var_cm2[counted.stem]
    own = [
        np.bincount(counted.group, weights=per_cm**2 * variance, minlength=groups)
        for variance in (alone - departure, departure)
    ]
    shared = stand.parts.grouped(counted.group, counted.stem, per_cm, groups)
    return np.column_stack([*own, shared])
