"""Does the truth lie in the 95 % intervals as often as they say, on sites that a simulator draws?

World A: the defaults are true. World B: each site has its own factors of the own deviation and of the crew
deviation, taper is one deviation off, and models learned from repeated readings are adopted. One case a site
for each target; see ``simulator`` for what is drawn and ``honest_errors`` for what is asked.
"""

import numpy as np
import pytest

from tests.benchmarks.honest_errors import TARGETS, cases_of, summary
from tests.benchmarks.simulator import WORLD_A, WORLD_B, World

SEED = 2026
LOWEST, HIGHEST = 0.93, 0.97
MODELS = {"A": "published", "B": "learned"}
WORLDS = {"A": WORLD_A, "B": WORLD_B}
WIDEST = {"A": 1.10, "B": 1.25}  # mean half-width over that under the true variances
FEW = {"A": 100, "B": 70}  # sites in the short form
MANY, SOME = 2_000, 500
WIDENED = 3.0  # binomial deviations by which the short form widens the limits of the coverage
PROCESSES = 2


def lines(name, told):
    return [
        f"{name:34s} {target:24s} {row.sites:5d} sites  coverage {row.coverage:.3f}  "
        f"half-width {row.ratio:.3f} of that under the true variances"
        for target, row in zip(told.index, told.itertuples(), strict=True)
    ]


def show(capsys, printed):
    with capsys.disabled():
        print("\n" + "\n".join(printed))


def deviation(share, number):
    return np.sqrt(share * (1.0 - share) / number)


@pytest.mark.parametrize("world", WORLDS)
def test_intervals_hold_the_truth_on_a_few_sites(world, capsys):
    """Limits are wider by three binomial deviations; above, that leaves no limit on so few sites."""
    told = summary(cases_of(WORLDS[world], SEED, FEW[world], MODELS[world]))
    show(capsys, lines(f"world {world}", told))
    assert list(told.index) == list(TARGETS)
    for target, row in told.iterrows():
        lowest = LOWEST - WIDENED * deviation(LOWEST, row["sites"])
        highest = HIGHEST + WIDENED * deviation(HIGHEST, row["sites"])
        assert lowest <= row["coverage"] <= highest, target
        assert 0.8 <= row["ratio"] <= WIDEST[world], target


@pytest.mark.slow
@pytest.mark.timeout(6 * 3600)
@pytest.mark.parametrize("world", WORLDS)
def test_intervals_hold_the_truth_in_93_to_97_of_a_hundred_sites(world, capsys):
    cases = cases_of(WORLDS[world], SEED, MANY, MODELS[world], processes=PROCESSES)
    told = summary(cases)
    printed = lines(f"world {world}", told)
    for (own, crew), part in cases.groupby(["own_factor", "crew_factor"]):
        if world == "B":
            printed += lines(f"B, own x {own:g}, crews x {crew:g}", summary(part))
    show(capsys, printed)
    for target in TARGETS:
        row = told.loc[target]
        assert LOWEST <= row["coverage"] <= HIGHEST, target
        assert row["ratio"] <= WIDEST[world], target


@pytest.mark.slow
@pytest.mark.timeout(6 * 3600)
def test_what_is_printed_without_a_bar(capsys):
    """Nothing is asked of these but that they can be computed: what they say is kept in results.md."""
    asked = {
        "B without repeats": (World(learned=True, repeats=False), "learned", 0.0),
        "A, growth varies by 30 % a year": (World(year_sd=0.3), "published", 0.0),
        "A, 2 % gross mistakes left in": (WORLD_A, "published", 0.02),
        "A, the site learns": (WORLD_A, "learned", 0.0),
        "A, departures at each height anew": (World(one_departure=False), "published", 0.0),
    }
    printed = []
    for name, (world, models, mistakes) in asked.items():
        told = summary(cases_of(world, SEED, SOME, models, mistakes, processes=PROCESSES))
        assert np.isfinite(told.to_numpy(dtype=float)).all()
        printed += lines(name, told)
    show(capsys, printed)
