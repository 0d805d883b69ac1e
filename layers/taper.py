"""How a trunk thins upward near the ground: from a diameter at one height to that at another.

The profile is d(h) = dbh (1 + B f(h)) with f(h) = (4.5 - h) / (h + 1), h in feet, outside bark. Its seven
coefficients B belong to sets of species; they were fitted on forest trees of the Lake States (from memory),
so that they are guesses for ornamental and tropical species.

References
----------
.. [1] Raile, G. K. 1982. Estimating stump volume. USDA Forest Service Research Paper NC-224 (cited from
   memory; the form of the equation was read in excerpts of public files that document it).
.. [2] USDA Forest Service, FIADB table REF_SPECIES, column RAILE_STUMP_DOB_B1: the coefficients.
"""

from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layers import species
from layers.units import M_PER_FT

Array = NDArray[np.float64]

PROFILE_BREAST_HEIGHT_M = 1.3716
LOWEST_M, HIGHEST_M = 0.15, 1.53
SAME_HEIGHT_M = 0.02
COEFFICIENT_SHARE = 0.20  # standard deviation of a set's coefficient, as a share of it (assumption)

SETS = {
    0.11585: "soft maple and birch",
    0.09658: "poplar, alder and willow",
    0.12766: "mixed hardwood",
    0.12798: "oak, hickory, beech and hard maple",
    0.08091: "pine",
    0.14525: "spruce",
    0.12667: "fir, cedar, hemlock and larch",
}
SOFTWOOD_B, HARDWOOD_B = 0.12667, 0.12766

# Standard deviation of one tree's departure from the profile, as a share of its diameter (assumption).
_DEPARTURE_F = (0.0, 0.0446, 0.8333, 1.7718)
_DEPARTURE_SHARE = (0.0, 0.005, 0.035, 0.075)
_LAST_SLOPE = (0.075 - 0.035) / (1.7718 - 0.8333)


def profile(height_m: ArrayLike) -> Array:
    """Return f(h) of the published profile [-]: 0 at 1.3716 m, positive below.

    Parameters
    ----------
    height_m : array_like
        Height above ground [m].

    References
    ----------
    .. [1] Raile 1982, NC-224.
    """
    height_ft = np.asarray(height_m, dtype=float) / M_PER_FT
    return np.asarray((4.5 - height_ft) / (height_ft + 1.0))


def ratio(height_m: ArrayLike, breast_height_m: ArrayLike, b: ArrayLike) -> Array:
    """Return the diameter at one height as a multiple of that at another, d(h) / d(H) [-].

    Parameters
    ----------
    height_m, breast_height_m : array_like
        Heights h and H above ground [m].
    b : array_like
        Coefficient of the profile [-].

    Notes
    -----
    Meant for 0.15 to 1.53 m; above 1.3716 m it is extrapolation. No range is enforced here.

    References
    ----------
    .. [1] Raile 1982, NC-224.
    """
    b = np.asarray(b, dtype=float)
    return np.asarray((1.0 + b * profile(height_m)) / (1.0 + b * profile(breast_height_m)))


def is_convertible(height_m: ArrayLike) -> NDArray[np.bool_]:
    """Return whether a height lies in the range [0.15, 1.53] m in which readings are converted."""
    height = np.asarray(height_m, dtype=float)
    return np.asarray((height >= LOWEST_M - 1e-9) & (height <= HIGHEST_M + 1e-9))


def is_extrapolated(height_m: ArrayLike, breast_height_m: ArrayLike) -> NDArray[np.bool_]:
    """Return whether either height lies above the 1.3716 m up to which the profile was fitted."""
    top = np.maximum(np.asarray(height_m, dtype=float), np.asarray(breast_height_m, dtype=float))
    return np.asarray(top > PROFILE_BREAST_HEIGHT_M + 1e-9)


def departure_se(height_m: ArrayLike, breast_height_m: ArrayLike) -> Array:
    """Return the standard deviation of one tree's departure from the profile, as a share of d [-].

    Parameters
    ----------
    height_m, breast_height_m : array_like
        Height of the reading and the site's breast height [m].

    Notes
    -----
    |s(f(h)) - s(f(H))|, with s piecewise linear through (0, 0), (0.0446, 0.5 %), (0.8333, 3.5 %),
    (1.7718, 7.5 %), going on with its last slope, s(-f) = -s(f). Doubled where either height is above
    1.3716 m. All of it is assumption.
    """
    apart = np.abs(_departure(profile(height_m)) - _departure(profile(breast_height_m)))
    return np.asarray(np.where(is_extrapolated(height_m, breast_height_m), 2.0, 1.0) * apart)


def _departure(f: Array) -> Array:
    size = np.abs(f)
    inside = np.interp(size, _DEPARTURE_F, _DEPARTURE_SHARE)
    above = np.maximum(size - _DEPARTURE_F[-1], 0.0) * _LAST_SLOPE
    return np.asarray(np.sign(f) * (inside + above))


def coefficient(scientific_name: str | None, genus: str | None) -> tuple[float, str]:
    """Return the coefficient B of a tree [-] and, in words, how it was found.

    By species, else by genus, else as a softwood or a hardwood.

    References
    ----------
    .. [1] FIADB REF_SPECIES, RAILE_STUMP_DOB_B1.
    """
    by_species, by_genus = _tables()
    if scientific_name in by_species:
        return by_species[scientific_name], f"coefficient of the species {scientific_name}"
    genus = genus or (scientific_name or "").split(" ")[0] or None
    if genus in by_genus:
        return by_genus[genus], f"coefficient of the genus {genus}"
    if genus is None:
        return HARDWOOD_B, "species not known, coefficient of mixed hardwood"
    if species.softwood_or_hardwood(genus) == "softwood":
        return SOFTWOOD_B, f"no coefficient for {genus}, that of other softwoods"
    return HARDWOOD_B, f"no coefficient for {genus}, that of mixed hardwood"


def set_name(b: float) -> str:
    """Return the name of the set of species that shares a coefficient."""
    return SETS.get(round(b, 5), f"B {b:g}")


@lru_cache(maxsize=1)
def _tables() -> tuple[dict[Any, float], dict[Any, float]]:
    """Coefficients by species and by genus."""
    known = species.species_table().dropna(subset=["stump_profile_b_outside_bark"])
    by_species = dict(zip(known["scientific_name"], known["stump_profile_b_outside_bark"], strict=True))
    by_genus = {genus: _of_genus(rows) for genus, rows in known.groupby("genus")}
    return by_species, by_genus


def _of_genus(rows: pd.DataFrame) -> float:
    """The coefficient of the row for the whole genus, else the commonest one, the larger of equals."""
    whole = rows.loc[rows["species"] == "spp.", "stump_profile_b_outside_bark"]
    if len(whole):
        return float(whole.iloc[0])
    counts = rows["stump_profile_b_outside_bark"].value_counts()
    return float(counts.index[counts == counts.max()].max())
