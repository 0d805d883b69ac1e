"""How large trees of a genus usually are and how fast they grow: what is expected before any reading.

Numbers of a few temperate cities (``layers/data/ORIGIN.md``), made wide; a first guess elsewhere.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import pandas as pd

from layers.errors import NothingToCompute

ALL_GENERA = ""
WIDER = 1.15  # other places than those of the lists; assumption
# A young tree below the sizes of the lists, which hold few of them: share, median [cm], deviation of the
# logarithm; assumption.
YOUNG_SHARE, YOUNG_MEDIAN_CM, YOUNG_LOG_SD = 0.08, 3.0, 1.0
USUAL_CM_PER_YR = 0.6  # trees in parks; Nowak 1994, compilation (from memory)
GROWTH_SD_CM_PER_YR = 0.45  # from tree to tree, young to old, place to place; assumption

_BETWEEN_P1_AND_P99 = 2 * 2.3263478740408408  # standard deviations of a normal distribution


@dataclass(frozen=True)
class Usual:
    """What is usual of a genus: mean and deviation of ln diameter [ln cm] and of growth [cm a year]."""

    log_mean: float
    log_sd: float
    growth_cm_per_yr: float
    growth_sd_cm_per_yr: float

    @property
    def mean_cm(self) -> float:
        """The mean diameter [cm]."""
        return math.exp(self.log_mean + self.log_sd**2 / 2.0)

    @property
    def sd_cm(self) -> float:
        """The standard deviation of diameters [cm]."""
        return self.mean_cm * math.sqrt(math.expm1(self.log_sd**2))


@lru_cache(maxsize=4096)
def usual(genus: str | None) -> Usual:
    """Return what is usual of a genus; of all trees where it is not known or not in the table.

    Notes
    -----
    Diameters are taken as lognormal through the 1st and 99th percentile of the table, made wider by
    ``WIDER``. Growth is the middle between that of the genus where it was planted in streets and
    ``USUAL_CM_PER_YR``, because the table has survivors that were young.

    Raises
    ------
    NothingToCompute
        If the table has no row for all genera.
    """
    table = _table()
    if ALL_GENERA not in table.index:
        raise NothingToCompute("usual sizes")
    every = table.loc[ALL_GENERA]
    row = table.loc[genus] if genus in table.index else every
    low, high = (float(row[name] if row[name] == row[name] else every[name]) for name in ("p1_cm", "p99_cm"))
    growth = row["growth_cm_per_yr"]
    growth = USUAL_CM_PER_YR if growth != growth else (float(growth) + USUAL_CM_PER_YR) / 2.0
    return Usual(
        (math.log(low) + math.log(high)) / 2.0,
        WIDER * (math.log(high) - math.log(low)) / _BETWEEN_P1_AND_P99,
        growth,
        GROWTH_SD_CM_PER_YR,
    )


@lru_cache(maxsize=1)
def _table() -> pd.DataFrame:
    path = resources.files("layers") / "data" / "usual_sizes.csv"
    with path.open("r", encoding="utf-8") as file:
        table = pd.read_csv(file, keep_default_na=True)
    return table.assign(genus=table["genus"].fillna(ALL_GENERA)).set_index("genus")
