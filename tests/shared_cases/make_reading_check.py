"""Write ``reading_check.json``: python -m tests.shared_cases.make_reading_check."""

import json
import math
import random
from pathlib import Path

from scipy.optimize import brentq

from tests.shared_cases.independent_check import LIMIT, outcome

FILE = Path(__file__).with_name("reading_check.json")
DRAWN = 180
INCH, PI = 2.54, math.pi


def good(mean, deviation, weight=0.96):
    return {"mean": mean, "deviation": deviation, "weight": weight}


def why(kind, factor=1.0, shift=0.0, deviation=0.0, weight=0.005, about=""):
    return {
        "kind": kind,
        "about": about,
        "factor": factor,
        "shift": shift,
        "deviation": deviation,
        "weight": weight,
    }


def usual(mean):
    """The explanations of a stem of one tree without neighbours, for a girth in centimetres."""
    return [
        why("unit", 1 / INCH, about="inches as centimetres"),
        why("unit", INCH, weight=0.001, about="centimetres as inches"),
        why("unit", 0.1, weight=0.001, about="ten times too small"),
        why("unit", 10.0, weight=0.001, about="ten times too big"),
        why("girth or width", 1 / PI, about="width as girth"),
        why("girth or width", PI, about="girth as width"),
        why("digits swapped"),
        why("another height", 1.08, deviation=0.03 * mean, about="0.50"),
        why("shrinkage", 1.0, -0.1 * mean, 0.05 * mean, 0.002),
        why("slip", deviation=0.3 * mean, weight=0.003),
    ]


def expected(mean=94.2, deviation=2.0, more=(), **changes):
    base = {
        "quantity": "girth",
        "unit": "cm",
        "scale": "plain",
        "good": [good(mean, deviation)],
        "explanations": [*usual(mean), *more],
    }
    return {**base, **changes}


def reading(typed, quantity="girth", unit="cm", typed_2=None):
    return {"typed": typed, "quantity": quantity, "unit": unit, "typed_2": typed_2}


def by_hand():
    """Cases whose first explanation anyone can say beforehand: (name, reading, expectation, first)."""
    neighbours = (
        why("neighbour", 0.0, 131.0, 2.5, 0.003, "tree 12"),
        why("neighbour", 0.0, 61.0, 1.5, 0.003, "tree 13"),
    )
    other = (why("another stem", 0.0, 71.0, 1.6, 0.004, "stem 2"),)
    first_round = {
        "scale": "log",
        "good": [good(math.log(90.0), 0.75, 0.9), good(math.log(20.0), 0.6, 0.06)],
        "explanations": [
            why("unit", 10.0, about="ten times too big"),
            why("unit", 1 / INCH, about="inches as centimetres"),
            why("girth or width", 1 / PI, about="width as girth"),
            why("digits swapped"),
            why("slip", deviation=1.5, weight=0.003),
        ],
    }
    doubtful = {"good": [good(94.2, 2.0, 0.6), good(130.0, 2.0, 0.36)]}
    flat = {"explanations": []}
    yield "as expected", reading("94.2"), expected(), None
    yield "a comma", reading("94,2"), expected(), None
    yield "blanks are nothing", reading(" 94.2 "), expected(), None
    yield "one deviation above", reading("96.2"), expected(), None
    yield "two deviations below", reading("90.2"), expected(), None
    yield "inches as centimetres", reading("37"), expected(), "unit"
    yield "inches to a tenth as centimetres", reading("37.1"), expected(), "unit"
    yield "centimetres as inches", reading("239"), expected(), "unit"
    yield "ten times too big", reading("942"), expected(), "unit"
    yield "a point too far left", reading("9.42"), expected(), "unit"
    yield "width as girth", reading("30"), expected(), "girth or width"
    yield "digits swapped", reading("49.2"), expected(), "digits swapped"
    yield "digits swapped over the point", reading("92.4"), expected(deviation=0.3), "digits swapped"
    yield "no digits to swap", reading("44"), expected(), "slip"
    yield "the neighbour", reading("130.5"), expected(more=neighbours), "neighbour"
    yield "the other neighbour", reading("61.5"), expected(more=neighbours), "neighbour"
    before = (why("earlier", 0.0, 91.0, 76.0, 0.002),)
    yield "the only one before may be the odd one", reading("155"), expected(more=before), "earlier"
    yield "another stem", reading("70.5"), expected(more=other), "another stem"
    yield "a low tape", reading("104"), expected(), "another height"
    yield "smaller than before", reading("85"), expected(), "shrinkage"
    yield "far off and nothing fits", reading("155"), expected(), "slip"
    yield "typed in inches, as expected", reading("37.1", unit="in"), expected(), None
    yield "typed as width, as expected", reading("30.0", "diameter"), expected(), None
    yield "typed as width in inches", reading("11.8", "diameter", "in"), expected(), None
    yield "girth typed as width", reading("94", "diameter"), expected(), "girth or width"
    yield "two axes", reading("29.1", "diameter", "cm", "31.0"), expected(), None
    yield "two axes in inches", reading("11.6", "diameter", "cm", "12.1"), expected(), "unit"
    yield "two axes, digits of one swapped", reading("29.6", "diameter", "cm", "13.0"), expected(), None
    yield "metres", reading("0.94", unit="m"), expected(), None
    yield "millimetres", reading("942", unit="mm"), expected(), None
    yield "feet", reading("3.09", unit="ft"), expected(), None
    yield "first round, an ordinary trunk", reading("120"), expected(**first_round), None
    yield "first round, a young tree", reading("14"), expected(**first_round), None
    yield "first round, 940 round", reading("940"), expected(**first_round), "unit"
    yield "first round, 4000 round", reading("4000"), expected(**first_round), None
    yield "an earlier reading in doubt, the one", reading("94"), expected(**doubtful), None
    yield "an earlier reading in doubt, the other", reading("131"), expected(**doubtful), None
    yield "between both", reading("112"), expected(**doubtful), "slip"
    yield "no explanations", reading("500"), expected(**flat), None
    yield "weights of nothing", reading("500"), expected(explanations=[why("slip", weight=0.0)]), None
    yield "far beyond what a computer counts", reading("9999999"), expected(deviation=0.001), "slip"
    yield "a deviation of nearly nothing", reading("94.2"), expected(deviation=1e-6), None
    yield "zeros to swap", reading("100"), expected(mean=10.0, deviation=0.3), "unit"


def at_the_limit():
    """Numbers just inside and just outside: the odds cross the limit between them."""
    for deviation in (0.5, 1.0, 2.0, 4.0, 8.0):
        for side in (-1, 1):
            said = expected(deviation=deviation, explanations=[why("slip", deviation=30.0, weight=0.003)])

            def apart(z, said=said, deviation=deviation, side=side):
                typed = f"{94.2 + side * z * deviation:.9f}"
                return math.log(outcome(reading(typed), said)[0] / LIMIT)

            z = brentq(apart, 0.0, 8.0)
            for name, by in (("inside", -1e-4), ("outside", 1e-4)):
                typed = f"{94.2 + side * (z + by) * deviation:.9f}"
                yield f"just {name}, deviation {deviation:g}, side {side:+d}", reading(typed), said, None


def drawn(dice):
    """Numbers from anywhere, of expectations of any kind."""
    unit, quantity = dice.choice(["cm", "in", "mm"]), dice.choice(["girth", "diameter"])
    mean = math.exp(dice.gauss(4.0, 0.6))
    deviation = mean * math.exp(dice.uniform(-4.5, -1.5))
    many = [
        why("neighbour", 0.0, math.exp(dice.gauss(4.0, 0.6)), deviation, 0.006 / 4, f"tree {n}")
        for n in range(4)
    ]
    several = [good(mean, deviation, 0.7), good(mean * 1.3, deviation * 2, 0.26)]
    said = expected(mean, deviation, many, quantity=quantity, unit=unit)
    if dice.random() < 0.3:
        said["good"] = several
    if dice.random() < 0.2:
        said |= {"scale": "log", "good": [good(math.log(mean), 0.7)]}
        said["explanations"] = [one for one in usual(1.0) if one["kind"] != "shrinkage"]
    factor = dice.choice([1, 1, 1, 1, INCH, 1 / INCH, PI, 1 / PI, 10, 0.1, 1.1, 0.9, 1.4, 0.6])
    typed = f"{abs(mean * factor + dice.gauss(0, deviation)) + 0.01:.{dice.randrange(3)}f}"
    if float(typed) <= 0:
        typed = "1"
    of = (
        (quantity, unit)
        if dice.random() < 0.8
        else (dice.choice(["girth", "diameter"]), dice.choice(["cm", "m"]))
    )
    return reading(typed, *of), said


def cases():
    dice = random.Random(3)
    given = list(by_hand()) + list(at_the_limit())
    given += [(f"drawn {n + 1}", *drawn(dice), None) for n in range(DRAWN)]
    for name, read, said, first in given:
        odds, shares = outcome(read, said)
        ordered = sorted(shares, key=lambda kind: -shares[kind])
        if name.startswith("drawn") and abs(odds / LIMIT - 1) < 1e-3:
            continue
        assert first is None or ordered[0] == first, (name, ordered[0], first)
        yield {
            "name": name,
            "reading": read,
            "expectation": said,
            "verdict": {
                "fits": odds <= LIMIT,
                "odds": odds,
                "shares": {kind: shares[kind] for kind in ordered if shares[kind] > 1e-12},
            },
        }


def document():
    about = "Made by make_reading_check.py; the verdicts come from independent_check.py."
    return {"about": about, "limit": LIMIT, "cases": list(cases())}


def main():
    """One case a line, so that a change of one is seen as one."""
    made = document()
    lines = ",\n".join(json.dumps(case, separators=(",", ":")) for case in made.pop("cases"))
    head = json.dumps(made)[:-1]
    FILE.write_text(f'{head}, "cases": [\n{lines}\n]}}\n', encoding="utf-8")


if __name__ == "__main__":
    main()
