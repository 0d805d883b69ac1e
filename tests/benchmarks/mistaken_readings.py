"""Simulated sites with mistakes of all kinds in equal shares, and what the check says of every reading.

The mistakes are those of ``simulated_mistakes``; here another stem is one of the same tree, and the first
readings of stems are left alone or are the only ones that go wrong, so that both can be looked at apart.
"""

import itertools
from dataclasses import dataclass, replace

import numpy as np

from layers.expectation import expected_of
from layers.questioned import verdicts
from tests.benchmarks.simulated_forecast import forecast
from tests.benchmarks.simulated_mistakes import ALL, MAKERS, STEM
from tests.benchmarks.simulated_readings import read
from tests.benchmarks.simulated_records import records_of, terms_of
from tests.benchmarks.simulator import WORLD_A, drawn_site, true_dbh_cm

SEED = 20
SHARE = 0.007  # of the readings that may go wrong, by kind
KIND_OF = (
    "unit",
    "girth or width",
    "digits swapped",
    "another stem",
    "neighbour",
    "another height",
    "shrinkage",
)


@dataclass(frozen=True)
class Judged:
    """Readings of many sites, one entry each.

    ``mistake`` is a code of the kinds, -1 for good ones; ``distance`` over the simulator's own predictive
    deviation; ``earlier`` the number of readings of the stem before, ``after_mistake`` whether one of them
    was mistaken; ``questioned`` and ``first`` (a code of the kinds, -1 for another or none) what was said.
    """

    mistake: np.ndarray
    distance: np.ndarray
    earlier: np.ndarray
    after_mistake: np.ndarray
    questioned: np.ndarray
    first: np.ndarray


def mistaken_site(number, first_readings):
    """Return site ``number`` with mistakes in the first readings of stems, else in later ones."""
    site = drawn_site(WORLD_A, SEED, number)
    rng = np.random.default_rng([SEED, number, int(first_readings)])
    before = forecast(site)
    said = {
        **site.readings,
        "value": site.readings["value"].copy(),
        "value_2": site.readings["value_2"].copy(),
    }
    may = (before["earlier"] == 0) == first_readings
    code = np.full(len(may), -1)
    each = max(round(SHARE * may.sum()), 1)
    several = np.bincount(site.stems["tree"])[site.stems["tree"][said["stem"]]] > 1
    for kind in rng.permutation(ALL).tolist():
        make = _other_of_tree if kind == STEM else MAKERS[kind]
        free = rng.permutation(np.flatnonzero(may & (several if kind == STEM else True)))
        for row in free[code[free] < 0].tolist():
            if np.sum(code == kind) == each:
                break
            if make(rng, site, said, np.array([row]))[0]:
                code[row] = kind
    after = forecast(replace(site, readings={**said, "dbh_cm": site.readings["dbh_cm"]}))
    apart = np.abs(after["standard_cm"] - before["standard_cm"]) / before["sd_cm"]
    said |= {"mistake": code, "distance": np.where(code >= 0, apart, 0.0), "earlier": before["earlier"]}
    return replace(site, readings=said)


def _other_of_tree(rng, site, said, rows):
    """Another stem of the same tree is read."""
    tree = site.stems["tree"]
    for row in rows.tolist():
        mine = said["stem"][row]
        others = np.flatnonzero((tree == tree[mine]) & (np.arange(len(tree)) != mine))
        stem = np.array([rng.choice(others)])
        meant = {name: said[name][[row]] for name in ("crew", "day", "height_m", "says_height")}
        size = true_dbh_cm(site.stems, site.truth, stem, meant["day"])
        got = read(
            rng,
            {**meant, "stem": stem, "dbh_cm": size},
            site.stems,
            site.trees,
            site.crews,
            site.standard_m,
            site.truth,
            site.world.all_parts(),
        )
        said["value"][row], said["value_2"][row] = got["value"][0], got["value_2"][0]
    return np.ones(len(rows), dtype=bool)


def judged_site(number, first_readings):
    """Return what the check says of every reading of a site, each by what came before."""
    site = mistaken_site(number, first_readings)
    said = site.readings
    expected = expected_of(records_of(site), terms_of(site))
    questioned, first = np.zeros(len(said["stem"]), dtype=bool), np.full(len(said["stem"]), -1)
    for reading_id, verdict in verdicts(expected):
        at = int(reading_id[1:])
        questioned[at] = True
        kind = verdict.explanations[0].kind
        first[at] = KIND_OF.index(kind) if kind in KIND_OF else -1
    is_judged = np.zeros(len(questioned), dtype=bool)
    is_judged[[int(id[1:]) for id in expected.of.readings["reading_id"]]] = True
    wrong = np.zeros(len(questioned), dtype=bool)
    order = np.argsort(said["stem"], kind="stable")
    for a, b in itertools.pairwise(order):
        if said["stem"][a] == said["stem"][b]:
            wrong[b] = wrong[a] or said["mistake"][a] >= 0
    every = (said["mistake"], said["distance"], said["earlier"], wrong, questioned, first)
    return Judged(*(values[is_judged] for values in every))


def together(parts):
    """Several sites as one."""
    return Judged(
        *(np.concatenate([getattr(p, name) for p in parts]) for name in Judged.__dataclass_fields__)
    )
