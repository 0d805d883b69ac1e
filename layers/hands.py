"""Trunks counted in hands: how broad a crew's hand is, and what that leaves open.

A crew lays ten hand breadths (or spans) along a tape, five times. Its breadth, the error of the breadth and
the deviation of laying it once follow from the five totals; a trunk of n hands then has the girth n b.

References
----------
.. [1] Budget of our own: u(C)^2 = (n u(b))^2 + n s_p^2 + (b/4)^2 / 3, d = C / pi, with b = mean / 10,
   u(b) = s / (10 sqrt 5) and s_p = s / sqrt 10 of the totals.
.. [2] A British survey of people of 19 to 65 years, as tabulated by the City University of Hong Kong in its
   pages on anthropometry, page 29: breadth of the hand 85 mm (standard deviation 5) of men, 75 mm (4) of
   women; their middle is used where no hand was measured.
.. [3] A span is 9 inches in the traditional units (from memory): a definition, not a measurement.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layers.corrections import LIVE, corrected
from layers.errors import NothingToCompute, OutsideDomain
from layers.units import CM_PER_UNIT

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

INSTRUMENT_OF = {"hands": "hand breadths", "spans": "hand spans"}
UNIT_OF = {instrument: unit for unit, instrument in INSTRUMENT_OF.items()}
USUAL_CM = {"hands": (8.5 + 7.5) / 2.0, "spans": 9 * 2.54}
CM_PER_SAID = {**CM_PER_UNIT, **USUAL_CM}
"""Centimetres of every unit that a reading can be said in; of hands and spans the usual ones."""

LAID, TIMES = 10, 5  # hands one after the other, and how often
FEWEST_TIMES = 3
COUNTED_TO = 0.5  # step of a count, in hands, where it was not said: half a hand, so b/4 either way
MEASURED_LATER, MEASURED_TOO_LATE, NOT_ENTERED, OF_OTHERS, OTHER_PART = (
    "hand measured later",
    "hand measured too late",
    "hand not entered",
    "hand of another team",
    "another part of the hand",
)
LEAST_SD_CM = 1.0 / np.sqrt(12.0)  # of a total: it was hardly read to better than a whole cm (assumption)
_NONE = -1


@dataclass(frozen=True)
class Hand:
    """A hand as its crew measured it on a day.

    ``former_ids`` are those of the records that this one corrects: readings that name one of them mean it.
    """

    calibration_id: str
    crew: str
    instrument: str
    breadth_cm: float
    breadth_se_cm: float
    placement_sd_cm: float
    calibrated_on: str
    former_ids: tuple[str, ...] = ()


def breadth(totals_cm: ArrayLike, laid: int = LAID) -> tuple[float, float, float]:
    """Return the breadth of a hand, its standard error, and the deviation of laying it once [cm].

    Parameters
    ----------
    totals_cm : array_like
        What ``laid`` hands one after the other covered, each time [cm].
    laid : int
        Hands laid each time.

    Raises
    ------
    NothingToCompute
        If there are fewer than three totals: their spread says how well the breadth is known.
    OutsideDomain
        If a total or the number of hands is not above zero.

    Notes
    -----
    b = mean / k, u(b) = s / (k sqrt m), s_p = s / sqrt k with k hands laid m times. Totals that agree by
    chance are not taken for exact: s is at least what rounding to a whole centimetre leaves.
    """
    totals = np.asarray(totals_cm, dtype=float)
    if totals.size < FEWEST_TIMES:
        raise NothingToCompute("the breadth of a hand")
    if laid < 1:
        raise OutsideDomain("hands laid", laid, 1, 100)
    if not (np.isfinite(totals) & (totals > 0)).all():
        raise OutsideDomain("total_cm", float(np.min(totals)), 0, np.inf)
    spread = max(float(np.std(totals, ddof=1)), LEAST_SD_CM)
    error = spread / (laid * np.sqrt(totals.size))
    return float(np.mean(totals)) / laid, float(error), float(spread / np.sqrt(laid))


def girth_parts_cm(
    count: ArrayLike, breadth_cm: ArrayLike, breadth_se_cm: ArrayLike, placement_sd_cm: ArrayLike
) -> tuple[Array, Array, Array]:
    """Return the deviations of a girth of n hands [cm]: of laying them, of counting, of the hand's breadth.

    Parameters
    ----------
    count : array_like
        Hands round the trunk [-].
    breadth_cm, breadth_se_cm, placement_sd_cm : array_like
        Breadth of the hand, its standard error, deviation of laying it once [cm].

    Notes
    -----
    sqrt(n) s_p and (b/4)/sqrt 3 are the reading's own; n u(b) is shared by all readings with that hand.
    """
    n, b = np.asarray(count, dtype=float), np.asarray(breadth_cm, dtype=float)
    laying = np.sqrt(n) * np.asarray(placement_sd_cm, dtype=float)
    counting = np.broadcast_to(COUNTED_TO * b / np.sqrt(12.0), n.shape)
    return np.asarray(laying), np.asarray(counting), np.asarray(n * np.asarray(breadth_se_cm, dtype=float))


def hands_of(calibrations: pd.DataFrame) -> tuple[Hand, ...]:
    """Return the hands that hold among the records of a site.

    Parameters
    ----------
    calibrations : DataFrame
        ``id``, ``crew``, ``instrument``, ``counts``, ``totals_cm`` (JSON, what they covered each time [cm]),
        ``calibrated_on``, ``supersedes``, ``void``: all that was ever said.
    """
    if not len(calibrations):
        return ()
    state = corrected(calibrations, "id", "instrument")["state"].to_numpy(dtype=object)
    chains = _chains(calibrations)
    out = []
    for n in np.flatnonzero(state == LIVE):
        row = calibrations.iloc[n]
        b, error, placement = breadth(json.loads(row["totals_cm"]), int(row["counts"]))
        former = tuple(id for id in chains[row["id"]] if id != row["id"])
        said = (row["id"], row["crew"], row["instrument"])
        out.append(Hand(*said, b, error, placement, row["calibrated_on"], former))
    return tuple(out)


def _chains(calibrations: pd.DataFrame) -> dict[str, list[str]]:
    """All ids of the chain of corrections that each record stands in."""
    parent = dict(zip(calibrations["id"], calibrations["supersedes"], strict=True))

    def root(id: str) -> str:
        seen = {id}
        while (above := parent.get(id)) in parent and above not in seen:
            seen.add(str(above))
            id = str(above)
        return id

    roots = {id: root(id) for id in parent}
    chains: dict[str, list[str]] = {}
    for id, top in roots.items():
        chains.setdefault(top, []).append(id)
    return {id: chains[top] for id, top in roots.items()}


def hand_of_each(readings: pd.DataFrame, known: Sequence[Hand]) -> Whole:
    """Return which of the known hands each reading was taken with, -1 where none is known.

    Parameters
    ----------
    readings : DataFrame
        ``calibration_id``, ``unit``, ``instrument``, ``crew``, ``measured_on``.
    known : sequence of Hand

    Notes
    -----
    The one that the reading names; a count in hands or spans that names none has the hand that its crew
    measured last on its day or before.
    """
    at = np.full(len(readings), _NONE, dtype=np.int64)
    if not known:
        return at
    instrument = readings["instrument"].to_numpy(dtype=object)
    ids = {id: n for n, hand in enumerate(known) for id in (hand.calibration_id, *hand.former_ids)}
    named = readings["calibration_id"].notna().to_numpy()
    position = np.array(list(ids.values()))[
        pd.Index(list(ids)).get_indexer(readings["calibration_id"][named])
    ]
    is_known = readings["calibration_id"][named].isin(list(ids)).to_numpy()
    same = np.array([hand.instrument for hand in known], dtype=object)[position] == instrument[named]
    at[named] = np.where(is_known & same, position, _NONE)
    rows = np.flatnonzero(readings["unit"].isin(list(INSTRUMENT_OF)).to_numpy() & (at < 0))
    cells = [
        readings[name].to_numpy(dtype=object)[rows].tolist() for name in ("crew", "instrument", "measured_on")
    ]
    asked = list(zip(*cells, strict=True))
    found = {each: _last_of_crew(known, *each) for each in dict.fromkeys(asked)}
    at[rows] = [found[each] for each in asked]
    return at


def _last_of_crew(known: Sequence[Hand], crew: object, instrument: object, day: object) -> int:
    if not isinstance(crew, str) or not isinstance(day, str):
        return _NONE
    mine = [
        (hand.calibrated_on, n)
        for n, hand in enumerate(known)
        if hand.crew == crew and hand.instrument == instrument and hand.calibrated_on <= day
    ]
    return max(mine, default=("", _NONE))[1]


def doubtful_hands(readings: pd.DataFrame, known: Sequence[Hand]) -> Iterator[tuple[int, str, str | None]]:
    """Yield the readings whose hand is in doubt: their place, what is asked, and the day or team it is about.

    Parameters
    ----------
    readings : DataFrame
        ``calibration_id``, ``unit``, ``instrument``, ``crew``, ``measured_on``.
    known : sequence of Hand
    """
    named = readings["calibration_id"].notna().to_numpy()
    counted = readings["unit"].isin(list(INSTRUMENT_OF)).to_numpy()
    places = np.flatnonzero(named | (counted & bool(known)))
    by_id = {id: hand for hand in known for id in (hand.calibration_id, *hand.former_ids)}
    at = hand_of_each(readings.iloc[places], known)
    for place, hand in zip(places.tolist(), at.tolist(), strict=True):
        row = readings.iloc[place]
        doubt = _doubt_of_named(row, by_id.get(row["calibration_id"])) if named[place] else None
        if not named[place] and hand == _NONE:
            doubt = _doubt_of_crew(row, known)
        if doubt:
            yield place, *doubt


def _doubt_of_named(reading: pd.Series, hand: Hand | None) -> tuple[str, str | None] | None:
    if hand is None:
        return NOT_ENTERED, None
    if hand.instrument != reading["instrument"]:
        return OTHER_PART, None
    if isinstance(reading["crew"], str) and reading["crew"] != hand.crew:
        return OF_OTHERS, hand.crew
    if question_of_day(reading["measured_on"], hand.calibrated_on):
        return MEASURED_LATER, hand.calibrated_on
    return None


def _doubt_of_crew(reading: pd.Series, known: Sequence[Hand]) -> tuple[str, str | None] | None:
    """Of a count that names no hand: whether its team measured one only after the reading."""
    mine = (reading["crew"], reading["instrument"])
    later = [hand.calibrated_on for hand in known if (hand.crew, hand.instrument) == mine]
    return (MEASURED_TOO_LATE, min(later)) if later and isinstance(reading["measured_on"], str) else None


def question_of_day(measured_on: str | None, calibrated_on: str) -> str | None:
    """Return what to ask about a reading whose hand was measured after it; None where it was before."""
    if measured_on is None or date.fromisoformat(calibrated_on) <= date.fromisoformat(measured_on):
        return None
    return (
        f"The hand was measured on {calibrated_on}, after this reading of {measured_on}. Please check both "
        "days; the reading is kept and counts with that hand."
    )
