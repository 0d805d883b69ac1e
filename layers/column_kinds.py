"""One word of the nomenclature: what every column says of itself."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "float", "int", "flag", "date", "time", "list", "object", "geometry"]


@dataclass(frozen=True)
class Column:
    """One word of the nomenclature.

    ``low`` and ``high`` are the allowed range in ``unit``; dates are ISO text (YYYY-MM-DD).
    """

    name: str
    kind: Kind
    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None


def word(
    name: str, kind: Kind, meaning: str, unit: str = "", low: float | None = None, high: float | None = None
) -> Column:
    """Return a column; its unit and range may be left out."""
    return Column(name, kind, unit, meaning, low, high)


POSITION = (
    word("lon_deg", "float", "longitude, WGS84; empty on a local ground", "deg", -180, 180),
    word("lat_deg", "float", "latitude, WGS84; empty on a local ground", "deg", -90, 90),
    word("x_m", "float", "east in the local frame of a ground without a place on earth", "m"),
    word("y_m", "float", "north in the local frame of a ground without a place on earth", "m"),
)
