"""The truth behind a sample site: what stands where, and how thick it is on any day at any height.

None of it is written to the sample files; crews only measure it (:mod:`sample_sites.measuring`).

References
----------
.. [1] Raile, G. K. 1982. Estimating stump volume. USDA Forest Service Research Paper NC-224 (cited from
   memory): d(h) = dbh (1 + B (4.5 - h) / (h + 1)), h in feet.
"""

import datetime as dt
import itertools
import math
import random
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import NormalDist
from typing import Any, TypeVar

from shapely.geometry import Point, Polygon

Recipe = dict[str, Any]
Ring = list[list[float]]
T = TypeVar("T")

HERE = Path(__file__).parent
NEAREST_M = {"open": 4.5, "small": 3.5, "wood": 2.2}
TWO_STEMS, THREE_STEMS = 0.05, 0.01
IVY = {"open": 0.02, "small": 0.0, "wood": 0.09}
# Departure of one trunk from the profile, as a share of its diameter, at values of f (assumption).
DEPARTURE = ((0.0, 0.0), (0.0446, 0.005), (0.8333, 0.035), (1.7718, 0.075))


class Dice:
    """Chances that come out the same on every machine: only the uniform numbers of a seeded generator."""

    def __init__(self, *seed: object) -> None:
        self._random = random.Random("/".join(map(str, seed)))

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """A number between two."""
        return low + (high - low) * self._random.random()

    def normal(self, middle: float = 0.0, sd: float = 1.0) -> float:
        """A normal number, cut at three standard deviations."""
        return middle + sd * NormalDist().inv_cdf(self.uniform(0.00135, 0.99865))

    def whole(self, below: int) -> int:
        """A whole number from 0."""
        return int(self.uniform() * below)

    def chance(self, share: float) -> bool:
        """True in that share of cases."""
        return self.uniform() < share

    def pick(self, things: Sequence[T]) -> T:
        """One of several."""
        return things[self.whole(len(things))]

    def some(self, things: Sequence[T], count: int) -> list[T]:
        """So many of several, in a new order."""
        left = list(things)
        return [left.pop(self.whole(len(left))) for _ in range(min(count, len(left)))]

    def weighted(self, things: Sequence[T], weights: Sequence[float]) -> T:
        """One of several, by weight."""
        at = self.uniform(0.0, sum(weights))
        for thing, weight in zip(things, weights, strict=True):
            at -= weight
            if at < 0:
                return thing
        return things[-1]


@dataclass(frozen=True)
class Kind:
    """A species as it grows here."""

    name: str
    common: str
    wrong: str
    profile_b: float
    growth: float
    largest_cm: float
    tallest_m: float
    open: float
    wood: float
    small: float


@dataclass(frozen=True)
class Stem:
    """One trunk: how vigorous it is and how it departs from the profile, in standard deviations."""

    vigour: float
    departure: float


@dataclass
class Tree:
    """One tree as it is; one that nobody reaches (behind a fence, in thorns) is never measured."""

    number: int
    area: str
    mix: str
    kind: Kind
    x_m: float
    y_m: float
    planted: dt.date
    growth_share: float
    stems: list[Stem]
    ivy_cm: float = 0.0
    is_reached: bool = True
    lost: dict[str, Any] | None = field(default=None)

    def dbh_cm(self, stem: int, day: dt.date) -> float:
        """Diameter at the site's breast height on a day [cm]; growth slows toward the largest size."""
        years = max(0.5, (day - self.planted).days / 365.25)
        pace = self.kind.growth * self.growth_share * self.stems[stem].vigour
        largest = self.kind.largest_cm * (0.5 + 0.5 * self.growth_share)
        return largest * (1.0 - math.exp(-pace * years / largest)) + 1.0

    def diameter_cm(self, stem: int, day: dt.date, height_m: float, breast_height_m: float) -> float:
        """Diameter at a height on a day [cm]."""
        at, breast = profile(height_m), profile(breast_height_m)
        ratio = (1.0 + self.kind.profile_b * at) / (1.0 + self.kind.profile_b * breast)
        own = 1.0 + self.stems[stem].departure * (departure(at) - departure(breast))
        return self.dbh_cm(stem, day) * ratio * own

    def height_m(self, day: dt.date) -> float:
        """Height of the tree [m]."""
        largest = max(self.dbh_cm(i, day) for i in range(len(self.stems)))
        drawn_up = 1.35 if self.mix == "wood" else 1.0
        share = 1.0 - math.exp(-2.6 * drawn_up * largest / self.kind.largest_cm)
        return 1.4 + (self.kind.tallest_m - 1.4) * share

    def crown_m(self, day: dt.date) -> float:
        """Crown diameter [m]."""
        joint = math.sqrt(sum(self.dbh_cm(i, day) ** 2 for i in range(len(self.stems))))
        return (1.2 + 0.13 * joint) if self.mix == "wood" else (1.2 + 0.19 * joint)

    def stands(self, day: dt.date) -> bool:
        """Whether it was living on that day."""
        return self.lost is None or day < self.lost["on"]


def profile(height_m: float) -> float:
    """f(h) of the profile of [1]_ [-]."""
    feet = height_m / 0.3048
    return (4.5 - feet) / (feet + 1.0)


def departure(f: float) -> float:
    """How far one trunk in three departs from the profile at f [-]; odd in f, straight between the points."""
    size = abs(f)
    for (f0, s0), (f1, s1) in itertools.pairwise(DEPARTURE):
        if size <= f1 or f1 == DEPARTURE[-1][0]:
            return math.copysign(s0 + (s1 - s0) * (size - f0) / (f1 - f0), f)
    return 0.0


def recipe_of(name: str) -> Recipe:
    """The recipe of a site from its file."""
    return tomllib.loads((HERE / f"recipe_{name}.toml").read_text(encoding="utf-8"))


def grown(recipe: Recipe) -> list[Tree]:
    """Every tree of a site, numbered from 1, with those that die or are taken out later."""
    dice = Dice(recipe["site"]["seed"], "trees")
    kinds = [Kind(**kind) for kind in recipe["species"]]
    built = [
        Polygon(t["ring"]).buffer(1.5) for t in recipe["targets"] if "ring" in t and t["kind"] != "bench"
    ]
    listed_on = dt.date.fromisoformat(recipe["list"]["listed_on"])
    trees: list[Tree] = []
    for area in recipe["areas"]:
        for x, y in _spots(area, built, dice):
            trees.append(_tree(len(trees) + 1, area, kinds, (x, y), listed_on, dice))
    single = [tree for tree in trees if len(tree.stems) == 1]
    for tree in Dice(recipe["site"]["seed"], "fences").some(single, recipe["list"]["never_measured"]):
        tree.is_reached = False
    _lose(trees, recipe, Dice(recipe["site"]["seed"], "losses"))
    return trees


def _tree(
    number: int, area: Recipe, kinds: list[Kind], spot: tuple[float, float], listed_on: dt.date, dice: Dice
) -> Tree:
    kind = dice.weighted(kinds, [getattr(k, area["mix"]) for k in kinds])
    low, high = area["years"]
    years = low + (high - low) * dice.uniform() ** (1.5 if area.get("uneven") else 1.0)
    count = dice.weighted([1, 2, 3], [1.0 - TWO_STEMS - THREE_STEMS, TWO_STEMS, THREE_STEMS])
    shared = math.exp(dice.normal(0.0, 0.18))
    stems = [
        Stem(shared * (1.0 if i == 0 else dice.uniform(0.55, 0.98)), dice.normal()) for i in range(count)
    ]
    return Tree(
        number=number,
        area=area["name"],
        mix=area["mix"],
        kind=kind,
        x_m=spot[0],
        y_m=spot[1],
        planted=listed_on - dt.timedelta(days=round(365.25 * years)),
        growth_share=area.get("growth_share", 1.0),
        stems=stems,
        ivy_cm=dice.uniform(1.5, 5.0) if dice.chance(IVY[area["mix"]]) else 0.0,
    )


def _spots(area: Recipe, built: list[Polygon], dice: Dice) -> list[tuple[float, float]]:
    """Where the trees of an area stand: in rows, along its edge or scattered, never inside a building."""
    polygon, wanted = Polygon(area["ring"]), area.get("trees", 0)
    fixed = _rows(area["ring"], wanted) if area.get("rows") and wanted else []
    spots: list[tuple[float, float]] = []
    nearest = NEAREST_M[area["mix"]] if wanted else 0.0
    for attempt in range(4000 * wanted):
        if len(spots) == wanted:
            break
        if attempt < len(fixed):
            x, y = fixed[attempt][0] + dice.normal(0, 0.3), fixed[attempt][1] + dice.normal(0, 0.3)
        elif area.get("edge") and dice.chance(0.8):
            x, y = _along(area["ring"], dice.uniform(1.5, 4.0), dice)
        else:
            west, south, east, north = _box(area["ring"])
            x, y = dice.uniform(west, east), dice.uniform(south, north)
        spot = Point(x, y)
        free = all(math.dist((x, y), other) >= nearest for other in spots)
        inside = polygon.contains(spot) and polygon.exterior.distance(spot) >= 1.0
        if free and inside and not any(b.contains(spot) for b in built):
            spots.append((x, y))
    return spots


def _box(ring: Ring) -> tuple[float, float, float, float]:
    x, y = [p[0] for p in ring], [p[1] for p in ring]
    return min(x), min(y), max(x), max(y)


def _rows(ring: Ring, wanted: int) -> list[tuple[float, float]]:
    west, south, east, north = _box(ring)
    step = math.sqrt((east - west) * (north - south) / wanted)
    down = max(2, round((north - south) / step))
    along = math.ceil(wanted / down)
    return [
        (west + (i + 0.5) * (east - west) / along, south + (j + 0.5) * (north - south) / down)
        for j in range(down)
        for i in range(along)
    ]


def _along(ring: Ring, inset_m: float, dice: Dice) -> tuple[float, float]:
    """A spot so far inside the edge of a ring that is given anticlockwise."""
    sides = list(zip(ring, [*ring[1:], ring[0]], strict=True))
    (x0, y0), (x1, y1) = dice.weighted(sides, [math.dist(a, b) for a, b in sides])
    at, length = dice.uniform(), math.dist((x0, y0), (x1, y1))
    inward = (-(y1 - y0) / length, (x1 - x0) / length)
    return x0 + at * (x1 - x0) + inset_m * inward[0], y0 + at * (y1 - y0) + inset_m * inward[1]


def _lose(trees: list[Tree], recipe: Recipe, dice: Dice) -> None:
    start = dt.date.fromisoformat(recipe["list"]["listed_on"])
    for tree in dice.some(trees, recipe["list"]["dead_at_start"]):
        tree.lost = {"on": start, "status": "dead", "as_said": "dead", "listed": True}
    for loss in recipe["losses"]:
        first, last = (dt.date.fromisoformat(day) for day in loss["between"])
        for tree in dice.some([t for t in trees if t.lost is None], loss["trees"]):
            on = first + dt.timedelta(days=dice.whole((last - first).days))
            tree.lost = {"on": on, "status": loss["status"], "as_said": loss["as_said"]}
