"""Which trees stand on a day, and what state they and their stems are in."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.corrections import LIVE, corrected
from layers.days import Days, days, latest_per_group
from layers.error_model import Whole
from layers.inputs import Records

LIVING, DEAD, REMOVED, UNKNOWN = "living", "dead", "removed", "unknown"
COUNTED = (LIVING, UNKNOWN)  # count as living


def standing(records: Records, live_readings: pd.DataFrame, day: np.datetime64) -> pd.DataFrame:
    """Return the trees that have stood on a day or before, with their status then.

    Parameters
    ----------
    records : Records
        Trees, observations and status events of the site.
    live_readings : DataFrame
        Readings that hold, with ``stem_id`` and ``measured_on``.
    day : datetime64
        The day, taken to its end.

    Returns
    -------
    DataFrame
        ``tree_id``, ``tree_status`` and ``in_doubt``, in the order of the trees.

    Notes
    -----
    A tree stands from its planting, else from its first dated record, else always, until a status event.
    """
    trees = records.trees
    events = settled_events(records.status_events)
    planted = days(trees["planted_on"])
    first = _first_dated(records, live_readings, events)
    begins = np.where(np.isnat(planted), first, planted)
    stood = np.isnat(begins) | (begins <= day)
    of_trees = events[events["subject"] == "tree"]
    status, in_doubt = statuses(trees["tree_id"], trees["status"], of_trees, day)
    out = pd.DataFrame({"tree_id": trees["tree_id"].to_numpy(dtype=object), "tree_status": status})
    return out.assign(in_doubt=in_doubt)[stood].reset_index(drop=True)


def settled_events(events: pd.DataFrame) -> pd.DataFrame:
    """Return the status events that hold, ordered by the ``day`` from which they hold (column added)."""
    state = corrected(events, "status_event_id", "subject_id")["state"]
    live = events[state == LIVE]
    live = live.assign(day=days(live["happened_on"]))
    order = np.lexsort((live["fid"].to_numpy(dtype=float, na_value=-1), _always_first(live["day"])))
    return live.iloc[order].reset_index(drop=True)


def statuses(
    ids: pd.Series, written: pd.Series, events: pd.DataFrame, day: np.datetime64
) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Return the status of trees or stems on a day, and whether somebody's doubt is open.

    That of the latest event until then. Where all events are later, what is written on the record is what
    became of it in the end, so that it was alive before. Where there are none, what is written holds.
    """
    index = pd.Index(ids)
    written_status = written.where(written.notna(), UNKNOWN).to_numpy(dtype=object)
    at = index.get_indexer(events["subject_id"])
    event_day = events["day"].to_numpy()
    known = at >= 0
    has_events = np.zeros(len(index), dtype=bool)
    has_events[at[known & ~events["in_doubt"].to_numpy(dtype=bool)]] = True
    gone_later = has_events & np.isin(written_status, (DEAD, REMOVED))
    status = np.where(gone_later, UNKNOWN, written_status)

    until = known & (np.isnat(event_day) | (event_day <= day))
    doubtful = events["in_doubt"].to_numpy(dtype=bool)
    last = latest_per_group(at, until & ~doubtful, len(index))
    status = np.where(last >= 0, _at(events["status"], last), status)
    doubt = latest_per_group(at, until & doubtful, len(index))
    in_doubt = (doubt > last) & np.isin(status, COUNTED)
    return status, in_doubt


def _at(values: pd.Series, rows: Whole) -> NDArray[np.object_]:
    if not len(values):
        return np.full(len(rows), None, dtype=object)
    return np.asarray(values.to_numpy(dtype=object)[rows], dtype=object)


def _always_first(day: pd.Series) -> Whole:
    """Days as numbers, an event without a day (it always held) before all others."""
    number = day.to_numpy().astype("datetime64[D]").astype(np.int64)
    return np.where(np.isnat(day.to_numpy()), np.iinfo(np.int64).min, number)


def _first_dated(records: Records, readings: pd.DataFrame, events: pd.DataFrame) -> Days:
    """The day of the first dated record of each tree, NaT without one."""
    trees = pd.Index(records.trees["tree_id"])
    stem_tree = records.stems["tree_id"].to_numpy(dtype=object)
    stems = pd.Index(records.stems["stem_id"])
    tree_at = trees.get_indexer(stem_tree)
    seen = records.observations
    seen = seen[corrected(seen, "observation_id", "tree_id")["state"] == LIVE]
    on_stem = (events["subject"] == "stem").to_numpy()
    found = [
        (_through(stems.get_indexer(readings["stem_id"]), tree_at), days(readings["measured_on"])),
        (trees.get_indexer(seen["tree_id"]), days(seen["observed_on"])),
        (trees.get_indexer(events["subject_id"][~on_stem]), events["day"].to_numpy()[~on_stem]),
        (
            _through(stems.get_indexer(events["subject_id"][on_stem]), tree_at),
            events["day"].to_numpy()[on_stem],
        ),
    ]
    first = np.full(len(trees), np.iinfo(np.int64).max)
    for at, day in found:
        dated = (at >= 0) & ~np.isnat(day)
        np.minimum.at(first, at[dated], day[dated].astype("datetime64[D]").astype(np.int64))
    none = first == np.iinfo(np.int64).max
    return np.where(none, np.datetime64("NaT", "D"), np.where(none, 0, first).astype("datetime64[D]"))


def _through(at: Whole, onward: Whole) -> Whole:
    """Follow one position to the next, -1 where either is unknown."""
    if not len(onward):
        return np.full(len(at), -1)
    return np.where(at >= 0, onward[at], -1)
