"""Whether a new reading fits the one before it: a question to the people who measured, never a verdict.

What is compared are standard diameters with what each may be off; between them a trunk may have grown.
"""

import math
from dataclasses import dataclass
from typing import Literal

FASTEST_CM_PER_YR = 3.0  # fastest growth of a diameter that raises no question; common practice, no source
SURE = 2.5758  # standard errors: a true reading is asked about once in a hundred times (normal quantile)
DAYS_PER_YEAR = 365.25

Slip = Literal["inches as centimetres", "centimetres as inches", "girth as width", "width as girth"]
_SLIPS: tuple[tuple[Slip, float], ...] = (
    ("inches as centimetres", 2.54),
    ("centimetres as inches", 1 / 2.54),
    ("girth as width", 1 / math.pi),
    ("width as girth", math.pi),
)


@dataclass(frozen=True)
class Fit:
    """What was to be expected of a reading [cm], whether it lies there, and a slip that would explain it."""

    fits: bool
    low_cm: float
    high_cm: float
    slip: Slip | None = None


def fit(new_cm: float, new_se_cm: float, earlier_cm: float, earlier_se_cm: float, days: float) -> Fit:
    """Return whether a reading fits an earlier one of the same stem.

    Parameters
    ----------
    new_cm, earlier_cm : float
        Standard diameters of the two readings [cm].
    new_se_cm, earlier_se_cm : float
        Their standard errors [cm], taken as independent: what both share makes the range wider, so that
        fewer questions are asked.
    days : float
        From the earlier reading to the new one [d]; 0 or less allows no growth.

    Notes
    -----
    Expected is from d - z s to d + g t + z s with d the earlier diameter, s the root of the sum of both
    variances, z = ``SURE``, g = ``FASTEST_CM_PER_YR`` and t the years between.
    """
    room = SURE * math.hypot(new_se_cm, earlier_se_cm)
    low = max(earlier_cm - room, 0.0)
    high = earlier_cm + max(days, 0.0) / DAYS_PER_YEAR * FASTEST_CM_PER_YR + room
    if low <= new_cm <= high:
        return Fit(True, low, high)
    slip = next((word for word, factor in _SLIPS if low <= new_cm * factor <= high), None)
    return Fit(False, low, high, slip)


def alike(first_cm: float, first_se_cm: float, second_cm: float, second_se_cm: float) -> bool:
    """Return whether two readings of one stem on one day differ by no more than they may both be off.

    Parameters
    ----------
    first_cm, second_cm : float
        Diameters [cm].
    first_se_cm, second_se_cm : float
        Standard errors of each alone, without what both share [cm].
    """
    return abs(first_cm - second_cm) <= SURE * math.hypot(first_se_cm, second_se_cm)
