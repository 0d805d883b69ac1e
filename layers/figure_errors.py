"""Errors of figures that are sums or means over groups: mean width, cut face by size class and by species.

Notes
-----
The delta method with own and shared parts (definitions N4): for F = sum a d, Var F = sum a^2 Var(own) +
sum_c v_c (sum a g_c)^2, the inner sums over the stems of the group that share a cause. Mean width: a = 1/n.
Basal area: a = pi/2 d. The number of stems and the class of each are taken as they were read; that a stem
near the limit of a class may belong to the next one, or a tree near an edge to the neighbour, is not in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layers import girth, size_classes
from layers.error_model import Array, Whole
from layers.figure_sums import CountedStems, Stand


@dataclass(frozen=True)
class Errors:
    """Standard errors of every group: of its mean diameter [cm], of the basal area of its classes [m2]."""

    mean_dbh_se_cm: Array
    class_basal_area_se_m2: Array  # (groups, classes)


def errors_of(stand: Stand, counted: CountedStems, groups: int, breaks_cm: Sequence[float]) -> Errors:
    """Return the standard errors of groups; NaN for the mean of a group without sizes.

    Parameters
    ----------
    stand : Stand
        Sizes with their own and shared errors.
    counted : CountedStems
        The stems that count, once for every group that they are in.
    groups : int
        Number of groups.
    breaks_cm : sequence of float
        Breaks between the size classes [cm].
    """
    stems = np.bincount(counted.group, minlength=groups).astype(float)
    each = 1.0 / np.where(stems > 0, stems, np.nan)
    mean = variance_of_sums(stand, counted.stem, each[counted.group], counted.group, groups)
    classes = len(breaks_cm) + 1
    code = counted.group * classes + size_classes.class_of(stand.dbh_cm[counted.stem], breaks_cm)
    by_class = np.sqrt(basal_area_variance(stand, counted, code, groups * classes))
    return Errors(np.where(stems > 0, np.sqrt(mean), np.nan), by_class.reshape(groups, classes))


def basal_area_variance(stand: Stand, counted: CountedStems, code: Whole, codes: int) -> Array:
    """Return the variance of the basal area of the stems of every code [m4]."""
    per_cm = girth.basal_area_per_cm(stand.dbh_cm[counted.stem])
    return variance_of_sums(stand, counted.stem, per_cm, code, codes)


def variance_of_sums(stand: Stand, stem: Whole, a: Array, code: Whole, codes: int) -> Array:
    """Return the variance of sum a d over the stems of every code, own and shared parts together."""
    own = np.bincount(code, weights=a**2 * stand.own_var_cm2[stem], minlength=codes)
    return np.asarray(own + stand.parts.grouped(code, stem, a, codes).sum(axis=1))
