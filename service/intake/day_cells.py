"""Days in cells: of day, month or year, in the ways that lists write them."""

import calendar
import datetime as dt
import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Literal

from service.intake.words import SEASONS, folded

Order = Literal["day first", "month first"]

_MONTHS: dict[str, int] = {}
for _row in (
    "january february march april may june july august september october november december",
    "januar februar maerz april mai juni juli august september oktober november dezember",
    "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    "janvier fevrier mars avril mai juin juillet aout septembre octobre novembre decembre",
    "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
    "januari februari maart april mei juni juli augustus september oktober november december",
    "janeiro fevereiro marco abril maio junho julho agosto setembro outubro novembro dezembro",
):
    for _number, _word in enumerate(_row.split(), start=1):
        _MONTHS[_word] = _number
        _MONTHS.setdefault(_word[:3], _number)
_MONTHS["mrz"] = 3
_MONTHS["sept"] = 9

_ZONE = r"(?:Z|UTC|[AaPp][Mm]|[+-][0-9]{2}:?[0-9]{2})?"
_TIME = rf"(?:[T ]\s*[0-9]{{1,2}}:[0-9]{{2}}(?::[0-9]{{2}}(?:[.,][0-9]+)?)?\s*{_ZONE})?"
_ISO = re.compile(rf"([0-9]{{4}})[-/.]([0-9]{{1,2}})[-/.]([0-9]{{1,2}}){_TIME}")
_PACKED = re.compile(r"((?:1[89]|20)[0-9]{2})(0[1-9]|1[0-2])([0-3][0-9])")
_NUMBERS = re.compile(rf"([0-9]{{1,2}})([-/.])([0-9]{{1,2}})\2([0-9]{{4}}|[0-9]{{2}}){_TIME}")
_MONTH_OF_YEAR = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})|([0-9]{1,2})[-/.]([0-9]{4})")
_YEAR = re.compile(r"((?:1[5-9]|20|21)[0-9]{2})(?:\.0)?")
_NTH = r"(?:st|nd|rd|th|er|º|ª)?"
_WORDS = re.compile(
    rf"(?:([0-9]{{1,2}}){_NTH}[-./ ]*(?:(?:de|of) )?)?([^\W\d_]{{3,12}})\.?,?(?: de)?[-./ ]*"
    rf"(?:([0-9]{{1,2}}){_NTH},? )?([0-9]{{4}}){_TIME}"
)
_SHORT_YEAR = re.compile(
    rf"([0-9]{{1,2}}){_NTH}[-./ ]+([^\W\d_]{{3,12}})\.?[-./ ]+()['’]?([0-9]{{2}}){_TIME}"
)
_SPREADSHEET = re.compile(r"([2-6][0-9]{4})(?:\.[0-9]+)?")

MIDDLE_OF_YEAR = "07-02"
SHORT_YEARS_FROM = 40  # years of two digits are 1940 to 2039 (assumption)


def middle(year: int, month: int | None = None) -> str:
    """Return the middle day that stands for a month or a year (definitions R4), ISO."""
    return f"{year:04d}-{month:02d}-{15 if month != 2 else 14}" if month else f"{year:04d}-{MIDDLE_OF_YEAR}"


def _iso(year: int, month: int, day: int) -> str | None:
    try:
        return dt.date(year, month, day).isoformat()
    except ValueError:
        return None


def _full_year(text: str) -> int:
    year = int(text)
    return year if len(text) == 4 else year + (2000 if year < SHORT_YEARS_FROM else 1900)


@lru_cache(maxsize=65_536)
def day(cell: str, order: Order = "day first") -> tuple[str, str] | None:
    """Return (ISO day, precision day, month or year) of a cell, or None where it is no day."""
    text = cell.strip()
    found = _ISO.fullmatch(text) or _PACKED.fullmatch(text)
    if found:
        iso = _iso(int(found.group(1)), int(found.group(2)), int(found.group(3)))
        return (iso, "day") if iso else None
    found = _NUMBERS.fullmatch(text)
    if found:
        first, second = int(found.group(1)), int(found.group(3))
        if found.group(2) != "." and order == "month first":
            first, second = second, first
        iso = _iso(_full_year(found.group(4)), second, first)
        return (iso, "day") if iso else None
    return _coarse(text)


def _coarse(text: str) -> tuple[str, str] | None:
    found = _YEAR.fullmatch(text)
    if found:
        return middle(int(found.group(1))), "year"
    found = _MONTH_OF_YEAR.fullmatch(text)
    if found:
        year, month = int(found.group(1) or found.group(4)), int(found.group(2) or found.group(3))
        return (middle(year, month), "month") if 1 <= month <= 12 else None
    return _in_words(text)


def _in_words(text: str) -> tuple[str, str] | None:
    found = _WORDS.fullmatch(text) or _SHORT_YEAR.fullmatch(text)
    if found is None:
        return None
    word, year = folded(found.group(2)), _full_year(found.group(4))
    if word in SEASONS:
        return middle(year), "year"  # a season counts as its year (definitions R4)
    month = _MONTHS.get(word) or _MONTHS.get(word[:3])
    if month is None:
        return None
    of_month = found.group(1) or found.group(3)
    if of_month is None:
        return middle(year, month), "month"
    iso = _iso(year, month, int(of_month))
    return (iso, "day") if iso else None


def spreadsheet_day(cell: str) -> tuple[str, str] | None:
    """Return the day of a spreadsheet's day number such as 43831 (2020-01-01), or None."""
    found = _SPREADSHEET.fullmatch(cell.strip())
    if found is None:
        return None
    return (dt.date(1899, 12, 30) + dt.timedelta(days=int(found.group(1)))).isoformat(), "day"


def order_of(cells: Iterable[str], *, north_america: bool) -> tuple[Order, str, float]:
    """Return how days such as 03/04/2020 are meant, why, and how sure."""
    first_big = second_big = 0
    for cell in cells:
        found = _NUMBERS.fullmatch(cell.strip())
        if found and found.group(2) != ".":
            first, second = int(found.group(1)), int(found.group(3))
            first_big += 12 < first <= 31 and second <= 12
            second_big += 12 < second <= 31 and first <= 12
    if first_big or second_big:
        most = max(first_big, second_big)
        order: Order = "day first" if first_big >= second_big else "month first"
        which = "first" if first_big >= second_big else "second"
        why = f"{most} dates have a {which} number above 12."
        if first_big and second_big:
            why = f"{most} dates have a {which} number above 12, {min(first_big, second_big)} the other."
        return order, why, round(0.98 * most / (first_big + second_big), 2)
    if north_america:
        return "month first", "Days and months cannot be told apart; the trees stand in North America.", 0.7
    return (
        "day first",
        "Days and months cannot be told apart; outside North America the day comes first.",
        0.7,
    )


def ambiguous(cells: Iterable[str]) -> bool:
    """Return whether a column has dates of two numbers and a year whose order must be known."""
    return any((f := _NUMBERS.fullmatch(c.strip())) and f.group(2) != "." for c in cells)


def first_of(found: tuple[str, str]) -> str:
    """Return the first day that a day, month or year may mean."""
    iso, precision = found
    return {"year": f"{iso[:4]}-01-01", "month": f"{iso[:7]}-01"}.get(precision, iso)


def last_of(found: tuple[str, str]) -> str:
    """Return the last day that a day, month or year may mean."""
    iso, precision = found
    year, month = int(iso[:4]), int(iso[5:7])
    if precision == "year":
        return f"{iso[:4]}-12-31"
    return f"{iso[:7]}-{calendar.monthrange(year, month)[1]}" if precision == "month" else iso


def as_said(found: tuple[str, str]) -> str:
    """Return a day as precisely as it was said: 2021-05-03, 2021-05 or 2021."""
    iso, precision = found
    return {"year": iso[:4], "month": iso[:7]}.get(precision, iso)


def is_ambiguous(cell: str) -> bool:
    """Return whether a day such as 03/04/2021 is another one when the month comes first."""
    return day(cell, "day first") != day(cell, "month first")


def later(iso: str, today: str, days: int) -> bool:
    """Return whether a day is more than ``days`` [d] after today; False where today is not known."""
    if not today:
        return False
    return dt.date.fromisoformat(iso) > dt.date.fromisoformat(today) + dt.timedelta(days=days)
