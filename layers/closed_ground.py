"""What is closed on a day, which trees are in it, and which hazards are there."""

import math
from typing import Any

import numpy as np
import pandas as pd
import shapely

from layers.days import held_on
from layers.ground import INSIDE_M, LocalFrame, plane_positions
from layers.inputs import SiteTerms

_QUARTER = 16  # corners of a quarter of a drawn circle
# The drawn outline of a circle lies round it, not in it: nobody stands outside because of its corners.
_ROUND = 1.0 / math.cos(math.pi / (4 * _QUARTER))


def closures_on(closures: pd.DataFrame, trees: pd.DataFrame, terms: SiteTerms, as_of: str) -> pd.DataFrame:
    """Return the closures that hold on a day, with their outlines.

    Parameters
    ----------
    closures : DataFrame
        The table of closures with ``geometry`` (an outline, the middle of a circle, or None).
    trees : DataFrame
        ``tree_id`` and positions: a circle round a tree goes with the tree.
    terms : SiteTerms
        Whether the ground has a place on earth.
    as_of : str
        The day. On the day of reopening a place is open.

    Returns
    -------
    DataFrame
        The columns of the table, ``geometry`` the closed polygon in the coordinates of the site; None where
        the place is known in words only.
    """
    if not len(closures):
        return closures
    ended = closures["reopened_on"].notna() & (closures["reopened_on"].fillna("") <= as_of)
    begun = held_on(closures["from_on"], closures["to_on"], as_of)
    out = closures[begun & ~ended].reset_index(drop=True)
    names = ("x_m", "y_m") if terms.frame == "local" else ("lon_deg", "lat_deg")
    at = trees[trees["tree_id"].isin(out["tree_id"].dropna())].set_index("tree_id")[list(names)]
    shapes = [_outline(row, at, terms) for row in out.to_dict("records")]
    return out.assign(geometry=pd.Series(shapes, index=out.index, dtype=object))


def _outline(row: dict[Any, Any], at: pd.DataFrame, terms: SiteTerms) -> Any:
    shape, radius = row["geometry"], row["radius_m"]
    if row["tree_id"] is not None:
        spot = at.loc[row["tree_id"]].to_numpy(dtype=float) if row["tree_id"] in at.index else [np.nan]
        shape = shapely.Point(spot) if np.isfinite(spot).all() else None
    if shape is None or radius is None or radius != radius:
        return None if shape is None or shape.geom_type == "Point" else shape
    return circle(shape, float(radius), terms)


def circle(middle: Any, radius_m: float, terms: SiteTerms) -> Any:
    """Return a circle round a point of the site as a polygon in the site's coordinates.

    Parameters
    ----------
    middle : Point
        Degrees, or metres on a local ground.
    radius_m : float
        Its radius [m]; the polygon lies round the circle, farther out by 0.12 % at its corners.
    """
    if terms.frame == "local":
        return middle.buffer(radius_m * _ROUND, quad_segs=_QUARTER)
    frame = LocalFrame(middle.x, middle.y)
    return frame.earth(shapely.Point(0.0, 0.0).buffer(radius_m * _ROUND, quad_segs=_QUARTER))


def closed_trees(held: pd.DataFrame, trees: pd.DataFrame, terms: SiteTerms) -> dict[str, list[int]]:
    """Return the trees that are closed: {tree id: rows of what closes it, from 0}.

    Parameters
    ----------
    held : DataFrame
        What `closures_on` gives.
    trees : DataFrame
        ``tree_id``, positions, ``position_accuracy_m`` [m]. A tree outside by no more than its position is
        known to counts as inside; one without a position only where the closure names it.
    terms : SiteTerms
        Whether the ground has a place on earth.
    """
    out: dict[str, list[int]] = {}
    if not len(held) or not len(trees):
        return out
    ids = trees["tree_id"].to_numpy(dtype=object)
    slack = trees["position_accuracy_m"].to_numpy(dtype=float, na_value=np.nan)
    slack = np.where(np.isfinite(slack), slack, 0.0) + INSIDE_M
    for number, row in enumerate(held.to_dict("records")):
        inside = ids == row["tree_id"]
        shape = row["geometry"]
        if shape is not None:
            frame = None if terms.frame == "local" else LocalFrame(shape.centroid.x, shape.centroid.y)
            at = plane_positions(trees, frame, terms)
            known = np.isfinite(at).all(axis=1)
            away = np.full(len(at), np.inf)
            plane = shape if frame is None else frame.plane(shape)
            away[known] = shapely.distance(plane, shapely.points(at[known]))
            inside = inside | (away <= slack)
        for id in ids[inside]:
            out.setdefault(str(id), []).append(number)
    return out


def hazards_on(hazards: pd.DataFrame, as_of: str) -> pd.DataFrame:
    """Return the hazards that are there on a day; the index is new."""
    if not len(hazards):
        return hazards
    return hazards[held_on(hazards["valid_from"], hazards["valid_to"], as_of)].reset_index(drop=True)
