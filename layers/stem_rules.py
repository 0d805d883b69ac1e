"""How local codes count a tree of several stems: rules by name, shown beside the tree, never in basal area.

Only the square root of the sum of squares keeps basal area; it alone feeds any figure (``girth``). A code
names its own rule, and the code's text decides.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layers.error_model import variance_of
from layers.errors import OutsideDomain
from layers.girth import equal_area_diameter_cm
from layers.translating import N_

Array = NDArray[np.float64]


@dataclass(frozen=True)
class StemRule:
    """A rule by name: what it adds up, who uses it, from how many stems on."""

    name: str
    source: str
    fewest: int
    most: int | None
    of: Callable[[Array], float]


def _sum(d: Array) -> float:
    return float(np.sum(d))


def _largest_and_half(d: Array) -> float:
    return float(np.max(d) + (np.sum(d) - np.max(d)) / 2.0)


def _largest_and_mean(d: Array) -> float:
    return float(np.max(d) + (np.sum(d) - np.max(d)) / (len(d) - 1))


def _three_largest(d: Array) -> float:
    return float(np.sum(np.sort(d)[-3:]))


def _half_of_three_largest(d: Array) -> float:
    return _three_largest(d) / 2.0


def _mean_and_number(d: Array) -> float:
    return float(np.mean(d) * sqrt(len(d)))


RULES: dict[str, StemRule] = {
    "equal basal area": StemRule(
        N_("one trunk with the same cut face: root of the sum of squares"),
        N_("Chojnacky and Rogers 1999; BS 5837:2012 for two to five stems, read in excerpts of guidance"),
        2,
        None,
        equal_area_diameter_cm,
    ),
    "mean and number": StemRule(
        N_("mean width times the root of their number"),
        N_("BS 5837:2012 for more than five stems, from memory"),
        6,
        None,
        _mean_and_number,
    ),
    "sum": StemRule(
        N_("all widths added"), N_("for example the code of Menlo Park, California"), 2, None, _sum
    ),
    "largest and half": StemRule(
        N_("the largest and half of each other"),
        N_("for example the codes of Duncanville and Pleasanton, Texas"),
        2,
        None,
        _largest_and_half,
    ),
    "largest and mean": StemRule(
        N_("the largest and the mean of the others"),
        N_("code of Dallas, Texas, section 51A-10.105(b)(3), where branching starts at 12 in or lower"),
        2,
        None,
        _largest_and_mean,
    ),
    "three largest": StemRule(
        N_("the three largest added"), N_("code of Conroe, Texas, for caliper"), 3, None, _three_largest
    ),
    "half of three largest": StemRule(
        N_("half of the three largest added"),
        N_("code of Dallas, Texas, section 51A-10.105(a)(3), for trees of a nursery"),
        3,
        None,
        _half_of_three_largest,
    ),
}
SENTENCES = tuple(text for rule in RULES.values() for text in (rule.name, rule.source))


def combined(rule: str, diameters: ArrayLike) -> float:
    """Return one size for several stems by a rule of RULES, in their unit.

    Parameters
    ----------
    rule : str
        A key of RULES.
    diameters : array_like
        Of the stems, at one height.

    Raises
    ------
    OutsideDomain
        If the rule is not meant for that many stems.
    """
    known, sizes = RULES[rule], np.asarray(diameters, dtype=float)
    if len(sizes) < known.fewest or (known.most is not None and len(sizes) > known.most):
        raise OutsideDomain("stems", len(sizes), known.fewest, known.most or np.inf)
    return known.of(sizes)


def by_every_rule(diameters: ArrayLike) -> dict[str, float]:
    """Return the size by every rule that is meant for that many stems, in their unit."""
    sizes = np.asarray(diameters, dtype=float)
    return {
        name: rule.of(sizes)
        for name, rule in RULES.items()
        if len(sizes) >= rule.fewest and (rule.most is None or len(sizes) <= rule.most)
    }


@dataclass(frozen=True)
class Counted:
    """The size of a tree by a rule of RULES and its standard error [cm]."""

    rule: str
    size_cm: float
    se_cm: float


def counted_by_rules(
    stem_state: pd.DataFrame, stem_parts: pd.DataFrame, causes: pd.DataFrame
) -> list[Counted]:
    """Return the size of a tree by every rule that is meant for its number of measured stems.

    Parameters
    ----------
    stem_state : DataFrame
        Its stems: ``stem_id``, ``dbh_cm``, ``own_var_cm2``.
    stem_parts, causes : DataFrame
        What they share of their errors.

    Notes
    -----
    Errors by the delta method with slopes by finite differences: every rule is smooth but where two stems
    are equal.
    """
    sized = stem_state[stem_state["dbh_cm"].notna()]
    diameters = sized["dbh_cm"].to_numpy(dtype=float)
    own = pd.Series(sized["own_var_cm2"].to_numpy(dtype=float), index=sized["stem_id"].to_numpy())
    parts = stem_parts[stem_parts["stem_id"].isin(sized["stem_id"])]
    out = []
    for rule, size in by_every_rule(diameters).items():
        slopes = pd.Series(_slopes(rule, diameters), index=own.index)
        out.append(Counted(rule, size, float(np.sqrt(variance_of(own, slopes, parts, causes)))))
    return out


def _slopes(rule: str, diameters: Array) -> Array:
    step = 1e-6 * float(np.max(diameters))
    moved = diameters + step * np.eye(len(diameters))
    changed = np.array([RULES[rule].of(each) for each in moved])
    return np.asarray((changed - RULES[rule].of(diameters)) / step)


def one_tape_round_two(diameter: float) -> float:
    """Return what one tape round two touching equal stems reads as a diameter, in its unit: d (pi + 2) / pi.

    The perimeter of the hull of two touching circles; more than any rule, which is why each stem is read by
    itself.
    """
    return diameter * (pi + 2.0) / pi
