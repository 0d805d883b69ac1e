"""The check of a reading worked out once more, in another way: frozen normal distributions of scipy.

It shares no line with ``layers``; the cases of ``reading_check.json`` have their expected outcome from here.
"""

import itertools
import math

import numpy as np
from scipy.special import logsumexp
from scipy.stats import norm

CM = {"mm": 0.1, "cm": 1.0, "m": 100.0, "in": 2.54, "ft": 12 * 2.54}
LIMIT = 0.25


def outcome(reading, expectation):
    """Return the odds against a good reading, and the share of every kind of explanation."""
    value = middle(reading["typed"], reading.get("typed_2"))
    factor = conversion(reading, expectation)
    good = logsumexp(
        [math.log(g["weight"]) + density(value, factor, expectation, 1, 0, 0, g) for g in expectation["good"]]
    )
    whole = sum(g["weight"] for g in expectation["good"])
    by_kind = {}
    for said in expectation["explanations"]:
        logs = explained(reading, value, factor, expectation, said, whole)
        by_kind.setdefault(said["kind"], []).extend(logs)
    sums = {kind: logsumexp(logs) for kind, logs in by_kind.items() if logs}
    total = logsumexp(list(sums.values())) if sums else -np.inf
    odds = float(np.exp(min(total - good, 700.0)))
    return odds, {kind: float(np.exp(each - total)) for kind, each in sums.items()}


def middle(*axes):
    """The middle of the axes that were typed."""
    return float(np.mean([float(axis.replace(",", ".")) for axis in axes if axis is not None]))


def explained(reading, value, factor, expectation, said, whole):
    """Return the logarithms of weight x density per unit of what was typed."""
    weight = said["weight"]
    if not weight > 0:
        return []
    if said["kind"] == "digits swapped":
        first, second = reading["typed"], reading.get("typed_2")
        others = [middle(str(other), second) for other in swapped(first)]
        others += [middle(first, str(other)) for other in swapped(second or "")]
        return [
            math.log(weight * g["weight"] / whole / len(others))
            + density(other, factor, expectation, 1, 0, 0, g)
            for other in others
            for g in expectation["good"]
        ]
    if said["factor"] == 0:
        apart = {"mean": said["shift"], "deviation": said["deviation"], "weight": 1.0}
        return [math.log(weight) + density(value, factor, expectation, 1, 0, 0, apart)]
    how = (said["factor"], said["shift"], said["deviation"])
    return [
        math.log(weight * g["weight"] / whole) + density(value, factor, expectation, *how, g)
        for g in expectation["good"]
    ]


def density(value, factor, expectation, by, shift, deviation, good):
    """The logarithm of the density of a typed number; a lognormal one has 1/x of its own."""
    x = value * factor
    if expectation["scale"] == "log":
        spread = np.hypot(good["deviation"], deviation)
        return norm(good["mean"] + np.log(by) + shift, spread).logpdf(np.log(x)) - np.log(x)
    spread = np.hypot(by * good["deviation"], deviation)
    return norm(by * good["mean"] + shift, spread).logpdf(x)


def conversion(reading, expectation):
    """From what was typed to the quantity and unit of the expectation."""
    to_girth = {"girth": 1.0, "diameter": math.pi}
    ratio = to_girth[reading["quantity"]] / to_girth[expectation["quantity"]]
    return ratio * CM[reading["unit"]] / CM[expectation["unit"]]


def swapped(typed):
    """The numbers whose neighbouring digits, when swapped, give the typed one."""
    text = typed.strip().replace(",", ".")
    places = [n for n, letter in enumerate(text) if letter != "."]
    found = []
    for a, b in itertools.pairwise(places):
        other = "".join(text[{a: b, b: a}.get(n, n)] for n in range(len(text)))
        plausible = float(other) > 0 and not (other[0] == "0" and other[1] != ".")
        if other != text and plausible and other not in found:
            found.append(other)
    return [float(other) for other in found]
