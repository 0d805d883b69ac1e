"""Readings that ask for a second look: computed from history, never stored; they count until settled.

What was settled is a record, and is not asked again.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.corrections import LIVE, corrected
from layers.days import days, local_days
from layers.error_model import Array, Whole
from layers.expectation import Expected, as_typed, credible, expected_of, packed
from layers.hands import doubtful_hands
from layers.inputs import Records, SiteTerms, with_hands
from layers.reading_check import Verdict, check
from layers.standing import REMOVED, settled_events
from layers.taper import HIGHEST_M
from layers.usual_sizes import YOUNG_LOG_SD, YOUNG_MEDIAN_CM, YOUNG_SHARE

UNLIKE, FORK, PLANTED, LONG_AGO, GONE, AHEAD, HIGH_UP = (
    "unlike before",
    "two corrections",
    "before planting",
    "long ago",
    "after removal",
    "day ahead",
    "high up the trunk",
)
ACCEPT, SUPERSEDE, VOID, ASK_AGAIN = "accept", "supersede", "void", "ask again"
LIVING_MEMORY = "1900"  # the year before which a day is rather mistyped than remembered (assumption)
NEAR = 2.0  # deviations within which no explanation of the usual weights reaches the limit

_COLUMNS = ("reading_id", "stem_id", "tree_id", "measured_on", "what", "verdict", "detail")
_YEAR_ONLY = "-07-02"  # the middle day of a year is kept where only the year is known


@dataclass(frozen=True)
class Settled:
    """What persons have settled: (id of the reading, what was asked) by their answer; what corrects what.

    Of several answers to one question the last one holds.
    """

    accepted: frozenset[tuple[str, str]]
    corrected: frozenset[tuple[str, str]]
    parent: dict[str, str]

    @classmethod
    def of(cls, records: Records) -> "Settled":
        """Return what the records of settling say of readings."""
        said = records.settlings
        if not len(said):
            return cls(frozenset(), frozenset(), {})
        said = said[said["subject"] == "reading"]
        last = dict(zip(zip(said["subject_id"], said["what"], strict=True), said["answer"], strict=True))
        pairs = [(*about, answer) for about, answer in last.items()]
        readings = records.readings[records.readings["supersedes"].notna()]
        return cls(
            frozenset((id, what) for id, what, answer in pairs if answer == ACCEPT),
            frozenset((id, what) for id, what, answer in pairs if answer == SUPERSEDE),
            dict(zip(readings["reading_id"], readings["supersedes"], strict=True)),
        )

    def fitting(self) -> frozenset[str]:
        """Return the readings of which a person has said that they fit."""
        return frozenset(id for id, what in self.accepted if what == UNLIKE)

    def has(self, reading_id: str, what: str) -> bool:
        """Return whether a question is settled: for the reading, or by the correction that it is."""
        if (reading_id, what) in self.accepted:
            return True
        before, seen = self.parent.get(reading_id), {reading_id}
        while before is not None and before not in seen:
            if (before, what) in self.corrected:
                return True
            seen.add(before)
            before = self.parent.get(before)
        return False


def expected_by(records: Records, terms: SiteTerms) -> Expected:
    """Return what was to be expected of every live reading, given what persons have accepted."""
    return expected_of(records, terms, Settled.of(records).fitting())


def questioned(
    records: Records, terms: SiteTerms, as_of: str, expected: Expected | None = None
) -> pd.DataFrame:
    """Return the live readings that ask for a second look and that no person has settled.

    Parameters
    ----------
    records, terms
        Of the site.
    as_of : str
        ISO date; later readings are left out.
    expected : Expected, optional
        That of ``expected_by``, where it is there already.

    Returns
    -------
    DataFrame
        One row for each question: ``reading_id``, ``stem_id``, ``tree_id``, ``measured_on``, ``what`` (one of
        the words of this module, or of :mod:`layers.hands`), ``verdict`` (of the check, where the size is
        unlike what came before) and ``detail`` (the day that does not go with it, the team whose hand it was
        counted with, or what the other corrections say), by day, latest last.

    Notes
    -----
    Every reading is judged by what came before it alone. A reading that corrects a questioned one by way of
    a settling is settled with it.
    """
    settled = Settled.of(records)
    state = corrected(records.readings, "reading_id", "stem_id")
    live = records.readings.assign(is_forked=state["is_forked"])[state["state"] == LIVE]
    unlike = verdicts(expected or expected_by(records, terms))
    found = [
        *((id, UNLIKE, verdict, None) for id, verdict in unlike),
        *_by_day(records, terms, live),
        *_by_hand(records, terms, live),
        *_high_up(live),
        *_forks(records.readings.join(state)),
    ]
    rows = pd.DataFrame(found, columns=["reading_id", "what", "verdict", "detail"]).astype(object)
    pairs = zip(rows["reading_id"], rows["what"], strict=True)
    rows = rows[np.array([not settled.has(*pair) for pair in pairs], dtype=bool)]
    about = live.set_index("reading_id").reindex(rows["reading_id"])
    tree_of = dict(zip(records.stems["stem_id"], records.stems["tree_id"], strict=True))
    rows = rows.assign(
        stem_id=about["stem_id"].to_numpy(dtype=object),
        tree_id=[tree_of.get(stem) for stem in about["stem_id"]],
        measured_on=about["measured_on"].to_numpy(dtype=object),
    )
    day = rows["measured_on"].fillna("")
    rows = rows[((day <= as_of) | (rows["what"] == AHEAD)).to_numpy(dtype=bool)]
    rows = rows.sort_values(["measured_on", "reading_id"], kind="stable", na_position="first")
    return rows[list(_COLUMNS)].reset_index(drop=True)


def verdicts(expected: Expected, at: Whole | None = None) -> Iterator[tuple[str, Verdict]]:
    """Yield the id and the verdict of readings that do not fit, of all or of some places of ``expected``."""
    places = np.flatnonzero(~_is_near(expected)) if at is None else at
    rows = expected.of.readings.iloc[expected.rows[places]]
    for (_, reading), numbers in zip(rows.iterrows(), packed(expected, places), strict=True):
        said = check(as_typed(reading), numbers)
        if not said.fits:
            yield reading["reading_id"], said


def _is_near(expected: Expected) -> NDArray[np.bool_]:
    """Whether each reading is so near to what was to be expected that nothing can question it."""
    ways, rows = expected.forecast, expected.rows
    dbh = expected.of.sizes.dbh_cm[rows]
    later = _density_to_peak(dbh[:, None], ways.mean_cm, ways.sd_cm, credible(ways))
    usual = expected.of.usual_log[rows]
    young = np.broadcast_to([np.log(YOUNG_MEDIAN_CM), YOUNG_LOG_SD], usual.shape)
    means, sds = (np.column_stack([usual[:, n], young[:, n]]) for n in (0, 1))
    weights = np.broadcast_to([1.0 - YOUNG_SHARE, YOUNG_SHARE], means.shape)
    first = _density_to_peak(np.log(dbh)[:, None], means, sds, weights)
    return np.asarray(np.where(ways.earlier > 0, later, first) >= np.exp(-(NEAR**2) / 2.0))


def _density_to_peak(at: Array, mean: Array, sd: Array, weight: Array) -> Array:
    wide = np.where(weight > 0, sd, 1.0)
    height = weight / wide
    density = np.sum(height * np.exp(-0.5 * ((at - mean) / wide) ** 2), axis=1)
    return np.asarray(density / np.maximum(height.max(axis=1), 1e-300))


def _forks(readings: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    """Corrections that are in use beside others of the same reading, with what the others say."""
    forked = readings[readings["is_forked"]]
    for one in forked[forked["state"] == LIVE].itertuples():
        others = forked[(forked["stem_id"] == one.stem_id) & (forked["state"] != LIVE)]
        yield one.reading_id, FORK, None, ", ".join(_said(other) for other in others.itertuples())


def _said(reading: Any) -> str:
    if reading.void:
        return "crossed out"
    return "only a class" if reading.value != reading.value else f"{reading.value:g} {reading.unit}"


def _by_day(records: Records, terms: SiteTerms, live: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    """Readings whose day does not go with something else that was said."""
    measured = days(live["measured_on"])
    ids = live["reading_id"].to_numpy(dtype=object)
    received = local_days(live["received_at"], terms.time_zone)
    for n in np.flatnonzero(measured > received + np.timedelta64(1, "D")).tolist():
        yield ids[n], AHEAD, None, str(received[n])
    yield from _not_standing(records, live, measured)


def _by_hand(records: Records, terms: SiteTerms, live: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    """Readings counted with a hand that is in doubt."""
    ids = live["reading_id"].to_numpy(dtype=object)
    for place, what, detail in doubtful_hands(live, with_hands(terms, records).hands):
        yield ids[place], what, None, detail


def _high_up(live: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    """Sizes from so high up that they are never brought down, where nothing was said that led up there."""
    said = live["value"].fillna(0.0) > 0.0
    high = said & live["awkward"].isna() & (live["height_m"].astype(float) > HIGHEST_M + 1e-9)
    for reading_id in live.loc[high, "reading_id"]:
        yield reading_id, HIGH_UP, None, None


def _not_standing(
    records: Records, live: pd.DataFrame, measured: NDArray[np.datetime64]
) -> Iterator[tuple[Any, ...]]:
    """Readings of trees that were not planted yet, or were there no more; very old ones of the others."""
    tree = dict(zip(records.stems["stem_id"], records.stems["tree_id"], strict=True))
    tree_ids = live["stem_id"].map(tree)
    planted = dict(zip(records.trees["tree_id"], records.trees["planted_on"], strict=True))
    day = tree_ids.map(planted).to_numpy(dtype=object)
    ids, said = (live[name].to_numpy(dtype=object) for name in ("reading_id", "measured_on"))
    for n in np.flatnonzero(pd.notna(day) & ~np.isnat(measured)).tolist():
        first = day[n][:4] if day[n].endswith(_YEAR_ONLY) else day[n]
        if said[n][: len(first)] < first:
            yield ids[n], PLANTED, None, day[n]
    for n in np.flatnonzero(pd.isna(day) & (measured < np.datetime64(LIVING_MEMORY, "D"))).tolist():
        yield ids[n], LONG_AGO, None, None
    events = settled_events(records.status_events)
    gone = events[(events["status"] == REMOVED) & ~events["in_doubt"].astype(bool) & events["day"].notna()]
    since = dict(zip(gone["subject_id"], gone["happened_on"], strict=True))
    if not since:
        return
    for n, (stem_id, tree_id) in enumerate(zip(live["stem_id"], tree_ids, strict=True)):
        ended = since.get(stem_id) or since.get(tree_id)
        if ended and not np.isnat(measured[n]) and said[n] > ended:
            yield ids[n], GONE, None, ended
