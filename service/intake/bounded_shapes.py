"""Geometry from outside, bounded before the geometry library sees it.

Nested or endless geometry can crash or stall the library that reads it, so kind, depth and number of points
are checked first, on the text, the JSON or the bytes. Nothing is repaired: what is invalid is refused.
"""

import math
import re
import struct
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely

MAX_POINTS = 10_000
MAX_DEPTH = 4
_DEPTHS = {
    "Point": 1,
    "MultiPoint": 2,
    "LineString": 2,
    "MultiLineString": 3,
    "Polygon": 3,
    "MultiPolygon": 4,
}
_KINDS = (
    ("Point", shapely.Point),
    ("MultiPoint", shapely.MultiPoint),
    ("LineString", shapely.LineString),
    ("MultiLineString", shapely.MultiLineString),
)
_NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_WKT_CHARACTERS = re.compile(r"[A-Za-z]+(?:\s+(?:ZM?|M))?\s*\((?:[-+0-9.eE,()\s])*\)\s*")
TOO_MANY = f"The shape has more than {MAX_POINTS:,} points; simplify it or cut it into parts."
TOO_DEEP = "The coordinates are nested deeper than a shape can be."
NO_NUMBER = "A coordinate is not a finite number."


def from_geojson(geometry: Any) -> tuple[Any, str | None]:
    """Return (shape, None) of a GeoJSON geometry, (None, reason) where it cannot be; null has neither."""
    if geometry is None:
        return None, None
    if not isinstance(geometry, dict):
        return None, "The geometry is no object."
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if not isinstance(kind, str) or kind not in _DEPTHS:
        return None, f"A shape of the kind {str(kind)[:40]!r} is not taken; use points, lines or polygons."
    fault = _fault(coordinates, _DEPTHS[kind])
    if fault is not None:
        return None, fault
    try:
        return _built(kind, coordinates), None
    except (ValueError, TypeError, IndexError, shapely.errors.ShapelyError):
        return None, f"The coordinates do not make a {kind}."


def _fault(coordinates: Any, depth: int) -> str | None:
    """Return why coordinates cannot be taken; walks level by level, never by recursion."""
    level: list[Any] = [coordinates]
    for _ in range(depth):
        if any(not isinstance(item, list) for item in level):
            return "The coordinates are not nested as this kind of shape needs."
        if sum(map(len, level)) > 4 * MAX_POINTS:
            return TOO_MANY
        points = len(level)
        level = [item for items in level for item in items]
    if points > MAX_POINTS:
        return TOO_MANY
    if any(isinstance(item, list) for item in level):
        return TOO_DEEP
    if any(isinstance(n, bool) or not isinstance(n, (int, float)) or not math.isfinite(n) for n in level):
        return NO_NUMBER
    return None


def _flat(points: list[list[float]]) -> list[list[float]]:
    return [[float(p[0]), float(p[1])] for p in points]


def _built(kind: str, coordinates: Any) -> Any:
    if kind == "Point":
        return shapely.Point(float(coordinates[0]), float(coordinates[1])) if coordinates else None
    if kind == "MultiPoint":
        return shapely.MultiPoint(_flat(coordinates))
    if kind == "LineString":
        return shapely.LineString(_flat(coordinates))
    if kind == "MultiLineString":
        return shapely.MultiLineString([_flat(line) for line in coordinates])
    if kind == "Polygon":
        return _polygon(coordinates)
    return shapely.MultiPolygon([_polygon(rings) for rings in coordinates])


def _polygon(rings: list[list[list[float]]]) -> Any:
    return shapely.Polygon(_flat(rings[0]), [_flat(ring) for ring in rings[1:]])


def set_points(shapes: list[Any], pairs: Mapping[int, Sequence[float]]) -> None:
    """Set points at their places in a list of shapes, all built at once; their numbers were checked."""
    if pairs:
        points = shapely.points(np.array(list(pairs.values()), dtype=float))
        for place, point in zip(pairs, points, strict=True):
            shapes[place] = point


def from_wkt(text: str) -> tuple[Any, str | None, str | None]:
    """Return (shape, reason why not, EPSG code) of a geometry in words; all None where the cell is empty."""
    text = text.strip()
    if not text:
        return None, None, None
    code = None
    named = re.match(r"SRID=([0-9]{1,6});", text, re.IGNORECASE)
    if named:
        code, text = f"EPSG:{named.group(1)}", text[named.end() :]
    if text.count(",") >= MAX_POINTS:
        return None, TOO_MANY, code
    depth = deepest = 0
    for sign in re.findall(r"[()]", text):
        depth += 1 if sign == "(" else -1
        deepest = max(deepest, depth)
    if deepest > MAX_DEPTH:
        return None, TOO_DEEP, code
    if depth != 0 or not _WKT_CHARACTERS.fullmatch(text):
        return None, f"{text[:40]!r} is no geometry in words (WKT).", code
    try:
        shape = shapely.force_2d(shapely.from_wkt(text))
    except (shapely.errors.ShapelyError, ValueError):
        return None, f"{text[:40]!r} is no geometry in words (WKT).", code
    return (*_checked(shape), code)


def from_wkb(data: bytes) -> tuple[Any, str | None]:
    """Return (shape, reason why not) of a geometry in bytes (WKB), walked through before it is parsed."""
    fault = _wkb_fault(data)
    if fault is not None:
        return None, fault
    try:
        shape = shapely.force_2d(shapely.from_wkb(data))
    except (shapely.errors.ShapelyError, ValueError):
        return None, "The bytes are no geometry."
    return _checked(shape)


def _checked(shape: Any) -> tuple[Any, str | None]:
    if shapely.get_type_id(shape) not in (0, 1, 3, 4, 5, 6):
        return None, f"A shape of the kind {shape.geom_type!r} is not taken; use points, lines or polygons."
    if shape.is_empty:
        return None, None
    if not all(map(math.isfinite, shape.bounds)):
        return None, NO_NUMBER
    return shape, None


def _wkb_fault(data: bytes) -> str | None:
    """Return why bytes cannot be a bounded geometry; counts points and parts without building anything."""
    try:
        end, points = _walk(data, 0, 0, 0)
    except struct.error:
        return "The bytes of the geometry are cut off."
    except _Unbounded as reason:
        return str(reason)
    return None if end <= len(data) and points <= MAX_POINTS else TOO_MANY


class _Unbounded(Exception):
    """The walk met more than is allowed; never leaves this module."""


def _walk(data: bytes, place: int, depth: int, points: int) -> tuple[int, int]:
    if depth > 1:
        raise _Unbounded(TOO_DEEP)
    order = "<" if data[place : place + 1] == b"\x01" else ">"
    (code,) = struct.unpack_from(f"{order}I", data, place + 1)
    place += 5
    if code & 0x2000_0000:
        place += 4
    base = code & 0xFF if code & 0xE000_0000 else code % 1000
    sizes = 2 + bool(code & 0x8000_0000) + bool(code & 0x4000_0000)
    if not code & 0xE000_0000:
        sizes = (2, 3, 3, 4)[min(code // 1000, 3)]
    if base not in (1, 2, 3, 4, 5, 6):
        raise _Unbounded("A shape of this kind is not taken; use points, lines or polygons.")
    if base == 1:
        return _past(data, place, 1, sizes, points)
    (count,) = struct.unpack_from(f"{order}I", data, place)
    place += 4
    if count > MAX_POINTS:
        raise _Unbounded(TOO_MANY)
    if base == 2:
        return _past(data, place, count, sizes, points)
    for _ in range(count):
        if base == 3:
            (ring,) = struct.unpack_from(f"{order}I", data, place)
            place, points = _past(data, place + 4, ring, sizes, points)
        else:
            place, points = _walk(data, place, depth + 1, points)
    return place, points


def _past(data: bytes, place: int, count: int, sizes: int, points: int) -> tuple[int, int]:
    place += 8 * sizes * count
    points += count
    if points > MAX_POINTS:
        raise _Unbounded(TOO_MANY)
    if place > len(data):
        raise struct.error
    return place, points


def validity_fault(shape: Any) -> str | None:
    """Return why a polygon is invalid, in words, or None; bow-ties are refused, never repaired."""
    if shapely.is_valid(shape):
        return None
    reason = shapely.is_valid_reason(shape)
    found = re.search(rf"\[({_NUMBER})\s+({_NUMBER})\]", reason)
    where = f" near {float(found.group(1)):.7g}, {float(found.group(2)):.7g}" if found else ""
    words = re.sub(r"\[.*\]", "", reason).strip().casefold()
    return (
        f"The polygon is invalid ({words}{where}); draw it again so that its outline does not cross itself."
    )
