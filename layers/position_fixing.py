"""Where a tree stands, and how well that is known: from tapes, paces, a compass, GPS or a tap on the plan.

Plane metres, x to the east and y to the north. Each way gives a position with its covariance, carried over
from what was measured by cov = J diag(s^2) J' (the law of propagation); ``accuracy_m`` is
sqrt(s_x^2 + s_y^2), which surveyors call the mean error of a point.

References
----------
.. [1] Open textbook of J. Mahun, Surveying and mapping, chapter on intersections: distance-distance and
   direction-distance; a course of AGH Krakow gives the same by the law of cosines.
.. [2] Mean error of a point cut out by two distances, sqrt(s_a^2 + s_b^2) / sin g with g the angle at the
   point: surveying textbooks, from memory; it is what the law of propagation gives.

Notes
-----
All deviations that are filled in here are common practice, no source: 0.2 m for a tape over rough ground to
the middle of a trunk (two that cross squarely leave 0.3 m), 15 degrees for a hand compass near steel, 5
degrees for a right angle by eye, 7 mm for a finger, 5 m for GPS under crowns.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from layers.errors import NothingToCompute, OutsideDomain, PositionNotFixed
from layers.pacing import Pace

Array = NDArray[np.float64]
Cause = tuple[float, float, float]  # a deviation, and how far it moves a point along a line and off it

TAPE_SE_M = 0.2
COMPASS_SE_DEG = 15.0
RIGHT_ANGLE_SE_DEG = 5.0
FINGER_M = 0.007
UNDER_CROWNS_M = 5.0
NARROWEST_DEG = 10.0  # of two tapes at the tree: below it a small error moves the point too far to be told
LEFT, RIGHT = "left", "right"
TOO_SHORT, TOO_LONG, TOO_NARROW, SAME_POINT = "too short", "too long", "too narrow", "same point"
_BECAUSE = {
    TOO_SHORT: "the two lengths together are shorter than the way between the known points; measure again",
    TOO_LONG: "one length is longer than the other and the way between the known points; measure again",
    TOO_NARROW: "the two tapes run nearly along one line; take another known point",
    SAME_POINT: "both known points are in one place; take another one",
}


class Known(NamedTuple):
    """A point whose place is known [m], and how well."""

    x_m: float
    y_m: float
    accuracy_m: float = 0.0


@dataclass(frozen=True)
class Fix:
    """A position [m] with its covariance [m2]."""

    x_m: float
    y_m: float
    var_x_m2: float
    cov_xy_m2: float
    var_y_m2: float

    @property
    def accuracy_m(self) -> float:
        """How well the position is known [m]: sqrt(s_x^2 + s_y^2)."""
        return math.sqrt(self.var_x_m2 + self.var_y_m2)


def two_tapes(
    a: Known, b: Known, from_a_m: float, from_b_m: float, tape_se_m: float = TAPE_SE_M
) -> dict[str, Fix]:
    """Return the two points where two tapes meet: left and right of the line, looking from ``a`` to ``b``.

    Parameters
    ----------
    a, b : Known
        Where the tapes begin.
    from_a_m, from_b_m, tape_se_m : float
        Their lengths to the middle of the trunk, and the standard error of each [m].

    Raises
    ------
    OutsideDomain
        If a length is not above zero.
    PositionNotFixed
        If the tapes do not meet, or meet at less than NARROWEST_DEG.

    Notes
    -----
    With d = |AB|, t = (r_a^2 - r_b^2 + d^2) / (2 d) along the line and o = sqrt(r_a^2 - t^2) off it [1]. Each
    tape fixes the point along its own direction u: J = [u_a'; u_b']^-1.
    """
    for name, length in (("from_a_m", from_a_m), ("from_b_m", from_b_m)):
        if not length > 0:
            raise OutsideDomain(name, length, 0, math.inf)
    d, e, n = _line(a, b)
    along = (from_a_m**2 - from_b_m**2 + d**2) / (2.0 * d)
    off_squared = from_a_m**2 - along**2
    if off_squared < 0:
        raise _not_fixed(TOO_SHORT if from_a_m + from_b_m < d else TOO_LONG)
    off = math.sqrt(off_squared)
    if off * d < math.sin(math.radians(NARROWEST_DEG)) * from_a_m * from_b_m:
        raise _not_fixed(TOO_NARROW)
    deviations = [math.hypot(tape_se_m, _axis_se(point)) for point in (a, b)]
    found = {}
    for side, sign in ((LEFT, 1.0), (RIGHT, -1.0)):
        at = _xy(a) + along * e + sign * off * n
        towards = np.array([(at - _xy(a)) / from_a_m, (at - _xy(b)) / from_b_m])
        found[side] = _fix(at, np.linalg.inv(towards), deviations)
    return found


def along_and_off(
    a: Known,
    b: Known,
    along_m: float,
    off_m: float,
    side: str,
    tape_se_m: float = TAPE_SE_M,
    right_angle_se_deg: float = RIGHT_ANGLE_SE_DEG,
) -> Fix:
    """Return the point so far along from ``a`` towards ``b`` and so far off to one side of that line.

    Parameters
    ----------
    a, b : Known
        Two points of a wall or fence.
    along_m, off_m, tape_se_m : float
        Along the line, at right angles to it, and the standard error of each [m].
    side : str
        ``left`` or ``right``, looking from ``a`` to ``b``.
    right_angle_se_deg : float
        How well the right angle was held [deg].

    Raises
    ------
    PositionNotFixed
        If both known points are in one place.

    Notes
    -----
    P = A + t e + o n. An angle that is off by q moves the point by o q along the line; errors of A and B move
    it by (I - w n'/d) and w n'/d with w the way from A to P turned by a right angle.
    """
    causes = [(tape_se_m, 1, 0), (tape_se_m, 0, 1)]
    return _along_and_off(a, b, along_m, off_m, side, right_angle_se_deg, causes)


def along_and_off_in_paces(
    a: Known,
    b: Known,
    along: float,
    off: float,
    side: str,
    pace: Pace,
    right_angle_se_deg: float = RIGHT_ANGLE_SE_DEG,
) -> Fix:
    """Return the point so many paces along from ``a`` towards ``b`` and so many off to one side.

    Parameters
    ----------
    a, b, side, right_angle_se_deg
        As for :func:`along_and_off`.
    along, off : float
        Paces [-].
    pace : Pace

    Raises
    ------
    PositionNotFixed
        If both known points are in one place.

    Notes
    -----
    n paces have the variance n s_p^2, counting whole ones adds (b/sqrt 12)^2, and the error of the pace's own
    length moves both ways together.
    """
    causes: list[Cause] = [(pace.length_se_m, along, off)]
    for paces, t, o in ((along, 1, 0), (off, 0, 1)):
        causes.append((math.hypot(math.sqrt(paces) * pace.sd_m, pace.length_m / math.sqrt(12.0)), t, o))
    lengths = (along * pace.length_m, off * pace.length_m)
    return _along_and_off(a, b, *lengths, side, right_angle_se_deg, causes)


def _along_and_off(
    a: Known,
    b: Known,
    along_m: float,
    off_m: float,
    side: str,
    right_angle_se_deg: float,
    causes: Sequence[Cause],
) -> Fix:
    d, e, left = _line(a, b)
    n = left if side == LEFT else -left
    at = _xy(a) + along_m * e + off_m * n
    moves = [t * e + o * n for _deviation, t, o in causes] + [off_m * e]
    turned = np.array([-(at - _xy(a))[1], (at - _xy(a))[0]])
    by_b = np.outer(turned, left) / d
    deviations = [deviation for deviation, _t, _o in causes] + [math.radians(right_angle_se_deg)]
    deviations += [_axis_se(a)] * 2 + [_axis_se(b)] * 2
    return _fix(at, np.column_stack([*moves, np.eye(2) - by_b, by_b]), deviations)


def bearing_and_distance(
    a: Known,
    bearing_deg: float,
    distance_m: float,
    declination_deg: float | None = None,
    bearing_se_deg: float = COMPASS_SE_DEG,
    tape_se_m: float = TAPE_SE_M,
) -> Fix:
    """Return the point in a direction at a distance from a known one.

    Parameters
    ----------
    a : Known
        Where the compass was held.
    bearing_deg, bearing_se_deg : float
        As the compass reads, clockwise from its north, and its standard error [deg].
    distance_m, tape_se_m : float
        To the middle of the trunk, and its standard error [m].
    declination_deg : float or None
        How far magnetic north lies east of the plan's north [deg]; None: not known, nothing is corrected and
        the plan's north is taken for the compass's.

    Raises
    ------
    OutsideDomain
        If the bearing lies outside 0 to 360 degrees.

    Notes
    -----
    P = A + r (sin t, cos t). Of 15 degrees, 20 m make 5.2 m.
    """
    if not 0 <= bearing_deg <= 360:
        raise OutsideDomain("bearing_deg", bearing_deg, 0, 360)
    t = math.radians(bearing_deg + (declination_deg or 0.0))
    ahead, aside = np.array([math.sin(t), math.cos(t)]), np.array([math.cos(t), -math.sin(t)])
    jacobian = np.column_stack([distance_m * aside, ahead, np.eye(2)])
    deviations = [math.radians(bearing_se_deg), tape_se_m, _axis_se(a), _axis_se(a)]
    return _fix(_xy(a) + distance_m * ahead, jacobian, deviations)


def averaged(fixes: Sequence[Known], least_m: float = UNDER_CROWNS_M) -> Fix:
    """Return the mean of positions that a device gave over some seconds.

    Parameters
    ----------
    fixes : sequence of Known
        With the accuracy that the device reported for each [m].
    least_m : float
        What no mean of a few seconds gets below under crowns [m].

    Raises
    ------
    NothingToCompute
        If there is none with an accuracy above zero.

    Notes
    -----
    Weights 1/a^2. The fixes of some seconds share most of their error (satellites, crowns and walls stay
    where they are), so their number makes nothing better: the accuracy is that which the device reported, in
    the weighted mean (n / sum 1/a^2)^0.5, or their scatter, or ``least_m``, whichever is largest.
    """
    usable = [fix for fix in fixes if fix.accuracy_m > 0]
    if not usable:
        raise NothingToCompute("a position")
    at = np.array([_xy(fix) for fix in usable])
    weights = 1.0 / np.array([fix.accuracy_m for fix in usable]) ** 2
    mean = weights @ at / weights.sum()
    reported = math.sqrt(len(usable) / weights.sum())
    scatter = math.sqrt(float(weights @ ((at - mean) ** 2).sum(axis=1) / weights.sum()))
    return _round_fix(mean, max(reported, scatter, least_m))


def tapped(x_m: float, y_m: float, scale: float, plan_accuracy_m: float = 0.0) -> Fix:
    """Return a position that was tapped on a plan.

    Parameters
    ----------
    x_m, y_m : float
        Where the finger was [m].
    scale : float
        Of the plan as it was on the screen: 500 for 1:500 [-].
    plan_accuracy_m : float
        How well the plan itself lies [m].

    Notes
    -----
    A finger of 7 mm is 3.5 m at 1:500.
    """
    return _round_fix(np.array([x_m, y_m]), math.hypot(FINGER_M * scale, plan_accuracy_m))


def _not_fixed(reason: str) -> PositionNotFixed:
    return PositionNotFixed(reason, _BECAUSE[reason])


def _xy(point: Known) -> Array:
    return np.array([point.x_m, point.y_m])


def _axis_se(point: Known) -> float:
    """Standard error of one coordinate of a point that is known equally well in all directions [m]."""
    return point.accuracy_m / math.sqrt(2.0)


def _line(a: Known, b: Known) -> tuple[float, Array, Array]:
    """Length of the way from a to b, and the unit vectors along it and to its left."""
    way = _xy(b) - _xy(a)
    length = float(np.hypot(*way))
    if length == 0:
        raise _not_fixed(SAME_POINT)
    e = way / length
    return length, e, np.array([-e[1], e[0]])


def _fix(at: Array, jacobian: Array, deviations: Sequence[float]) -> Fix:
    """The law of propagation: cov = J diag(s^2) J'."""
    cov = jacobian @ np.diag(np.square(deviations)) @ jacobian.T
    return Fix(float(at[0]), float(at[1]), float(cov[0, 0]), float(cov[0, 1]), float(cov[1, 1]))


def _round_fix(at: Array, accuracy_m: float) -> Fix:
    half = accuracy_m**2 / 2.0
    return Fix(float(at[0]), float(at[1]), half, 0.0, half)
