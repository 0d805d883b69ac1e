"""A team's pace as a measure of length: calibrated over a known way, with what that leaves open.

References
----------
.. [1] Ghilani, C. D., Elementary Surveying, quoted in a course on pacing: people with practice pace to 1 part
   in 50 to 100.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from layers.errors import NothingToCompute, OutsideDomain

CALIBRATED_OVER_M = 20.0
FEWEST_WALKS = 3
LEAST_SHARE = 0.02  # of a walk: 1 in 50 [1]


@dataclass(frozen=True)
class Pace:
    """A team's pace: its length, the error of that, and the deviation of a single pace [m]."""

    length_m: float
    length_se_m: float
    sd_m: float


def pace_of(counts: ArrayLike, walked_m: float = CALIBRATED_OVER_M) -> Pace:
    """Return a team's pace from how many it counted over a known way.

    Parameters
    ----------
    counts : array_like
        Paces counted, each time [-].
    walked_m : float
        Length of the way [m].

    Raises
    ------
    NothingToCompute
        If there are fewer than three walks: their spread says how even the paces are.
    OutsideDomain
        If a count is not above zero.

    Notes
    -----
    b = L / mean(c). A walk spreads by r = s / mean(c), at least by 1 part in 50 [1]; so u(b) = b r / sqrt m
    and a single pace has s_p = b r sqrt(mean(c)).
    """
    counted = np.asarray(counts, dtype=float)
    if counted.size < FEWEST_WALKS:
        raise NothingToCompute("the length of a pace")
    if not (np.isfinite(counted) & (counted > 0)).all():
        raise OutsideDomain("paces", float(np.min(counted)), 0, np.inf)
    mean = float(np.mean(counted))
    spread = max(float(np.std(counted, ddof=1)) / mean, LEAST_SHARE)
    length = walked_m / mean
    return Pace(length, length * spread / math.sqrt(counted.size), length * spread * math.sqrt(mean))
