"""Mistakes in simulated readings that the check catches, how it explains them, good readings it asks about.

The size of a mistake is its distance over the simulator's own predictive deviation. The weights and the limit
of the check were chosen on sites 0 to 99; other sites are judged here.
"""

import numpy as np
import pytest

from tests.benchmarks.mistaken_readings import KIND_OF, judged_site, together
from tests.benchmarks.simulated_mistakes import HEIGHT, SHRINKAGE

LARGE, HUGE = 4.0, 6.0
CAUGHT, CAUGHT_HUGE = 0.90, 0.95
EXPLAINED, EXPLAINED_EACH = 0.80, 0.70
ASKED_IN_VAIN, ASKED_IN_VAIN_AFTER = 0.01, 0.03
WITHOUT_BAR = (HEIGHT, SHRINKAGE)
FIRST_SITE = 1000


def share(flags):
    return float(np.mean(flags)) if len(flags) else float("nan")


def is_right(judged, rows):
    return judged.first[rows] == judged.mistake[rows]


def caught(judged):
    """Lines of a table: by kind how many were large, the share questioned, the share explained first."""
    lines = ["kind               planted   > 4  asked  right   > 6  asked"]
    for kind, name in [*enumerate(KIND_OF), (None, "all")]:
        mine = judged.mistake >= 0 if kind is None else judged.mistake == kind
        large, huge = mine & (judged.distance > LARGE), mine & (judged.distance > HUGE)
        right = share(is_right(judged, large & judged.questioned))
        lines.append(
            f"{name:18s} {mine.sum():7d} {large.sum():5d} {share(judged.questioned[large]):6.3f} "
            f"{right:6.3f} {huge.sum():5d} {share(judged.questioned[huge]):6.3f}"
        )
    return lines


def in_vain(judged):
    """Good readings that are asked about: among first ones, among later ones, after a mistake of the stem."""
    good = judged.mistake < 0
    later = good & (judged.earlier > 0)
    return {
        "first": judged.questioned[good & (judged.earlier == 0)],
        "later": judged.questioned[later & ~judged.after_mistake],
        "after": judged.questioned[later & judged.after_mistake],
    }


def held(sites, firsts, capsys):
    """Print the tables and hold the bars."""
    judged = together([judged_site(FIRST_SITE + n, False) for n in range(sites)])
    first = together([judged_site(FIRST_SITE + n, True) for n in range(firsts)])
    good, good_first = in_vain(judged), in_vain(first)
    with capsys.disabled():
        print(f"\nmistakes in later readings, {sites} sites, {len(judged.mistake)} readings")
        print("\n".join(caught(judged)))
        print(
            "good readings asked about: "
            + ", ".join(f"{n} {share(a):.4f} of {len(a)}" for n, a in good.items())
        )
        print(f"mistakes in first readings of stems, {firsts} sites (no bar)")
        print("\n".join(caught(first)))
        print(
            "good readings asked about: "
            + ", ".join(f"{n} {share(a):.4f} of {len(a)}" for n, a in good_first.items())
        )
    large = (judged.mistake >= 0) & (judged.distance > LARGE)
    huge = large & (judged.distance > HUGE)
    assert share(judged.questioned[large]) >= CAUGHT
    assert share(judged.questioned[huge]) >= CAUGHT_HUGE
    assert share(is_right(judged, large & judged.questioned)) >= EXPLAINED
    for kind in set(range(len(KIND_OF))) - set(WITHOUT_BAR):
        mine = large & judged.questioned & (judged.mistake == kind)
        assert mine.sum() >= sites // 2, KIND_OF[kind]
        assert share(is_right(judged, mine)) >= EXPLAINED_EACH, KIND_OF[kind]
    assert share(good["later"]) <= ASKED_IN_VAIN
    assert share(good["first"]) <= ASKED_IN_VAIN
    assert share(good["after"]) <= ASKED_IN_VAIN_AFTER


def test_mistakes_are_questioned_and_explained_and_good_readings_left_alone(capsys):
    held(120, 10, capsys)


@pytest.mark.slow
def test_the_same_on_many_sites(capsys):
    held(600, 100, capsys)
