"""The systems of coordinates in which features are given and asked: which, and from and to CRS84.

References
----------
OGC 18-058r1, OGC API - Features - Part 2: Coordinate Reference Systems by Reference: systems are named by
URI, CRS84 stands first, coordinates come in the order of axes of the system's authority.
EPSG Geodetic Parameter Dataset, for areas of use; read with pyproj.
"""

import re
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.database import query_utm_crs_info

CRS84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
EPSG = "http://www.opengis.net/def/crs/EPSG/0/"
ALWAYS = (CRS84, f"{EPSG}4326", f"{EPSG}3857")
ZONED = ("WGS 84", "ETRS89", "NAD83")
_LEAST_STEP_M = 0.001
_NO_SIDE_M = 1e-9  # and less: numbers of which the squares, which lengths are made of, may be lost
_ZONE = re.compile(r"[\w ]+ / UTM zone \d+[NS]")  # and no variant of it with other axes

Box = tuple[float, float, float, float]
Moved = Callable[[np.ndarray], np.ndarray]


def crs_of(box: Box | None) -> list[str]:
    """Return the URIs offered for features within a box (west, south, east, north [deg]), CRS84 first.

    Beside those that hold everywhere: the zones of the transverse Mercator grids that hold the whole box.
    """
    if box is None or box[0] > box[2]:
        return list(ALWAYS)
    west, south, east, north = box
    found = [uri for uri, (w, s, e, n) in _zones() if w <= west <= east <= e and s <= south <= north <= n]
    return [*ALWAYS, *found]


@cache
def _zones() -> list[tuple[str, Box]]:
    """Every zone with its area of use; asking for them takes a quarter of a second."""
    zones = [zone for datum in ZONED for zone in query_utm_crs_info(datum) if _ZONE.fullmatch(zone.name)]
    found = {f"{EPSG}{zone.code}": zone.area_of_use.bounds for zone in zones if zone.area_of_use}
    return list(found.items())


def from_crs84(uri: str) -> Moved | None:
    """Return what moves rows of (longitude, latitude) into a system, in the order of its axes.

    None for CRS84, whose coordinates stay as they are.
    """
    return None if uri == CRS84 else _moved(_transformer(_name(uri), forth=True))


def shape_to_crs84(uri: str) -> Callable[[Any], Any] | None:
    """Return what brings a shapely geometry from a system to (longitude, latitude); None for CRS84."""
    if uri == CRS84:
        return None
    move = _moved(_transformer(_name(uri), forth=False))
    return lambda shape: shapely.transform(shape, move)


def box_to_crs84(uri: str, box: Box) -> Box | None:
    """Return the smallest box in CRS84 around a box in a system; None where it lies outside of the system.

    West is greater than east across the antimeridian.
    """
    if uri == CRS84:
        return box
    name = _name(uri)
    if is_geographic(uri):
        south, west, north, east = box
        return west, south, east, north
    around = Transformer.from_crs(name, "EPSG:4326", always_xy=True).transform_bounds(*box, densify_pts=21)
    west, south, east, north = (float(side) for side in around)
    return (west, south, east, north) if max(map(abs, (west, south, east, north))) <= 360 else None


def _name(uri: str) -> str:
    return f"EPSG:{uri.removeprefix(EPSG)}"


@cache
def _transformer(name: str, forth: bool) -> Transformer:
    return Transformer.from_crs("OGC:CRS84", name) if forth else Transformer.from_crs(name, "OGC:CRS84")


def _moved(transformer: Transformer) -> Moved:
    def moved(there: np.ndarray) -> np.ndarray:
        return np.column_stack(transformer.transform(there[:, 0], there[:, 1]))

    return moved


def outline_in_crs84(uri: str, box: Box) -> Any | None:
    """Return the sides of a box of a grid as they run in CRS84, as a shapely geometry.

    A box without width is a line or a point. None where its sides are those of a box in CRS84 too, or too far
    away to be drawn there.
    """
    if is_geographic(uri):
        return None
    left, low, right, high = box
    wide, tall = right - left > _NO_SIDE_M, high - low > _NO_SIDE_M
    if not (wide and tall):
        ends = [(left, low), (right if wide else left, high if tall else low)]
        shape = shapely.Point(ends[0]) if ends[0] == ends[1] else shapely.LineString(ends)
    else:
        shape = shapely.box(*box)
    step = max(right - left, high - low) / 20
    fine = shapely.segmentize(shape, step) if step > _LEAST_STEP_M else shape
    moved = shapely.transform(fine, _moved(_transformer(_name(uri), forth=False)))
    lon = shapely.get_coordinates(moved)
    near = np.isfinite(lon).all() and float(np.ptp(lon[:, 0])) <= 180.0
    return moved if near else None


def is_geographic(uri: str) -> bool:
    """Whether a system's coordinates are degrees of longitude and latitude."""
    return uri == CRS84 or bool(CRS(_name(uri)).is_geographic)
