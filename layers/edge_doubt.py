"""Trees near the edge of an area: how likely each is counted on the wrong side, and what that adds to errors.

A tree is counted where its recorded position lies. Where the position or the edge is not known well enough,
the tree may stand on the other side; its basal area is then missing in the area, or too much in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True)
class EdgeDoubt:
    """Trees near the edges of rows of figures: pairs of a row and a tree, on either side of its edge.

    ``likely`` is the probability that the tree stands on the other side than the one it is counted on [-].
    """

    row: Whole
    tree: Whole
    likely: Array


NO_DOUBT = EdgeDoubt(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0))


def edge_doubt(
    trees: pd.DataFrame, areas: pd.DataFrame, rows: Sequence[Subject], terms: SiteTerms
) -> EdgeDoubt:
    """Return the trees that may stand on the other side of the edge of a row.

    Parameters
    ----------
    trees : DataFrame
        Positions and ``position_accuracy_m``; pairs have positions in it.
    areas : DataFrame
        ``area_id``, ``kind``, ``geometry`` of the areas that hold on the day.
    rows : sequence of Subject
        What figures are given for.
    terms : SiteTerms
        The frame of the site.

    Notes
    -----
    Assumption: the error of the area's size, spread over its outline, is the deviation of its edge.
    """
    if not len(areas):
        return NO_DOUBT
    at, shapes = ground.in_metres(trees, areas, terms)
    row, outline = _outlines(areas, shapes, rows)
    size_se = np.array([rows[n].area_se_ha for n in row], dtype=float)
    return _doubt(trees, at, row, outline, size_se)


def doubt_of_areas(trees: pd.DataFrame, areas: pd.DataFrame, terms: SiteTerms) -> EdgeDoubt:
    """Return the trees that may stand on the other side of the edge of an area; rows are those of ``areas``.

    Parameters
    ----------
    trees, areas : DataFrame
        Columns of TREE_RECORD and AREA_RECORD.
    terms : SiteTerms
        The frame of the site.
    """
    if not len(areas):
        return NO_DOUBT
    at, shapes = ground.in_metres(trees, areas, terms)
    size_se = areas["area_se_ha"].to_numpy(dtype=float, na_value=np.nan)
    return _doubt(trees, at, np.arange(len(areas)), shapes, size_se)


def _doubt(trees: pd.DataFrame, at: Array, row: Whole, outline: Shapes, size_se_ha: Array) -> EdgeDoubt:
    if "position_accuracy_m" not in trees or not len(row):
        return NO_DOUBT
    around = np.maximum(np.nan_to_num(shapely.length(outline)), 1e-9)
    edge_sd = np.nan_to_num(size_se_ha) * ground.M2_PER_HA / around
    accuracy = trees["position_accuracy_m"].to_numpy(dtype=float, na_value=np.nan)
    found, tree, likely = wrong_side(at, accuracy, outline, edge_sd)
    return EdgeDoubt(row[found], tree, likely)


def stems_in_doubt(doubt: EdgeDoubt, tree_of_stem: Whole, rows: int) -> Array:
    """Return how many stems of each row are expected on the other side of its edge [-].

    Parameters
    ----------
    doubt : EdgeDoubt
        Trees near the edges.
    tree_of_stem : array
        The tree of each stem that counts, as the position that ``doubt`` has for it; -1 for none.
    rows : int
        Their number.
    """
    known = tree_of_stem[tree_of_stem >= 0]
    number = np.bincount(known, minlength=int(doubt.tree.max(initial=-1)) + 1)
    return np.asarray(np.bincount(doubt.row, weights=doubt.likely * number[doubt.tree], minlength=rows))


def edge_variance_m4(stand: Stand, doubt: EdgeDoubt, limits_cm: Array) -> Array:
    """Return the variance of the basal area of each row from trees near its edge [m4].

    Parameters
    ----------
    stand : Stand
        Trees and stems on the day, the trees in the order of those in doubt.
    doubt : EdgeDoubt
        Trees near the edges of the rows.
    limits_cm : array
        Counting limit of each row [cm], NaN for none.

    Notes
    -----
    sum q_i b_i^2 over the trees on both sides, q_i the probability that tree i with the basal area b_i stands
    on the other side than the one it is counted on. Assumption: trees stand on either side alike, so that
    what is missed and what is too much balance; each tree errs by itself.
    """
    sizes = sizes_in(stand, doubt.row, doubt.tree, limits_cm)
    return np.asarray(np.bincount(doubt.row, weights=doubt.likely * sizes**2, minlength=len(limits_cm)))


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
