"""A picture of the ground placed on the ground: pixels to metres and back, and how far off it is.

A pixel is (x right, y down) from the upper left corner of the picture. The ground is metres (x east, y north)
in the local frame of the site, or around a known point on earth. A placement is one 3 by 3 matrix between
them: a similarity from a known length, a projective map from the four corners of a rectangle (a photo taken
at a slant) or from points whose place is known.
"""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

import numpy as np

from layers import plane_maps
from layers.errors import PictureNotPlaced
from layers.plane_maps import Point, Points, as_points

How = Literal["length", "rectangle", "points"]

MIN_CLICKS_PX = 2.0  # two clicks closer than this are one spot
MAX_METRES = 1e6


@dataclass(frozen=True)
class Placement:
    """How a picture lies on the ground; every field is plain JSON.

    ``matrix`` is row by row, pixel (x, y, 1) to ground [m], with a positive third coordinate on the picture's
    side of the horizon. ``lon_deg``, ``lat_deg`` say where on earth the metres start; without them the metres
    are those of a local ground.
    """

    how: How
    matrix: tuple[float, ...]
    lon_deg: float | None = None
    lat_deg: float | None = None

    @property
    def frame(self) -> Literal["earth", "local"]:
        """Whether the picture has a place on earth."""
        return "local" if self.lon_deg is None else "earth"

    def to_dict(self) -> dict[str, Any]:
        """The placement as plain JSON."""
        return {**asdict(self), "matrix": list(self.matrix)}


@dataclass(frozen=True)
class NorthUp:
    """The picture turned so that north is up.

    Its size [px], its box on the ground [m] (west, south, east, north), and the eight numbers that lead from
    its pixels to those of the picture as it was uploaded.
    """

    width_px: int
    height_px: int
    box_m: tuple[float, float, float, float]
    coefficients: tuple[float, ...]


def from_dict(data: dict[str, Any]) -> Placement:
    """Return a placement from its JSON.

    Raises
    ------
    PictureNotPlaced
        If the data is no placement.
    """
    try:
        matrix = tuple(float(number) for number in data["matrix"])
        how, lon, lat = data["how"], data.get("lon_deg"), data.get("lat_deg")
    except (KeyError, TypeError, ValueError) as error:
        raise PictureNotPlaced("this is no placement of a picture. Place the picture again") from error
    usable = len(matrix) == 9 and all(map(math.isfinite, matrix)) and how in ("length", "rectangle", "points")
    if not usable or (lon is None) != (lat is None):
        raise PictureNotPlaced("this is no placement of a picture. Place the picture again")
    return Placement(how, matrix, lon, lat)


def from_length(p: Point, q: Point, length_m: float, north_deg: float = 0.0) -> Placement:
    """Return the placement of a plan or a photo from above by two clicks on a known length.

    Parameters
    ----------
    p, q : tuple of float
        The two ends [px].
    length_m : float
        What lies between them [m].
    north_deg : float
        Where north is in the picture, clockwise from its upper edge's direction [deg].

    Raises
    ------
    PictureNotPlaced
        If the clicks are on one spot or the length is not above 0.
    """
    _require_length(length_m)
    distance_px = math.dist(p, q)
    if not distance_px >= MIN_CLICKS_PX:
        raise PictureNotPlaced("both clicks are on one spot. Click the two ends of the known length")
    scale, angle = length_m / distance_px, math.radians(north_deg)
    if not math.isfinite(angle):
        raise PictureNotPlaced("the direction of north is not a number. Type degrees from 0 to 360")
    cos, sin = scale * math.cos(angle), scale * math.sin(angle)
    turn = np.array([[cos, sin, 0.0], [sin, -cos, 0.0], [0.0, 0.0, 1.0]])
    return _moved(Placement("length", _flat(turn)), p, (0.0, 0.0))


def from_rectangle(corners: Sequence[Point], first_side_m: float, second_side_m: float) -> Placement:
    """Return the placement of a photo taken at a slant, from the four corners of a known rectangle.

    The first side, from the first to the second click, points east until north is given; the first corner is
    the origin until a known point is given.

    Parameters
    ----------
    corners : sequence of tuple of float
        The four corners [px], one after the other around the rectangle, either way round.
    first_side_m, second_side_m : float
        The side from the first to the second corner and that from the second to the third [m].

    Raises
    ------
    PictureNotPlaced
        If the corners cannot be those of a rectangle seen from one side, or a side is not above 0.
    """
    _require_length(first_side_m)
    _require_length(second_side_m)
    pixels = as_points(corners, 4)
    if len(pixels) != 4:
        raise PictureNotPlaced("a rectangle has four corners. Click its four corners, one after the other")
    turns = plane_maps.turns(pixels)
    if not (np.all(turns > 0) or np.all(turns < 0)):
        raise PictureNotPlaced(
            "these four clicks do not go round a rectangle. Click its corners one after the other around it"
        )
    up = -second_side_m if turns[0] > 0 else second_side_m
    ground = np.array([[0.0, 0.0], [first_side_m, 0.0], [first_side_m, up], [0.0, up]])
    return Placement("rectangle", _flat(plane_maps.projective(pixels, ground)))


def from_points(
    pixels: Sequence[Point],
    ground_m: Sequence[Point],
    lon_deg: float | None = None,
    lat_deg: float | None = None,
) -> Placement:
    """Return the placement from points whose place is known.

    Two points give a similarity, three an affine map, four or more a projective map (by least squares from
    five on: see `misfit_m`).

    Parameters
    ----------
    pixels, ground_m : sequence of tuple of float
        The same points in the picture [px] and on the ground [m].
    lon_deg, lat_deg : float, optional
        Where on earth the metres start [deg].

    Raises
    ------
    PictureNotPlaced
        If there are fewer than two, if they lie in a line, or if they cannot belong together.
    """
    at, to = as_points(pixels, 2), as_points(ground_m, 2)
    if len(at) != len(to):
        raise PictureNotPlaced(
            f"{len(at)} points in the picture and {len(to)} on the ground do not match. Give each its place"
        )
    if len(at) == 2:
        matrix = plane_maps.similarity(at, to)
    elif len(at) == 3:
        matrix = plane_maps.affine(at, to)
    else:
        matrix = plane_maps.projective(at, to)
    return Placement("points", _flat(matrix), lon_deg, lat_deg)


def with_north(placement: Placement, tail: Point, tip: Point) -> Placement:
    """Return the placement turned so that an arrow in the picture points north.

    Parameters
    ----------
    placement : Placement
    tail, tip : tuple of float
        The arrow, two clicks [px]. The tail keeps its place.

    Raises
    ------
    PictureNotPlaced
        If both clicks are on one spot or beyond the horizon.
    """
    if not math.dist(tail, tip) >= MIN_CLICKS_PX:
        raise PictureNotPlaced("both clicks are on one spot. Click the foot and the tip of the north arrow")
    (x0, y0), (x1, y1) = to_ground(placement, [tail, tip])
    length = math.hypot(x1 - x0, y1 - y0)
    cos, sin = (y1 - y0) / length, (x1 - x0) / length
    turn = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    turned = replace(placement, matrix=_flat(turn @ _matrix(placement)))
    return _moved(turned, tail, (float(x0), float(y0)))


def with_point_m(placement: Placement, pixel: Point, x_m: float, y_m: float) -> Placement:
    """Return the placement moved so that a pixel lies at a point of the local ground [m].

    Raises
    ------
    PictureNotPlaced
        If the pixel lies beyond the horizon or the point is no place.
    """
    if not (abs(x_m) <= MAX_METRES and abs(y_m) <= MAX_METRES):
        raise PictureNotPlaced("this is no place on a local ground. Type metres east and north")
    return replace(_moved(placement, pixel, (x_m, y_m)), lon_deg=None, lat_deg=None)


def with_point_on_earth(placement: Placement, pixel: Point, lon_deg: float, lat_deg: float) -> Placement:
    """Return the placement with a place on earth: its metres start at a pixel whose place is known [deg].

    Raises
    ------
    PictureNotPlaced
        If the pixel lies beyond the horizon or the point is no place on earth.
    """
    if not (abs(lon_deg) <= 180 and abs(lat_deg) <= 85):
        raise PictureNotPlaced(
            "this is no place that can be mapped. Type longitude (-180 to 180) and latitude (-85 to 85)"
        )
    return replace(_moved(placement, pixel, (0.0, 0.0)), lon_deg=float(lon_deg), lat_deg=float(lat_deg))


def to_ground(placement: Placement, pixels: Sequence[Point] | Points) -> Points:
    """Return where pixels lie on the ground, one row (x, y) each [m].

    Raises
    ------
    PictureNotPlaced
        If a pixel lies at or beyond the horizon of a photo taken at a slant.
    """
    return plane_maps.mapped(_matrix(placement), as_points(pixels, 0))


def to_pixels(placement: Placement, ground_m: Sequence[Point] | Points) -> Points:
    """Return where points of the ground [m] lie in the picture, one row (x, y) each [px].

    Raises
    ------
    PictureNotPlaced
        If a point lies behind whoever took the photo.
    """
    return plane_maps.mapped(
        np.asarray(np.linalg.inv(_matrix(placement)), dtype=np.float64), as_points(ground_m, 0)
    )


def distance_m(placement: Placement, p: Point, q: Point) -> float:
    """Return the distance on the ground between two pixels [m].

    Raises
    ------
    PictureNotPlaced
        If one lies beyond the horizon.
    """
    a, b = to_ground(placement, [p, q])
    return float(math.dist(a, b))


def check_length(placement: Placement, p: Point, q: Point, metres: float) -> float:
    """Return the misfit of a placement: by what share a second known length comes out wrong [-].

    Raises
    ------
    PictureNotPlaced
        If the clicks are on one spot or the length is not above 0.
    """
    _require_length(metres)
    if not math.dist(p, q) >= MIN_CLICKS_PX:
        raise PictureNotPlaced("both clicks are on one spot. Click the two ends of a second known length")
    return abs(distance_m(placement, p, q) / metres - 1.0)


def area_error_share(misfit_share: float) -> float:
    """Return the relative standard error of an area drawn on the picture [-]: twice that of its lengths."""
    return 2.0 * misfit_share


def misfit_m(placement: Placement, pixels: Sequence[Point], ground_m: Sequence[Point]) -> float:
    """Return the root mean square distance between points whose place is known and where they came out [m].

    Raises
    ------
    PictureNotPlaced
        If a pixel lies beyond the horizon, or there are no points.
    """
    off = to_ground(placement, as_points(pixels, 1)) - as_points(ground_m, 1)
    return float(np.sqrt(np.mean(np.sum(off**2, axis=1))))


def outline_m(placement: Placement, width_px: int, height_px: int) -> Points:
    """Return where the four corners of the picture lie on the ground [m], clockwise from the upper left.

    Raises
    ------
    PictureNotPlaced
        If the horizon runs through the picture.
    """
    return to_ground(placement, [(0, 0), (width_px, 0), (width_px, height_px), (0, height_px)])


def north_up(placement: Placement, width_px: int, height_px: int, longest_px: int = 3000) -> NorthUp:
    """Return how to redraw the picture so that north is up and a pixel is a square of the ground.

    The coefficients are those of a perspective transform: the pixel (x, y) of the new picture is taken from
    ((a x + b y + c) / (g x + h y + 1), (d x + e y + f) / (g x + h y + 1)) of the old one.

    Raises
    ------
    PictureNotPlaced
        If the horizon runs through the picture: place a part of it below the horizon.
    """
    outline = outline_m(placement, width_px, height_px)
    (west, south), (east, north) = outline.min(axis=0), outline.max(axis=0)
    finest = math.sqrt(abs(plane_maps.signed_area(outline)) / (width_px * height_px))
    pixel_m = max(finest, (east - west) / longest_px, (north - south) / longest_px)
    to_metres = np.array([[pixel_m, 0.0, west], [0.0, -pixel_m, north], [0.0, 0.0, 1.0]])
    back = np.linalg.inv(_matrix(placement)) @ to_metres
    return NorthUp(
        width_px=max(1, math.ceil((east - west) / pixel_m - 1e-6)),
        height_px=max(1, math.ceil((north - south) / pixel_m - 1e-6)),
        box_m=(float(west), float(south), float(east), float(north)),
        coefficients=tuple(float(c) for c in (back / back[2, 2]).ravel()[:8]),
    )


def _require_length(metres: float) -> None:
    if not 0 < metres <= MAX_METRES:
        raise PictureNotPlaced("the known length must be above 0 m. Type what was measured on the ground")


def _matrix(placement: Placement) -> Points:
    return np.array(placement.matrix, dtype=float).reshape(3, 3)


def _flat(matrix: Points) -> tuple[float, ...]:
    return tuple(float(number) for number in matrix.ravel())


def _moved(placement: Placement, pixel: Point, to: Point) -> Placement:
    x, y = to_ground(placement, [pixel])[0]
    shift = np.array([[1.0, 0.0, to[0] - x], [0.0, 1.0, to[1] - y], [0.0, 0.0, 1.0]])
    return replace(placement, matrix=_flat(shift @ _matrix(placement)))
