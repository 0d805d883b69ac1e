"""A layer as CSV in UTF-8, a piece at a time: shapes as WKT, lists as JSON, nothing that a spreadsheet runs.

References
----------
Shafranovich, Y. (2005): RFC 4180, Common Format and MIME Type for CSV Files.
"""

import csv
import io
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import shapely

from layers.column_kinds import Kind
from service.layer_parts import Layer
from service.outlets.formula_guard import guarded

ROWS_A_PIECE = 1000
EXACT_DIGITS = 17  # of a double, so that it comes back to the last bit
_UNDRAWN = ("figures",)  # their outlines are those of the areas


def csv_pieces(layer: Layer) -> Iterator[bytes]:
    """Return the table in pieces of bytes, the header first."""
    facts = layer.facts
    drawn = not facts.points and facts.layer not in _UNDRAWN
    yield csv_lines([[guarded(name) for name in facts.names] + (["geometry"] if drawn else [])])
    said = [_SAID.get(column.kind, _text) for column in facts.columns]
    for part in layer.parts(ROWS_A_PIECE):
        written = [
            list(map(say, cells)) for say, cells in zip(said, zip(*part.rows, strict=True), strict=True)
        ]
        if drawn:
            written.append(list(shapely.to_wkt(part.shapes, rounding_precision=EXACT_DIGITS)))
        yield csv_lines(zip(*written, strict=True))


def csv_lines(rows: Iterable[Iterable[Any]]) -> bytes:
    """Return rows of cells as lines of CSV."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    return out.getvalue().encode()


def _text(value: Any) -> Any:
    return None if value is None else guarded(value)


def _flag(value: Any) -> Any:
    return None if value is None else ("true" if value else "false")


def _as_it_is(value: Any) -> Any:
    return value


_SAID: dict[Kind, Callable[[Any], Any]] = {
    "float": _as_it_is,
    "int": _as_it_is,
    "list": _as_it_is,
    "object": _as_it_is,
    "flag": _flag,
}
