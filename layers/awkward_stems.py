"""What makes a trunk awkward to measure: facts that are written down, the rule for each, and its geometry.

Facts are words joined by commas; a vine may carry its thickness [cm] and missing bark the share of the width
that is left without bark: "slope, vine 2", "missing bark 0.96".

References
----------
.. [1] DeYoung, J. 2016. Forest Measurements: An Applied Approach. Open Oregon, figures 3.3 to 3.7.
.. [2] Martin, A. J. Wisconsin Cooperative Extension G3332.
.. [3] USDA Forest Service, FSH 2409.12, Region 10 supplement 2005-2, section 14.12m: width without bark as a
   share of the width, spruce 0.96, hemlock 0.92, western redcedar and yellow-cedar 0.95.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layers.translating import N_

Array = NDArray[np.float64]

ALLOWANCE_SHARE = 1.0 / 3.0  # own deviation of what is added or taken off, as a share of it (assumption)
LEAST_BARK_SHARE = 0.7
THICKEST_VINE_CM = 50.0
TOO_SHORT = "too short for breast height"


@dataclass(frozen=True)
class Fact:
    """A fact about a trunk: in plain words, what is then done, and where the rule is from."""

    plain: str
    rule: str
    source: str


FACTS: dict[str, Fact] = {
    "slope": Fact(
        N_("it stands on a slope"),
        N_("the height counts from the ground on the uphill side"),
        N_("DeYoung 2016, Forest Measurements, figure 3.3"),
    ),
    "lean": Fact(
        N_("it leans"),
        N_("the height goes along the trunk, the tape at right angles to it"),
        N_("DeYoung 2016, Forest Measurements, figure 3.7"),
    ),
    "fork below": Fact(
        N_("it forks below the line"),
        N_("each trunk is measured by itself, about 3.5 ft (1.07 m) above the fork"),
        N_("DeYoung 2016, Forest Measurements, figure 3.4; Wisconsin Extension G3332"),
    ),
    "fork above": Fact(
        N_("it forks at the line or just above"),
        N_("one trunk, measured just below the swelling of the fork"),
        N_("DeYoung 2016, Forest Measurements, figure 3.4; Wisconsin Extension G3332"),
    ),
    "swelling": Fact(
        N_("a bulge or whorl of branches is at the line"),
        N_("measured just above it, where the trunk is itself again"),
        N_("DeYoung 2016, Forest Measurements, figure 3.5; Wisconsin Extension G3332"),
    ),
    "swollen foot": Fact(
        N_("its foot is swollen up to the line"),
        N_("measured at least 1.5 ft (0.46 m) above the end of the swelling"),
        N_("DeYoung 2016, Forest Measurements, figure 3.5"),
    ),
    "burl": Fact(
        N_("a burl or canker is at the line"),
        N_("the mean of two readings equally far above and below it"),
        N_("DeYoung 2016, Forest Measurements, figure 3.6"),
    ),
    "buttress": Fact(
        N_("buttresses reach up to the line"),
        N_("measured from where they end, if they are higher than 3.3 ft (1.00 m)"),
        N_("University of Göttingen, forest inventory wiki"),
    ),
    "vine": Fact(
        N_("a vine or ivy is under the tape"),
        N_("the tape goes beneath it; where it cannot, its thickness is written down and taken off"),
        N_("handbooks of plot networks, from memory; the allowance is geometry"),
    ),
    "missing bark": Fact(
        N_("bark is missing at the line"),
        N_("the width is divided by the share that is left without bark, where that is written down"),
        N_("USDA Forest Service, FSH 2409.12, Region 10 supplement 2005-2, section 14.12m"),
    ),
    "heaved base": Fact(
        N_("its roots have lifted the ground"),
        N_("the height counts from where the roots end and the trunk begins"),
        N_("page of a US state's forestry service on trees that are hard to measure"),
    ),
    TOO_SHORT: Fact(
        N_("it is too short to have a width at the line"),
        N_("the width at its foot and that height are kept, and no width at breast height is made of them"),
        N_("USDA Forest Service, methodology of the inventory of the north-east"),
    ),
}
SIDES = ("uphill", "downhill", "between", "upper side of the lean", "under side of the lean")
SENTENCES = tuple(text for fact in FACTS.values() for text in (fact.plain, fact.rule, fact.source))


def facts_of(text: str | None) -> dict[str, float | None]:
    """Return the facts of a reading, each with its number if it has one; other words stay as they are."""
    found: dict[str, float | None] = {}
    for said in (part.strip() for part in (text or "").split(",")):
        word, _, amount = said.rpartition(" ")
        if word in FACTS and _is_number(amount):
            found[word] = float(amount)
        elif said:
            found[said] = None
    return found


def joined(facts: Mapping[str, float | None]) -> str | None:
    """Return facts as they are kept; None where there are none."""
    words = [word if amount is None else f"{word} {amount:g}" for word, amount in facts.items()]
    return ", ".join(words) or None


def faults_of(facts: Mapping[str, float | None], height_m: float | None) -> dict[str, str]:
    """Return what cannot be of the facts of a reading, as a sentence by fact; empty where all can be."""
    faults = {}
    bark, vine = facts.get("missing bark"), facts.get("vine")
    if bark is not None and not LEAST_BARK_SHARE <= bark <= 1.0:
        faults["missing bark"] = (
            f"Without bark {bark:g} of the width cannot be left; give a share from {LEAST_BARK_SHARE:g} to 1."
        )
    if vine is not None and not 0 < vine <= THICKEST_VINE_CM:
        faults["vine"] = (
            f"A vine of {vine:g} cm cannot be taken off; give its thickness, up to {THICKEST_VINE_CM:g} cm."
        )
    if TOO_SHORT in facts and height_m is None:
        faults[TOO_SHORT] = (
            "Say at which height the foot was measured; a plant this short has no width at breast height."
        )
    return faults


def _is_number(text: str) -> bool:
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False


def vine_over_read_cm(diameter_cm: ArrayLike, thickness_cm: ArrayLike) -> Array:
    """Return how much too wide a tape reads that goes over one vine [cm].

    Parameters
    ----------
    diameter_cm, thickness_cm : array_like
        Of the trunk and of the vine [cm].

    Notes
    -----
    The hull of two touching circles of radii R and v: (4 sqrt(R v) + R (pi + 2a) + v (pi - 2a)) / pi - 2 R
    with sin a = (R - v) / (R + v).
    """
    big, small = np.asarray(diameter_cm, dtype=float) / 2.0, np.asarray(thickness_cm, dtype=float) / 2.0
    angle = np.arcsin((big - small) / (big + small))
    hull = 4.0 * np.sqrt(big * small) + big * (np.pi + 2.0 * angle) + small * (np.pi - 2.0 * angle)
    return np.asarray(hull / np.pi - 2.0 * big)


def without_vine_cm(read_cm: ArrayLike, thickness_cm: ArrayLike) -> Array:
    """Return the diameter of a trunk from what a tape over one vine read [cm].

    NaN where the vine is as thick as the trunk that would be left.
    """
    read, vine = np.asarray(read_cm, dtype=float), np.asarray(thickness_cm, dtype=float)
    low, high = vine.copy(), read.copy()
    can = read > vine + vine_over_read_cm(np.where(vine > 0, vine, 1.0), np.where(vine > 0, vine, 1.0))
    for _step in range(60):
        middle = (low + high) / 2.0
        over = middle + vine_over_read_cm(middle, vine) > read
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return np.where(can, (low + high) / 2.0, np.nan)


def with_bark_cm(bare_cm: ArrayLike, share: ArrayLike) -> Array:
    """Return the diameter with bark from that without it [cm]: bare / share."""
    return np.asarray(np.asarray(bare_cm, dtype=float) / np.asarray(share, dtype=float))


def raised_cm(diameter_cm: ArrayLike, raised_m: ArrayLike, share_per_m: ArrayLike = 0.1) -> Array:
    """Return the largest width that a stem measured higher up may have at the line [cm]: d / (1 - rate dz).

    Parameters
    ----------
    diameter_cm : array_like
        As measured, above buttresses or a swelling [cm].
    raised_m : array_like
        How much higher than the line [m].
    share_per_m : array_like
        Decrease of the width per metre of height, as a share [1/m].

    References
    ----------
    .. [1] Metcalf, C. J. E., Clark, J. S. and Clark, D. A. 2009. Journal of Tropical Ecology 25:1-12: up to
       10 % per metre. Its linear use is ours.
    """
    rate = np.asarray(share_per_m, dtype=float) * np.asarray(raised_m, dtype=float)
    return np.asarray(np.asarray(diameter_cm, dtype=float) / (1.0 - rate))


def facts_of_each(awkward: pd.Series) -> list[tuple[int, dict[str, float | None]]]:
    """Return the rows that have facts, with them."""
    rows = np.flatnonzero(awkward.notna().to_numpy())
    return [(int(row), facts_of(str(awkward.iloc[row]))) for row in rows]
