"""The width of a trunk sighted from the front: against a ruled stick, or under an angle.

References
----------
.. [1] Stick held at arm's length against the trunk: the mark for a width D at reach R is D / sqrt(1 + D/R);
   a derivation was read in outline, the usual reach is 25 in.
.. [2] Free ruler or angle: two sight lines touch a round trunk whose middle is at a distance X, so that
   D = 2 X sin(half the angle); geometry.
"""

import re

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layers.errors import OutsideDomain

Array = NDArray[np.float64]

USUAL_REACH_CM = 63.5  # 25 in
_NUMBER = r"(\d{1,5}(?:[.,]\d{1,4})?)"
_AS_WRITTEN = (
    (re.compile(rf"mark {_NUMBER},? reach {_NUMBER}"), lambda mark, reach: stick_diameter(mark, reach)),
    (
        re.compile(rf"ruler {_NUMBER},? eye {_NUMBER},? trunk {_NUMBER}"),
        lambda width, eye, trunk: ruler_diameter(width, eye, trunk),
    ),
    (re.compile(rf"angle {_NUMBER},? trunk {_NUMBER}"), lambda angle, trunk: angle_diameter(angle, trunk)),
)


def stick_mark(diameter: ArrayLike, reach: ArrayLike) -> Array:
    """Return where the mark for a diameter stands on a stick held against the trunk, in their unit.

    Parameters
    ----------
    diameter, reach : array_like
        Of the trunk; from the eye to its face. Both in one unit.

    Raises
    ------
    OutsideDomain
        If the reach is not above zero.
    """
    d, r = np.asarray(diameter, dtype=float), _positive("reach", reach)
    return np.asarray(d / np.sqrt(1.0 + d / r))


def stick_diameter(mark: ArrayLike, reach: ArrayLike) -> Array:
    """Return the diameter that a mark on a stick means, in their unit: (S^2/R + sqrt((S^2/R)^2 + 4 S^2)) / 2.

    Raises
    ------
    OutsideDomain
        If the reach is not above zero.
    """
    s, r = np.asarray(mark, dtype=float), _positive("reach", reach)
    share = s**2 / r
    return np.asarray((share + np.sqrt(share**2 + 4.0 * s**2)) / 2.0)


def ruler_diameter(width: ArrayLike, to_ruler: ArrayLike, to_trunk: ArrayLike) -> Array:
    """Return the diameter of a trunk that covers a width on a ruler, in their unit.

    Parameters
    ----------
    width : array_like
        What the trunk covers on the ruler.
    to_ruler, to_trunk : array_like
        From the eye to the ruler, and to the middle of the trunk.

    Raises
    ------
    OutsideDomain
        If a distance is not above zero.
    """
    half = np.arctan(np.asarray(width, dtype=float) / (2.0 * _positive("to_ruler", to_ruler)))
    return np.asarray(2.0 * _positive("to_trunk", to_trunk) * np.sin(half))


def angle_diameter(angle_deg: ArrayLike, to_trunk: ArrayLike) -> Array:
    """Return the diameter of a trunk seen under an angle [deg] from a distance to its middle, in its unit.

    Raises
    ------
    OutsideDomain
        If the angle is not between 0 and 180 degrees, or the distance not above zero.
    """
    angle = np.asarray(angle_deg, dtype=float)
    if not ((angle > 0) & (angle < 180)).all():
        raise OutsideDomain("angle_deg", float(np.max(angle)), 0, 180)
    return np.asarray(2.0 * _positive("to_trunk", to_trunk) * np.sin(np.radians(angle) / 2.0))


def diameter_of(text: str) -> float | None:
    """Return the diameter of a sighting as written, in its unit; None where it is no such thing.

    "mark 14.9, reach 25"; "ruler 5, eye 60, trunk 500"; "angle 4.8, trunk 500".
    """
    for pattern, rule in _AS_WRITTEN:
        found = pattern.fullmatch(" ".join(text.split()))
        if found is None:
            continue
        try:
            size = float(rule(*(float(said.replace(",", ".")) for said in found.groups())))
        except OutsideDomain:
            return None
        return round(size, 6) if size > 0 else None
    return None


def _positive(name: str, value: ArrayLike) -> Array:
    given = np.asarray(value, dtype=float)
    if not (given > 0).all():
        raise OutsideDomain(name, float(np.min(given)), 0, np.inf)
    return given
