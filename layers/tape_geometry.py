"""What a tape shows that is slanted, slack at one place, or too high or low: exact for a round trunk.

The browser works out the same (``service/web/static/learn.js``); ``tests/shared_cases/tape_geometry.json``
holds both to it.

References
----------
.. [1] NIST Digital Library of Mathematical Functions, 19.2(ii): the integral E of the second kind (from
   memory); its tables are those of Abramowitz, M. and Stegun, I. 1964. Handbook of mathematical functions,
   chapter 17.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe, ellipeinc

from layers import taper
from layers.errors import OutsideDomain

Array = NDArray[np.float64]

STEEPEST_DEG = 60.0  # as much as a reading may record
LEAST_GIRTH_CM = 0.1


def slack_girth_cm(girth_cm: ArrayLike, gap_cm: ArrayLike, tilt_deg: ArrayLike = 0.0) -> Array:
    """Return what a tape shows that stands off a round trunk at one place [cm].

    Parameters
    ----------
    girth_cm : array_like
        Girth of the trunk [cm].
    gap_cm : array_like
        How far the tape stands off there [cm].
    tilt_deg : array_like
        Slant of the tape [deg].

    Raises
    ------
    OutsideDomain
        If the girth is below 0.1 cm, the gap below 0, or the slant not within 0 to 60 degrees.

    Notes
    -----
    The tape lies on the ellipse that its plane cuts from the trunk, with the axes a = r / cos t and r, and
    leaves it on two tangents to a point at r + h on the short axis; they touch where cos p = r / (r + h), p
    from that axis. With m = sin^2 t and s = sqrt((a sin p)^2 + (r + h - r cos p)^2), what a tangent is long,
    it is 4 a E(m) - 2 a E(p | m) + 2 s.
    A level tape shows 2 (sqrt((r + h)^2 - r^2) - r p) too much, a taut one 4 a E(m).
    """
    girth, gap, tilt = (np.asarray(each, dtype=float) for each in (girth_cm, gap_cm, tilt_deg))
    _within("girth_cm", girth, LEAST_GIRTH_CM, np.inf)
    _within("gap_cm", gap, 0.0, np.inf)
    _within("tilt_deg", tilt, 0.0, STEEPEST_DEG)
    r, t = girth / (2.0 * np.pi), np.radians(tilt)
    long, m = r / np.cos(t), np.sin(t) ** 2
    touching = np.arccos(r / (r + gap))
    tangent = np.hypot(long * np.sin(touching), r + gap - r * np.cos(touching))
    return np.asarray(4.0 * long * ellipe(m) - 2.0 * long * ellipeinc(touching, m) + 2.0 * tangent)


@dataclass(frozen=True)
class Trunk:
    """A round trunk: girth [cm] at a measuring height [m], coefficient of its profile (layers.taper)."""

    girth_cm: float
    height_m: float
    profile_b: float = taper.HARDWOOD_B


def tape_shows_cm(trunk: Trunk, tilt_deg: ArrayLike, gap_cm: ArrayLike, height_m: ArrayLike) -> Array:
    """Return what a tape shows round a trunk [cm].

    Parameters
    ----------
    trunk : Trunk
        The trunk; where the tape goes it is taken as a round pillar of its girth at that height.
    tilt_deg, gap_cm : array_like
        Slant of the tape [deg]; how far it stands off at one place [cm].
    height_m : array_like
        Height of its middle above the ground [m].

    Raises
    ------
    OutsideDomain
        If the height is not within 0.15 to 1.53 m, or as for :func:`slack_girth_cm`.
    """
    height = np.asarray(height_m, dtype=float)
    _within("height_m", height, taper.LOWEST_M, taper.HIGHEST_M)
    girth = trunk.girth_cm * taper.ratio(height, trunk.height_m, trunk.profile_b)
    return slack_girth_cm(girth, gap_cm, tilt_deg)


def _within(name: str, values: Array, low: float, high: float) -> None:
    wrong = ~(np.isfinite(values) & (values >= low - 1e-9) & (values <= high + 1e-9))
    if wrong.any():
        raise OutsideDomain(name, float(values[wrong].flat[0]), low, high)
