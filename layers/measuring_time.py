"""How long measuring takes: minutes at a tree, minutes on the way. Assumptions until a site timed its own.

Every number here is an assumption of ours (common practice, no source): a guess, two readings and writing
them down, by people who do it for the first time. `learned_pace` sets them right by what phones recorded.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from layers.error_model import Array

MINUTES_AT_A_TRUNK = {
    "girth tape": 3.0,
    "diameter tape": 3.0,
    "caliper": 3.0,
    "string and ruler": 4.5,
    "hand breadths": 4.0,
    "hand spans": 4.0,
    "sighting": 3.0,
    "eye": 1.0,
    "unknown": 3.5,
}
MINUTES_PER_M_OF_GIRTH = 1.0  # a tape goes round a large trunk more slowly
SECOND_TRUNK = 0.6  # of the minutes at the first
METRES_PER_MINUTE = 40.0  # a group on foot, over grass, with its things
LONGEST_GAP_MINUTES = 20.0  # what is longer was a break
FEWEST_GAPS = 20
PACE_LOW, PACE_HIGH = 0.3, 4.0


@dataclass(frozen=True)
class Pace:
    """How much slower than assumed a site measures; ``gaps`` are the times between trees behind it."""

    factor: float = 1.0
    gaps: int = 0


ASSUMED = Pace()


def minutes_at(girth_cm: ArrayLike, trunks: ArrayLike, instrument: str) -> Array:
    """Return how long a team is busy at each tree [min].

    Parameters
    ----------
    girth_cm : array_like
        Girth of the tree, all trunks as one [cm]; NaN where it is not known counts as 100 cm.
    trunks : array_like
        How many trunks are measured [-].
    instrument : str
        A word of the readings; one that is not known counts as `unknown`.
    """
    girth = np.nan_to_num(np.asarray(girth_cm, dtype=float), nan=100.0)
    more = np.maximum(np.asarray(trunks, dtype=float), 1.0) - 1.0
    base = MINUTES_AT_A_TRUNK.get(instrument, MINUTES_AT_A_TRUNK["unknown"])
    one = base + MINUTES_PER_M_OF_GIRTH * girth / 100.0
    return np.asarray(one + base * SECOND_TRUNK * more)


def learned_pace(readings: pd.DataFrame, expected_minutes: dict[str, float]) -> Pace:
    """Return the pace of a site from the times at which devices recorded its readings.

    Parameters
    ----------
    readings : DataFrame
        ``tree_id``, ``round_id``, ``crew``, ``instrument`` and ``recorded_at`` (ISO, with offset).
    expected_minutes : dict
        The minutes assumed at a tree and on the way from one to the next, by ``instrument``.

    Returns
    -------
    Pace
        The median of the time from one tree of a team to its next, over what was assumed; as assumed where
        fewer than 20 such times are known. Breaks of more than 20 minutes are left out.
    """
    timed = readings[
        readings["recorded_at"].notna() & readings["crew"].notna() & readings["round_id"].notna()
    ]
    ratios: list[float] = []
    for (_round, _crew), mine in timed.groupby(["round_id", "crew"]):
        at = pd.to_datetime(mine["recorded_at"], utc=True, format="ISO8601")
        first = mine.assign(at=at).sort_values("at", kind="stable").drop_duplicates("tree_id")
        gaps = first["at"].diff().dt.total_seconds().to_numpy()[1:] / 60.0
        said = [expected_minutes.get(word, np.nan) for word in first["instrument"].to_numpy()[1:]]
        ratio = gaps / np.array(said, dtype=float)
        ratios += [float(r) for r, gap in zip(ratio, gaps, strict=True) if 0 < gap <= LONGEST_GAP_MINUTES]
    known = [ratio for ratio in ratios if np.isfinite(ratio)]
    if len(known) < FEWEST_GAPS:
        return ASSUMED
    return Pace(float(np.clip(np.median(known), PACE_LOW, PACE_HIGH)), len(known))
