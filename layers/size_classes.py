"""Half-open size classes [a, b) of standard diameters, and their names."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from layers.error_model import Whole
from layers.inputs import SiteTerms
from layers.units import CM_PER_IN

NO_CLASS = -1


def bounds(breaks_cm: Sequence[float]) -> list[tuple[float, float | None]]:
    """Return the lower and upper bound of every class [cm]; the last has no upper bound."""
    edges = [0.0, *(float(edge) for edge in breaks_cm)]
    return [*pairwise(edges), (edges[-1], None)]


def class_of(dbh_cm: ArrayLike, breaks_cm: Sequence[float]) -> Whole:
    """Return the number of the class of each diameter, -1 where there is none.

    A diameter that equals a break belongs to the class above it.
    """
    size = np.asarray(dbh_cm, dtype=float)
    found = np.searchsorted(np.asarray(breaks_cm, dtype=float), size, side="right")
    return np.where(np.isnan(size), NO_CLASS, found).astype(np.int64)


def label(from_cm: float, to_cm: float | None, terms: SiteTerms) -> str:
    """Return the name of a class in the display unit of the site: 20 to under 40 cm, 8 to under 16 in."""
    per, unit = (CM_PER_IN, "in") if terms.units == "us" else (1.0, "cm")
    low = f"{round(from_cm / per, 2):g}"
    if to_cm is None or not np.isfinite(to_cm):
        return f"{low} {unit} and more" if from_cm > 0 else "any size"
    high = f"{round(to_cm / per, 2):g}"
    return f"{low} to under {high} {unit}" if from_cm > 0 else f"under {high} {unit}"


def labels(terms: SiteTerms) -> list[str]:
    """Return the names of all classes of a site, from small to large."""
    return [label(low, high, terms) for low, high in bounds(terms.breaks_cm)]
