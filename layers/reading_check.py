"""Whether a reading is what was to be expected: a question to the people who measured, never a verdict.

A pure function of a reading as it was typed and an expectation of plain numbers, with nothing but arithmetic,
square roots, logarithms and exponentials, so that a phone can do the same without the records.
"""

import itertools
import json
import math
from dataclasses import asdict, dataclass
from typing import Literal

from layers.errors import OutsideDomain
from layers.units import CM_PER_UNIT

# A question costs a second look; it is asked as soon as one in five readings like this is no good reading.
ODDS_LIMIT = 0.25

Kind = Literal[
    "unit",
    "girth or width",
    "digits swapped",
    "another stem",
    "neighbour",
    "earlier",
    "another height",
    "shrinkage",
    "slip",
]
Scale = Literal["plain", "log"]

_LOG_ROOT_2PI = 0.9189385332046727
_NOTHING = -1e300  # logarithm of a density that is nothing; finite, so that differences stay numbers
_SPREAD = 2.5758  # standard deviations to either end of the range that is shown: 99 of 100 good readings


@dataclass(frozen=True, slots=True)
class Reading:
    """A number as it was typed ("94.2"), what it is (girth or diameter) and its unit.

    ``typed_2`` is the second of two axes of a caliper; what counts is the middle of both.
    """

    typed: str
    quantity: str
    unit: str
    typed_2: str | None = None


@dataclass(frozen=True, slots=True)
class Good:
    """A good reading today: its mean, its deviation, and the weight before anything is read.

    On the scale of the expectation: in its unit, or natural logarithms of that.
    """

    mean: float
    deviation: float
    weight: float


@dataclass(frozen=True, slots=True)
class Explanation:
    """What may stand behind another reading, and how often (``weight``) that happens.

    Where a good reading has mean m and deviation s, this one has factor m + shift and the root of
    (factor s)^2 + deviation^2; on the scale of logarithms m + log factor + shift and the root of
    s^2 + deviation^2. A factor of 0 is a reading that has nothing to do with this stem: mean ``shift``,
    deviation ``deviation``. ``about`` names what is meant, ``factor`` of "digits swapped" is 1.
    """

    kind: Kind
    about: str
    factor: float
    shift: float
    deviation: float
    weight: float


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is to be expected of a reading of one stem today, in one quantity and unit."""

    quantity: str
    unit: str
    scale: Scale
    good: tuple[Good, ...]
    explanations: tuple[Explanation, ...]


@dataclass(frozen=True, slots=True)
class Suspected:
    """An explanation with its share among all explanations, and the number that was meant, if one follows."""

    kind: Kind
    about: str
    share: float
    meant: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a reading fits; ``odds`` are those against a good reading, explanations come likeliest first.

    Of a hundred good readings 99 lie from ``low`` to ``high`` [unit of what was typed]. ``scale`` is that of
    the expectation.
    """

    scale: Scale
    fits: bool
    odds: float
    low: float
    high: float
    explanations: tuple[Suspected, ...]


def check(reading: Reading, expected: Expectation, limit: float = ODDS_LIMIT) -> Verdict:
    """Return whether a reading fits what was to be expected, else what would explain it.

    Parameters
    ----------
    reading : Reading
        As it was typed; another quantity or unit than that of the expectation is converted.
    expected : Expectation
        Made before the reading, see :mod:`layers.expectation`.
    limit : float
        Odds against a good reading from which on it is questioned [-].

    Returns
    -------
    Verdict
        The explanations of a kind are added up; the likeliest of them names what it is about.

    Notes
    -----
    Bayes' rule with normal densities: every way in which the number may have come about has a weight, and
    the odds are the sum of weight x density over the explanations to that over the good readings. Each pair
    of neighbouring digits that differ is as likely to be swapped as any other.

    Raises
    ------
    OutsideDomain
        If what was typed is no number above 0.
    """
    value = _value(reading.typed, reading.typed_2)
    per_typed = _per_typed(reading, expected)
    at = _place(value * per_typed, expected.scale)
    log_good = _log_good(at, expected)
    swapped = [(meant, _log_swapped(value, meant, per_typed, expected)) for meant in _swapped(reading)]
    found = [_log_explained(at, one, expected, swapped) for one in expected.explanations]
    total = _log_sum(found)
    odds = math.exp(min(total - log_good, 700.0))
    low, high = (end / per_typed for end in _range(expected))
    return Verdict(
        expected.scale, odds <= limit, odds, low, high, _ordered(value, expected, found, total, swapped)
    )


def swaps(typed: str) -> list[str]:
    """Return the numbers that become the typed one when two neighbouring digits are swapped."""
    text = typed.strip().replace(",", ".")
    digits = [place for place, letter in enumerate(text) if letter.isdigit()]
    out: list[str] = []
    for left, right in itertools.pairwise(digits):
        if text[left] == text[right]:
            continue
        letters = list(text)
        letters[left], letters[right] = letters[right], letters[left]
        other = "".join(letters)
        starts_with_nothing = other[:1] == "0" and other[1:2].isdigit()
        if float(other) > 0 and not starts_with_nothing and other not in out:
            out.append(other)
    return out


def to_json(expected: Expectation) -> str:
    """Return an expectation as JSON, as it is packed for a phone."""
    return json.dumps(asdict(expected), separators=(",", ":"))


def from_json(text: str) -> Expectation:
    """Return the expectation that :func:`to_json` wrote."""
    said = json.loads(text)
    good = tuple(Good(**one) for one in said.pop("good"))
    explanations = tuple(Explanation(**one) for one in said.pop("explanations"))
    return Expectation(**said, good=good, explanations=explanations)


def _swapped(reading: Reading) -> list[float]:
    """What was meant if two digits were swapped, in one axis or the other."""
    if reading.typed_2 is None:
        return [float(other) for other in swaps(reading.typed)]
    both = [(other, reading.typed_2) for other in swaps(reading.typed)]
    both += [(reading.typed, other) for other in swaps(reading.typed_2)]
    return [_value(first, second) for first, second in both]


def _value(typed: str, typed_2: str | None) -> float:
    value = _number(typed)
    return value if typed_2 is None else (value + _number(typed_2)) / 2.0


def _number(typed: str) -> float:
    try:
        value = float(typed.strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not (value > 0 and value < math.inf):
        raise OutsideDomain("value", value, 0.0, math.inf)
    return value


def _per_typed(reading: Reading, expected: Expectation) -> float:
    """By how much the number grows when it is said in the quantity and unit of the expectation."""
    same = reading.unit == expected.unit
    factor = 1.0 if same else CM_PER_UNIT[reading.unit] / CM_PER_UNIT[expected.unit]
    if reading.quantity == expected.quantity:
        return factor
    return factor * math.pi if expected.quantity == "girth" else factor / math.pi


def _place(value: float, scale: Scale) -> float:
    return math.log(value) if scale == "log" else value


def _log_normal(at: float, mean: float, deviation: float) -> float:
    away = (at - mean) / deviation
    return -0.5 * away * away - math.log(deviation) - _LOG_ROOT_2PI


def _log_sum(logs: list[float]) -> float:
    """The logarithm of a sum of numbers that are given by their logarithms."""
    top = max(logs, default=_NOTHING)
    if top <= _NOTHING:
        return _NOTHING
    return top + math.log(sum(math.exp(one - top) for one in logs))


def _log_good(at: float, expected: Expectation) -> float:
    return _log_sum(
        [math.log(one.weight) + _log_normal(at, one.mean, one.deviation) for one in expected.good]
    )


def _log_swapped(value: float, meant: float, per_typed: float, expected: Expectation) -> float:
    """The density at the number before two digits were swapped; on a scale of logarithms per typed one."""
    logged = _log_good(_place(meant * per_typed, expected.scale), expected)
    return logged + math.log(value / meant) if expected.scale == "log" else logged


def _log_explained(
    at: float, one: Explanation, expected: Expectation, swapped: list[tuple[float, float]]
) -> float:
    """The logarithm of weight x density of an explanation."""
    if one.weight <= 0:
        return _NOTHING
    if one.kind == "digits swapped":
        if not swapped:
            return _NOTHING
        all_good = sum(good.weight for good in expected.good)
        mean = _log_sum([logged for _meant, logged in swapped]) - math.log(len(swapped) * all_good)
        return math.log(one.weight) + mean
    if one.factor == 0:
        return math.log(one.weight) + _log_normal(at, one.shift, one.deviation)
    all_good = sum(good.weight for good in expected.good)
    logs = []
    for good in expected.good:
        if expected.scale == "log":
            mean, own = good.mean + math.log(one.factor), good.deviation
        else:
            mean, own = one.factor * good.mean, one.factor * good.deviation
        spread = math.sqrt(own * own + one.deviation * one.deviation)
        logs.append(math.log(good.weight / all_good) + _log_normal(at, mean + one.shift, spread))
    return math.log(one.weight) + _log_sum(logs)


def _range(expected: Expectation) -> tuple[float, float]:
    """The ends of what was to be expected by the likeliest of the good readings."""
    main = max(expected.good, key=lambda one: one.weight)
    low, high = main.mean - _SPREAD * main.deviation, main.mean + _SPREAD * main.deviation
    if expected.scale == "log":
        return math.exp(low), math.exp(high)
    return max(low, 0.0), high


def _ordered(
    value: float,
    expected: Expectation,
    found: list[float],
    total: float,
    swapped: list[tuple[float, float]],
) -> tuple[Suspected, ...]:
    """The explanations by kind, likeliest first; those of one share in the order of the expectation."""
    shares: dict[Kind, float] = {}
    best: dict[Kind, tuple[float, Explanation]] = {}
    for one, logged in zip(expected.explanations, found, strict=True):
        share = math.exp(logged - total) if total > _NOTHING else 0.0
        shares[one.kind] = shares.get(one.kind, 0.0) + share
        if one.kind not in best or share > best[one.kind][0]:
            best[one.kind] = (share, one)
    kinds = sorted((kind for kind in shares if shares[kind] > 0), key=lambda kind: -shares[kind])
    return tuple(
        Suspected(kind, best[kind][1].about, shares[kind], _meant(value, best[kind][1], swapped))
        for kind in kinds
    )


def _meant(value: float, one: Explanation, swapped: list[tuple[float, float]]) -> float | None:
    """The number that was meant, in the unit of what was typed; None where nothing says so."""
    if one.kind == "digits swapped":
        return max(swapped, key=lambda pair: pair[1])[0]
    if one.kind in ("unit", "girth or width"):
        return value / one.factor
    return None
