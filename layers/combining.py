"""Several readings of one stem in one round as one size: the best weighted mean under their covariance."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layers.error_model import Array, Whole
from layers.girth import Standardised, standardised
from layers.inputs import Records, SiteTerms


def weights_of(sizes: Standardised, rows: Whole, stem: Whole, records: Records, terms: SiteTerms) -> Array:
    """Return how much each reading counts in the size of its stem.

    Parameters
    ----------
    sizes : Standardised
        All readings.
    rows : array
        Those that count, ordered by stem.
    stem : array
        The stem of every reading, as a number.
    records : Records
        Stems and trees of the site.
    terms : SiteTerms
        Breast height [m] of the site.

    Returns
    -------
    array
        Weights of ``rows``; they add up to 1 in every stem.

    Notes
    -----
    With the covariance C of a stem's readings (own errors, departures shared at one height, shared effects),
    the weights are C^-1 1 / (1' C^-1 1). Errors that grow with the size are taken at the mean size of the
    stem's readings: taken at each reading's own, a shared one would put the mean below all of them.
    """
    weights = np.ones(len(rows))
    several = np.bincount(stem[rows])[stem[rows]] > 1 if len(rows) else np.zeros(0, dtype=bool)
    if not several.any():
        return weights
    at, of = rows[several], stem[rows[several]]
    alike = at_mean_size(sizes, at, of, records, terms)
    own = np.ones(len(at))
    for together in _several(alike, np.arange(len(at)), of):
        solved = np.linalg.solve(together.covariance(), np.ones(len(together.own)))
        own[together.at] = solved / solved.sum()
    weights[several] = own
    return weights


def at_mean_size(
    sizes: Standardised, rows: Whole, stem: Whole, records: Records, terms: SiteTerms
) -> Standardised:
    """Return some readings as if all of a stem had read its mean size: with the errors that they would have.

    ``stem`` numbers the stem (or occasion) of each of ``rows``.
    """
    readings, size = sizes.readings.iloc[rows], number_at(sizes.readings, "dbh_cm", rows)
    mean = np.bincount(stem, weights=size) / np.maximum(np.bincount(stem), 1)
    factor = mean[stem] / size
    alike = readings.assign(value=readings["value"] * factor, value_2=readings["value_2"] * factor)
    return standardised(alike, records.stems, records.trees, terms)


@dataclass(frozen=True)
class _Together:
    """The readings of one stem: their place among the rows, own variances, departures, shared effects."""

    at: slice
    own: Array
    departure: Array
    height: Whole
    shared: Array  # (readings, causes), each effect times the standard deviation of its cause

    def covariance(self) -> Array:
        same_height = self.height[:, None] == self.height[None, :]
        departures = same_height * np.outer(self.departure, self.departure)
        return np.asarray(np.diag(self.own) + self.shared @ self.shared.T + departures)


def _several(sizes: Standardised, rows: Whole, stem: Whole) -> Iterator[_Together]:
    count = np.bincount(stem[rows]) if len(rows) else np.zeros(0, dtype=np.int64)
    many = np.flatnonzero(count > 1)
    starts = np.cumsum(count) - count
    own, departure = (number_at(sizes.readings, name, rows) for name in ("own_var_cm2", "departure_se_cm"))
    height = height_key(sizes.readings, rows)
    part_row, cause, size = _effects(sizes, rows[np.isin(stem[rows], many)])
    low, high = np.searchsorted(part_row, rows, "left"), np.searchsorted(part_row, rows, "right")
    for start, number in zip(starts[many].tolist(), count[many].tolist(), strict=True):
        here = slice(start, start + number)
        shared = np.zeros((number, len(sizes.causes)))
        for n in range(number):
            mine = slice(low[start + n], high[start + n])
            shared[n, cause[mine]] = size[mine]
        yield _Together(here, own[here], departure[here], height[here], shared)


def _effects(sizes: Standardised, rows: Whole) -> tuple[Whole, Whole, Array]:
    """The shared effects of some readings, ordered by reading: its row, the cause, the standard deviation."""
    row = sizes.parts["row"].to_numpy(dtype=np.int64)
    used = np.flatnonzero(np.isin(row, rows))
    used = used[np.argsort(row[used], kind="stable")]
    cause = pd.Index(sizes.causes["cause"]).get_indexer(sizes.parts["cause"].iloc[used])
    sd = np.sqrt(sizes.causes["variance"].to_numpy(dtype=float))[cause]
    return row[used], cause, sizes.parts["sensitivity_cm"].to_numpy(dtype=float)[used] * sd


def own_variance(readings: pd.DataFrame, rows: Whole, stem: Whole, weights: Array, stems: int) -> Array:
    """Return what each stem's size shares with no other stem [cm2].

    Own errors, and departures from the profile added up over readings of one height.
    """
    own = summed(stem[rows], weights**2 * number_at(readings, "own_var_cm2", rows), stems)
    return np.asarray(own + departure_variance(readings, rows, stem, weights, stems))


def departure_variance(readings: pd.DataFrame, rows: Whole, stem: Whole, weights: Array, stems: int) -> Array:
    """Return the variance that each stem's size has from its departure from the profile [cm2].

    Readings at one height share it, so that it is added up over them before it is squared.
    """
    key = pd.DataFrame({"stem": stem[rows], "height": height_key(readings, rows)})
    code = key.groupby(["stem", "height"], sort=False).ngroup().to_numpy(dtype=np.int64)
    together = np.bincount(code, weights=weights * number_at(readings, "departure_se_cm", rows))
    stem_of = np.zeros(len(together), dtype=np.int64)
    stem_of[code] = stem[rows]
    return summed(stem_of, np.asarray(together, dtype=float) ** 2, stems)


def height_key(readings: pd.DataFrame, rows: Whole) -> Whole:
    """Return heights in whole micrometres, -1 where it was not said."""
    height = number_at(readings, "height_m", rows)
    return np.where(np.isnan(height), -1, np.round(np.nan_to_num(height) * 1e6)).astype(np.int64)


def summed(group: Whole, size: Array, groups: int) -> Array:
    """Return the sum of ``size`` of every group."""
    return np.asarray(np.bincount(group, weights=size, minlength=groups), dtype=float)


def number_at(readings: pd.DataFrame, name: str, rows: Whole) -> Array:
    """Return the numbers of a column at some rows."""
    return np.asarray(readings[name].to_numpy(dtype=float)[rows])
