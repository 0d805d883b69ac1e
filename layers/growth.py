"""Growth of stems: the slope of a line through the sizes of each, with the errors that its readings share.

References
----------
.. [1] Satterthwaite, F. E. 1946, for the degrees of freedom: see :mod:`layers.site_model`.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.combining import number_at
from layers.corrections import LIVE
from layers.days import Days, days
from layers.error_model import Array, SharedParts, Whole
from layers.figure_sums import EDGE
from layers.girth import Standardised, standardised
from layers.growth_lines import Fits, SortedReadings, far_enough, fitted
from layers.history import live_readings
from layers.inputs import Records, SiteTerms, with_hands
from layers.site_model import quantile95

LEAST_DAYS = 640  # from first to last reading, for the growth of one stem
LEAST_JUDGED = 4  # readings, of which one may be left out
FARTHEST_SE = 4.0  # a reading farther from the line through the others than this gets no weight


@dataclass(frozen=True)
class Growth:
    """The growth of stems that were read at least 292 days apart.

    ``stems`` has one row a stem: ``stem_id``, ``readings`` (with weight), ``first_on`` and ``last_on`` (days
    of the first and last of these), ``days`` between them, ``mean_dbh_cm``, ``growth_cm_per_yr`` with
    ``own_var`` (variance that it shares with no other stem), ``se``, ``df``, ``lo``, ``hi`` (95 %);
    ``level_cm`` with ``level_var_cm2``, the line's value on ``level_on`` (days since 1970), independent of
    the slope; ``questioned_reading``, the reading that got no weight, and how many standard errors it is from
    the line through the others. Without two readings that far apart beside the questioned one, growth is NaN.

    ``weights`` has ``row`` (position in the readings), ``stem`` (position in ``stems``) and ``weight``
    [1/yr]: the slope is the sum of weight times size. ``parts`` are the shared parts of the slopes.
    """

    stems: pd.DataFrame
    weights: pd.DataFrame
    parts: SharedParts

    @property
    def kinds(self) -> tuple[str, ...]:
        """What a variance is made of: ``own``, then the kinds of shared causes."""
        return ("own", *self.parts.kinds)

    @property
    def can_be_told(self) -> NDArray[np.bool_]:
        """Which stems were read far enough apart for their own growth to be said."""
        enough = self.stems["days"].to_numpy() >= LEAST_DAYS
        return np.asarray(enough & np.isfinite(self.stems["growth_cm_per_yr"].to_numpy()))


def growth_of(records: Records, terms: SiteTerms, as_of: str) -> Growth:
    """Return the growth of the stems of a site by the readings that hold, up to the end of a day.

    Parameters
    ----------
    records : Records
        What was said.
    terms : SiteTerms
        Breast height [m] and error model of the site.
    as_of : str
        ISO date.

    Returns
    -------
    Growth
        Readings without a date take no part; where month or year is known, its middle day is meant.

    Raises
    ------
    ColumnMissing
        If a column that is needed is absent.
    """
    return growth(*dated_sizes(records, terms, as_of), records, with_hands(terms, records))


def dated_sizes(records: Records, terms: SiteTerms, as_of: str) -> tuple[Standardised, Days]:
    """Return the sizes that growth is worked out from, and their days.

    Parameters
    ----------
    records, terms, as_of
        As for ``growth_of``.
    """
    terms = with_hands(terms, records)
    known = live_readings(records.readings)
    live = known[(known["state"] == LIVE).to_numpy()].sort_values("reading_id", ignore_index=True)
    when = days(live["measured_on"])
    stem, _ = pd.factorize(live["stem_id"].to_numpy(dtype=object))
    rows = np.flatnonzero(~np.isnat(when) & (when <= np.datetime64(as_of, "D")) & (stem >= 0))
    rows = far_enough(rows[np.lexsort((when[rows], stem[rows]))], stem, when.astype(np.int64))
    sizes = standardised(live.iloc[rows], records.stems, records.trees, terms)
    return sizes, when[rows]


def growth(sizes: Standardised, when: Days, records: Records, terms: SiteTerms) -> Growth:
    """Return the growth of stems [cm/yr] by generalised least squares.

    Parameters
    ----------
    sizes : Standardised
        Readings that hold; those without a size take no part.
    when : array of datetime64[D]
        Their days; those without one take no part.
    records : Records
        Stems and trees of the site.
    terms : SiteTerms
        Breast height [m] and error model of the site.

    Notes
    -----
    The covariance of the readings of a stem is that of their own errors, of the stem's departures from the
    profile (the same for all readings at one height), and of the effects that readings share; years have
    365.25 days. Errors that grow with the size are taken at the mean size of the stem's readings, so that a
    reading does not weigh less for being too big. With four or more readings the one that is farthest from
    the line through the others is left out and questioned if that is more than 4 standard errors.

    Raises
    ------
    ColumnMissing
        If a column that is needed is absent.
    """
    sorted_ = SortedReadings.of(sizes, when, records)
    whole = fitted(sorted_, terms, LEAST_JUDGED)
    left_out = np.flatnonzero(whole.residual > FARTHEST_SE)
    again = fitted(sorted_.without(whole.doubtful[left_out]).only(left_out), terms, None)
    return _told(sorted_, whole.replaced(again, left_out), terms)


def _told(given: SortedReadings, fits: Fits, terms: SiteTerms) -> Growth:
    stems, size = len(given.count), number_at(given.sizes.readings, "dbh_cm", fits.rows)
    left_out = np.flatnonzero(fits.residual > FARTHEST_SE)
    order = np.argsort(fits.stem, kind="stable") if len(left_out) else slice(None)
    weights = pd.DataFrame(
        {"row": fits.rows[order], "stem": fits.stem[order], "weight": fits.weight[order]}, copy=False
    )
    slope = np.where(
        np.isnan(fits.level), np.nan, np.bincount(fits.stem, weights=fits.weight * size, minlength=stems)
    )
    questioned = np.full(stems, None, dtype=object)
    its_row = given.rows[fits.doubtful[left_out]]
    questioned[left_out] = given.sizes.readings["reading_id"].iloc[its_row].to_numpy(dtype=object)
    day = np.zeros(len(given.sizes.readings), dtype=np.int64)
    day[given.rows] = given.day
    count = np.bincount(fits.stem, minlength=stems)
    start = np.cumsum(count) - count
    first, last = (day[weights["row"].to_numpy()[at]] for at in (start, start + count - 1))
    parts = _shared_parts(given.sizes.causes, fits, stems)
    frame = pd.DataFrame(
        {
            "stem_id": pd.Series(given.stem_id, dtype=object),
            "readings": count,
            "first_on": first.astype("datetime64[D]"),
            "last_on": last.astype("datetime64[D]"),
            "days": last - first,
            "mean_dbh_cm": np.bincount(fits.stem, weights=size, minlength=stems) / np.maximum(count, 1),
            "growth_cm_per_yr": slope,
            "own_var": np.where(np.isnan(slope), np.nan, fits.own_var),
            **_intervals(slope, _variances(fits.own_var, parts), ("own", *parts.kinds), terms),
            "level_cm": fits.level,
            "level_var_cm2": fits.level_var,
            "level_on": fits.at,
            "questioned_reading": pd.Series(questioned, dtype=object),
            "questioned_by_se": np.where(fits.residual > FARTHEST_SE, fits.residual, np.nan),
        }
    )
    return Growth(frame, weights, parts)


def _shared_parts(causes: pd.DataFrame, fits: Fits, stems: int) -> SharedParts:
    order = np.argsort(fits.part_stem, kind="stable")
    count = np.bincount(fits.part_stem, minlength=stems)
    kind, kinds = pd.factorize(causes["kind"].to_numpy(dtype=object))
    return SharedParts(
        np.cumsum(count) - count,
        count,
        fits.part_cause[order],
        fits.part_size[order],
        causes["variance"].to_numpy(dtype=float),
        kind.astype(np.int64),
        tuple(kinds),
    )


def _variances(own_var: Array, parts: SharedParts) -> Array:
    """The variance of every slope by kind, own first."""
    stem = np.repeat(np.arange(len(own_var)), parts.count)
    kinds = len(parts.kinds)
    code = stem * max(kinds, 1) + parts.kind[parts.cause]
    sizes = parts.sensitivity**2 * parts.variance[parts.cause]
    shared = np.bincount(code, weights=sizes, minlength=len(own_var) * kinds)
    return np.column_stack([own_var, shared.reshape(len(own_var), kinds)])


def _intervals(middle: Array, variances: Array, kinds: tuple[str, ...], terms: SiteTerms) -> dict[str, Array]:
    """Standard error, degrees of freedom and 95 % interval of numbers by their variances."""
    se = np.where(np.isnan(middle), np.nan, np.sqrt(variances.sum(axis=1)))
    df = terms.model.degrees_of_freedom(kinds, variances)
    unlike, which = np.unique(df, return_inverse=True)
    half = quantile95(unlike)[which] * se
    return {"se": se, "df": df, "lo": middle - half, "hi": middle + half}


@dataclass(frozen=True)
class MeanGrowth:
    """The mean growth of groups of stems.

    ``groups`` has one row a group: ``stems``, ``growth_cm_per_yr``, ``se``, ``df``, ``lo``, ``hi``;
    ``variances`` (groups, kinds) is the variance by ``kinds`` of cause.
    """

    groups: pd.DataFrame
    variances: Array
    kinds: tuple[str, ...]


def mean_growth(
    of: Growth, group: Whole, stem: Whole, groups: int, terms: SiteTerms, doubtful: Array | None = None
) -> MeanGrowth:
    """Return the mean growth of groups of stems [cm/yr], each stem counting alike.

    Parameters
    ----------
    of : Growth
        The growth of stems.
    group, stem : array
        Pairs of a group (a number below ``groups``) and a stem in it (position in ``of.stems``); those
        without growth are left out.
    groups : int
        The number of groups; an empty one has NaN.
    terms : SiteTerms
        Error model of the site.
    doubtful : array, optional
        How many stems of each group are expected to stand on the other side of its edge, for groups by area.

    Notes
    -----
    Var F = sum_r a_r^2 Var(e_r) + sum_(i,h) (sum_r a_r s_r)^2 + sum_c v_c (sum_r a_r g_rc)^2 with a_r the
    weight of a reading in the mean: what a crew had in common on all stems does not shrink with their number,
    and cancels where it was the same at both ends. Stems on the wrong side of an edge add n' s^2 / n^2, with
    n' their expected number and s^2 the variance of growth between the n stems (kind ``edge``).
    """
    slope = of.stems["growth_cm_per_yr"].to_numpy(dtype=float)
    known = np.isfinite(slope[stem])
    group, stem = group[known], stem[known]
    number = np.bincount(group, minlength=groups)
    share = 1.0 / np.maximum(number, 1)[group]
    own = np.bincount(group, weights=share**2 * of.stems["own_var"].to_numpy()[stem], minlength=groups)
    variances = np.column_stack([own, of.parts.grouped(group, stem, share, groups)])
    total = np.bincount(group, weights=share * slope[stem], minlength=groups)
    mean = np.asarray(np.where(number > 0, total, np.nan), dtype=float)
    kinds = of.kinds
    if doubtful is not None:
        between = variance_between(group, slope[stem], of.stems["own_var"].to_numpy()[stem], groups)
        variances = np.column_stack([variances, doubtful * between / np.maximum(number, 1) ** 2])
        kinds = (*kinds, EDGE)
    interval = _intervals(mean, variances, kinds, terms)
    return MeanGrowth(pd.DataFrame({"stems": number, "growth_cm_per_yr": mean, **interval}), variances, kinds)


def variance_between(group: Whole, rate: Array, own_var: Array, groups: int) -> Array:
    """Return the variance of growth between the stems of each group, their own errors taken off [cm2/yr2].

    By moments, 0 where that is negative or there are fewer than two.
    """
    number = np.bincount(group, minlength=groups)
    mean = np.bincount(group, weights=rate, minlength=groups) / np.maximum(number, 1)
    squares = np.bincount(group, weights=(rate - mean[group]) ** 2, minlength=groups)
    own = np.bincount(group, weights=own_var, minlength=groups) / np.maximum(number, 1)
    return np.asarray(np.maximum(squares / np.maximum(number - 1, 1) - own, 0.0))
