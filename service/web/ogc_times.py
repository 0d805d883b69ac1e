"""A moment or interval as a request says it, as the days in UTC that it touches.

References
----------
OGC 17-069r4, OGC API - Features - Part 1: Core, section 7.15.4 (datetime); RFC 3339, Date and Time on the
Internet, 2002. Durations (``2020-01-01/P2D``) are of ISO 8601-1:2019, section 5.5.2.4.
"""

import datetime as dt
import re

from flask_babel import gettext as _

from service.errors import InvalidRequest
from service.feature_questions import Days

OPEN = ("", "..")
_MOMENT = re.compile(
    r"(\d{4}-\d\d-\d\d)"
    r"(?:[Tt](?:(\d\d:\d\d:\d\d)(?:\.\d+)?([Zz]|[+-]\d\d:\d\d)?)?)?",  # a bare T is sent by common readers
    re.ASCII,
)
_DURATION = re.compile(
    r"P(?=.)(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?"
    r"(?:T(?=.)(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?",
    re.ASCII,
)


def days_of(said: str) -> Days:
    """Return the first and the last day that a moment or interval touches, None where it is open.

    Raises
    ------
    InvalidRequest
        If it is neither, or ends before it begins.
    """
    ends = said.split("/")
    try:
        if len(ends) == 1:
            day = _moment(said).date().isoformat()
            return day, day
        first, last = _ends(*ends)
    except (ValueError, TypeError, OverflowError) as error:
        what = _(
            "%(said)s is no moment and no interval; write 2024-05-14, 2024-05-14T00:00:00Z, "
            "2024-01-01/2024-12-31, ../2024-12-31 or 2024-01-01/.. instead.",
            said=repr(said)[:60],
        )
        raise InvalidRequest([("datetime", what)]) from error
    if first and last and first > last:
        raise InvalidRequest([("datetime", _("The interval ends before it begins; change its ends about."))])
    return _day(first), _day(last)


def _ends(first: str, last: str) -> tuple[dt.datetime | None, dt.datetime | None]:
    if last.startswith("P"):
        begins = _moment(first)
        return begins, _later(begins, last, 1)
    if first.startswith("P"):
        ends = _moment(last)
        return _later(ends, first, -1), ends
    return (None if first in OPEN else _moment(first)), (None if last in OPEN else _moment(last))


def _moment(said: str) -> dt.datetime:
    found = _MOMENT.fullmatch(said)
    if found is None:
        raise ValueError(said)
    day, time, zone = found.groups()
    clock = (time or "00:00:00").replace(":60", ":59")  # a leap second
    moment = dt.datetime.fromisoformat(f"{day}T{clock}{(zone or 'Z').upper()}")
    return moment.astimezone(dt.UTC)


def _day(moment: dt.datetime | None) -> str | None:
    return None if moment is None else moment.date().isoformat()


def _later(moment: dt.datetime, duration: str, sign: int) -> dt.datetime:
    found = _DURATION.fullmatch(duration)
    if found is None or len(duration) > 40:
        raise ValueError(duration)
    years, months, weeks, days, hours, minutes, seconds = (sign * int(part or 0) for part in found.groups())
    month = moment.year * 12 + moment.month - 1 + years * 12 + months
    first = moment.replace(year=month // 12, month=month % 12 + 1, day=1)
    last_day = (first.replace(day=28) + dt.timedelta(days=4)).replace(day=1) - dt.timedelta(days=1)
    same = first.replace(day=min(moment.day, last_day.day))
    return same + dt.timedelta(weeks=weeks, days=days, hours=hours, minutes=minutes, seconds=seconds)
