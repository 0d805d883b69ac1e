"""The true variances of simulated readings: what each has of its own and what it shares with others."""

from dataclasses import dataclass

import numpy as np

from tests.benchmarks import simulated_errors as errors
from tests.benchmarks.simulated_readings import per_cm, said_diameter_cm


@dataclass(frozen=True)
class TrueErrors:
    """Readings brought to breast height with the published coefficient, and their errors there [cm].

    ``shared`` are pairs of arrays: a key of each reading and the deviation that its effect has; readings with
    the same key have the same effect. Keys of different pairs are independent.
    """

    standard_cm: np.ndarray
    own_var: np.ndarray
    shared: list

    def variance(self, weights):
        """Variance of the sum of weights times readings."""
        total = np.sum(weights**2 * self.own_var)
        for key, size in self.shared:
            _, code = np.unique(key, return_inverse=True)
            total += np.sum(np.bincount(code, weights=weights * size) ** 2)
        return float(total)


def errors_of(site):
    """Return the errors that the readings of a site have, at their true sizes and with its true factors."""
    said, crews, truth = site.readings, site.crews, site.truth
    crew, height, stem = said["crew"], said["height_m"], said["stem"]
    species = site.trees["species"][site.stems["tree"][stem]]
    b = truth["sets"][truth["set_of_species"][species]]
    same = np.abs(height - site.standard_m) <= 0.02
    factor = np.where(same, 1.0, 1.0 / errors.ratio(height, site.standard_m, b))
    d, instrument = said["dbh_cm"] / factor, crews["instrument"][crew]
    by = errors.deviations_cm(instrument, crews["is_helper"][crew], d, truth["hand_cm"][crew])
    scale = per_cm(said["is_girth"], crews["unit"][crew], truth["hand_cm"][crew])
    step = crews["step"][crew] / scale / np.sqrt(np.where(crews["two_axes"][crew], 24.0, 12.0))
    here, standard = errors.profile(height), errors.profile(site.standard_m)
    per_b = np.where(same, 0.0, d * (standard - here) / (1.0 + b * here) ** 2)
    departure = errors.departure_share(height, site.standard_m) * said["dbh_cm"]
    of_height = 0 if site.world.one_departure else np.round(height * 10_000).astype(np.int64)
    not_said = np.where(said["says_height"], 0.0, errors.HEIGHT_NOT_SAID_SHARE * said["dbh_cm"])
    shared = [
        (instrument, by[1] * factor),
        (crew, by[2] * factor * truth["crew_factor"]),
        (crew, by[3] * factor),
        (truth["set_of_species"][species], per_b * b * errors.TAPER_SHARE),
        (np.zeros(len(crew), dtype=np.int64), not_said),
        (stem * 100_000 + of_height, departure),
    ]
    own = (said["own_sd_cm"] ** 2 + (errors.TILT_SHARE * d) ** 2 + step**2) * factor**2
    return TrueErrors(said_diameter_cm(site) * factor, own, shared)
