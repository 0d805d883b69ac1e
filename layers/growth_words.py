"""Growth in words: the same verdict for a stem or tree on every page, false calls kept few over the site.

References
----------
.. [1] Benjamini, Y. and Hochberg, Y. 1995. Controlling the false discovery rate. Journal of the Royal
   Statistical Society B 57(1):289-300.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from layers.error_model import Array
from layers.growth import Growth
from layers.translating import N_

GROWING = N_("growing")
TOO_SMALL = N_("too small a change to be sure of yet")
SMALLER = N_("reads smaller than before")
SAYS_NOTHING = N_("Growth says nothing about whether a branch or trunk may break.")
SENTENCES = (GROWING, TOO_SMALL, SMALLER, SAYS_NOTHING)

FALSE_SHARE = 0.05  # of the calls that are made, how many may be false


@dataclass(frozen=True)
class Verdicts:
    """What is called over a site.

    Calls are made where the chance of so much change from nothing is at most ``largest_chance`` [-], itself
    at most 5 %. Of ``calls`` at most ``false_calls`` are expected to be false.
    """

    largest_chance: float
    calls: int
    false_calls: float
    stems: int  # of which growth can be told

    def words(self, growth_cm_per_yr: ArrayLike, se: ArrayLike, df: ArrayLike) -> NDArray[np.object_]:
        """Return the verdict in words for each growth with its standard error; None without a growth."""
        rate = np.asarray(growth_cm_per_yr, dtype=float)
        called = chance_of_nothing(rate, se, df) <= self.largest_chance
        out = np.full(rate.shape, TOO_SMALL, dtype=object)
        out[called & (rate > 0)] = GROWING
        out[called & (rate < 0)] = SMALLER
        out[np.isnan(rate)] = None
        return out


def chance_of_nothing(growth_cm_per_yr: ArrayLike, se: ArrayLike, df: ArrayLike) -> Array:
    """Return how likely so large a change, up or down, is by error alone [-]; NaN without a growth."""
    with np.errstate(divide="ignore", invalid="ignore"):
        away = np.abs(np.asarray(growth_cm_per_yr, dtype=float) / np.asarray(se, dtype=float))
    return np.asarray(2.0 * stats.t.sf(away, np.asarray(df, dtype=float)))


def verdicts(of: Growth) -> Verdicts:
    """Return the verdicts over all stems of a site whose growth can be told.

    Notes
    -----
    A call is made where the 95 % interval leaves out 0 and the rule of Benjamini and Hochberg allows it: of
    all calls at most 5 % are expected to be false. Trees of several trunks are judged by the same limit.
    """
    told = of.stems[of.can_be_told]
    chance = chance_of_nothing(told["growth_cm_per_yr"], told["se"], told["df"])
    if not len(chance):
        return Verdicts(0.0, 0, 0.0, 0)
    called = stats.false_discovery_control(chance, method="bh") <= FALSE_SHARE
    calls = int(called.sum())
    return Verdicts(FALSE_SHARE * calls / len(chance), calls, FALSE_SHARE * calls, len(chance))
