"""Where an area or target is: drawn (GeoJSON in a field), or corners typed as two numbers on each line."""

import json
import re
from typing import Any, Literal

from flask_babel import gettext as _

from service.web.form import Form

_CORNER = re.compile(r"\s*([+-]?\d{1,7}(?:\.\d{1,9})?)\s*[,; \t]\s*([+-]?\d{1,7}(?:\.\d{1,9})?)\s*")
LINES = ("path", "road")  # targets that are lines when they have more than one corner


def geometry(
    sent: Form, kind: str | None, is_area: bool, frame: str, metres_per_unit: float = 1.0
) -> dict[str, Any] | None:
    """Return the typed corners, else what was drawn, as GeoJSON; None where there is neither.

    ``metres_per_unit`` is what a typed number stands for on a ground without a place on earth.
    """
    if sent.text("corners"):
        return _typed(sent, kind, is_area, metres_per_unit if frame == "local" else 1.0)
    drawn = sent.text("geometry")
    if drawn is None:
        return None
    try:
        shape = json.loads(drawn)
    except (json.JSONDecodeError, RecursionError):
        shape = None
    if not isinstance(shape, dict):
        sent.faults["geometry"] = _("The outline could not be read; draw it again.")
        return None
    return shape


def _typed(sent: Form, kind: str | None, is_area: bool, per_unit: float) -> dict[str, Any] | None:
    points: list[list[float]] = []
    for number, line in enumerate((sent.text("corners") or "").splitlines(), 1):
        if not line.strip():
            continue
        found = _CORNER.fullmatch(line)
        if found is None:
            sent.faults["corners"] = _(
                "Line %(number)s is no corner: write two numbers with a decimal point, parted by a blank.",
                number=number,
            )
            return None
        points.append([float(found[1]) * per_unit, float(found[2]) * per_unit])
    what = _what(len(points), kind, is_area)
    if what is None:
        sent.faults["corners"] = _("An outline needs at least three corners.")
        return None
    if what == "Polygon":
        return {"type": what, "coordinates": [[*points, points[0]]]}
    return {"type": what, "coordinates": points[0] if what == "Point" else points}


def _what(corners: int, kind: str | None, is_area: bool) -> Literal["Point", "LineString", "Polygon"] | None:
    if is_area:
        return "Polygon" if corners >= 3 else None
    if corners == 1:
        return "Point"
    return "LineString" if corners == 2 or kind in LINES else "Polygon"
