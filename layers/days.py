"""Calendar days as numbers: ISO text in, datetime64[D] out."""

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.error_model import Whole

Days = NDArray[np.datetime64]

NO_DAY = np.datetime64("NaT", "D")


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


def _each(texts: pd.Series, day: Callable[[object], np.datetime64]) -> Days:
    """The day of every text, worked out once for each that is alike."""
    codes, unique = pd.factorize(texts.to_numpy(dtype=object))
    known = np.array([day(text) for text in unique] + [NO_DAY], dtype="datetime64[D]")
    return np.asarray(known[codes])


def latest_per_group(group: Whole, usable: NDArray[np.bool_], groups: int) -> Whole:
    """Return the last usable row of every group, -1 where there is none; rows are in the order of time."""
    last = np.full(groups, -1, dtype=np.int64)
    rows = np.flatnonzero(usable & (group >= 0))
    np.maximum.at(last, group[rows], rows)
    return last
