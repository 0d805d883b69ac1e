"""What crews read when they measure simulated stems: all parts of the error, then unit, step and axes."""

import numpy as np

from tests.benchmarks import simulated_errors as errors
from tests.benchmarks.simulated_crews import ROUND_THE_TRUNK

ALL_HEIGHTS_M = np.array([0.3048, 0.6096, 1.0, 1.2192, 1.30, 1.3716, 1.40, 1.5])


def drawn_departures(rng, stems, one):
    """Departures z (stems, heights) of stems from the profile: one a stem, or one at each height."""
    if one:
        return np.repeat(rng.standard_normal(stems)[:, None], len(ALL_HEIGHTS_M), axis=1)
    return rng.standard_normal((stems, len(ALL_HEIGHTS_M)))


def read(rng, said, stems, trees, crews, standard_m, truth, parts):
    """Return readings of stems of known size: values, diameters as measured, own deviations.

    ``said`` has stem, crew, height_m, says_height and the true dbh_cm, one entry a reading.
    """
    crew, stem, height = said["crew"], said["stem"], said["height_m"]
    number = len(stem)
    b = truth["b"][truth["set_of_species"][trees["species"][stems["tree"][stem]]]]
    instrument = crews["instrument"][crew]
    d = said["dbh_cm"] * true_ratio(height, standard_m, b)
    own, by_instrument, by_crew, _ = errors.deviations_cm(
        instrument, crews["is_helper"][crew], d, truth["hand_cm"][crew]
    )
    own = own * truth["own_factor"]
    z = stems["departure"][stem, np.argmin(np.abs(height[:, None] - ALL_HEIGHTS_M), axis=1)]
    error = (
        own * parts["own"] * rng.standard_normal(number)
        + errors.TILT_SHARE * d * parts["tilt"] * rng.standard_normal(number)
        + d * z * errors.departure_share(height, standard_m) * parts["departure"]
        + by_instrument * truth["instrument"][instrument]
        + by_crew * truth["crew"][crew]
        + np.where(said["says_height"], 0.0, errors.HEIGHT_NOT_SAID_SHARE * d * truth["height"])
    )
    out = {
        "as_measured_cm": np.maximum(d + error, 1.0),
        "own_sd_cm": own,
        "is_girth": np.isin(instrument, ROUND_THE_TRUNK),
    }
    scale = per_cm(out["is_girth"], crews["unit"][crew], truth["hand_cm"][crew])
    out["value"], out["value_2"] = _said(rng, out, crews, crew, scale, parts)
    return out


def true_ratio(height_m, standard_m, b):
    """Diameter at the height over that at breast height, by the true profile."""
    same = np.abs(height_m - standard_m) <= 0.02
    return np.where(same, 1.0, errors.ratio(height_m, standard_m, b))


def _said(rng, out, crews, crew, scale, parts):
    """The values in the unit of the crew, to its step; two of them where a caliper is laid crosswise."""
    d = out["as_measured_cm"]
    two = crews["two_axes"][crew]
    flat = np.where(two, 0.03 * d * rng.standard_normal(len(d)), 0.0)
    step = crews["step"][crew] * (parts["rounding"] > 0)
    first, second = (rounded((d + side * flat) * scale, step) for side in (1.0, -1.0))
    return first, np.where(two, second, np.nan)


def per_cm(is_girth, unit, hand_cm):
    """What is said of a diameter of 1 cm."""
    cm = np.select([unit == "in", unit == "hands"], [errors.CM_OF["in"], hand_cm], 1.0)
    return np.where(is_girth, np.pi, 1.0) / cm


def rounded(value, step):
    """The value to its step, at least one step; as it is where the step is 0."""
    near = np.round(value / np.where(step > 0, step, 1.0)) * step
    return np.where(step > 0, np.maximum(near, step), value)


def said_diameter_cm(site):
    """Diameter as measured that the values of a site say, with hands as broad as their crews found."""
    said, crew = site.readings, site.readings["crew"]
    hand = site.crews["totals_cm"].mean(axis=1) / errors.LAID
    value = np.where(np.isnan(said["value_2"]), said["value"], 0.5 * (said["value"] + said["value_2"]))
    return value / per_cm(said["is_girth"], site.crews["unit"][crew], hand[crew])
