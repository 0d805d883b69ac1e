"""The common table: what every file is turned into before anything is guessed of it."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from service.intake.prepared import Guess


@dataclass
class SourceTable:
    """Headers and columns of text (empty text is missing), and geometry where the file has its own.

    ``rows`` are numbered as the file counts them (lines of a sheet, the header being row 1; features from 1).
    ``faults`` are rows that cannot be taken, with the reason. ``geometry`` holds shapely objects in ``crs``.
    """

    path: Path
    form: str  # csv, geojson, geopackage, flatgeobuf ...
    layer_name: str
    headers: list[str]
    columns: list[list[str]]
    rows: list[int]
    geometry: list[Any] | None = None
    crs: str | None = None
    faults: dict[int, str] = field(default_factory=dict)
    guesses: list[Guess] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)  # header -> unit that a line of its own says
    decimal_comma: bool = False
    left_out: dict[str, str] = field(default_factory=dict)

    def column(self, header: str) -> list[str]:
        """Return the cells of a column.

        Raises
        ------
        ValueError
            If there is no such header.
        """
        return self.columns[self.headers.index(header)]


def told_apart(headers: list[str]) -> list[str]:
    """Return headers without doubles and gaps: empty ones are named by their place, doubles numbered."""
    seen: dict[str, int] = {}
    out = []
    for place, header in enumerate(headers, start=1):
        name = header.strip() or f"column {place}"
        seen[name] = seen.get(name, 0) + 1
        out.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return out
