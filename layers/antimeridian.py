"""Shapes that cross the line where longitude 180 is longitude -180, cut there.

A step of more than 180 degrees between two corners goes the short way, across that line; no outline of a
ground is half as wide as the earth.

References
----------
Butler, H. et al. (2016): RFC 7946, The GeoJSON Format, section 3.1.9.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from shapely.geometry import GeometryCollection, LineString, MultiLineString, MultiPolygon, Polygon

_SHAPED = {"Polygon": MultiPolygon, "MultiPolygon": MultiPolygon}
_SHAPED |= {"LineString": MultiLineString, "MultiLineString": MultiLineString}


def cut(shapes: np.ndarray) -> np.ndarray:
    """Return shapes [deg, WGS84] of which none crosses the line; those that do not are as they were.

    A shape round a pole, or one whose outline crosses itself, stays as it is.
    """
    sides = shapely.bounds(shapes)
    out = shapes.copy()
    for place in np.flatnonzero(sides[:, 2] - sides[:, 0] > 180.0):
        out[place] = _cut(shapes[place])
    return out


def _cut(shape: Any) -> Any:
    if shape.geom_type == "GeometryCollection":
        return GeometryCollection([_cut(part) for part in shape.geoms])
    made = _SHAPED.get(shape.geom_type)
    if made is None:
        return shape
    parts = list(getattr(shape, "geoms", [shape]))
    whole = [_whole(part) for part in parts]
    if not any(part is not None for part in whole):
        return shape
    pieces = [
        piece
        for part, joined in zip(parts, whole, strict=True)
        for piece in ([part] if joined is None else _pieces(joined))
    ]
    return made(pieces)


def _whole(part: Any) -> Any:
    """Return a part with its corners side by side, beyond 180 degrees; None where it does not cross."""
    rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
    corners = [_side_by_side(np.asarray(ring.coords)) for ring in rings]
    if not any(crosses for _, crosses in corners):
        return None
    lines = [line for line, _ in corners]
    if part.geom_type == "LineString":
        return LineString(lines[0])
    if any(line[0, 0] != line[-1, 0] for line in lines):
        return None
    middle = (lines[0][:, 0].min() + lines[0][:, 0].max()) / 2
    for line in lines[1:]:
        line[:, 0] += 360.0 * np.round((middle - line[:, 0].mean()) / 360.0)
    made = Polygon(lines[0], lines[1:])
    return made if made.is_valid else None


def _side_by_side(corners: np.ndarray) -> tuple[np.ndarray, bool]:
    steps = np.round(np.diff(corners[:, 0]) / 360.0)
    line = corners.copy()
    line[1:, 0] -= 360.0 * np.cumsum(steps)
    return line, bool(steps.any())


def _pieces(whole: Any) -> Iterable[Any]:
    west, _, east, _ = whole.bounds
    for turn in range(int((west + 180.0) // 360.0), int((east + 180.0) // 360.0) + 1):
        inside = whole.intersection(shapely.box(360.0 * turn - 180.0, -90.0, 360.0 * turn + 180.0, 90.0))
        moved = shapely.transform(inside, lambda xy, by=turn: xy - np.array([360.0 * by, 0.0]))
        yield from (
            piece for piece in shapely.get_parts(moved) if shapely.get_dimensions(piece) == _dimension(whole)
        )


def _dimension(shape: Any) -> int:
    return int(shapely.get_dimensions(shape))
