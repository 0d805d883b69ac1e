"""Trunks counted in hands beside what tapes say of them: how far off each team's hands are."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from layers.class_learning import Middle, Sides, middle_of, sides_of
from layers.corrections import LIVE
from layers.girth import girth_cm, standardised
from layers.hands import INSTRUMENT_OF, USUAL_CM, hand_of_each
from layers.history import live_readings
from layers.inputs import Records, SiteTerms, with_hands
from layers.site_model import PUBLISHED

TAPES = ("girth tape", "diameter tape")
SAME_DAYS = 31  # a tape this near is taken as of the same day (assumption)
LONGEST_DAYS = 800  # to the tape before and to the one after (assumption)
SAME, BETWEEN = "same days", "between"

COLUMNS = (
    *("tree_id", "stem_id", "crew", "round_id", "calibration_id", "breadth_cm"),
    *("hand_cm", "tape_cm", "ratio", "how"),
)


@dataclass(frozen=True)
class HandOfTeam:
    """A team's hand beside tapes.

    ``breadth_cm`` is what a hand was counted with (None: not said, the team wrote lengths), ``measured``
    whether the team had measured it, ``agreeing_cm`` the breadth with which the middle would agree.
    """

    crew: str
    breadth_cm: float | None
    measured: bool
    trunks: int
    ratio: Middle | None
    agreeing_cm: float | None


@dataclass(frozen=True)
class Hands:
    """Hands over tapes: one row a trunk that both measured, the middle of all, then each team's hand."""

    rows: pd.DataFrame
    ratio: Middle | None
    sides: Sides
    by_hand: tuple[HandOfTeam, ...]


def hands_beside_tapes(records: Records, terms: SiteTerms) -> pd.DataFrame:
    """Return every reading in hands or spans of which tapes tell the same trunk.

    Parameters
    ----------
    records : Records
        Everything that was said.
    terms : SiteTerms
        Breast height [m] of the site; the model in use plays no part.

    Returns
    -------
    DataFrame
        ``hand_cm`` and ``tape_cm`` are girths at breast height; ``how`` says whether the tape is of the same
        days, or taken between one before and one after.

    Notes
    -----
    The tape's size is the mean of those within 31 days, else on the straight line between the last before
    and the first after, each at most 800 days away; without these a reading in hands is left out.
    """
    terms = replace(with_hands(terms, records), model=PUBLISHED)
    known = live_readings(records.readings)
    live = known[(known["state"] == LIVE).to_numpy(dtype=bool)]
    live = live[live["measured_on"].notna().to_numpy(dtype=bool)]
    counted = live["instrument"].isin(list(INSTRUMENT_OF.values()))
    of_counted = live["stem_id"].isin(live.loc[counted, "stem_id"])
    wanted = counted | (live["instrument"].isin(TAPES) & of_counted)
    live = live[wanted.to_numpy(dtype=bool)].reset_index(drop=True)
    sizes = standardised(live, records.stems, records.trees, terms).readings
    at = hand_of_each(live, terms.hands)
    broad = np.array([hand.breadth_cm for hand in terms.hands] + [np.nan])[at]
    broad = np.where(np.isnan(broad), live["unit"].map(USUAL_CM).to_numpy(dtype=float), broad)
    ids = np.array([hand.calibration_id for hand in terms.hands] + [None], dtype=object)[at]
    sizes = sizes.assign(
        round_cm=girth_cm(sizes["dbh_cm"]),
        day=pd.to_datetime(sizes["measured_on"]),
        breadth_cm=broad,
        calibration_id=ids,
        crew=sizes["crew"].fillna("").astype(str),
    )
    return _beside(sizes[np.isfinite(sizes["round_cm"])])


def _beside(sizes: pd.DataFrame) -> pd.DataFrame:
    is_tape = sizes["instrument"].isin(TAPES)
    by_day = sizes[is_tape].groupby(["stem_id", "day"], as_index=False)["round_cm"].mean()
    tapes = {stem: each.set_index("day")["round_cm"] for stem, each in by_day.groupby("stem_id")}
    rows = []
    for one in sizes[~is_tape & sizes["stem_id"].isin(list(tapes))].itertuples():
        tape, how = _tape_on(tapes[one.stem_id], one.day)
        if tape is not None:
            said = (one.tree_id, one.stem_id, one.crew, one.round_id, one.calibration_id, one.breadth_cm)
            rows.append((*said, one.round_cm, tape, one.round_cm / tape, how))
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.sort_values(["tape_cm", "stem_id", "crew"], kind="stable").reset_index(drop=True)


def _tape_on(tape: pd.Series, day: pd.Timestamp) -> tuple[float | None, str]:
    """What tapes say of a trunk on a day [cm]; by day, the earliest first."""
    away = (tape.index - day).days.to_numpy()
    near = np.abs(away) <= SAME_DAYS
    if near.any():
        return float(tape[near].mean()), SAME
    before, after = np.flatnonzero(away < 0)[-1:], np.flatnonzero(away > 0)[:1]
    if not (len(before) and len(after)) or max(-away[before[0]], away[after[0]]) > LONGEST_DAYS:
        return None, ""
    ends = [before[0], after[0]]
    return float(np.interp(0.0, away[ends], tape.to_numpy()[ends])), BETWEEN


def hands_of(rows: pd.DataFrame) -> Hands:
    """Return how far off hands are.

    Parameters
    ----------
    rows : DataFrame
        As of :func:`hands_beside_tapes`, of some rounds or teams.
    """
    keys = [rows["crew"], rows["calibration_id"].fillna("").astype(str)]
    each = tuple(_of_team(crew, bool(id), group) for (crew, id), group in rows.groupby(keys, sort=True))
    return Hands(rows, middle_of(rows["ratio"]), sides_of(rows["ratio"]), each)


def _of_team(crew: str, measured: bool, group: pd.DataFrame) -> HandOfTeam:
    ratio = middle_of(group["ratio"])
    broad = group["breadth_cm"].to_numpy(dtype=float)
    same = len(broad) > 0 and np.isfinite(broad).all() and np.ptp(broad) < 1e-9
    breadth = float(broad[0]) if same else None
    agreeing = breadth / ratio.middle if breadth is not None and ratio is not None else None
    return HandOfTeam(crew, breadth, measured, len(group), ratio, agreeing)
