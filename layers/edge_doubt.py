"""Trees near the edge of an area: how likely each is counted on the wrong side, and what that adds to errors.

A tree is counted where its recorded position lies. Where the position or the edge is not known well enough,
the tree may stand on the other side; its basal area is then missing in the area, or too much in it.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.special import ndtr

from layers import ground
from layers.error_model import Array, Whole
from layers.figure_subjects import BOUNDARY, WITHIN_BOUNDARY, Subject
from layers.figure_sums import Stand, sizes_in
from layers.inputs import SiteTerms

Shapes = NDArray[np.object_]

REACH_SD = 4.0  # a tree farther from an edge than this is on its side of it


def wrong_side(at: Array, accuracy_m: Array, shapes: Shapes, edge_sd_m: Array) -> tuple[Whole, Whole, Array]:
    """Return pairs of a shape and a tree near its edge, and how likely the tree is on the other side [-].

    Parameters
    ----------
    at : array, (trees, 2)
        Recorded positions [m]; NaN without one.
    accuracy_m : array
        How well each is known [m]; NaN or 0 where that was not said, which is taken as exact.
    shapes : array of polygons
        In the same plane; None has no edge.
    edge_sd_m : array
        Standard deviation of where the edge of each shape runs [m].

    Returns
    -------
    shape, tree, probability : arrays
        Positions in ``shapes`` and ``at``; trees on either side of the edge.

    Notes
    -----
    Phi(-distance / s) with s^2 = accuracy^2 + edge^2. Assumption: the accuracy is the standard deviation on
    each axis, errors are normal, and the edge is straight on that scale.
    """
    accuracy = np.where(accuracy_m > 0, accuracy_m, 0.0)
    tree = np.flatnonzero(np.isfinite(at).all(axis=1) & (accuracy > 0))
    shape = np.flatnonzero(~shapely.is_missing(shapes) & ~shapely.is_empty(shapes))
    if not len(tree) or not len(shape):
        nothing = np.zeros(0, dtype=np.int64)
        return nothing, nothing, np.zeros(0)
    points, edges = shapely.points(at[tree]), shapely.boundary(shapes[shape])
    reach = REACH_SD * np.hypot(accuracy[tree].max(), edge_sd_m[shape])
    shapely.prepare(edges)
    found, near = shapely.STRtree(points).query(edges, predicate="dwithin", distance=reach)
    apart = shapely.distance(edges[found], points[near])
    sd = np.hypot(accuracy[tree[near]], edge_sd_m[shape[found]])
    return shape[found], tree[near], np.asarray(ndtr(-apart / sd))


def edge_variance_m4(
    stand: Stand,
    trees: pd.DataFrame,
    areas: pd.DataFrame,
    rows: Sequence[Subject],
    limits_cm: Array,
    terms: SiteTerms,
) -> Array:
    """Return the variance of the basal area of each row from trees near its edge [m4]; 0 without an outline.

    Parameters
    ----------
    stand : Stand
        Trees and stems on the day.
    trees : DataFrame
        Positions and ``position_accuracy_m`` in the order of ``stand.tree_id``.
    areas : DataFrame
        ``area_id``, ``kind``, ``geometry`` of the areas that hold on the day.
    rows : sequence of Subject
        What figures are given for.
    limits_cm : array
        Counting limit of each row [cm], NaN for none.
    terms : SiteTerms
        The frame of the site.

    Notes
    -----
    sum q_i b_i^2 over the trees on both sides, q_i the probability that tree i with the basal area b_i stands
    on the other side than the one it is counted on. Assumption: trees stand on either side alike, so that
    what is missed and what is too much balance; each tree errs by itself. The error of the area's size,
    spread over its outline, is taken as the deviation of the edge.
    """
    out = np.zeros(len(rows))
    if "position_accuracy_m" not in trees or not len(areas):
        return out
    at, shapes = ground.in_metres(trees, areas, terms)
    row, outline = _outlines(areas, shapes, rows)
    if not len(row):
        return out
    size_se = np.array([rows[n].area_se_ha for n in row], dtype=float)
    edge_sd = np.nan_to_num(size_se) * ground.M2_PER_HA / np.maximum(shapely.length(outline), 1e-9)
    accuracy = trees["position_accuracy_m"].to_numpy(dtype=float, na_value=np.nan)
    pair_row, tree, likely = wrong_side(at, accuracy, outline, edge_sd)
    sizes = sizes_in(stand, row[pair_row], tree, limits_cm)
    np.add.at(out, row[pair_row], likely * sizes**2)
    return out


def _outlines(areas: pd.DataFrame, shapes: Shapes, rows: Sequence[Subject]) -> tuple[Whole, Shapes]:
    """The rows that have an outline of their own, and these; the boundary is that of all its parts."""
    of_area = dict(zip(areas["area_id"], shapes, strict=True))
    found = {
        n: of_area[one.area_id]
        for n, one in enumerate(rows)
        if one.has_outline and not one.is_place and one.area_id in of_area
    }
    parts = shapes[(areas["kind"] == BOUNDARY).to_numpy(dtype=bool)]
    if rows[WITHIN_BOUNDARY].has_outline and len(parts):
        found[WITHIN_BOUNDARY] = shapely.union_all(parts)
    outline = np.empty(len(found), dtype=object)
    outline[:] = list(found.values())
    return np.array(list(found), dtype=np.int64), outline
