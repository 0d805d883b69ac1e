"""Dangers that people reported, and which of them a manager has answered.

A danger is said in one of two ways: by a danger report, which may name no tree and says what was done at
once, or as an observation of one of the six sights (lists, and what was kept before there were reports). A
report of a tree counts as an observation of its sight as well: so it raises the tree's question, which only
a qualified party's finding answers. An answer of the manager takes a danger off the top of the pages and
leaves that question as it is. What stands depends on the set of records alone, never on their order.
"""

import json
from collections.abc import Mapping

import pandas as pd

from layers import columns
from layers.corrections import LIVE, WAITING, corrected
from layers.days import order_said
from layers.inputs import Records
from layers.sights import DANGERS
from layers.standing import REMOVED, settled_events

DANGER_WORDS = tuple(sight.word for sight in DANGERS)
COLUMNS = (
    *("danger_id", "sight", "tree_id", "place", "lon_deg", "lat_deg", "x_m", "y_m", "text", "seen_on"),
    *("crew", "crew_kind", "round_id", "leader_did", "leader_called", "leader_at"),
    *("recorded_at", "received_at", "supersedes", "void", "change_no"),
)
_OF_OBSERVATIONS = {"observation_id": "danger_id", "what": "sight", "observed_on": "seen_on"}


def with_reports(observations: pd.DataFrame, reports: pd.DataFrame) -> pd.DataFrame:
    """Return the observations of a site with its danger reports of trees among them.

    Parameters
    ----------
    observations : DataFrame
        Columns of OBSERVATION_RECORD.
    reports : DataFrame
        The table of danger reports; those without a tree are left out. A record that was sent both ways
        under one id counts as the report.

    Returns
    -------
    DataFrame
        Columns of OBSERVATION_RECORD, the reports last; a new index.
    """
    if not len(reports):
        return observations
    of_trees = reports[reports["tree_id"].notna()]
    told = of_trees.rename(columns={"id": "observation_id", "sight": "what", "seen_on": "observed_on"})
    told = told.assign(date_precision=["day" if day else "unknown" for day in told["observed_on"]])
    own = observations[~observations["observation_id"].isin(reports["id"])]
    return pd.concat([own, columns.shaped("observation_record", told)], ignore_index=True)


def dangers_of(records: Records) -> pd.DataFrame:
    """Return the dangers that hold, whatever the day, those seen last first.

    Returns
    -------
    DataFrame
        ``COLUMNS`` and ``answered``: whether a manager has answered it, or what it corrects. ``leader_did``
        is a tuple of words of `layers.stop_card.LEADER_DID`. A correction that waits for what it corrects
        is among them: nothing is hidden because something is late. One seen at a tree that was taken out on
        that day or later, as settled, is over.
    """
    said = _said(records)
    if not len(said):
        return said.assign(answered=pd.Series(dtype=bool))
    state = corrected(said.assign(subject=said["tree_id"].fillna("")), "danger_id", "subject")["state"]
    held = state.isin([LIVE, WAITING]) & ~said["void"].astype(bool) & said["sight"].isin(DANGER_WORDS)
    out = said[held & ~_is_over(said, records)].reset_index(drop=True)
    roots = _roots(said)
    answered = _answered(records.danger_answers, said, roots)
    keys = [(roots.get(id, id), sight) for id, sight in zip(out["danger_id"], out["sight"], strict=True)]
    out["answered"] = pd.Series([key in answered for key in keys], dtype=bool)
    out = out.assign(seen=_seen(out), said=order_said(out, "danger_id"))
    out = out.sort_values(["seen", "said"], ascending=False, ignore_index=True)
    return out[[*COLUMNS, "answered"]]


def _seen(said: pd.DataFrame) -> pd.Series:
    """The day on which each was seen, as far as that was said, else received."""
    told = zip(said["seen_on"], said["received_at"], strict=True)
    return pd.Series([(seen or received or "")[:10] for seen, received in told], said.index, dtype=object)


def _is_over(said: pd.DataFrame, records: Records) -> pd.Series:
    """Whether the tree was taken out since, as whoever looks after the ground settled it."""
    events = settled_events(records.status_events)
    events = events[(events["subject"] == "tree") & ~events["in_doubt"].astype(bool)]
    last = events.drop_duplicates("subject_id", keep="last")
    last = last[(last["status"] == REMOVED) & last["happened_on"].notna()]
    gone = dict(zip(last["subject_id"], last["happened_on"], strict=True))
    pairs = zip(said["tree_id"], _seen(said), strict=True)
    return pd.Series([gone.get(tree_id, "") >= seen > "" for tree_id, seen in pairs], said.index, dtype=bool)


def _said(records: Records) -> pd.DataFrame:
    """Every report, and every observation of a danger or of a chain in which there may be one."""
    reports = records.danger_reports
    parts = []
    if len(reports):
        did = pd.Series([tuple(json.loads(text)) if text else () for text in reports["leader_did"]])
        parts.append(reports.rename(columns={"id": "danger_id"}).assign(leader_did=did.to_numpy()))
    seen = records.observations.rename(columns=_OF_OBSERVATIONS)
    seen = seen[~seen["danger_id"].isin(reports["id"] if len(reports) else ())]
    if len(seen):
        is_corrected = seen["danger_id"].isin(seen["supersedes"].dropna())
        linked = seen["supersedes"].notna() | is_corrected | seen["sight"].isin(DANGER_WORDS)
        seen = seen[linked.to_numpy(dtype=bool)]
        parts.append(seen.assign(leader_did=[()] * len(seen)))
    rows = [part.reindex(columns=list(COLUMNS)).astype(object) for part in parts]
    said = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=list(COLUMNS), dtype=object)
    return said.where(said.notna(), None)


def _roots(said: pd.DataFrame) -> dict[str, str]:
    """For each record that corrects another one, the first of its chain as far as it has arrived."""
    known = set(said["danger_id"])
    parent = {
        id: of for id, of in zip(said["danger_id"], said["supersedes"], strict=True) if of in known and of
    }
    roots = {}
    for id in parent:
        way = [id]
        while way[-1] in parent and parent[way[-1]] not in way:
            way.append(parent[way[-1]])
        roots[id] = way[-1]
    return roots


def _answered(answers: pd.DataFrame, said: pd.DataFrame, roots: Mapping[str, str]) -> set[tuple[str, str]]:
    """The chains and sights that were answered: an answer holds for what it was about and its corrections."""
    if not len(answers):
        return set()
    sight = dict(zip(said["danger_id"], said["sight"], strict=True))
    return {(roots.get(id, id), sight[id]) for id in _live(answers)["report_id"] if id in sight}


def _live(answers: pd.DataFrame) -> pd.DataFrame:
    return answers[(corrected(answers, "id", "report_id")["state"] == LIVE).to_numpy(dtype=bool)]


def answers_to(answers: pd.DataFrame) -> dict[str, list[dict[str, object]]]:
    """Return the answers that hold, by the id of what they answer, the first one first."""
    if not len(answers):
        return {}
    out: dict[str, list[dict[str, object]]] = {}
    for row in _live(answers).sort_values("answered_on", kind="stable").to_dict("records"):
        out.setdefault(row["report_id"], []).append({str(name): value for name, value in row.items()})
    return out
