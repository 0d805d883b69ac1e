"""Calendar days as numbers: ISO text in, datetime64[D] out."""

import datetime as dt
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.error_model import Whole

Days = NDArray[np.datetime64]

NO_DAY = np.datetime64("NaT", "D")
NO_TIME = float("-inf")


def days(texts: pd.Series) -> Days:
    """Return the days of ISO dates, NaT where there is none."""
    return _each(texts, lambda text: np.datetime64(str(text)[:10], "D"))


def local_days(times: pd.Series, time_zone: str) -> Days:
    """Return the calendar days in a time zone of ISO times in UTC, NaT where there is none."""
    return _each(times, lambda text: _local_day(str(text), time_zone))


def _local_day(text: str, time_zone: str) -> np.datetime64:
    time = pd.Timestamp(text)
    time = time if time.tzinfo else time.tz_localize("UTC")
    return np.datetime64(time.tz_convert(time_zone).date(), "D")


def held_on(first: pd.Series, last: pd.Series, day: str) -> NDArray[np.bool_]:
    """Return what holds on a day, by first and last day (ISO, both included); none is open on that side."""
    begun: NDArray[np.bool_] = np.asarray(first.fillna("") <= day, dtype=bool)
    not_over: NDArray[np.bool_] = np.asarray(last.fillna("9999-12-31") >= day, dtype=bool)
    return np.logical_and(begun, not_over)


def _each(texts: pd.Series, day: Callable[[object], np.datetime64]) -> Days:
    """The day of every text, worked out once for each that is alike."""
    codes, unique = pd.factorize(texts.to_numpy(dtype=object))
    known = np.array([day(text) for text in unique] + [NO_DAY], dtype="datetime64[D]")
    return np.asarray(known[codes])


def order_said(records: pd.DataFrame, id_column: str) -> Whole:
    """Return the rank of each record among those of one day, whatever order they came in.

    By the time at which it was said, else received; then by id.
    """
    nothing = pd.Series([None] * len(records), dtype=object)
    said, received = (records.get(name, nothing) for name in ("recorded_at", "received_at"))
    is_said = np.array([isinstance(text, str) for text in said], dtype=bool)
    codes, texts = pd.factorize(np.where(is_said, said, received))
    times = np.array([*(seconds_of(text) for text in texts), NO_TIME])[codes]
    rank = np.empty(len(records), dtype=np.int64)
    rank[np.lexsort((records[id_column].to_numpy(dtype=object).astype(str), times))] = np.arange(len(records))
    return rank


def seconds_of(said: object) -> float:
    """Return a time said as ISO text as seconds since 1970 UTC; one that cannot be read is earliest."""
    if not isinstance(said, str):
        return NO_TIME
    try:
        when = dt.datetime.fromisoformat(said)
    except ValueError:
        return NO_TIME
    return (when if when.tzinfo else when.replace(tzinfo=dt.UTC)).timestamp()


def latest_per_group(group: Whole, usable: NDArray[np.bool_], groups: int) -> Whole:
    """Return the last usable row of every group, -1 where there is none; rows are in the order of time."""
    last = np.full(groups, -1, dtype=np.int64)
    rows = np.flatnonzero(usable & (group >= 0))
    np.maximum.at(last, group[rows], rows)
    return last
