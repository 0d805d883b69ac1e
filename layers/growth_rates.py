"""Rates of growth as the handbooks write them, and what two readings of one trunk can show.

References
----------
.. [1] Brack, C. L. and Wood, G. B. 1998. Forest measurement and modelling, ANU: periodic and mean annual
   increment.
.. [2] Condit, R. et al. 2006. Science 313:98-101 and the documentation of its network of forest plots: limit
   for a shrinking diameter (constants as read in that documentation; the paper from memory).
.. [3] Chave, J. et al. 2004. Philosophical Transactions of the Royal Society B 359:409-420: two kinds of
   readings, few of them much worse (from memory).
"""

import numpy as np
from numpy.typing import ArrayLike

from layers.error_model import Z95, Array


def periodic_increment(size: ArrayLike, time: ArrayLike) -> Array:
    """Return the growth a year between each size and the next, in its unit: (s2 - s1) / (t2 - t1).

    Parameters
    ----------
    size : array_like
        Sizes in the order of time.
    time : array_like
        Their times, or ages [yr].
    """
    return np.asarray(np.diff(np.asarray(size, dtype=float)) / np.diff(np.asarray(time, dtype=float)))


def mean_increment(size: ArrayLike, age: ArrayLike) -> Array:
    """Return the growth a year over the whole life, in the unit of the size: size / age [yr]."""
    return np.asarray(np.asarray(size, dtype=float) / np.asarray(age, dtype=float))


def years_to_grow(size: ArrayLike, rate: ArrayLike) -> Array:
    """Return how long a size takes at a yearly rate in its unit [yr]."""
    return np.asarray(np.asarray(size, dtype=float) / np.asarray(rate, dtype=float))


def least_change_told(sd: ArrayLike) -> Array:
    """Return the smallest change between two readings that is told from none, in the unit of ``sd``.

    Parameters
    ----------
    sd : array_like
        Standard deviation of each of the two readings, without what they share.

    Notes
    -----
    1.96 sqrt(2) sd: 19 times in 20 a trunk that did not change reads no farther apart.
    """
    return np.asarray(Z95 * np.sqrt(2.0) * np.asarray(sd, dtype=float))


def plot_network_sd_mm(dbh_mm: ArrayLike) -> Array:
    """Return the standard deviation of an ordinary diameter in large forest plots [mm]: 0.006214 d + 0.9036.

    Parameters
    ----------
    dbh_mm : array_like
        Diameter at breast height [mm].
    """
    return np.asarray(0.006214 * np.asarray(dbh_mm, dtype=float) + 0.9036)


def shrinkage_limit_mm(dbh_mm: ArrayLike) -> Array:
    """Return by how much a second diameter may be smaller before large forest plots drop it [mm]: 4 sd."""
    return np.asarray(4.0 * plot_network_sd_mm(dbh_mm))


def mixed_sd(sd: ArrayLike, worse_sd: float, worse_share: float) -> Array:
    """Return the standard deviation of readings of which a share is worse, in the unit of ``sd``.

    Notes
    -----
    sqrt((1 - p) sd1^2 + p sd2^2), both kinds with the same mean.
    """
    ordinary = np.asarray(sd, dtype=float)
    return np.asarray(np.sqrt((1.0 - worse_share) * ordinary**2 + worse_share * worse_sd**2))
