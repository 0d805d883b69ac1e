"""What is underneath a tree: how much people are there, and what it could reach.

All distances in metres, by the local frame of the site.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers import ground
from layers.days import held_on
from layers.inputs import SiteTerms
from layers.screening_rules import POSITION_NOT_SAID_M, USE_NOT_SAID, USES

Reals = NDArray[np.float64]
Rows = NDArray[np.int64]

# Most people first; a use that nobody said stands after the busy ones, before the quiet ones.
USE_ORDER = (*USES[:2], USE_NOT_SAID, *USES[2:])
NOT_SAID = USE_ORDER.index(USE_NOT_SAID)


@dataclass(frozen=True)
class Pairs:
    """Trees and the targets within a distance of them: row numbers and how far apart [m]."""

    tree: Rows
    target: Rows
    apart_m: Reals


def use_rank(uses: pd.Series) -> Rows:
    """Return the place of each use in :data:`USE_ORDER`, 0 where most people are."""
    known = {use: rank for rank, use in enumerate(USE_ORDER)}
    return np.array([known.get(use, NOT_SAID) for use in uses], dtype=np.int64)


def busier(first: Rows, second: Rows) -> Rows:
    """Return the rank with more people of each two; a use that was said goes before one that was not."""
    said_first, said_second = first != NOT_SAID, second != NOT_SAID
    both = np.minimum(first, second)
    return np.where(said_first & said_second, both, np.where(said_first, first, second))


def held_areas(areas: pd.DataFrame, as_of: str) -> pd.DataFrame:
    """Return the areas that hold on a day."""
    return areas[held_on(areas["valid_from"], areas["valid_to"], as_of)].reset_index(drop=True)


def busiest_area(trees: pd.DataFrame, areas: pd.DataFrame, inside: pd.DataFrame) -> tuple[Rows, Rows]:
    """Return of each tree the use rank and the row of the busiest area round it (-1: none says its use).

    Parameters
    ----------
    trees, areas
        Columns ``tree_id``; ``area_id`` and ``use``.
    inside
        Columns of MEMBERSHIP.
    """
    row = np.full(len(trees), -1, dtype=np.int64)
    said = use_rank(areas["use"])
    tree = pd.Index(trees["tree_id"]).get_indexer(inside["tree_id"])
    area = pd.Index(areas["area_id"]).get_indexer(inside["area_id"])
    known = (tree >= 0) & (area >= 0)
    known &= said[area] != NOT_SAID
    tree, area = tree[known], area[known]
    quiet_first = np.argsort(-said[area], kind="stable")  # of several, the one written last stays
    row[tree[quiet_first]] = area[quiet_first]
    return np.append(said, NOT_SAID)[row], row


def plane(trees: pd.DataFrame, targets: pd.DataFrame, terms: SiteTerms) -> tuple[Reals, NDArray[np.object_]]:
    """Return positions of trees and shapes of targets in metres; missing ones are NaN and None."""
    shapes = np.array(
        [None if s is None or s != s or s.is_empty else s for s in targets["geometry"]], dtype=object
    )
    middle = ground.centre(trees, targets, terms)
    if terms.frame == "local" or middle is None:
        return ground.positions(trees, terms), shapes
    frame = ground.LocalFrame(*middle)
    return ground.plane_positions(trees, frame, terms), np.asarray(frame.plane(shapes), dtype=object)


def allowance_m(trees: pd.DataFrame) -> Reals:
    """Return how far off each position may be [m], as said, else the assumption."""
    said = trees["position_accuracy_m"].to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isfinite(said), said, POSITION_NOT_SAID_M)


def within(at: Reals, shapes: NDArray[np.object_], radius_m: Reals) -> Pairs:
    """Return the targets at most a radius from each tree; a radius or position of NaN finds nothing."""
    row = np.flatnonzero(np.isfinite(at).all(axis=1) & np.isfinite(radius_m))
    target = np.flatnonzero(~shapely.is_missing(shapes)) if len(shapes) else np.zeros(0, dtype=np.int64)
    if not len(row) or not len(target):
        none = np.zeros(0, dtype=np.int64)
        return Pairs(none, none, np.zeros(0))
    points = shapely.points(at[row])
    found = shapely.STRtree(shapes[target]).query(points, predicate="dwithin", distance=radius_m[row])
    apart = shapely.distance(points[found[0]], shapes[target][found[1]])
    order = np.lexsort((found[1], apart, found[0]))
    return Pairs(row[found[0]][order], target[found[1]][order], np.asarray(apart)[order])
