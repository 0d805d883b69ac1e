"""Girth or diameter, and in which unit: from header words, steps and magnitudes of the values, and place.

The weights are assumptions (common practice, no source): girths of planted trees scatter log-normally about
85 cm, lists of North America write inches, quarter and half steps are inches, tenths are centimetres.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from service.errors import Ask, InvalidRequest
from service.intake import cells
from service.intake.guess_columns import NumberColumn
from service.intake.prepared import Guess

GIRTH_REFUSED_CM = 4_500.0  # above it [cm of girth] a size is refused (definitions R3)
GIRTH_QUESTIONED_CM = 1_000.0  # above it [cm of girth] a size is questioned (definitions R3)
APART = 1.6  # questioned above so many times the size that 99 of 100 stay below (assumption)
APART_NEEDS = 200  # sizes of a file needed before any stands apart

CHOICES = tuple(
    f"{quantity}-{unit}" for quantity in ("girth", "diameter") for unit in ("cm", "in", "mm", "m")
)
_LONG_WORDS = {"m": "metres", "mm": "millimetres"}
_USUAL_WEIGHT = 1000.0  # times what a unit weighs in lists that follow no standard (assumption)
_WORDS = {"cm": "cm", "mm": "mm", "m": "m", "in": "inches", "ft": "feet"}
_QUANTITY_PRIOR = {"girth": 0.4, "diameter": 0.6}
_UNIT_PRIOR = {
    True: {"in": 0.75, "cm": 0.23, "mm": 0.01, "m": 0.01},
    False: {"cm": 0.93, "in": 0.03, "mm": 0.02, "m": 0.02},
    None: {"cm": 0.72, "in": 0.22, "mm": 0.03, "m": 0.03},
}
_MEDIAN = (math.log(85.0), 0.8)  # girth [ln cm] of the middle tree of a list, and its scatter
_TOP = (math.log(200.0), 0.7)  # of the tree that 95 of 100 stay below
FEW = range(5, 40)  # sizes of a list whose top is one of them, so that one slip would decide (assumption)
SLIPPED = 3.0  # so many times the next smaller one, the largest of few is left out (assumption)
SURE_ENOUGH = 0.8
SURE_ENOUGH_OF_ALL = 0.95  # where neither quantity nor unit is said by a word, and for inches anywhere


@dataclass(frozen=True)
class Said:
    """What the option --size says: quantity and unit."""

    quantity: str
    unit: str


def said_size(option: str | None) -> Said | None:
    """Return what ``--size`` says, or None where it is not given.

    Raises
    ------
    InvalidRequest
        If it is not of the form girth-cm.
    """
    if option is None:
        return None
    quantity, _, unit = option.partition("-")
    if quantity not in _QUANTITY_PRIOR or unit not in cells.CM_PER:
        raise InvalidRequest([("--size", f"{option!r} is no size; say one of {', '.join(CHOICES)}.")])
    return Said(quantity, unit)


def girth_cm(value: float, quantity: str, unit: str) -> float:
    """Return the girth [cm] of a size."""
    return value * cells.CM_PER[unit] * (math.pi if quantity == "diameter" else 1.0)


def settled(
    columns: Sequence[NumberColumn],
    values: dict[str, np.ndarray],
    said: Said | None,
    north_america: bool | None,
    guesses: list[Guess],
    *,
    metric_words: bool = False,
) -> list[NumberColumn]:
    """Return the size columns with quantity and unit settled; what was inferred is added to ``guesses``.

    ``metric_words`` is whether the headers are in a language of countries with metric units.

    Raises
    ------
    Ask
        If two readings of the values are about equally likely.
    """
    groups: dict[_Kind, list[NumberColumn]] = {}
    for column in columns:
        if column.what != "class":
            groups.setdefault(_kind(column), []).append(column)
    known: dict[_Kind, Said] = {}
    for kind, group in groups.items():
        quantity = kind[0]
        if said is not None and (quantity is None or quantity == said.quantity or len(groups) == 1):
            known[kind] = _of_both(said, kind, group, len(groups) == 1, guesses)
            continue
        pooled = np.concatenate([values[column.header] for column in group])
        known[kind] = _inferred(*kind, pooled, north_america, metric_words, group, guesses)
    return [
        column
        if column.what == "class"
        else replace(column, what=known[_kind(column)].quantity, unit=known[_kind(column)].unit)
        for column in columns
    ]


_Kind: TypeAlias = tuple[str | None, str | None, str | None]  # quantity, unit, usual unit


def _kind(column: NumberColumn) -> _Kind:
    return column.what, column.unit, column.usual


def _names(group: Sequence[NumberColumn]) -> str:
    return ", ".join(column.header for column in group[:3]) + (" ..." if len(group) > 3 else "")


def _of_both(
    said: Said, kind: _Kind, group: Sequence[NumberColumn], alone: bool, guesses: list[Guess]
) -> Said:
    """Return what --size and the header say together; where they differ, which of them holds is said.

    The unit of a header is the more specific word. Only where all headers of a file say quantity and unit
    alike can the option have no other purpose than to say that they are wrong.
    """
    quantity, unit, _usual = kind
    if unit in (None, said.unit) and quantity in (None, said.quantity):
        return said
    names = _names(group)
    if unit is not None and not (alone and quantity is not None):
        found = Said(said.quantity, unit)
        other = f"the header {names!r} says {_WORDS[unit]}: the header holds"
        why = f"--size says {_WORDS[said.unit]}, but {other}."
        guesses.append(Guess("size", _words(found.quantity, found.unit), why, 0.9))
        return found
    told = _words(quantity, unit) if quantity and unit else quantity
    why = f"The header {names!r} says {told}, but --size says {_words(said.quantity, said.unit)}: that holds."
    guesses.append(Guess("size", _words(said.quantity, said.unit), why, 0.9))
    return said


def _inferred(
    quantity: str | None,
    unit: str | None,
    usual: str | None,
    values: np.ndarray,
    north_america: bool | None,
    metric_words: bool,
    group: Sequence[NumberColumn],
    guesses: list[Guess],
) -> Said:
    names = _names(group)
    if quantity is not None and unit is not None:
        guesses.append(
            Guess("size", _words(quantity, unit), f"The header {names!r} says what it is and its unit.", 0.98)
        )
        return Said(quantity, unit)
    if usual is not None:
        north_america = False  # the standard has inches written: who forgets a unit means a metric one
    by_words = metric_words and north_america is None
    north_america = False if by_words else north_america
    likely = likelihoods(quantity, unit, values, north_america, usual)
    ranked = sorted(likely, key=lambda key: -likely[key])
    best = ranked[0]
    placed = north_america is not None or best[1] != "in"  # inches are rarely meant where nobody says so
    enough = SURE_ENOUGH if quantity is not None and placed else SURE_ENOUGH_OF_ALL
    if likely[best] < enough:
        choices = [f"{q}-{u}" for q, u in ranked if likely[q, u] > 0.01][:4]
        middle = f" (the middle one is {np.median(values):g})" if len(values) else ""
        raise Ask(
            "--size",
            choices if len(choices) > 1 else [f"{q}-{u}" for q, u in ranked[:2]],
            f"The sizes in {names}{middle} may be {_words(*best)} or {_words(*ranked[1])}.",
        )
    if usual is not None:
        why = _by_standard(usual, best, values, names)
    else:
        why = _reasons(quantity, unit, best, values, None if by_words else north_america, names)
        if by_words and unit is None:
            why = f"{why.removesuffix('.')}; the headers are in a language of countries with metric units."
    guesses.append(Guess("size", _words(*best), why, round(min(likely[best], 0.97), 2)))
    return Said(*best)


def _words(quantity: str, unit: str) -> str:
    return f"{quantity} in {_WORDS[unit]}"


def likelihoods(
    quantity: str | None,
    unit: str | None,
    values: np.ndarray,
    north_america: bool | None,
    usual: str | None = None,
) -> dict[tuple[str, str], float]:
    """Return how likely each reading of a column of sizes is: (quantity, unit) -> probability [-].

    ``usual`` is the unit that a standard gives to numbers without one: it weighs more than all others.
    """
    quantities = (quantity,) if quantity else tuple(_QUANTITY_PRIOR)
    units = (unit,) if unit else ("cm", "in", "mm", "m")
    logs: dict[tuple[str, str], float] = {}
    for q in quantities:
        for u in units:
            prior = _QUANTITY_PRIOR[q] * _UNIT_PRIOR[north_america].get(u, 0.01)
            prior *= _USUAL_WEIGHT if u == usual else 1.0
            logs[q, u] = math.log(prior) + _magnitude(values, q, u) + _steps(values, u)
    top = max(logs.values())
    weights = {key: math.exp(log - top) for key, log in logs.items()}
    return {key: weight / sum(weights.values()) for key, weight in weights.items()}


def _magnitude(values: np.ndarray, quantity: str, unit: str) -> float:
    positive = np.sort(values[values > 0])
    if len(positive) == 0:
        return 0.0
    if len(positive) in FEW and positive[-1] > SLIPPED * positive[-2]:
        positive = positive[:-1]
    log = 0.0
    for share, (mean, scatter) in ((0.5, _MEDIAN), (0.95, _TOP)):
        girth = girth_cm(float(np.quantile(positive, share)), quantity, unit)
        log -= 0.5 * ((math.log(girth) - mean) / scatter) ** 2
    return log


def step_shares(values: np.ndarray) -> tuple[float, float]:
    """Return the share [-] of broken numbers, and the share of these that are quarters and halves."""
    broken = values[values != np.floor(values)]
    if len(broken) == 0:
        return 0.0, 0.0
    quarters = np.isclose(broken * 4, np.round(broken * 4))
    return len(broken) / len(values), float(np.mean(quarters))


def _steps(values: np.ndarray, unit: str) -> float:
    if len(values) == 0:
        return 0.0
    broken, quarters = step_shares(values)
    if broken < 0.03:
        return -6.0 if unit == "m" else 0.0
    if quarters >= 0.8:
        return {"in": 2.0, "mm": -3.0}.get(unit, 0.0)
    return {"in": -0.7, "mm": -2.0}.get(unit, 0.5)


def _by_standard(usual: str, best: tuple[str, str], values: np.ndarray, names: str) -> str:
    text = f"The tag {names!r} counts in {_LONG_WORDS[usual]} where no unit is written"
    if len(values):
        middle = float(np.median(values))
        if best[1] == usual:
            return f"{text}: the middle value {middle:g} is a girth of {girth_cm(middle, *best):.0f} cm."
        text += ", but its values speak against that"
        text += f"; the middle value {middle:g} would be a girth of {girth_cm(middle, *best):.0f} cm"
        text += ", as trees of lists have"
    return f"{text}."


def _reasons(
    quantity: str | None,
    unit: str | None,
    best: tuple[str, str],
    values: np.ndarray,
    north_america: bool | None,
    names: str,
) -> str:
    parts = []
    if quantity or unit:
        parts.append(f"the header {names!r} says {quantity or _WORDS[str(unit)]}")
    broken, quarters = step_shares(values)
    if unit is None and broken >= 0.03:
        steps = "whole, half and quarter steps" if quarters >= 0.8 else "steps finer than quarters"
        parts.append(f"the values go in {steps}")
    if len(values):
        middle = float(np.median(values))
        girth = girth_cm(middle, *best)
        parts.append(
            f"the middle value {middle:g} would be a girth of {girth:.0f} cm, as trees of lists have"
        )
    if unit is None and north_america is not None:
        parts.append(f"the trees stand {'in' if north_america else 'outside'} North America")
    text = "; ".join(parts) or "there are no values to judge by"
    return text[0].upper() + text[1:] + "."


def apart_above_cm(girths_cm: np.ndarray) -> float:
    """Return the girth [cm] above which a size stands apart from the rest of its file (assumption).

    1.6 times the size that 99 of 100 stay below, of files of at least 200 sizes; never above 1,000 cm.
    """
    if len(girths_cm) < APART_NEEDS:
        return GIRTH_QUESTIONED_CM
    return min(GIRTH_QUESTIONED_CM, APART * float(np.quantile(girths_cm, 0.99)))
