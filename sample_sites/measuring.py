"""Crews at work on a sample site: what they read, how far off, and the mistakes that real crews make.

Errors are of the size that the error model's version 0 assumes for each instrument and kind of crew. About
one reading in sixteen has a mistake; some are found and corrected, as in real life. Which ones is kept in
``Reading.mistake``, which is never written to a file.
"""

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from sample_sites.growing import Dice, Recipe, Tree

CM_PER = {"cm": 1.0, "in": 2.54}
MISTAKEN_SHARE = 0.066
CORRECTED_SHARE = 0.28
HAND_CM = 8.0
# Standard deviation of a reading's own error [cm of diameter] and of what a crew shares, by kind of crew.
OWN_CM = {"pupils": 0.7, "volunteers": 0.7, "trained staff": 0.3}
CREW_CM = {"pupils": 0.2, "volunteers": 0.2, "trained staff": 0.1}


@dataclass
class Reading:
    """One reading as it was written down; ``mistake`` is the simulator's own."""

    reading_no: str
    tree: int
    stem: int
    quantity: str
    value: float
    unit: str
    instrument: str
    height_m: float | None
    resolution: float
    measured_on: dt.date
    crew: str
    round_id: str
    true_cm: float
    first_guess: float | None = None
    first_entry: float | None = None
    parts: str | None = None
    rule: str | None = None
    note: str | None = None
    supersedes: str | None = None
    void: bool = False
    reason: str | None = None
    mistake: str | None = None


class Crews:
    """The crews of a site with what each of them always gets a little wrong."""

    def __init__(self, recipe: Recipe, trees: list[Tree]) -> None:
        self.recipe = recipe
        self.trees = trees
        self.dice = Dice(recipe["site"]["seed"], "readings")
        self.breast_m = recipe["site"]["breast_height_m"]
        self.crews = {crew["code"]: crew for crew in recipe["crews"]}
        bias = Dice(recipe["site"]["seed"], "instruments")
        self.instrument_cm = {
            name: bias.normal(0.0, sd)
            for name, sd in (("girth tape", 0.2), ("diameter tape", 0.1), ("string and ruler", 0.3))
        }
        self.areas = [area["name"] for area in recipe["areas"] if area.get("trees")]
        lawn = next(area["name"] for area in recipe["areas"] if area["kind"] == "lawn")
        self.practice = [tree.number for tree in trees if tree.area == lawn][:3]

    def readings(self) -> list[Reading]:
        """Every reading of every round, in the order of writing, without mistakes."""
        found: list[Reading] = []
        for number, given in enumerate(self.recipe["rounds"]):
            found += self._round(given, number)
        return found

    def _round(self, given: Recipe, number: int) -> list[Reading]:
        ordinary = [c for c in given["crews"] if "only" not in self.crews[c]]
        found: list[Reading] = []
        for code in given["crews"]:
            crew = self.crews[code]
            shared = self.dice.normal(0.0, CREW_CM[crew["kind"]])
            hand = HAND_CM * (1.0 + self.dice.normal(-0.04, 0.06))
            for tree in self.trees:
                if not self._has(tree, code, crew, ordinary, number):
                    continue
                day = self._day(given, tree)
                if not tree.stands(day) or not self.dice.chance(given["share"]):
                    continue
                for stem in range(len(tree.stems)):
                    found.append(self._reading(tree, stem, day, given, crew, (shared, hand), len(found)))
        return found

    def _has(self, tree: Tree, code: str, crew: Recipe, ordinary: list[str], number: int) -> bool:
        if not tree.is_reached:
            return False
        if tree.number in self.practice:
            return True
        if "only" in crew:
            return tree.area in crew["only"]
        turn = self.areas.index(tree.area) + number
        return ordinary[turn % len(ordinary)] == code or self.dice.chance(0.04)

    def _day(self, given: Recipe, tree: Tree) -> dt.date:
        first, last = (dt.date.fromisoformat(given[end]) for end in ("from_on", "to_on"))
        share = self.areas.index(tree.area) / len(self.areas)
        return first + dt.timedelta(days=int(share * ((last - first).days + 1)))

    def _reading(
        self,
        tree: Tree,
        stem: int,
        day: dt.date,
        given: Recipe,
        crew: Recipe,
        own: tuple[float, float],
        count: int,
    ) -> Reading:
        dice = self.dice
        instrument: str = (given | crew)["instrument"]
        height: float = (given | crew)["height_m"]
        obstacle = dice.chance(0.02)
        said = round(height - 0.2, 4) if obstacle else height
        truth = tree.diameter_cm(stem, day, said + dice.normal(0, 0.015), self.breast_m)
        seen = self._seen_cm(truth, instrument, crew["kind"], own[0]) + tree.ivy_cm / math.pi
        reading = Reading(
            reading_no=f"{given['id']}-{self._letter(crew['code'])}-{count + 1:04d}",
            tree=tree.number,
            stem=stem + 1,
            quantity="diameter" if instrument == "diameter tape" else "girth",
            value=0.0,
            unit=given["unit"],
            instrument=instrument,
            height_m=None if dice.chance(0.02) else said,
            resolution=crew["resolution"],
            measured_on=day,
            crew=crew["code"],
            round_id=given["id"],
            true_cm=truth,
            rule="below a branch or swelling" if obstacle else None,
            note="ivy on the trunk, tape over it" if tree.ivy_cm else None,
        )
        return self._written(reading, seen, own[1], crew["kind"])

    def _letter(self, code: str) -> str:
        return chr(ord("a") + list(self.crews).index(code))

    def _seen_cm(self, truth: float, instrument: str, kind: str, shared: float) -> float:
        """What the instrument shows as a diameter [cm]; a tape that is not level always reads too big."""
        dice = self.dice
        tilt = math.radians(abs(dice.normal(0.0, 6.0)))
        own = max(OWN_CM[kind], 0.015 * truth) if kind == "trained staff" else OWN_CM[kind]
        if instrument == "hand breadths":
            return max(3.0, truth * (1.0 + dice.normal(0.0, 0.02)))
        if instrument == "string and ruler":
            own = math.hypot(own, 0.005 * truth)
        seen = truth * (1.0 + tilt**2 / 4.0) + dice.normal(0.0, own) + shared
        return max(1.5, seen + self.instrument_cm[instrument])

    def _written(self, reading: Reading, seen_cm: float, hand_cm: float, kind: str) -> Reading:
        dice = self.dice
        girth_cm = math.pi * seen_cm
        if reading.instrument == "hand breadths":
            hands = max(0.5, round(2.0 * girth_cm / hand_cm) / 2.0)
            reading.parts, reading.resolution = f"{hands:g} x {HAND_CM:g}", HAND_CM / 2.0
            reading.value = hands * HAND_CM
        else:
            size = (seen_cm if reading.quantity == "diameter" else girth_cm) / CM_PER[reading.unit]
            reading.value = stepped(size, reading.resolution)
        if kind != "trained staff" and dice.chance(0.85):
            step = 5.0 if reading.unit == "cm" else 2.0
            guess = stepped(reading.value * (1.0 + dice.normal(0.0, 0.22)), step)
            reading.first_guess = max(step, guess)
        return reading


def stepped(value: float, step: float) -> float:
    """A value rounded to a step."""
    return round(round(value / step) * step, 6)


def with_mistakes(readings: list[Reading], trees: list[Tree], recipe: Recipe) -> list[Reading]:
    """The readings with the mistakes of real crews, and with those corrections that somebody made."""
    dice = Dice(recipe["site"]["seed"], "mistakes")
    neighbour = _nearest(trees)
    by_stem = {(r.round_id, r.tree, r.stem): r for r in readings}
    out: list[Reading] = []
    for reading in readings:
        if not dice.chance(MISTAKEN_SHARE):
            out.append(reading)
            continue
        others = [by_stem.get((reading.round_id, reading.tree, s)) for s in (1, 2, 3) if s != reading.stem]
        there = [o for o in others if o is not None]
        next_door = by_stem.get((reading.round_id, neighbour[reading.tree], 1))
        wrong = _mistaken(reading, there, next_door, dice)
        out.append(wrong)
        if wrong.mistake and dice.chance(CORRECTED_SHARE):
            out.append(_corrected(wrong, reading, dice))
    return out


Slip = Callable[[Reading, Dice], float]


def _in_other_unit(reading: Reading, dice: Dice) -> float:
    return stepped(reading.value / 2.54 if reading.unit == "cm" else reading.value * 2.54, reading.resolution)


def _on_other_face(reading: Reading, dice: Dice) -> float:
    size = reading.value / math.pi if reading.quantity == "girth" else reading.value * math.pi
    return stepped(size, reading.resolution)


def _digits_swapped(reading: Reading, dice: Dice) -> float:
    text = f"{reading.value:g}"
    whole, _, rest = text.partition(".")
    swaps = [i for i in range(len(whole) - 1) if whole[i] != whole[i + 1] and (i > 0 or whole[1] != "0")]
    if not swaps:
        return reading.value * 10.0
    at = dice.pick(swaps)
    whole = whole[:at] + whole[at + 1] + whole[at] + whole[at + 2 :]
    return float(f"{whole}.{rest}") if rest else float(whole)


def _far_off(reading: Reading, dice: Dice) -> float:
    share = dice.uniform(0.18, 0.45) * dice.pick([-1.0, 1.0])
    return stepped(reading.value * (1.0 + share), reading.resolution)


SLIPS: dict[str, tuple[Slip, float]] = {
    "other unit": (_in_other_unit, 1.0),
    "other face of the tape": (_on_other_face, 1.2),
    "digits swapped": (_digits_swapped, 1.2),
    "far off": (_far_off, 0.9),
}


def _mistaken(reading: Reading, stems: list[Reading], next_door: Reading | None, dice: Dice) -> Reading:
    if stems and dice.chance(0.5):
        return replace(reading, value=stems[0].value, parts=stems[0].parts, mistake="another trunk")
    if next_door is not None and next_door.quantity == reading.quantity and dice.chance(0.25):
        return replace(reading, value=next_door.value, parts=next_door.parts, mistake="the neighbour")
    slip = dice.weighted(list(SLIPS), [weight for _, weight in SLIPS.values()])
    value = SLIPS[slip][0](reading, dice)
    if value == reading.value:
        return reading
    return replace(reading, value=value, parts=None, mistake=slip)


def _corrected(wrong: Reading, right: Reading, dice: Dice) -> Reading:
    """What somebody made of it: written anew, or crossed out where it was another tree."""
    number = f"{wrong.reading_no}-c"
    if wrong.mistake == "the neighbour":
        return replace(
            right,
            reading_no=number,
            supersedes=wrong.reading_no,
            void=True,
            reason="another tree was measured",
        )
    why = {"digits swapped": "typed wrong", "other unit": "wrong unit", "another trunk": "the other trunk"}
    return replace(
        right,
        reading_no=number,
        supersedes=wrong.reading_no,
        first_guess=None,
        reason=why.get(wrong.mistake or "", "measured again after a question"),
    )


def _nearest(trees: list[Tree]) -> dict[int, int]:
    """The nearest other tree of each tree in the same area."""
    near = {}
    for tree in trees:
        others = [t for t in trees if t.area == tree.area and t is not tree]
        near[tree.number] = min(
            others, key=lambda t: math.dist((t.x_m, t.y_m), (tree.x_m, tree.y_m)), default=tree
        ).number
    return near
