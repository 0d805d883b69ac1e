"""How tall a tree is, from the ground: by angles and a distance, or with a stick and equal triangles.

References
----------
.. [1] Brack, C. L. and Wood, G. B. 1998. Forest mensuration, estimating height of vertical trees on sloping
   ground using trigonometric principles, ANU: AB = OC (tan AOC - tan BOC) with OC = OB cos BOC. Leaning
   trees: two places are needed, their heights should agree to about 2.5 %.
.. [2] Ruler and equal triangles: tree ordinance page of the city of Tampa, measuring a grand tree, method 1:
   height = ruler x distance to the foot / distance to the ruler.

Notes
-----
The standard errors leave out what no instrument sees: a tip that is hidden, or that stands nearer or farther
than the foot. The deviations filled in are assumptions: 1 degree for the tilt that a phone gives, 2 for a
protractor with a thread, 0.2 m for a tape over rough ground, 1 cm for what a stick covers, 2 cm for an arm.
"""

import math
from dataclasses import dataclass

from layers.errors import OutsideDomain

PHONE_SE_DEG, PROTRACTOR_SE_DEG = 1.0, 2.0
TAPE_SE_M = 0.2
COVERED_SE_CM, REACH_SE_CM = 1.0, 2.0
TWO_PLACES_SHARE = 0.025  # two places agree to this [1]


@dataclass(frozen=True)
class Height:
    """The height of a tree and its standard error [m]."""

    height_m: float
    se_m: float


def height_by_angle(
    distance_m: float,
    top_deg: float,
    foot_deg: float,
    slope_deg: float = 0.0,
    angle_se_deg: float = PHONE_SE_DEG,
    tape_se_m: float = TAPE_SE_M,
) -> Height:
    """Return the height of a tree from angles at the eye and a distance.

    Parameters
    ----------
    distance_m, tape_se_m : float
        From the eye's foot to the trunk, as the tape lay, and its standard error [m].
    top_deg, foot_deg, angle_se_deg : float
        From the level up to the tip and to the foot (below the eye: negative); their standard error [deg].
    slope_deg : float
        Slope of the tape, up or down [deg].

    Raises
    ------
    OutsideDomain
        If the distance is not above zero, an angle is 85 degrees or more, or the tip not above the foot.

    Notes
    -----
    h = L cos(s) (tan t - tan f) [1], and by the law of propagation
    u^2 = (cos s (tan t - tan f) u_L)^2 + (L cos s)^2 (sec^4 t + sec^4 f) u_t^2.
    """
    for name, angle in (("top_deg", top_deg), ("foot_deg", foot_deg), ("slope_deg", slope_deg)):
        if not abs(angle) < 85:
            raise OutsideDomain(name, angle, -85, 85)
    if not distance_m > 0:
        raise OutsideDomain("distance_m", distance_m, 0, math.inf)
    if not top_deg > foot_deg:
        raise OutsideDomain("top_deg", top_deg, foot_deg, 85)
    top, foot = math.radians(top_deg), math.radians(foot_deg)
    level = math.cos(math.radians(slope_deg))
    rise = level * (math.tan(top) - math.tan(foot))
    by_angle = distance_m * level * math.hypot(math.cos(top) ** -2, math.cos(foot) ** -2)
    se = math.hypot(rise * tape_se_m, by_angle * math.radians(angle_se_deg))
    return Height(distance_m * rise, se)


def height_by_stick(
    distance_m: float,
    covered_cm: float,
    reach_cm: float,
    tape_se_m: float = TAPE_SE_M,
    covered_se_cm: float = COVERED_SE_CM,
    reach_se_cm: float = REACH_SE_CM,
) -> Height:
    """Return the height of a tree that covers a length on an upright stick.

    Parameters
    ----------
    distance_m, tape_se_m : float
        From the eye to the foot of the tree, and its standard error [m].
    covered_cm, covered_se_cm : float
        What the tree covers on the stick, from foot to tip, and its standard error [cm].
    reach_cm, reach_se_cm : float
        From the eye to the stick where the foot is seen, and its standard error [cm].

    Raises
    ------
    OutsideDomain
        If a length is not above zero.

    Notes
    -----
    h = L s / e [2]. Stick and tree upright, this holds on slopes too, as both distances lie on one line of
    sight; a stick as long as the reach gives h = L. Relative errors add in squares.
    """
    for name, value in (("distance_m", distance_m), ("covered_cm", covered_cm), ("reach_cm", reach_cm)):
        if not value > 0:
            raise OutsideDomain(name, value, 0, math.inf)
    height = distance_m * covered_cm / reach_cm
    shares = (tape_se_m / distance_m, covered_se_cm / covered_cm, reach_se_cm / reach_cm)
    return Height(height, height * math.hypot(*shares))
