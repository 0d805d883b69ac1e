"""Maps between two planes from points known in both: similarity, affine, projective.

Every map is a 3 by 3 matrix for columns (x, y, 1). The first plane is a picture, whose y points down; the
second is the ground, whose y points up.

References
----------
.. [1] Hartley, R. and Zisserman, A. 2004. Multiple View Geometry in Computer Vision, 2nd ed., section 4.1
   and algorithm 4.2: the direct linear transformation with normalised points (cited from memory).
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layers.errors import PictureNotPlaced

Point = tuple[float, float]
Points = NDArray[np.float64]

FLAT = 1e-6  # a triangle flatter than this share of its longest side squared is a line


def as_points(points: Sequence[Point] | Points, least: int) -> Points:
    """Return points as an array of two columns, at least so many.

    Raises
    ------
    PictureNotPlaced
        If there are fewer, or one is not finite.
    """
    array = np.asarray(points, dtype=float).reshape(-1, 2)
    if len(array) < least:
        raise PictureNotPlaced(f"at least {least} points are needed. Click more points")
    if not np.all(np.isfinite(array)):
        raise PictureNotPlaced("a point is not a number. Click it again")
    return array


def mapped(matrix: Points, points: Points) -> Points:
    """Return the points in the other plane.

    Raises
    ------
    PictureNotPlaced
        If one lies at or beyond the horizon.
    """
    lifted = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    if np.any(lifted[:, 2] <= 1e-12):
        raise PictureNotPlaced(
            "a point lies at or beyond the horizon of this photo. Stay on the ground in it"
        )
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def turns(points: Points) -> Points:
    """Return twice the signed area of the triangle at each corner, 0 for a straight one.

    Positive is clockwise where y points down.
    """
    ahead, behind = np.roll(points, -1, axis=0) - points, points - np.roll(points, 1, axis=0)
    twice = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    size = np.max(np.ptp(points, axis=0)) ** 2
    return np.where(np.abs(twice) > FLAT * size, twice, 0.0)


def signed_area(points: Points) -> float:
    """Return the area of a polygon; positive is anticlockwise where y points up."""
    x, y = points.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0


def similarity(at: Points, to: Points) -> Points:
    """Return the similarity through two points.

    As complex numbers: ground = factor x conjugate of the pixel + first, because the picture's y points down.

    Raises
    ------
    PictureNotPlaced
        If both are one spot.
    """
    run, way = at[1] - at[0], to[1] - to[0]
    if not math.hypot(*run) > 0 or not math.hypot(*way) > 0:
        raise PictureNotPlaced("both points are one spot. Take two points far from each other")
    factor = complex(*way) / complex(run[0], -run[1])
    first = complex(*to[0]) - factor * complex(at[0][0], -at[0][1])
    a, b = factor.real, factor.imag
    return np.array([[a, b, first.real], [b, -a, first.imag], [0.0, 0.0, 1.0]])


def affine(at: Points, to: Points) -> Points:
    """Return the affine map through three points.

    Raises
    ------
    PictureNotPlaced
        If they lie in a line or come out mirrored.
    """
    for points in (at, to):
        if not np.all(turns(points)):
            raise PictureNotPlaced("the three points lie in a line. Take points that span the picture")
    rows = np.linalg.solve(np.column_stack([at, np.ones(3)]), to)
    return _unmirrored(np.vstack([rows.T, [0.0, 0.0, 1.0]]))


def _unmirrored(matrix: Points) -> Points:
    """A picture whose y points down and a ground whose y points up turn opposite ways: det below 0."""
    if not np.linalg.det(matrix) < 0:
        raise PictureNotPlaced("it would come out mirrored. Check which point is which, and east and north")
    return matrix


def _normaliser(points: Points) -> Points:
    """Centre to the origin, mean distance sqrt 2 ([1]_, section 4.4.4)."""
    middle = points.mean(axis=0)
    spread = float(np.mean(np.hypot(*(points - middle).T)))
    if not spread > 0:
        raise PictureNotPlaced("all points are one spot. Take points that span the picture")
    s = math.sqrt(2.0) / spread
    return np.array([[s, 0.0, -s * middle[0]], [0.0, s, -s * middle[1]], [0.0, 0.0, 1.0]])


def projective(at: Points, to: Points) -> Points:
    """Return the projective map of four or more points, by the direct linear transformation of [1]_.

    The sign is such that the given points have a positive third coordinate: they lie before the horizon.

    Raises
    ------
    PictureNotPlaced
        If three of four lie in a line, or if they cannot belong together.
    """
    n_at, n_to = _normaliser(at), _normaliser(to)
    rows = []
    for (x, y), (u, v) in zip(mapped(n_at, at), mapped(n_to, to), strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    _, singular, vectors = np.linalg.svd(np.array(rows))
    if singular[7] < 1e-9 * singular[0]:
        raise PictureNotPlaced("three of the points lie in a line. Take points that span the picture")
    matrix = np.linalg.inv(n_to) @ vectors[8].reshape(3, 3) @ n_at
    depth = np.column_stack([at, np.ones(len(at))]) @ matrix[2]
    if not (np.all(depth > 0) or np.all(depth < 0)):
        raise PictureNotPlaced("these points do not belong together. Check which point is which")
    return _unmirrored(np.asarray(matrix / depth.mean()))
