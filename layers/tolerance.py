"""How far two readings of one trunk may lie apart in a national inventory: a yardstick to set beside a round.

References
----------
.. [1] USDA Forest Service, FIA National Core Field Guide, section 5.9 (from memory, to be confirmed by
   someone who has it): 0.1 in for every started 20 in of the measured diameter, 95 % of the time.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layers.units import CM_PER_IN

Array = NDArray[np.float64]

SHARE_WITHIN = 0.95
_STEP_IN, _EVERY_IN = 0.1, 20.0


def national_tolerance_in(dbh_in: ArrayLike) -> Array:
    """Return how far a diameter may be off [in]: 0.1 for every started 20 in.

    Parameters
    ----------
    dbh_in : array_like
        Measured diameter [in].

    References
    ----------
    .. [1] FIA National Core Field Guide, from memory.
    """
    return np.asarray(_STEP_IN * np.ceil(np.asarray(dbh_in, dtype=float) / _EVERY_IN - 1e-9))


def national_tolerance_cm(dbh_cm: ArrayLike) -> Array:
    """Return the same for a diameter in centimetres [cm]."""
    return np.asarray(national_tolerance_in(np.asarray(dbh_cm, dtype=float) / CM_PER_IN) * CM_PER_IN)
