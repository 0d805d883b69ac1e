"""Lengths in forms: shown and typed in the units of the ground, kept in metres (widths in centimetres).

On a ground in US customary units a height may be typed as 4.5, as 4 ft 6 in, as 4' 6" or as 54 in; a length
with its unit (1.37 m) is understood on every ground. A bare number too high up a trunk in feet is likelier
inches: its unit is asked for.
"""

import re
from typing import Any

from flask_babel import gettext as _

from layers.taper import HIGHEST_M
from layers.units import CM_PER_IN, HA_PER_ACRE, M_PER_FT, height_words
from service.web import display
from service.web.form import Form

MOST_HIGH_M = 10.0  # a trunk is measured lower, whatever the unit was

_PARTS = re.compile(
    r"""\s*(?:(?P<feet>\d{1,6}(?:[.,]\d{1,6})?)\s*(?:ft|feet|foot|')\s*)?
    (?:(?P<inches>\d{1,6}(?:[.,]\d{1,6})?)\s*(?:in|inch|inches|"|'')\.?\s*)?""",
    re.VERBOSE | re.IGNORECASE,
)
_METRIC = re.compile(r"\s*(?P<value>\d{1,6}(?:[.,]\d{1,6})?)\s*(?P<unit>cm|m)\s*", re.IGNORECASE)
_SIGNS = str.maketrans({"’": "'", "′": "'", "″": '"', "”": '"', "“": '"'})
_PER_UNIT = {  # metric units in one US customary unit: metres (ground: hectares, width: centimetres)
    "measuring": M_PER_FT,
    "height": M_PER_FT,
    "width": CM_PER_IN,
    "ground": HA_PER_ACRE,
}


def per_unit(view_units: str, kind: str = "height") -> float:
    """Return how many metric units one unit of a form is: 1 on a metric ground."""
    return _PER_UNIT[kind] if view_units == "us" else 1.0


def shown(metric: Any, units: str, kind: str = "height") -> str:
    """Return a stored value as a form shows it, empty where there is none; ``shown`` and ``typed`` agree."""
    if display.is_missing(metric):
        return ""
    if units == "us" and kind == "measuring":
        return height_words(float(metric), units)
    return f"{round(float(metric) / per_unit(units, kind), 6):.10g}"


def typed(form: Form, name: str, units: str, *known: Any, kind: str = "height") -> float | None:
    """Return a length from a field in metres (``width``: centimetres, ``ground``: hectares).

    ``known`` are stored values that the form may have shown: left as it was, such a one comes back exactly.
    None where the field is empty; what cannot be read is noted as a fault.
    """
    said = form.text(name)
    if said is None:
        return None
    for value in known:
        if shown(value, units, kind) == said:
            return float(value)
    if kind in ("width", "ground") or form.is_number(said):
        number = form.number(name)
        found = None if number is None else round(number * per_unit(units, kind), 6)
        if units == "us" and kind == "measuring" and found is not None and found > HIGHEST_M:
            form.faults[name] = _(
                "Is %(said)s meant in inches or in feet? "
                "Type it with its unit, for example 24 in or 4 ft 6 in.",
                said=said[:40],
            )
            return None
    else:
        found = _with_unit(said)
        if found is None:
            form.faults[name] = _not_understood(said, units)
    if found is not None and kind == "measuring" and found > MOST_HIGH_M:
        form.faults[name] = _(
            "%(said)s is higher than anybody measures a trunk. %(hint)s", said=said[:40], hint=hint(units)
        )
        return None
    return found


def _with_unit(said: str) -> float | None:
    """A length with its units [m]."""
    metric = _METRIC.fullmatch(said)
    if metric is not None:
        return round(_number(metric["value"]) * (0.01 if metric["unit"].lower() == "cm" else 1.0), 6)
    parts = _PARTS.fullmatch(said.translate(_SIGNS))
    if parts is None or (parts["feet"] is None and parts["inches"] is None):
        return None
    return round(_number(parts["feet"]) * M_PER_FT + _number(parts["inches"]) * CM_PER_IN / 100.0, 6)


def _number(said: str | None) -> float:
    return float((said or "0").replace(",", "."))


def _not_understood(said: str, units: str) -> str:
    return str(_("%(said)s was not understood. %(hint)s", said=said[:40], hint=hint(units)))


def hint(units: str) -> str:
    """Say how a height of measuring is typed."""
    if units == "us":
        return str(_("Type feet and inches, for example 4 ft 6 in, or feet alone, for example 4.5."))
    return str(_("Type metres, for example 1.3."))
