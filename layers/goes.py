"""A string longer than its ruler, laid off in goes: "3x30 + 12.5" is three goes of 30 and a last one of 12.5.

Each go is read off by itself, so that each adds its own rounding.
"""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST_GOES = 500
_NOT_LAID = ("hand breadths", "hand spans", "sighting", "eye")
_NUMBER = r"\d{1,6}(?:[.,]\d{1,4})?|\d{1,6} \d{1,3}/\d{1,3}|\d{1,3}/\d{1,3}"
_TERM = re.compile(
    rf"(?:(?P<times>\d{{1,3}})\s*[xX×*]\s*)?(?P<length>(?:\d{{1,6}} )?\d{{1,3}}/\d{{1,3}}|{_NUMBER})"
)


@dataclass(frozen=True)
class Goes:
    """What goes of a ruler add up to, in their unit, and how many there were."""

    total: float
    number: int


def goes_of(text: str) -> Goes | None:
    """Return the sum of goes as written, "3x30 + 12.5" or "7x12 + 5 1/2"; None where it is no such thing."""
    total, number = 0.0, 0
    for term in text.split("+"):
        found = _TERM.fullmatch(term.strip())
        if found is None:
            return None
        times = int(found["times"] or 1)
        length = _number(found["length"])
        if length is None:
            return None
        total += times * length
        number += times
    return Goes(round(total, 9), number) if 0 < number <= MOST_GOES and total > 0 else None


def _number(text: str) -> float | None:
    whole, _, fraction = text.rpartition(" ") if "/" in text else (text, "", "")
    value = float(whole.replace(",", ".")) if whole else 0.0
    if fraction:
        above, below = (int(part) for part in fraction.split("/"))
        if not below:
            return None
        value += above / below
    return value


def is_laid(instrument: object) -> bool:
    """Return whether the parts of a reading with an instrument are goes; those of hands are not."""
    return instrument not in _NOT_LAID


def number_of_goes(parts: pd.Series, instrument: pd.Series) -> Array:
    """Return how many goes each reading was made of [-]: 1 where none were written down."""
    number = np.ones(len(parts))
    laid = parts.notna().to_numpy() & ~instrument.isin(_NOT_LAID).to_numpy()
    for row in np.flatnonzero(laid):
        found = goes_of(str(parts.iloc[row]))
        number[row] = found.number if found else 1.0
    return number
