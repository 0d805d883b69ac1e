"""Where trees stand: the local frame, areas of polygons, which tree is inside which area.

References
----------
.. [1] Karney, C. F. F. 2013. Algorithms for geodesics. Journal of Geodesy 87:43-55 (areas on the ellipsoid).
.. [2] RFC 7946, section 3.1.1: an edge is straight in longitude and latitude.
"""

from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Geod, Transformer

from layers import columns
from layers.error_model import Array, Whole
from layers.inputs import SiteTerms

Shapes = NDArray[np.object_]

M2_PER_HA = 10_000.0
INSIDE_M = 0.001  # how far outside a polygon still counts as inside
CELL_ZOOM = 24
MERCATOR_EDGE_DEG = 85.0511

_WGS84 = Geod(ellps="WGS84")


class LocalFrame:
    """A transverse Mercator of scale 1 centred on a site, in metres.

    Parameters
    ----------
    lon, lat : float
        Centre [deg], WGS84. Within 10 km of it lengths are true to 1.3 parts in a million.
    """

    def __init__(self, lon: float, lat: float) -> None:
        self.lon = lon
        self.lat = lat
        self.crs = CRS.from_proj4(
            f"+proj=tmerc +lat_0={lat!r} +lon_0={lon!r} +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"
        )
        self._there = _transformer(lon, lat)

    def to_plane(self, lon: ArrayLike, lat: ArrayLike) -> tuple[Array, Array]:
        """Return east and north [m] of longitudes and latitudes [deg]; NaN stays NaN."""
        return _finite(*self._there.transform(np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)))

    def to_earth(self, x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
        """Return longitude and latitude [deg] of east and north [m]; NaN stays NaN."""
        return _finite(
            *self._there.transform(
                np.asarray(x, dtype=float), np.asarray(y, dtype=float), direction="INVERSE"
            )
        )

    def plane(self, geometry: Any) -> Any:
        """Return a geometry, or an array of them, in metres instead of degrees."""
        return shapely.transform(geometry, lambda at: np.column_stack(self.to_plane(at[:, 0], at[:, 1])))

    def earth(self, geometry: Any) -> Any:
        """Return a geometry, or an array of them, in degrees instead of metres."""
        return shapely.transform(geometry, lambda at: np.column_stack(self.to_earth(at[:, 0], at[:, 1])))


@lru_cache(maxsize=64)
def _transformer(lon: float, lat: float) -> Transformer:
    there = f"+proj=tmerc +lat_0={lat!r} +lon_0={lon!r} +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"
    return Transformer.from_pipeline(
        f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step {there}"
    )


def _finite(x: Any, y: Any) -> tuple[Array, Array]:
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    return np.where(np.isfinite(x), x, np.nan), np.where(np.isfinite(y), y, np.nan)


def positions(trees: pd.DataFrame, terms: SiteTerms) -> Array:
    """Return the positions of trees in the site's own coordinates, NaN where there is none.

    Degrees of longitude and latitude, or metres on a local ground.
    """
    names = ("x_m", "y_m") if terms.frame == "local" else ("lon_deg", "lat_deg")
    at = np.column_stack([trees[name].to_numpy(dtype=float, na_value=np.nan) for name in names])
    return np.where(np.isfinite(at).all(axis=1)[:, None], at, np.nan)


def centre(trees: pd.DataFrame, areas: pd.DataFrame, terms: SiteTerms) -> tuple[float, float] | None:
    """Return the middle of the box round the trees and areas of a site; None when nothing has a place."""
    at = positions(trees, terms)
    boxes = shapely.bounds(_shapes(areas))
    points = np.vstack([at, boxes[:, :2], boxes[:, 2:]])
    points = points[np.isfinite(points).all(axis=1)]
    if not len(points):
        return None
    lon, lat = (points.min(axis=0) + points.max(axis=0)) / 2.0
    return float(lon), float(lat)


def plane_positions(trees: pd.DataFrame, frame: LocalFrame | None, terms: SiteTerms) -> Array:
    """Return the positions of trees in metres, by the frame of the site (None on a local ground)."""
    at = positions(trees, terms)
    return at if frame is None else np.column_stack(frame.to_plane(at[:, 0], at[:, 1]))


def areas_ha(areas: pd.DataFrame, terms: SiteTerms) -> pd.DataFrame:
    """Return the areas with their size, column ``area_ha`` [ha] added.

    Parameters
    ----------
    areas : DataFrame
        Columns of AREA_RECORD.
    terms : SiteTerms
        Whether the ground has a place on earth.

    Returns
    -------
    DataFrame
        Same rows and index. Geodesic on WGS84, plane on a local ground, as typed where there is no polygon,
        NaN where nothing was typed either.
    """
    columns.require(areas, "area_record", ("geometry", "typed_area_ha"))
    drawn = np.array([size_ha(shape, terms) for shape in _shapes(areas)], dtype=float)
    typed = areas["typed_area_ha"].to_numpy(dtype=float, na_value=np.nan)
    return areas.assign(area_ha=np.where(np.isnan(drawn), typed, drawn))


def size_ha(shape: Any, terms: SiteTerms) -> float:
    """Return the area of a polygon or several [ha], holes left out; NaN for none."""
    if shape is None or shape.is_empty:
        return float("nan")
    if terms.frame == "local":
        return float(shapely.area(shape)) / M2_PER_HA
    polygons = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return sum(_geodesic_m2(polygon) for polygon in polygons) / M2_PER_HA


def _geodesic_m2(polygon: Any) -> float:
    outer = abs(_WGS84.geometry_area_perimeter(polygon.exterior)[0])
    return float(outer - sum(abs(_WGS84.geometry_area_perimeter(ring)[0]) for ring in polygon.interiors))


def union_ha(areas: pd.DataFrame, terms: SiteTerms) -> float:
    """Return the size of the ground under several areas [ha]; what overlaps counts once.

    Areas without a polygon add their typed size. NaN when there is nothing to go by.
    """
    shapes = [shape for shape in _shapes(areas) if shape is not None]
    drawn = size_ha(shapely.union_all(shapes), terms) if shapes else float("nan")
    typed = areas["typed_area_ha"].to_numpy(dtype=float, na_value=np.nan)[shapely.is_missing(_shapes(areas))]
    sizes = np.append(typed, drawn)
    return float(np.nansum(sizes)) if np.isfinite(sizes).any() else float("nan")


def _shapes(areas: pd.DataFrame) -> Shapes:
    return np.array(
        [shape if shape is not None and shape == shape else None for shape in areas["geometry"]] or []
    )


def membership(trees: pd.DataFrame, areas: pd.DataFrame, terms: SiteTerms) -> pd.DataFrame:
    """Return which trees are inside which areas, columns of MEMBERSHIP.

    Parameters
    ----------
    trees : DataFrame
        ``tree_id``, positions, ``position_accuracy_m``. Trees without a position are in no area.
    areas : DataFrame
        ``area_id``, ``layer`` and ``geometry`` of the areas that hold on the day.
    terms : SiteTerms
        The frame of the site.

    Notes
    -----
    All in longitude and latitude as a plane, scaled to metres at the middle of the site, so that edges stay
    straight between their corners. Inside is covered by the polygon or within 1 mm of it. A tree on the edge
    of A is not counted in A if it is also on the edge of a B of the same layer that overlaps A nowhere deeper
    than 1 mm and whose ``area_id`` (lower-case) is smaller: any tiling adds up, nested areas are independent.
    ``near_edge``: the edge is closer than the position is known; where that is not said, it is not near.
    """
    columns.require(areas, "area_record", ("area_id", "layer", "geometry"))
    at, shapes = in_metres(trees, areas, terms)
    tree = np.flatnonzero(np.isfinite(at).all(axis=1))
    area = np.flatnonzero(~shapely.is_missing(shapes) & ~shapely.is_empty(shapes))
    if not len(tree) or not len(area):
        return columns.empty("membership")
    points = shapely.points(at[tree])
    index = shapely.STRtree(points)
    edges = shapely.boundary(shapes[area])
    inside = _within(index, shapes[area], INSIDE_M)
    on_edge = _within(index, edges, INSIDE_M)
    taken = _taken_by_another(on_edge, shapes[area], areas.iloc[area], len(tree))
    inside = inside[~np.isin(inside[:, 0] * len(tree) + inside[:, 1], taken)]
    accuracy = trees["position_accuracy_m"].to_numpy(dtype=float, na_value=np.nan)[tree]
    near = _near_edge(index, points, edges, accuracy)
    code = inside[:, 0] * len(tree) + inside[:, 1]
    return pd.DataFrame(
        {
            "area_id": pd.Series(areas["area_id"].to_numpy(dtype=object)[area[inside[:, 0]]], dtype=object),
            "tree_id": pd.Series(trees["tree_id"].to_numpy(dtype=object)[tree[inside[:, 1]]], dtype=object),
            "near_edge": np.isin(code, near),
        }
    )


def in_metres(trees: pd.DataFrame, areas: pd.DataFrame, terms: SiteTerms) -> tuple[Array, Shapes]:
    """Return positions and outlines in metres, longitude and latitude as a plane: edges stay straight."""
    at, shapes = positions(trees, terms), _shapes(areas)
    middle = centre(trees, areas, terms)
    if terms.frame == "local" or middle is None:
        return at, shapes
    per_degree = _metres_per_degree(middle[1])

    def scaled(degrees: Array) -> Array:
        return np.asarray((degrees - np.array(middle)) * per_degree)

    return scaled(at), shapely.transform(shapes, scaled)


def _metres_per_degree(lat: float) -> Array:
    """Metres per degree of longitude and of latitude on the WGS84 ellipsoid."""
    axis, flattening = 6378137.0, 1 / 298.257223563
    e2 = flattening * (2 - flattening)
    rad = np.radians(lat)
    w = np.sqrt(1 - e2 * np.sin(rad) ** 2)
    return np.array([axis / w * np.cos(rad), axis * (1 - e2) / w**3]) * np.pi / 180.0


def _within(index: shapely.STRtree, shapes: Shapes, distance: float) -> Whole:
    """Pairs (shape, tree) that are at most a distance apart, ordered."""
    shapely.prepare(shapes)
    pairs = index.query(shapes, predicate="dwithin", distance=distance)
    return np.asarray(pairs[:, np.lexsort(pairs[::-1])].T, dtype=np.int64)


def _taken_by_another(on_edge: Whole, shapes: Shapes, areas: pd.DataFrame, trees: int) -> Whole:
    """Codes (area x trees + tree) of trees on an edge that a smaller area of the same layer takes."""
    count = np.bincount(on_edge[:, 1], minlength=trees)
    shared = on_edge[count[on_edge[:, 1]] > 1]
    pairs = pd.DataFrame(shared, columns=["area", "tree"])
    both = pairs.merge(pairs, on="tree", suffixes=("_a", "_b"))
    a, b = both["area_a"].to_numpy(), both["area_b"].to_numpy()
    layer, _ = pd.factorize(areas["layer"].to_numpy(dtype=object), use_na_sentinel=False)
    ids = np.array([str(area_id).lower() for area_id in areas["area_id"]], dtype=object)
    rank = np.empty(len(ids), dtype=np.int64)
    rank[np.argsort(ids, kind="stable")] = np.arange(len(ids))
    rivals = (a != b) & (layer[a] == layer[b]) & (rank[b] < rank[a])
    a, b, tree = a[rivals], b[rivals], both["tree"].to_numpy()[rivals]
    code, of_pair = np.unique(a * len(shapes) + b, return_inverse=True)
    shrunk = shapely.buffer(shapes[code % len(shapes)], -INSIDE_M)
    beside = ~shapely.intersects(shrunk, shapes[code // len(shapes)])
    return np.asarray((a * trees + tree)[beside[of_pair]], dtype=np.int64)


def _near_edge(index: shapely.STRtree, points: Shapes, edges: Shapes, accuracy: Array) -> Whole:
    """Codes (area x trees + tree) of trees that are closer to an edge than their position is known."""
    known = accuracy[accuracy > 0]
    if not len(known):
        return np.zeros(0, dtype=np.int64)
    pairs = _within(index, edges, float(known.max()))
    apart = shapely.distance(edges[pairs[:, 0]], points[pairs[:, 1]])
    near = apart < np.nan_to_num(accuracy)[pairs[:, 1]]
    return np.asarray((pairs[:, 0] * len(points) + pairs[:, 1])[near], dtype=np.int64)


def cell(lon: ArrayLike, lat: ArrayLike) -> NDArray[np.object_]:
    """Return the cells of positions in a grid of the earth, whole numbers in an array; None without one.

    Parameters
    ----------
    lon, lat : array_like
        Longitude and latitude [deg], WGS84; latitudes beyond 85.0511 count as that.

    Notes
    -----
    The column x and row y of the Web-Mercator grid at zoom 24, their bits interleaved (x even): 48 bits.
    """
    x, y = mercator(lon, lat)
    out = cell_numbers(x, y).astype(object)
    out[np.isnan(x)] = None
    return np.asarray(out)


def mercator(lon: ArrayLike, lat: ArrayLike) -> tuple[Array, Array]:
    """Return positions in the Web-Mercator square, [-] of its side from its west and north; NaN for none.

    Parameters
    ----------
    lon, lat : array_like
        Longitude and latitude [deg], WGS84; latitudes beyond 85.0511 count as that.
    """
    lon, lat = np.atleast_1d(np.asarray(lon, dtype=float)), np.atleast_1d(np.asarray(lat, dtype=float))
    known = np.isfinite(lon) & np.isfinite(lat)
    rad = np.radians(np.clip(np.where(known, lat, 0.0), -MERCATOR_EDGE_DEG, MERCATOR_EDGE_DEG))
    x = np.where(known, (lon + 180.0) / 360.0, np.nan)
    return x, np.where(known, (1.0 - np.arcsinh(np.tan(rad)) / np.pi) / 2.0, np.nan)


def cell_numbers(x: Array, y: Array) -> NDArray[np.uint64]:
    """Return the cells of positions in the Web-Mercator square; that of 0, 0 where there is none."""
    side = float(1 << CELL_ZOOM)
    column, row = (
        np.clip(np.nan_to_num(np.floor(value * side)), 0, side - 1).astype(np.uint64) for value in (x, y)
    )
    return interleaved(column, row)


def interleaved(column: NDArray[np.uint64], row: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Return numbers whose even bits are those of the column, odd bits those of the row (24 bits each)."""
    return _spread(column) | (_spread(row) << np.uint64(1))


def _spread(number: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Put a free bit above each of 24 bits."""
    for shift, mask in (
        (16, 0x0000FFFF0000FFFF),
        (8, 0x00FF00FF00FF00FF),
        (4, 0x0F0F0F0F0F0F0F0F),
        (2, 0x3333333333333333),
        (1, 0x5555555555555555),
    ):
        number = (number | (number << np.uint64(shift))) & np.uint64(mask)
    return number
