"""What is to be expected of a reading, packed as plain numbers: only from what came before it.

How often each kind of mistake happens is assumption; it decides where a question begins and which explanation
comes first, never what is stored.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layers import taper
from layers.beside import Beside
from layers.error_model import Array, Whole
from layers.inputs import Records, SiteTerms
from layers.reading_check import Expectation, Explanation, Good, Kind, Reading
from layers.stem_forecast import SHRUNK_SD_SHARE, SHRUNK_SHARE, Forecast, forecast
from layers.stem_sizes import Ordered, ordered
from layers.usual_sizes import YOUNG_LOG_SD, YOUNG_MEDIAN_CM, YOUNG_SHARE

WEIGHTS: dict[Kind, float] = {  # shares of all readings; assumption
    "unit": 0.006,
    "girth or width": 0.005,
    "digits swapped": 0.005,
    "another stem": 0.004,
    "neighbour": 0.006,
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
MOST_HEIGHTS = 5

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
        instrument, height, crew, day) with any value; only these are then looked at.
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
    quantity, unit = said["quantity"].tolist(), said["unit"].tolist()
    out = []
    for n, (place, row) in enumerate(zip(places.tolist(), rows.tolist(), strict=True)):
        per_cm = float(expected.of.typed_per_cm[row])
        if not expected.forecast.earlier[place]:
            good = _first(expected.of.usual_log[row], per_cm)
            mixed = _mix_ups(quantity[n], unit[n])
            slip = Explanation("slip", "", 1.0, 0.0, FIRST_SLIP_LOG_SD, WEIGHTS["slip"])
            out.append(Expectation(quantity[n], unit[n], "log", good, (*mixed, slip)))
            continue
        good = _good(expected.forecast, place, per_cm)
        mean = max(good, key=lambda one: one.weight).mean
        others = (
            Explanation(kind, about, 0.0, size * per_cm, sd * per_cm, weight)
            for kind, about, size, sd, weight in _shared_out(apart[n])
        )
        heights = _heights(expected, row, mean)
        explanations = (*_mix_ups(quantity[n], unit[n]), *others, *heights, *_smaller(mean))
        out.append(Expectation(quantity[n], unit[n], "plain", good, explanations))
    return out


def as_typed(reading: pd.Series) -> Reading:
    """Return a stored reading as it was typed, as far as its number still says."""
    second = reading["value_2"]
    typed_2 = f"{second:.10g}" if second == second and second > 0 else None
    return Reading(f"{reading['value']:.10g}", reading["quantity"], reading["unit"], typed_2)


def _good(ways: Forecast, place: int, per_cm: float) -> tuple[Good, ...]:
    """The likeliest ways in which a good reading may come about, in the unit of what is typed."""
    weight = ways.weight[place]
    best = np.argsort(-weight, kind="stable")[:MOST_WAYS]
    best = best[weight[best] > 0]
    share = weight[best] / weight[best].sum()
    return tuple(
        Good(
            float(ways.mean_cm[place, way]) * per_cm,
            float(ways.sd_cm[place, way]) * per_cm,
            float(part) * GOOD_WEIGHT,
        )
        for way, part in zip(best, share, strict=True)
    )


def _first(usual_log: Array, per_cm: float) -> tuple[Good, ...]:
    """What is usual of the genus, as logarithms of what is typed; a small part of the trees is young."""
    typed = math.log(per_cm)
    return (
        Good(float(usual_log[0]) + typed, float(usual_log[1]), GOOD_WEIGHT * (1.0 - YOUNG_SHARE)),
        Good(math.log(YOUNG_MEDIAN_CM) + typed, YOUNG_LOG_SD, GOOD_WEIGHT * YOUNG_SHARE),
    )


def _mix_ups(quantity: str, unit: str) -> list[Explanation]:
    """Explanations that are the same for every stem: units, girth and width, digits."""
    found = [
        Explanation("unit", about, factor, 0.0, 0.0, WEIGHTS["unit"] * share)
        for about, factor, share in UNIT_MIX_UPS.get(unit, ())
    ]
    about, factor = ("girth as width", math.pi) if quantity == "diameter" else ("width as girth", 1 / math.pi)
    found.append(Explanation("girth or width", about, factor, 0.0, 0.0, WEIGHTS["girth or width"]))
    found.append(Explanation("digits swapped", "", 1.0, 0.0, 0.0, WEIGHTS["digits swapped"]))
    return found


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


def _heights(expected: Expected, row: int, mean: float) -> list[Explanation]:
    """Measured at one of the other heights that are in use on the site."""
    reading = expected.of.readings.iloc[row]
    said = reading["height_m"]
    standard = expected.breast_height_m
    here = standard if said != said else float(said)
    b = expected.beside.coefficient(row)
    others = [height for height in expected.heights if abs(height - here) > taper.SAME_HEIGHT_M]
    found = []
    for height in others:
        factor = float(taper.ratio(height, here, b))
        share = float(taper.departure_se(height, here))
        deviation = mean * math.hypot(share, taper.COEFFICIENT_SHARE * (factor - 1.0))
        weight = WEIGHTS["another height"] / len(others)
        found.append(Explanation("another height", f"{height:g}", factor, 0.0, deviation, weight))
    return found
