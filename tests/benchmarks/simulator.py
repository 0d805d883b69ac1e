"""Draws sites whose truth is known: trees that grow, crews that measure them, effects that readings share.

Nothing of the program is imported: numbers are written out again in ``simulated_errors``. Every site has
fresh shared effects. A reading at height h of stem i is

    D_i(t) ratio(h) (1 + z_i s(h)) + own + tilt + instrument + crew + calibration + height not said

in the unit of the instrument, as girth or diameter, rounded to the step of the crew.
"""

from dataclasses import dataclass, field

import numpy as np

from tests.benchmarks import simulated_errors as errors
from tests.benchmarks.simulated_crews import CALIBRATED, drawn_crews, drawn_readings
from tests.benchmarks.simulated_ground import drawn_ground
from tests.benchmarks.simulated_readings import drawn_departures, read

DAYS_PER_YEAR = 365.25
MEDIAN_CM, LOG_SD, LEAST_CM = 28.0, 0.45, 5.0
MEDIAN_CM_PER_YEAR, LOG_SD_GROWTH = 0.45, 0.6
FACTORS = (0.6, 1.6)
PARTS = (
    *("own", "tilt", "rounding", "instrument", "crew", "calibration", "taper", "departure", "height"),
    *("position", "area"),
)


@dataclass(frozen=True)
class World:
    """What the simulated sites are like.

    ``learned`` is world B: factors of the own and of the crew's deviation differ from site to site, taper is
    one deviation off. ``repeats``: many stems are read twice (True), none (False), a few as it comes (None).
    ``year_sd``: by how much growth differs from year to year, as a share. ``one_departure``: a stem departs
    from the profile at all heights in one direction, else at each height anew. ``parts`` multiplies errors.
    """

    learned: bool = False
    repeats: bool | None = None
    year_sd: float = 0.0
    one_departure: bool = True
    parts: dict = field(default_factory=dict)

    def all_parts(self):
        """The factor of every part of the error, 1 where nothing else is said."""
        return dict.fromkeys(PARTS, 1.0) | self.parts


WORLD_A = World()
WORLD_B = World(learned=True, repeats=True)


@dataclass(frozen=True)
class Site:
    """One drawn site: dicts of arrays, one entry a tree, stem, reading, crew or area.

    ``truth`` holds what nobody on the site knows: factors, effects, sizes, errors.
    """

    standard_m: float
    trees: dict
    stems: dict
    crews: dict
    readings: dict
    ground: dict
    truth: dict
    world: World


def drawn_site(world, seed, number):
    """Return site ``number`` of a world; the same numbers give the same site."""
    rng = np.random.default_rng([seed, number])
    parts = world.all_parts()
    standard_m = float(rng.choice([1.30, 1.3716, 1.40], p=[0.6, 0.25, 0.15]))
    truth = _effects(rng, world, parts)
    stems = _stems(rng, world)
    trees = {"species": stems.pop("species_of_tree")}
    crews = drawn_crews(rng, standard_m, world.repeats)
    readings = drawn_readings(rng, len(stems["tree"]), crews, standard_m, world.repeats)
    _grow(rng, world, stems, readings, truth)
    truth["crew"] = rng.standard_normal(len(crews["round"])) * truth["crew_factor"] * parts["crew"]
    _measure_hands(rng, crews, truth, parts)
    readings |= read(rng, readings, stems, trees, crews, standard_m, truth, parts)
    ground = drawn_ground(rng, len(trees["species"]), parts)
    return Site(standard_m, trees, stems, crews, readings, ground, truth, world)


def _effects(rng, world, parts):
    """Factors of the site and the shared effects that do not depend on who measures."""
    published = np.array([b for _, b in errors.SPECIES])
    sets, of_species = np.unique(published, return_inverse=True)
    off = rng.standard_normal(len(sets))
    off = np.where(off > 0, 1.0, -1.0) if world.learned else off
    own, crew = rng.choice(FACTORS, 2) if world.learned else (1.0, 1.0)
    return {
        "own_factor": float(own),
        "crew_factor": float(crew),
        "sets": sets,
        "set_of_species": of_species,
        "b": sets * (1.0 + errors.TAPER_SHARE * off * parts["taper"]),
        "instrument": rng.standard_normal(len(errors.INSTRUMENTS)) * parts["instrument"],
        "height": float(rng.standard_normal() * parts["height"]),
    }


def _stems(rng, world):
    """Stems with true size on day 0 and rate of growth; one tree in sixteen has two of them."""
    number = int(rng.integers(60, 301))
    tree = np.cumsum(rng.random(number) > 1.0 / 17.0)
    tree = tree - tree[0]
    kinds = rng.choice(len(errors.SPECIES), int(rng.integers(3, 8)), replace=False)
    shares = rng.dirichlet(np.full(len(kinds), 2.0))
    size = np.maximum(MEDIAN_CM * np.exp(LOG_SD * rng.standard_normal(number)), LEAST_CM)
    return {
        "tree": tree,
        "species_of_tree": rng.choice(kinds, tree[-1] + 1, p=shares),
        "size_cm": size,
        "growth_cm_per_yr": MEDIAN_CM_PER_YEAR * np.exp(LOG_SD_GROWTH * rng.standard_normal(number)),
        "departure": drawn_departures(rng, number, world.one_departure),
    }


def _grow(rng, world, stems, readings, truth):
    """The true diameter at breast height on the day of each reading; years may be better or worse."""
    years = int(readings["day"].max() // DAYS_PER_YEAR) + 2
    of_year = np.maximum(1.0 + world.year_sd * rng.standard_normal(years), 0.0)
    truth["growth_years"] = np.concatenate([[0.0], np.cumsum(of_year)])
    readings["dbh_cm"] = true_dbh_cm(stems, truth, readings["stem"], readings["day"])


def _measure_hands(rng, crews, truth, parts):
    """Every crew lays ten hand breadths along a tape, five times."""
    number = len(crews["round"])
    hand = np.maximum(errors.HAND_CM + errors.HAND_SD_CM * rng.standard_normal(number), 6.0)
    off = errors.PLACEMENT_CM * np.sqrt(errors.LAID) * rng.standard_normal((number, errors.TIMES))
    truth["hand_cm"] = hand
    crews["totals_cm"] = errors.LAID * hand[:, None] + off * parts["calibration"]


def true_dbh_cm(stems, truth, stem, day):
    """True diameter at the site's breast height of stems on days."""
    grown = np.interp(day / DAYS_PER_YEAR, np.arange(len(truth["growth_years"])), truth["growth_years"])
    return stems["size_cm"][stem] + stems["growth_cm_per_yr"][stem] * grown


def has_calibration(site):
    """Whether each reading was laid out in hands that were calibrated; the crew's hand is the calibration."""
    return site.crews["instrument"][site.readings["crew"]] == CALIBRATED
