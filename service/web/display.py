"""Numbers, units and days as people read them; the plain words of pages.

Stored and exported values stay metric; display units change pages only.
"""

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from babel import Locale
from babel.dates import format_date, format_time
from babel.numbers import format_decimal
from flask import Flask, g
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from jinja2 import pass_context
from jinja2.runtime import Context

from layers.error_model import Z95
from layers.telling import Voice
from layers.units import CM_PER_IN, CM_PER_UNIT, FT2_PER_ACRE_PER_M2_PER_HA, HA_PER_ACRE, M_PER_FT
from service.answers import PAGES
from service.web import languages

NONE = "–"
HALF_WIDTH = Z95  # of a 95 % interval, in standard errors

_METRIC: dict[str, tuple[float, Any]] = {
    "width": (1.0, _l("cm")),
    "round": (1.0, _l("cm")),
    "cut_face": (1.0, _l("m²")),
    "ground": (1.0, _l("ha")),
    "per_ground": (1.0, _l("per ha")),
    "cut_face_per_ground": (1.0, _l("m² per ha")),
    "height": (1.0, _l("m")),
    "growth": (1.0, _l("cm a year")),
}
_US: dict[str, tuple[float, Any]] = {
    "width": (1 / CM_PER_IN, _l("in")),
    "round": (1 / CM_PER_IN, _l("in")),
    "cut_face": (1 / M_PER_FT**2, _l("sq ft")),
    "ground": (1 / HA_PER_ACRE, _l("acres")),
    "per_ground": (HA_PER_ACRE, _l("per acre")),
    "cut_face_per_ground": (FT2_PER_ACRE_PER_M2_PER_HA, _l("sq ft per acre")),
    "height": (1 / M_PER_FT, _l("ft")),
    "growth": (1 / CM_PER_IN, _l("inches a year")),
}
_MONTH = re.compile(r"[1-9]\d{3}-(?:0[1-9]|1[0-2])")
_DECIMALS = {
    "ground": 2,
    "cut_face": 1,
    "width": 1,
    "round": 1,
    "cut_face_per_ground": 1,
    "height": 1,
    "growth": 2,
}


@dataclass(frozen=True)
class Units:
    """The display units of a site: metric or US customary."""

    system: str

    def _of(self, kind: str) -> tuple[float, Any]:
        return (_US if self.system == "us" else _METRIC)[kind]

    def unit(self, kind: str) -> str:
        """The word of the unit."""
        return str(self._of(kind)[1])

    def value(self, metric: Any, kind: str) -> float | None:
        """A stored metric value in display units; ``None`` when it is missing."""
        return None if is_missing(metric) else float(metric) * self._of(kind)[0]

    def shown(self, metric: Any, kind: str, decimals: int | None = None) -> str:
        """A value without its unit, as text."""
        return number(self.value(metric, kind), _DECIMALS.get(kind, 0) if decimals is None else decimals)

    def with_unit(self, metric: Any, kind: str, decimals: int | None = None) -> str:
        """A value with its unit, as text."""
        return NONE if is_missing(metric) else f"{self.shown(metric, kind, decimals)} {self.unit(kind)}"

    def give_or_take(self, metric: Any, se: Any, kind: str, reach: float = HALF_WIDTH) -> str:
        """A value with its unit and half its 95 % interval: "34.2 cm, give or take 0.9".

        ``reach`` is half the interval in standard errors.
        """
        value, error = self.value(metric, kind), self.value(se, kind)
        if value is None:
            return NONE
        if error is None:
            return self.with_unit(metric, kind)
        half = reach * error
        decimals = decimals_for(half)
        said = {"value": number(value, decimals), "unit": self.unit(kind), "half": number(half, decimals)}
        return str(_("%(value)s %(unit)s, give or take %(half)s", **said))

    def beside_error(
        self, metric: Any, se: Any, kind: str, decimals: int | None = None, reach: float = HALF_WIDTH
    ) -> str:
        """A value without unit, with as many decimals as half its 95 % interval is shown with."""
        error = self.value(se, kind)
        return self.shown(metric, kind, decimals if error is None else decimals_for(reach * error))

    def height(self, metres: Any) -> str:
        """A height of measuring: 1.30 m, or 4 ft 6 in."""
        if is_missing(metres):
            return NONE
        return self.voice().height(float(metres)) if self.system == "us" else f"{number(metres, 2)} m"

    def voice(self) -> Voice:
        """How sentences of data are said on the page."""
        return Voice(self.system, lambda text: str(_(text)), number, day)

    def measured(self, value: float, unit: str | None) -> str:
        """A length as it was said where it was said in a unit of the page, else in one of the page."""
        if unit not in CM_PER_UNIT or (unit in ("ft", "in")) == (self.system == "us"):
            return f"{value:.10g} {unit or ''}".strip()
        return self.with_unit(value * CM_PER_UNIT[unit] / 100.0, "height")

    def told(self, sentence: Any) -> str:
        """A sentence that data made, in the units, days and language of the page; a dash for none."""
        return NONE if is_missing(sentence) or sentence == "" else PAGES.told(str(sentence), self.voice())

    def half(self, se: Any, kind: str, reach: float = HALF_WIDTH) -> str:
        """Half the 95 % interval of a standard error, as text without unit."""
        error = self.value(se, kind)
        return NONE if error is None else number(reach * error, decimals_for(reach * error))


def page_units() -> Units:
    """The units of the ground that the request is about; metric where it is about none."""
    return Units(g.get("units", "metric"))


def written() -> Locale:
    """How days and numbers are written: in the page's language, as usual in the country of the ground."""
    return languages.written(g.get("country"))


def say(answer: str) -> str:
    """Return an answer of the service in the units, days and language of the page."""
    return page_units().told(answer)


def is_missing(value: Any) -> bool:
    """Return whether a value stands for nothing: None, NaN, NA, NaT."""
    if value is None:
        return True
    try:
        return bool(value != value)
    except TypeError:  # pandas' NA has no truth value
        return True


def decimals_for(half_width: float) -> int:
    """Return how many decimals to show: the half width keeps one digit, two when it starts with a 1."""
    if not half_width > 0 or not math.isfinite(half_width):
        return 1
    exponent = math.floor(math.log10(half_width))
    leading = half_width / 10.0**exponent
    return min(max(0, -exponent + (1 if leading < 1.95 else 0)), 6)


def number(value: Any, decimals: int = 0) -> str:
    """Return a number as text in the language of the page, a dash when there is none."""
    if is_missing(value):
        return NONE
    pattern = "#,##0" + ("." + "0" * decimals if decimals else "")
    shown: str = format_decimal(float(value), format=pattern, locale=written())
    return shown if any(digit in shown for digit in "123456789") else shown.lstrip("-")


def share(value: Any) -> str:
    """Return a share of 1 as whole percent."""
    return NONE if is_missing(value) else str(_("%(percent)s %%", percent=number(100 * float(value), 0)))


def day(value: Any, width: str = "long") -> str:
    """Return an ISO day or month in words, text that is no day as it is, a dash when there is none."""
    if is_missing(value) or value == "":
        return NONE
    if _MONTH.fullmatch(str(value)):
        return _of_days("yMMMM", dt.date.fromisoformat(f"{value}-01"))
    try:
        date = dt.date.fromisoformat(str(value)[:10])
    except ValueError:
        return str(value)
    if date.year < 1000:
        return str(value)
    return format_date(date, "long", written()) if width == "long" else _of_days("yMMMd", date)


def moment(value: str, time_zone: str) -> str:
    """Return a time of the server (UTC, ISO) as day and time of a ground."""
    local = dt.datetime.fromisoformat(value).astimezone(ZoneInfo(time_zone))
    return f"{_of_days('yMMMd', local.date())}, {format_time(local, 'HH:mm', locale=written())}"


def _of_days(skeleton: str, date: dt.date) -> str:
    """A day with its month as a word, in the order that is usual there."""
    locale = written()
    return format_date(date, locale.datetime_skeletons[skeleton].pattern, locale)


def text(value: Any) -> str:
    """Return a text as it is, a dash when there is none."""
    return NONE if is_missing(value) or value == "" else str(value)


@pass_context
def _told(context: Context, sentence: Any) -> str:
    units: Units = context["units"]
    return units.told(sentence)


def init_app(app: Flask) -> None:
    """Give the templates the words."""
    app.jinja_env.filters.update(num=number, share=share, day=day, moment=moment, said=text, told=_told)
    app.jinja_env.tests["missing"] = is_missing
