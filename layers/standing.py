"""Which trees stand on a day, and what state they and their stems are in."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.corrections import LIVE, corrected
from layers.days import NO_DAY, Days, days, latest_per_group, local_days, order_said
from layers.error_model import Whole
from layers.inputs import Records

LIVING, DEAD, REMOVED, UNKNOWN = "living", "dead", "removed", "unknown"
COUNTED = (LIVING, UNKNOWN)  # count as living


def standing(
    records: Records, live_readings: pd.DataFrame, day: np.datetime64, time_zone: str
) -> pd.DataFrame:
    """Return the trees that have stood on a day or before, with their status then.

    Parameters
    ----------
    records : Records
        Trees, observations and status events of the site.
    live_readings : DataFrame
        Readings that hold, with ``stem_id``, ``measured_on`` and ``received_at``.
    day : datetime64
        The day, taken to its end.
    time_zone : str
        That of the site.

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
    first = _first_dated(records, live_readings, events, time_zone)
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
    order = np.lexsort((order_said(live, "status_event_id"), _always_first(live["day"])))
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


def _first_dated(records: Records, readings: pd.DataFrame, events: pd.DataFrame, time_zone: str) -> Days:
    """The day of the first dated record of each tree, NaT without one.

    The end of a tree begins none. Beside a dated record one without a date counts from its receipt, so that
    measuring a tree does not take it out of the years before.
    """
    trees, stems = pd.Index(records.trees["tree_id"]), pd.Index(records.stems["stem_id"])
    tree_of_stem = trees.get_indexer(records.stems["tree_id"])
    seen = records.observations
    seen = seen[corrected(seen, "observation_id", "tree_id")["state"] == LIVE]
    begun = events[~events["status"].isin((DEAD, REMOVED)).to_numpy(dtype=bool)]
    of_stem = _through(stems.get_indexer(begun["subject_id"]), tree_of_stem)
    tree = np.concatenate(
        [
            _through(stems.get_indexer(readings["stem_id"]), tree_of_stem),
            trees.get_indexer(seen["tree_id"]),
            np.where(begun["subject"] == "stem", of_stem, trees.get_indexer(begun["subject_id"])),
        ]
    )
    dated = np.concatenate(
        [days(readings["measured_on"]), days(seen["observed_on"]), begun["day"].to_numpy()]
    )
    received = np.concatenate(
        [
            local_days(readings["received_at"], time_zone),
            local_days(seen["received_at"], time_zone),
            np.full(len(begun), NO_DAY),
        ]
    )
    first = _earliest(tree, dated, len(trees))
    return np.where(
        np.isnat(first), first, _earliest(tree, np.where(np.isnat(dated), received, dated), len(trees))
    )


def _earliest(group: Whole, day: Days, groups: int) -> Days:
    """The earliest day of every group, NaT where there is none."""
    never = np.iinfo(np.int64).max
    first = np.full(groups, never)
    known = (group >= 0) & ~np.isnat(day)
    np.minimum.at(first, group[known], day[known].astype("datetime64[D]").astype(np.int64))
    return np.where(first == never, NO_DAY, np.where(first == never, 0, first).astype("datetime64[D]"))


def _through(at: Whole, onward: Whole) -> Whole:
    """Follow one position to the next, -1 where either is unknown."""
    if not len(onward):
        return np.full(len(at), -1)
    return np.where(at >= 0, onward[at], -1)
