"""What the earlier readings of a stem let expect of the next one, with all that may have gone wrong before.

Readings of a stem are jointly normal: a size and a rate of growth that are known beforehand as little as
those of any tree of the genus, and the errors of definitions N4, so that what two readings share cancels.
Besides "all earlier readings are good" every one of them may have been a mistake, and at every one the trunk
may have become smaller for good; the readings themselves say how likely each of these is.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layers.error_model import Array, Whole

Flags = NDArray[np.bool_]

MOST_EARLIER = 6  # of a stem's latest readings
MISTAKE = 0.03  # share of readings that are mistaken; assumption
MISTAKE_ACCEPTED = 0.0001  # after a person has said that the reading fits
MISTAKE_SD_SHARE = 0.6  # how far a mistaken one may lie from the truth, as a share of it; assumption
SHRUNK = 0.003  # share of readings before which a trunk became smaller for good; assumption
SHRUNK_SHARE, SHRUNK_SD_SHARE = 0.15, 0.10  # by how much of its diameter, give or take; assumption
YEAR_SD_CM = 0.2  # growth of one year apart from the stem's own rate; assumption
LEAST_WEIGHT = 1e-6


@dataclass(frozen=True)
class Sizes:
    """Readings of stems as standard diameters, ordered by stem and time.

    ``effect_key`` and ``effect_cm`` are of shape (readings, kinds): a number for each shared cause (-1 for
    none) and the standard deviation that it gives the diameter, signed [cm]. ``height`` is a number for each
    height of measurement. ``years`` counts from any day. ``usual_cm``, ``usual_sd_cm``, ``growth`` and
    ``growth_sd`` are those of the stem's genus. ``log_unusual`` is by how much a size speaks for a mistake by
    itself (logarithm of odds). ``is_known`` is false for readings yet to come.
    """

    stem: Whole
    years: Array
    dbh_cm: Array
    level_cm: Array
    own_var: Array
    departure_cm: Array
    height: Whole
    effect_key: Whole
    effect_cm: Array
    usual_cm: Array
    usual_sd_cm: Array
    growth: Array
    growth_sd: Array
    log_unusual: Array
    is_accepted: Flags
    is_known: Flags


@dataclass(frozen=True)
class Forecast:
    """Good readings to be expected, as normal distributions with weights: arrays (rows, ways).

    ``mean_cm`` and ``sd_cm`` are standard diameters of a reading, errors included; ``weight`` adds up to 1,
    a way that does not count has weight 0. Way 0 is "all earlier ones are good", ways 1 to n "the nth is a
    mistake". ``earlier`` is the number of earlier readings; without any the
    row holds nothing but zeros.
    """

    mean_cm: Array
    sd_cm: Array
    weight: Array
    earlier: Whole


def forecast(sizes: Sizes, rows: Whole) -> Forecast:
    """Return what was to be expected of some readings, each from those of its stem before it alone."""
    ways = 2 * MOST_EARLIER
    mean, sd, weight = (np.zeros((len(rows), ways)) for _ in range(3))
    earlier = np.zeros(len(rows), dtype=np.int64)
    for at, together in _alike(sizes, rows):
        earlier[at] = together.shape[1] - 1
        for way, (means, sds, weights) in enumerate(_ways(sizes, together)):
            mean[at, way], sd[at, way], weight[at, way] = means, sds, weights
        weight[at] = _shares(weight[at], 2 * earlier[at[0]])
    return Forecast(mean, sd, weight, earlier)


def _alike(sizes: Sizes, rows: Whole) -> Iterator[tuple[Whole, Whole]]:
    """Groups with equally many earlier readings: places in ``rows``, and (group, earlier + 1) rows.

    The last of each is the reading itself.
    """
    known = np.flatnonzero(sizes.is_known)
    known_stem = sizes.stem[known]
    first = np.searchsorted(known_stem, sizes.stem[rows], "left")
    until = np.searchsorted(known, rows, "left")
    count = np.minimum(np.maximum(until - first, 0), MOST_EARLIER)
    for number in np.unique(count[count > 0]).tolist():
        at = np.flatnonzero(count == number)
        before = known[until[at][:, None] - number + np.arange(number)]
        yield at, np.concatenate([before, rows[at][:, None]], axis=1)


def _ways(sizes: Sizes, together: Whole) -> Iterator[tuple[Array, Array, Array]]:
    """Mean, deviation and logarithm of the weight for every way in which the earlier readings came about."""
    cov, mean = _covariance(sizes, together)
    number = together.shape[1] - 1
    seen = sizes.dbh_cm[together[:, :number]]
    level = sizes.level_cm[together[:, -1]]
    mistake = np.where(sizes.is_accepted[together[:, :number]], MISTAKE_ACCEPTED, MISTAKE)
    odds = np.log(mistake / (1.0 - mistake)) + sizes.log_unusual[together[:, :number]]
    yield _given(cov, mean, seen, np.zeros(len(together)))
    for wrong in range(number):
        wider = cov.copy()
        wider[:, wrong, wrong] += (MISTAKE_SD_SHARE * level) ** 2
        yield _given(wider, mean, seen, odds[:, wrong])
    for since in range(1, number):
        after = (np.arange(number + 1) >= since).astype(float)
        smaller = mean - SHRUNK_SHARE * level[:, None] * after
        wider = cov + (SHRUNK_SD_SHARE * level[:, None, None]) ** 2 * np.outer(after, after)
        yield _given(wider, smaller, seen, np.full(len(together), np.log(SHRUNK)))


def _given(cov: Array, mean: Array, seen: Array, log_prior: Array) -> tuple[Array, Array, Array]:
    """The last one's mean and deviation given the others, and how likely the others were."""
    apart = seen - mean[:, :-1]
    known, beside = cov[:, :-1, :-1], cov[:, :-1, -1]
    solved = np.linalg.solve(known, np.stack([beside, apart], axis=2))
    expected = mean[:, -1] + np.sum(solved[:, :, 0] * apart, axis=1)
    variance = cov[:, -1, -1] - np.sum(solved[:, :, 0] * beside, axis=1)
    away = np.sum(solved[:, :, 1] * apart, axis=1)
    log_weight = log_prior - 0.5 * (away + np.linalg.slogdet(known)[1])
    return expected, np.sqrt(variance), log_weight


def _covariance(sizes: Sizes, together: Whole) -> tuple[Array, Array]:
    """Covariance (group, n, n) and means (group, n) of good readings of one stem each."""
    own = sizes.own_var[together]
    years = sizes.years[together] - sizes.years[together[:, :1]]
    number = together.shape[1]
    cov = np.eye(number) * own[:, :, None]
    departure, height = sizes.departure_cm[together], sizes.height[together]
    cov += _outer(departure) * (height[:, :, None] == height[:, None, :])
    for kind in range(sizes.effect_key.shape[1]):
        key, size = sizes.effect_key[together, kind], sizes.effect_cm[together, kind]
        cov += _outer(size) * (key[:, :, None] == key[:, None, :]) * (key >= 0)[:, :, None]
    last = together[:, -1]
    cov += (sizes.usual_sd_cm[last] ** 2 + sizes.level_cm[last] ** 2)[:, None, None]
    cov += _outer(sizes.growth_sd[last][:, None] * years)
    cov += YEAR_SD_CM**2 * np.minimum(years[:, :, None], years[:, None, :])
    return cov, sizes.usual_cm[last][:, None] + sizes.growth[last][:, None] * years


def _outer(size: Array) -> Array:
    return np.asarray(size[:, :, None] * size[:, None, :])


def _shares(log_weight: Array, ways: int) -> Array:
    """Weights that add up to 1 from their logarithms; what hardly counts is left out."""
    used = log_weight[:, :ways]
    weight = np.exp(used - used.max(axis=1, keepdims=True))
    weight = weight / weight.sum(axis=1, keepdims=True)
    weight = np.where(weight < LEAST_WEIGHT, 0.0, weight)
    out = np.zeros_like(log_weight)
    out[:, :ways] = weight / weight.sum(axis=1, keepdims=True)
    return out
