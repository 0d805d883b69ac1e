"""What a good reading would be, given the earlier readings of its stem, to one who knows the simulator."""

import numpy as np

from tests.benchmarks import simulated_errors as errors
from tests.benchmarks.simulated_readings import per_cm, said_diameter_cm
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
    said, crews, truth = site.readings, site.crews, site.truth
    there = row >= 0
    at = {name: np.asarray(values)[row] for name, values in said.items()}
    crew, height = at["crew"], at["height_m"]
    species = site.trees["species"][site.stems["tree"][at["stem"]]]
    b = truth["sets"][truth["set_of_species"][species]]
    same = np.abs(height - site.standard_m) <= 0.02
    factor = np.where(same, 1.0, 1.0 / errors.ratio(height, site.standard_m, b))
    d = at["dbh_cm"] / factor
    instrument = crews["instrument"][crew]
    _, by_instrument, by_crew, by_hand = errors.deviations_cm(
        instrument, crews["is_helper"][crew], d, truth["hand_cm"][crew]
    )
    scale = per_cm(at["is_girth"], crews["unit"][crew], truth["hand_cm"][crew])
    step = crews["step"][crew] / scale / np.sqrt(np.where(crews["two_axes"][crew], 24.0, 12.0))
    own = (at["own_sd_cm"] ** 2 + (errors.TILT_SHARE * d) ** 2 + step**2) * factor**2
    here, standard = errors.profile(height), errors.profile(site.standard_m)
    per_b = np.where(same, 0.0, d * (standard - here) / (1.0 + b * here) ** 2)
    share = errors.departure_share(height, site.standard_m)
    years = at["day"] / DAYS_PER_YEAR
    alike = height if not site.world.one_departure else np.zeros_like(height)
    shared = [
        (instrument, by_instrument * factor),
        (crew, by_crew * factor * truth["crew_factor"]),
        (crew, by_hand * factor),
        (None, per_b * b * errors.TAPER_SHARE),
        (None, np.where(at["says_height"], 0.0, errors.HEIGHT_NOT_SAID_SHARE * at["dbh_cm"])),
        (alike, share * at["dbh_cm"]),
        (None, np.full(row.shape, _deviation(MEDIAN_CM, LOG_SD))),
        (None, years * _deviation(MEDIAN_CM_PER_YEAR, LOG_SD_GROWTH)),
    ]
    cov = np.eye(row.shape[1]) * np.where(there, own, 1.0)[:, :, None]
    both = there[:, :, None] & there[:, None, :]
    for key, size in shared:
        together = both if key is None else both & (key[:, :, None] == key[:, None, :])
        cov = cov + together * size[:, :, None] * size[:, None, :]
    mean = _mean(MEDIAN_CM, LOG_SD) + years * _mean(MEDIAN_CM_PER_YEAR, LOG_SD_GROWTH)
    return cov, np.where(there, mean, 0.0), said_diameter_cm(site)[row] * factor


def _mean(median, log_sd):
    return median * np.exp(log_sd**2 / 2.0)


def _deviation(median, log_sd):
    return _mean(median, log_sd) * np.sqrt(np.expm1(log_sd**2))
