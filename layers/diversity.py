"""How mixed and how evenly spread the trees of an area are.

References
----------
.. [1] Shannon, C. E. 1948. A mathematical theory of communication. Bell System Technical Journal 27:379-423.
.. [2] Simpson, E. H. 1949. Measurement of diversity. Nature 163:688.
.. [3] Clark, P. J. and Evans, F. C. 1954. Distance to nearest neighbor as a measure of spatial relationships
   in populations. Ecology 35:445-453.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from layers.error_model import Array, Whole


def shannon(counts: ArrayLike) -> float:
    """Return the Shannon index [-], natural logarithm: -sum p ln p; NaN without a count.

    References
    ----------
    .. [1] Shannon 1948.
    """
    p = _shares(counts)
    return float(-np.sum(p * np.log(p))) + 0.0 if len(p) else float("nan")


def simpson(counts: ArrayLike) -> float:
    """Return 1 - sum p^2 [-], the chance that two trees drawn with replacement differ; NaN without a count.

    References
    ----------
    .. [1] Simpson 1949.
    """
    p = _shares(counts)
    return float(1.0 - np.sum(p**2)) if len(p) else float("nan")


def _shares(counts: ArrayLike) -> Array:
    number = np.asarray(counts, dtype=float)
    number = number[number > 0]
    return np.asarray(number / number.sum())


def by_group(group: Whole, counts: Whole, groups: int) -> tuple[Array, Array]:
    """Return the Shannon and the Simpson index of every group at once; NaN for a group without a count.

    Parameters
    ----------
    group, counts : array
        The group of each kind and how many trees it has there, more than 0.
    groups : int
        Number of groups.
    """
    total = np.bincount(group, weights=counts, minlength=groups)
    p = counts / total[group]
    missing = np.where(total > 0, 0.0, np.nan)
    entropy = np.bincount(group, weights=-p * np.log(p), minlength=groups)
    squares = np.bincount(group, weights=p**2, minlength=groups)
    return np.asarray(entropy + missing + 0.0), np.asarray(1.0 - squares + missing)


def clark_evans(x_m: ArrayLike, y_m: ArrayLike, area_m2: float) -> float:
    """Return the mean distance to the nearest neighbour over that of trees strewn at random [-].

    1 is random, below is clumped, above is regular. NaN with fewer than two trees or without an area.

    Parameters
    ----------
    x_m, y_m : array_like
        Positions in a plane [m]; a tree without one is left out.
    area_m2 : float
        Ground on which they stand [m2].

    Notes
    -----
    R = mean(r) 2 sqrt(n / A). No edge correction: trees near an edge may have nearer neighbours outside, so
    that R reads a little high.

    References
    ----------
    .. [1] Clark and Evans 1954.
    """
    at = np.column_stack([np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float)])
    at = at[np.isfinite(at).all(axis=1)]
    if len(at) < 2 or not area_m2 > 0:
        return float("nan")
    nearest = cKDTree(at).query(at, k=2)[0][:, 1]
    return float(nearest.mean() * 2.0 * np.sqrt(len(at) / area_m2))
