"""How well a reading is known, and how errors of readings make the error of any number.

A standardised reading r of stem i is d_r = D_i + e_r + s_(i,h) + sum_c g_rc u_c: an own error, the stem's
departure from the profile at height h, and effects u_c that readings share. Version 0 of the model is the
table below; all of it is assumption but the first row's own part.

The unit of a shared effect of an instrument, a crew, a calibration or heights not said is its standard
deviation (variance 1), so that its sensitivity is the standard deviation of the diameter [cm]; the unit of
taper is that of its coefficient.

References
----------
.. [1] Luoma, V. et al. 2017. Assessing precision in conventional field measurements of individual tree
   attributes. Forests 8(2):38 (abstract): standard deviation of dbh 0.3 cm (1.5 %) of trained measurers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.translating import N_

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

ASSUMPTION = N_("assumption")
Z95 = 1.959963984540054  # standard normal, 97.5 %

TILT_NOT_RECORDED_SHARE = 0.002
HEIGHT_NOT_SAID_SHARE = 0.005


@dataclass(frozen=True)
class Deviation:
    """A standard deviation of diameter: the larger of a length and a share; a further share in squares."""

    cm: float = 0.0
    share: float = 0.0
    more_share: float = 0.0

    def at(self, diameter_cm: Array) -> Array:
        """Return the standard deviation at a diameter [cm]."""
        first = np.maximum(self.cm, self.share * diameter_cm)
        return np.asarray(np.hypot(first, self.more_share * diameter_cm))


@dataclass(frozen=True)
class Precision:
    """How well one instrument in one kind of hands reads a diameter, and where that is from."""

    instruments: tuple[str, ...]
    hands: str  # "trained" or "helpers" or "any"
    own: Deviation
    instrument: Deviation
    crew_cm: float
    source: str


_TAPES = ("girth tape", "diameter tape", "caliper", "unknown")
_HANDS = ("hand breadths", "hand spans")

VERSION_0: tuple[Precision, ...] = (
    Precision(
        _TAPES,
        "trained",
        Deviation(0.3, 0.015),
        Deviation(0.1),
        0.1,
        "own part: Luoma et al. 2017, Forests 8(2):38; shared parts: assumption",
    ),
    Precision(_TAPES, "helpers", Deviation(0.7), Deviation(0.3), 0.2, ASSUMPTION),
    Precision(
        ("string and ruler",),
        "trained",
        Deviation(0.3, 0.015, 0.005),
        Deviation(0.1, 0.0, 0.005),
        0.1,
        ASSUMPTION,
    ),
    Precision(
        ("string and ruler",),
        "helpers",
        Deviation(0.7, 0.0, 0.005),
        Deviation(0.3, 0.0, 0.005),
        0.2,
        ASSUMPTION,
    ),
    Precision(_HANDS, "any", Deviation(0.0, 0.02), Deviation(0.0, 0.07), 0.0, ASSUMPTION),
    Precision(("sighting",), "any", Deviation(0.0, 0.05), Deviation(0.0, 0.02), 0.0, ASSUMPTION),
    Precision(("eye",), "any", Deviation(0.0, 0.15), Deviation(0.0, 0.05), 0.0, ASSUMPTION),
)


def precision_of(instrument: str | None, hands: str) -> Precision:
    """Return the row of version 0 for an instrument in ``trained`` hands or those of ``helpers``.

    An instrument that is not in the table is read as unknown.
    """
    for row in VERSION_0:
        if instrument in row.instruments and row.hands in (hands, "any"):
            return row
    return precision_of("unknown", hands)


def variance_of(
    own_var: pd.Series,
    a: pd.Series,
    parts: pd.DataFrame,
    causes: pd.DataFrame,
    departures: pd.DataFrame | None = None,
) -> float:
    """Return the variance of a number F of many diameters, in the square of its unit.

    Parameters
    ----------
    own_var : Series
        Own variance [cm2] by the id of a reading or stem.
    a : Series
        dF/dd [unit of F per cm] by the same id.
    parts : DataFrame
        The id (column ``stem_id`` or ``reading_id``), ``cause``, ``sensitivity_cm``.
    causes : DataFrame
        ``cause``, ``variance``.
    departures : DataFrame, optional
        For readings: the id, ``departure`` (key of stem and height) and ``departure_se_cm``. Readings that
        share a key share the departure.

    Notes
    -----
    Var F = sum a^2 Var(e) + sum_(i,h) (sum a s)^2 + sum_c v_c (sum a g)^2.
    """
    rows = pd.Index(own_var.index)
    weights = a.reindex(rows).to_numpy(dtype=float)
    total = float(np.sum(weights**2 * own_var.to_numpy(dtype=float)))
    shared = _together(parts, "cause", "sensitivity_cm", rows, weights)
    variances = causes.set_index("cause")["variance"].reindex(shared.index).to_numpy(dtype=float)
    total += float(np.sum(variances * shared.to_numpy() ** 2))
    if departures is not None:
        total += float(np.sum(_together(departures, "departure", "departure_se_cm", rows, weights) ** 2))
    return total


def _together(frame: pd.DataFrame, key: str, size: str, rows: pd.Index, weights: Array) -> pd.Series:
    """Sum of a g over the rows that share a key."""
    id_column = "reading_id" if "reading_id" in frame else "stem_id"
    at = rows.get_indexer(frame[id_column])
    effect = pd.Series(np.where(at >= 0, weights[at], 0.0) * frame[size].to_numpy(dtype=float))
    return effect.groupby(frame[key].to_numpy()).sum()


@dataclass(frozen=True)
class SharedParts:
    """Shared error parts by item, for sums over many groups at once.

    ``cause`` and ``sensitivity`` are sorted by item; those of item i are [start[i], start[i] + count[i]).
    """

    start: Whole
    count: Whole
    cause: Whole
    sensitivity: Array
    variance: Array
    kind: Whole
    kinds: tuple[str, ...]

    @classmethod
    def of(cls, items: Sequence[str] | pd.Index, parts: pd.DataFrame, causes: pd.DataFrame) -> "SharedParts":
        """Return the parts of stems in the order of ``items``."""
        item = pd.Index(items).get_indexer(parts["stem_id"])
        cause = pd.Index(causes["cause"]).get_indexer(parts["cause"])
        used = (item >= 0) & (cause >= 0)
        order = np.argsort(item[used], kind="stable")
        count = np.bincount(item[used], minlength=len(items))
        kind, kinds = pd.factorize(causes["kind"].to_numpy(dtype=object))
        return cls(
            np.concatenate([[0], np.cumsum(count)[:-1]]).astype(np.int64) if len(items) else count,
            count,
            cause[used][order],
            parts["sensitivity_cm"].to_numpy(dtype=float)[used][order],
            causes["variance"].to_numpy(dtype=float),
            kind.astype(np.int64),
            tuple(kinds),
        )

    def item_variance(self) -> Array:
        """Return the variance that each item has from its shared parts [cm2]."""
        item = np.repeat(np.arange(len(self.count)), self.count)
        size = self.sensitivity**2 * self.variance[self.cause]
        return np.asarray(np.bincount(item, weights=size, minlength=len(self.count)), dtype=float)

    def grouped(self, group: Whole, item: Whole, a: Array, groups: int) -> Array:
        """Return the shared variance of sum a d of each group by kind, as an array (groups, kinds)."""
        out = np.zeros((groups, len(self.kinds)))
        if not len(self.cause) or not len(item):
            return out
        row = expanded(self.start[item], self.count[item])
        repeat = np.repeat(np.arange(len(item)), self.count[item])
        causes = len(self.variance)
        code, inverse = np.unique(group[repeat] * causes + self.cause[row], return_inverse=True)
        effect = np.bincount(inverse, weights=a[repeat] * self.sensitivity[row])
        cause = code % causes
        np.add.at(out, (code // causes, self.kind[cause]), effect**2 * self.variance[cause])
        return out


def expanded(start: Whole, count: Whole) -> Whole:
    """Return the positions start, start + 1, ... of every range, one range after the other."""
    total = int(count.sum())
    before = np.repeat(np.cumsum(count) - count, count)
    return np.asarray(np.arange(total) - before + np.repeat(start, count), dtype=np.int64)
