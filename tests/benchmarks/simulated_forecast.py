"""What a good reading would be, given the earlier readings of its stem, to one who knows the simulator."""

import numpy as np

from tests.benchmarks.simulated_variances import errors_of
from tests.benchmarks.simulator import (
    DAYS_PER_YEAR,
    LOG_SD,
    LOG_SD_GROWTH,
    MEDIAN_CM,
    MEDIAN_CM_PER_YEAR,
)


def forecast(site):
    """Return, per reading, what the stem's earlier readings let expect of it.

    Returns
    -------
    dict
        ``standard_cm``: what was read, brought to breast height with the published coefficient;
        ``expected_cm`` and ``sd_cm``: mean and predictive deviation of a good reading (brought there alike)
        on that day by that crew, given the readings of the stem before it; ``earlier``: their number. The
        first reading of a stem is expected by how large stems of the simulator are.

    Notes
    -----
    The normal conditional under the true variances. Size and growth of a stem have the mean and variance of
    the lognormal distributions that they are drawn from. Shared effects are not learned from other stems.
    """
    said, row = _padded(site)
    cov, mean, standard = _covariance(site, row)
    stems, most = row.shape
    expected, sd = np.zeros((stems, most)), np.zeros((stems, most))
    apart = np.where(row >= 0, standard - mean, 0.0)
    for k in range(most):
        weights = np.linalg.solve(cov[:, :k, :k], cov[:, :k, k, None])[..., 0]
        expected[:, k] = mean[:, k] + np.sum(weights * apart[:, :k], axis=1)
        sd[:, k] = np.sqrt(cov[:, k, k] - np.sum(weights * cov[:, :k, k], axis=1))
    there = row >= 0
    out = {name: np.zeros(said) for name in ("standard_cm", "expected_cm", "sd_cm", "earlier")}
    places = np.broadcast_to(np.arange(most), row.shape)
    values = {"standard_cm": standard, "expected_cm": expected, "sd_cm": sd, "earlier": places}
    for name, each in values.items():
        out[name][row[there]] = each[there]
    return out


def _padded(site):
    """Rows of readings by stem in order of time, -1 where a stem has fewer than the most."""
    stem = site.readings["stem"]
    order = np.argsort(stem, kind="stable")
    count = np.bincount(stem, minlength=len(site.stems["tree"]))
    place = np.arange(len(stem)) - np.repeat(np.cumsum(count) - count, count)
    row = np.full((len(count), count.max()), -1)
    row[stem[order], place] = order
    return len(stem), row


def _covariance(site, row):
    """Covariance of good readings of each stem, their means, and the readings; padding is independent."""
    there = row >= 0
    errors_ = errors_of(site)
    years = (site.readings["day"] / DAYS_PER_YEAR)[row]
    shared = [(key[row], size[row]) for key, size in errors_.shared]
    shared.append((np.zeros(row.shape), np.full(row.shape, _deviation(MEDIAN_CM, LOG_SD))))
    shared.append((np.zeros(row.shape), years * _deviation(MEDIAN_CM_PER_YEAR, LOG_SD_GROWTH)))
    cov = np.eye(row.shape[1]) * np.where(there, errors_.own_var[row], 1.0)[:, :, None]
    both = there[:, :, None] & there[:, None, :]
    for key, size in shared:
        together = both & (key[:, :, None] == key[:, None, :])
        cov = cov + together * size[:, :, None] * size[:, None, :]
    mean = _mean(MEDIAN_CM, LOG_SD) + years * _mean(MEDIAN_CM_PER_YEAR, LOG_SD_GROWTH)
    return cov, np.where(there, mean, 0.0), errors_.standard_cm[row]


def _mean(median, log_sd):
    return median * np.exp(log_sd**2 / 2.0)


def _deviation(median, log_sd):
    return _mean(median, log_sd) * np.sqrt(np.expm1(log_sd**2))
