"""What is to be expected of a reading, packed as plain numbers: only from what came before it.

How often each kind of mistake happens is assumption; it decides where a question begins and which explanation
comes first, never what is stored.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from layers import taper
from layers.beside import Beside
from layers.error_model import Array, Whole
from layers.inputs import Records, SiteTerms
from layers.reading_check import Expectation, Explanation, Good, Kind, Reading
from layers.stem_forecast import LEAST_WEIGHT, SHRUNK_SD_SHARE, SHRUNK_SHARE, Forecast, forecast
from layers.stem_sizes import Ordered, ordered
from layers.usual_sizes import YOUNG_LOG_SD, YOUNG_MEDIAN_CM, YOUNG_SHARE

WEIGHTS: dict[Kind, float] = {  # shares of all readings; assumption
    "unit": 0.006,
    "girth or width": 0.005,
    "digits swapped": 0.005,
    "another stem": 0.004,
    "neighbour": 0.008,
    "earlier": 0.002,
    "another height": 0.004,
    "shrinkage": 0.003,
    "slip": 0.001,
}
GOOD_WEIGHT = 1.0 - sum(WEIGHTS.values())
SLIP_SHARE, FIRST_SLIP_LOG_SD = (
    0.3,
    1.5,
)  # how far off a slip is: share of the size; of a first one in logarithms
MOST_WAYS = 4
HARDLY_CREDIBLE = (
    0.5  # weight of "the only earlier reading is a mistake" from which on nobody has to be asked
)
MOST_HEIGHTS = 5

_WRONG = 1  # the way in which the only earlier reading is a mistake

# By the unit that is typed: what was read instead, how many times too big the number is, share of mix-ups.
UNIT_MIX_UPS: dict[str, tuple[tuple[str, float, float], ...]] = {
    "cm": (
        ("inches as centimetres", 1 / 2.54, 0.5),
        ("ten times too big", 10.0, 0.2),
        ("ten times too small", 0.1, 0.15),
        ("feet as centimetres", 1 / 30.48, 0.05),
        ("metres as centimetres", 0.01, 0.1),
    ),
    "in": (
        ("centimetres as inches", 2.54, 0.5),
        ("feet as inches", 1 / 12.0, 0.2),
        ("ten times too big", 10.0, 0.15),
        ("ten times too small", 0.1, 0.15),
    ),
    "mm": (
        ("centimetres as millimetres", 0.1, 0.5),
        ("inches as millimetres", 1 / 25.4, 0.3),
        ("ten times too big", 10.0, 0.2),
    ),
    "m": (
        ("centimetres as metres", 100.0, 0.5),
        ("inches as metres", 100 / 2.54, 0.1),
        ("feet as metres", 1 / 0.3048, 0.1),
        ("ten times too big", 10.0, 0.15),
        ("ten times too small", 0.1, 0.15),
    ),
    "ft": (
        ("inches as feet", 12.0, 0.5),
        ("centimetres as feet", 30.48, 0.2),
        ("ten times too big", 10.0, 0.15),
        ("ten times too small", 0.1, 0.15),
    ),
}


@dataclass(frozen=True)
class Expected:
    """What was to be expected of readings: the rows of ``of`` (ordered readings), their forecasts."""

    of: Ordered
    rows: Whole
    forecast: Forecast
    beside: Beside
    heights: tuple[float, ...]
    breast_height_m: float

    def earlier_of(self) -> dict[str, int]:
        """Return the number of earlier readings of its stem by the id of each reading."""
        ids = self.of.readings["reading_id"].to_numpy(dtype=object)[self.rows]
        return dict(zip(ids.tolist(), self.forecast.earlier.tolist(), strict=True))


def expected_of(
    records: Records,
    terms: SiteTerms,
    accepted: frozenset[str] = frozenset(),
    to_come: pd.DataFrame | None = None,
) -> Expected:
    """Return what was to be expected of every live reading of a site, else of readings yet to come.

    Parameters
    ----------
    records, terms
        Of the site.
    accepted : frozenset
        Ids of the readings of which a person has said that they fit.
    to_come : DataFrame, optional
        Columns of READING_RECORD, at most one row a stem: how it is going to be measured (quantity, unit,
        instrument, height, crew, day) with any value above 0; only these are then looked at.
    """
    of = ordered(records, terms, accepted, to_come)
    rows = np.flatnonzero(of.sizes.is_known if to_come is None else ~of.sizes.is_known)
    heights = of.readings["height_m"].dropna().round(4).value_counts()
    known = (*heights.index[:MOST_HEIGHTS].tolist(), terms.breast_height_m)
    return Expected(
        of,
        rows,
        forecast(of.sizes, rows),
        Beside.of(of, records, terms),
        tuple(dict.fromkeys(float(height) for height in known)),
        terms.breast_height_m,
    )


def packed(expected: Expected, at: Iterable[int]) -> list[Expectation]:
    """Return the expectations at some places of the rows of ``expected``, each as plain numbers."""
    places = np.fromiter(at, dtype=np.int64)
    rows = expected.rows[places]
    apart = expected.beside.of_rows(rows)
    said = expected.of.readings.iloc[rows]
    quantity, unit, height = (said[name].tolist() for name in ("quantity", "unit", "height_m"))
    every = _good(expected, places, expected.of.typed_per_cm[rows])
    per_typed = expected.of.typed_per_cm[rows].tolist()
    out = []
    for n, (row, per_cm, good) in enumerate(zip(rows.tolist(), per_typed, every, strict=True)):
        if not good:
            good = _first(expected.of.usual_log[row], per_cm)
            mixed = mix_ups(quantity[n], unit[n])
            slip = Explanation("slip", "", 1.0, 0.0, FIRST_SLIP_LOG_SD, WEIGHTS["slip"])
            out.append(Expectation(quantity[n], unit[n], "log", good, (*mixed, slip)))
            continue
        mean = good[0].mean
        others = (
            Explanation(kind, about, 0.0, size * per_cm, sd * per_cm, weight)
            for kind, about, size, sd, weight in _shared_out(apart[n])
        )
        heights = _other_heights(expected, height[n], expected.beside.coefficient(row), mean)
        before = _earlier(expected, int(places[n]), row, per_cm)
        explanations = (*mix_ups(quantity[n], unit[n]), *others, *before, *heights, *_smaller(mean))
        out.append(Expectation(quantity[n], unit[n], "plain", good, explanations))
    return out


def as_typed(reading: pd.Series) -> Reading:
    """Return a stored reading as it was typed, as far as its number still says."""
    second = reading["value_2"]
    typed_2 = f"{second:.10g}" if second == second and second > 0 else None
    return Reading(f"{reading['value']:.10g}", reading["quantity"], reading["unit"], typed_2)


def credible(ways: Forecast) -> Array:
    """Return the weights of the ways in which good readings may come about, of shape (rows, ways).

    Where there is one earlier reading and the new one is unlike it, either may be the mistake: that is a
    reason to ask, so that it is no good way, but for an earlier one that is hardly credible by itself.
    """
    weight = ways.weight.copy()
    doubted = (ways.earlier == 1) & (weight[:, _WRONG] < HARDLY_CREDIBLE)
    weight[doubted, _WRONG] = 0.0
    return np.asarray(weight / np.maximum(weight.sum(axis=1, keepdims=True), LEAST_WEIGHT))


def _good(expected: Expected, places: Whole, per_cm: Array) -> list[tuple[Good, ...]]:
    """The likeliest good ways in the unit of what is typed, by place."""
    ways, weight = expected.forecast, credible(expected.forecast)[places]
    best = np.argsort(-weight, axis=1, kind="stable")[:, :MOST_WAYS]
    weight = np.take_along_axis(weight, best, axis=1)
    weight = GOOD_WEIGHT * weight / np.maximum(weight.sum(axis=1, keepdims=True), LEAST_WEIGHT)
    mean, sd = (
        np.take_along_axis(values[places], best, axis=1) * per_cm[:, None]
        for values in (ways.mean_cm, ways.sd_cm)
    )
    return [
        tuple(Good(*one) for one in zip(*columns, strict=True) if one[2] > 0)
        for columns in zip(mean.tolist(), sd.tolist(), weight.tolist(), strict=True)
    ]


def _first(usual_log: Array, per_cm: float) -> tuple[Good, ...]:
    """What is usual of the genus, as logarithms of what is typed; a small part of the trees is young."""
    typed = math.log(per_cm)
    return (
        Good(float(usual_log[0]) + typed, float(usual_log[1]), GOOD_WEIGHT * (1.0 - YOUNG_SHARE)),
        Good(math.log(YOUNG_MEDIAN_CM) + typed, YOUNG_LOG_SD, GOOD_WEIGHT * YOUNG_SHARE),
    )


@lru_cache(maxsize=64)
def mix_ups(quantity: str, unit: str) -> tuple[Explanation, ...]:
    """Return the explanations that are the same for every stem: units, girth and width, digits."""
    found = [
        Explanation("unit", about, factor, 0.0, 0.0, WEIGHTS["unit"] * share)
        for about, factor, share in UNIT_MIX_UPS.get(unit, ())
    ]
    about, factor = ("girth as width", math.pi) if quantity == "diameter" else ("width as girth", 1 / math.pi)
    found.append(Explanation("girth or width", about, factor, 0.0, 0.0, WEIGHTS["girth or width"]))
    found.append(Explanation("digits swapped", "", 1.0, 0.0, 0.0, WEIGHTS["digits swapped"]))
    return tuple(found)


def _earlier(expected: Expected, place: int, row: int, per_cm: float) -> Iterable[Explanation]:
    """The only earlier reading of the stem was the mistake."""
    ways = expected.forecast
    if ways.earlier[place] == 1 and ways.weight[place, _WRONG] < HARDLY_CREDIBLE:
        size, sd = (float(values[place, _WRONG]) * per_cm for values in (ways.mean_cm, ways.sd_cm))
        yield Explanation("earlier", "", 0.0, size, sd, WEIGHTS["earlier"])


def _smaller(mean: float) -> tuple[Explanation, Explanation]:
    shrunk = Explanation(
        "shrinkage", "", 1.0, -SHRUNK_SHARE * mean, SHRUNK_SD_SHARE * mean, WEIGHTS["shrinkage"]
    )
    return shrunk, Explanation("slip", "", 1.0, 0.0, SLIP_SHARE * mean, WEIGHTS["slip"])


def _shared_out(
    found: Sequence[tuple[Kind, str, float, float]],
) -> Iterable[tuple[Kind, str, float, float, float]]:
    """Other stems with the weight of each: those of a kind share the kind's."""
    for kind in ("another stem", "neighbour"):
        mine = [one for one in found if one[0] == kind]
        for _kind, about, size, sd in mine:
            yield kind, about, size, sd, WEIGHTS[kind] / len(mine)


def _other_heights(expected: Expected, height_m: float, b: float, mean: float) -> Iterable[Explanation]:
    """Measured at one of the other heights that are in use on the site."""
    here = expected.breast_height_m if height_m != height_m else height_m
    found = _factors(expected.heights, here, b)
    for height, factor, share in found:
        weight = WEIGHTS["another height"] / len(found)
        yield Explanation("another height", f"{height:g}", factor, 0.0, mean * share, weight)


@lru_cache(maxsize=4096)
def _factors(heights: tuple[float, ...], here: float, b: float) -> tuple[tuple[float, float, float], ...]:
    """For each other height [m] by what factor a reading there is greater, and the deviation of that."""
    found = []
    for height in heights:
        if abs(height - here) > taper.SAME_HEIGHT_M:
            factor = float(taper.ratio(height, here, b))
            departure = float(taper.departure_se(height, here))
            found.append((height, factor, math.hypot(departure, taper.COEFFICIENT_SHARE * (factor - 1.0))))
    return tuple(found)
