"""What people recorded that raises a question about a tree: sights, and being dead."""

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.canopy import HELPERS
from layers.corrections import LIVE, corrected
from layers.days import NO_DAY, days, local_days, order_said
from layers.inputs import Records, SiteTerms
from layers.screening_rules import leaves_expected
from layers.sights import IN_DOUBT, NONE_SEEN, SIGHTS
from layers.standing import DEAD, settled_events
from layers.translating import N_, filled

LONGEST_NOTE = 160  # letters of a note that are shown

NO_DATE = N_("no date")
RECORDED = N_("We have recorded: %(what)s (%(day)s, not said by whom).")
RECORDED_BY = N_("We have recorded: %(what)s (%(day)s, by %(crew)s).")
RECORDED_NOTE = N_("We have recorded: %(what)s (%(day)s, not said by whom): “%(text)s”.")
RECORDED_BY_NOTE = N_("We have recorded: %(what)s (%(day)s, by %(crew)s): “%(text)s”.")
SEVERAL_TIMES = N_("Recorded %(times)s times in all, last: %(day)s.")
IN_DOUBT_NOW = N_("It looked dead; this is in doubt.")
NO_LEAVES_THEN = N_("No leaves were to be expected then: look again in leaf.")
LEAVES_NOT_KNOWN = N_("We do not know whether leaves were to be expected then.")
AS_DEAD = N_("Recorded as dead (%(day)s).")
AS_DEAD_SAID = N_("Recorded as dead, in the words “%(text)s” (%(day)s).")
LOOKED_DEAD = N_("It looked dead (%(day)s); this is in doubt.")
LOOKED_DEAD_SAID = N_("It looked dead, in the words “%(text)s” (%(day)s); this is in doubt.")
SENTENCES = (
    *(NO_DATE, RECORDED, RECORDED_BY, RECORDED_NOTE, RECORDED_BY_NOTE, SEVERAL_TIMES, IN_DOUBT_NOW),
    *(NO_LEAVES_THEN, LEAVES_NOT_KNOWN, AS_DEAD, AS_DEAD_SAID, LOOKED_DEAD, LOOKED_DEAD_SAID),
)

_OUT_OF_LEAF = ("dead", "dying back")  # rules whose sights mean something only in leaf
_BESIDE_A_LEAN = ("dead", "dying back", "branch", "crack", "hollow", "fungus", "soil")


class Seen(NamedTuple):
    """One live sight; ``tree`` is a row number, ``day`` the day of receipt where no day was said."""

    tree: int
    what: str
    day: np.datetime64
    said_on: str
    text: str | None
    crew_kind: str | None


class Raised(NamedTuple):
    """A question that is raised about a tree (a row number), and what raised it.

    ``since`` is the day of the latest evidence (NaT: not said), ``size_m`` a reach or width that a later one
    can exceed.
    """

    tree: int
    rule: str
    target_id: str | None
    evidence: str
    since: np.datetime64
    danger: bool = False
    size_m: float = float("nan")


def live_sights(records: Records, trees: pd.DataFrame, terms: SiteTerms, as_of: str) -> list[Seen]:
    """Return the sights that hold on a day, the oldest first; an undated one counts from its receipt."""
    observations = records.observations
    is_sight = observations["what"].isin(SIGHTS).to_numpy(dtype=bool)
    if not is_sight.any():
        return []
    state = corrected(observations, "observation_id", "tree_id")["state"]
    told = observations[is_sight & (state == LIVE).to_numpy(dtype=bool)]
    day = days(told["observed_on"])
    day = np.where(np.isnat(day), local_days(told["received_at"], terms.time_zone), day)
    tree = pd.Index(trees["tree_id"]).get_indexer(told["tree_id"])
    held = np.flatnonzero((tree >= 0) & (np.isnat(day) | (day <= np.datetime64(as_of, "D"))))
    rank = order_said(told, "observation_id")
    never_first = np.where(np.isnat(day), np.datetime64("0000-01-01", "D"), day)
    order = held[np.lexsort((rank[held], never_first[held]))]
    cells = zip(
        *(told[name].to_numpy(dtype=object)[order] for name in ("what", "text", "crew_kind")), strict=True
    )
    said = [
        _as_said(on, precision)
        for on, precision in told[["observed_on", "date_precision"]].iloc[order].itertuples(index=False)
    ]
    return [
        Seen(int(tree[i]), what, day[i], on, text, crew)
        for i, on, (what, text, crew) in zip(order, said, cells, strict=True)
    ]


def _as_said(on: str | None, precision: str | None) -> str:
    if not on:
        return NO_DATE
    return on[: {"month": 7, "year": 4}.get(precision or "", 10)]


def signs(
    sights: list[Seen], records: Records, trees: pd.DataFrame, terms: SiteTerms, as_of: str
) -> list[Raised]:
    """Return the signs of each tree that stands, one a tree and rule."""
    latitude = trees["lat_deg"].to_numpy(dtype=float, na_value=np.nan)
    groups: dict[tuple[int, str], list[Seen]] = {}
    for seen in sights:
        rule = SIGHTS[seen.what].rule
        if rule is not None:
            groups.setdefault((seen.tree, rule), []).append(seen)
    dead = [sign for sign in _dead(records, trees, as_of) if (sign.tree, sign.rule) not in groups]
    beside = {tree for tree, rule in groups if rule in _BESIDE_A_LEAN} | {sign.tree for sign in dead}
    raised = [
        _sign(tree, rule, rows, float(latitude[tree]), terms)
        for (tree, rule), rows in groups.items()
        if tree in beside or not all(SIGHTS[seen.what].is_note for seen in rows)
    ]
    return raised + dead


def _sign(tree: int, rule: str, rows: list[Seen], lat_deg: float, terms: SiteTerms) -> Raised:
    """One sign from the sights of one tree and rule, oldest first."""
    dangers = [seen for seen in rows if SIGHTS[seen.what].danger]
    shown = (dangers or rows)[-1]
    evidence = [_sentence(shown)]
    if rule in _OUT_OF_LEAF:
        evidence += _doubts(rule, shown, lat_deg, terms)
    if len(rows) > 1:
        evidence.append(filled(SEVERAL_TIMES, times=len(rows), day=rows[-1].said_on))
    return Raised(tree, rule, None, " ".join(evidence), rows[-1].day, bool(dangers))


def _sentence(seen: Seen) -> str:
    bare, noted = (RECORDED_BY, RECORDED_BY_NOTE) if seen.crew_kind else (RECORDED, RECORDED_NOTE)
    return filled(
        noted if seen.text else bare,
        what=SIGHTS[seen.what].plain,
        day=seen.said_on,
        crew=seen.crew_kind,
        text=(seen.text or "")[:LONGEST_NOTE],
    )


def _doubts(rule: str, seen: Seen, lat_deg: float, terms: SiteTerms) -> list[str]:
    """Say what stands against a sight: seen out of leaf, or by helpers."""
    month = int(seen.said_on[5:7]) if len(seen.said_on) >= 7 and seen.said_on[:4].isdigit() else None
    in_leaf = leaves_expected(month, lat_deg, terms.country)
    doubts = []
    if rule == "dead" and (seen.what == IN_DOUBT or seen.crew_kind in HELPERS or in_leaf is not True):
        doubts.append(IN_DOUBT_NOW)
    if in_leaf is False:
        doubts.append(NO_LEAVES_THEN)
    elif in_leaf is None:
        doubts.append(LEAVES_NOT_KNOWN)
    return doubts


def _dead(records: Records, trees: pd.DataFrame, as_of: str) -> list[Raised]:
    """Signs of trees that are dead by their status, or that somebody thought dead."""
    events = settled_events(records.status_events)
    day = events["day"].to_numpy()
    until = np.isnat(day) | (day <= np.datetime64(as_of, "D"))
    events = events[until & (events["subject"] == "tree").to_numpy(dtype=bool)]
    latest = events.drop_duplicates("subject_id", keep="last")
    latest = latest[latest["status"] == DEAD]
    said = {event.subject_id: event for event in latest.itertuples(index=False)}
    as_written = dict(zip(records.trees["tree_id"], records.trees["status_as_said"], strict=True))
    raised = []
    for tree, (tree_id, status) in enumerate(zip(trees["tree_id"], trees["status"], strict=True)):
        event = said.get(tree_id)
        if event is not None and (event.in_doubt or status == DEAD):
            raised.append(Raised(tree, "dead", None, _dead_as_said(event, status), event.day))
        elif status == DEAD:
            words = _told_dead(AS_DEAD, AS_DEAD_SAID, as_written.get(tree_id), None)
            raised.append(Raised(tree, "dead", None, words, NO_DAY))
    return raised


def _dead_as_said(event: Any, status: str) -> str:
    if event.in_doubt and status != DEAD:
        return _told_dead(LOOKED_DEAD, LOOKED_DEAD_SAID, event.as_said, event.happened_on)
    return _told_dead(AS_DEAD, AS_DEAD_SAID, event.as_said, event.happened_on)


def _told_dead(bare: str, in_words: str, said: object, on: str | None) -> str:
    day = on or NO_DATE
    if isinstance(said, str) and said:
        return filled(in_words, text=said[:LONGEST_NOTE], day=day)
    return filled(bare, day=day)


def sights_by_tree(sights: list[Seen], trees: int) -> tuple[NDArray[np.bool_], dict[str, NDArray[np.bool_]]]:
    """Return which trees somebody looked over for all sights, and by rule which have a sight of it."""
    none_seen = np.zeros(trees, dtype=bool)
    by_rule: dict[str, NDArray[np.bool_]] = {}
    for seen in sights:
        rule = SIGHTS[seen.what].rule
        if seen.what == NONE_SEEN:
            none_seen[seen.tree] = True
        elif rule is not None:
            by_rule.setdefault(rule, np.zeros(trees, dtype=bool))[seen.tree] = True
    return none_seen, by_rule
