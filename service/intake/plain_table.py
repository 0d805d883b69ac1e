"""What a shut-in reader hands over: rows and columns of text, shapes as plain lists, nothing computed.

It leaves the process as lines of JSON: what it is, column by column, then the shapes. A shape is null,
``[x, y]`` for a point, the hexadecimal digits of WKB, or a geometry as in GeoJSON; who takes it over checks
it.
"""

import datetime as dt
import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, BinaryIO

import orjson

from service.errors import Unreadable

MAX_ROWS = 2_000_000
MAX_COLUMNS = 2_000
MAX_CELLS = 20_000_000
CHUNK = 10_000  # cells or shapes in one line
BINARY = "It holds pictures or other binary data."
_WKB_POINT = struct.Struct("<BI2d")


@dataclass
class PlainTable:
    """Columns of text and shapes; ``crs`` is EPSG:n, ``crs_said`` what the file calls it, in its words.

    A column is a list of text, or such a list as lines already, which take less memory; ``rows`` says how
    long it is where there are no shapes.
    """

    form: str
    layer_name: str
    headers: list[str]
    columns: list[Any]
    shapes: list[Any] | None = None
    crs: str | None = None
    crs_said: str | None = None
    left_out: dict[str, str] = field(default_factory=dict)
    faults: dict[int, str] = field(default_factory=dict)
    guesses: list[tuple[str, str, str, float]] = field(default_factory=list)  # as Guess
    rows: int | None = None


def require_size(rows: int, columns: int) -> None:
    """Check that a table is not larger than is read.

    Raises
    ------
    Unreadable
        If it is.
    """
    if columns > MAX_COLUMNS:
        raise Unreadable(f"{{file}} has more than {MAX_COLUMNS:,} columns; that is no list.")
    if rows > MAX_ROWS or rows * columns > MAX_CELLS:
        raise Unreadable(
            f"{{file}} is larger than is read at once ({MAX_ROWS:,} rows, {MAX_CELLS:,} cells); split it, or "
            "leave out columns that are not needed."
        )


def cell_text(value: Any) -> str:
    """Return a value as text: whole numbers without a point, days as ISO, lists as JSON; missing is empty."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value).removesuffix(".0") if math.isfinite(value) else ""
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if _is_midnight(value) else value.isoformat()
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, list | dict):
        return orjson.dumps(value, default=str, option=orjson.OPT_NON_STR_KEYS).decode()
    return str(value)


def _is_midnight(value: dt.datetime) -> bool:
    return value.tzinfo is None and value.time() == dt.time()


def shortest_single(value: float) -> float:
    """Return a number of single precision as the double with the fewest digits that is the same single."""
    if not math.isfinite(value):
        return value
    same = struct.pack("<f", value)
    for digits in range(6, 9):
        short = float(f"{value:.{digits}g}")
        if struct.pack("<f", short) == same:
            return short
    return value


def shape_of_wkb(data: bytes) -> Any:
    """Return WKB as a shape to hand over: a plain point as its pair, all else as its digits."""
    if len(data) == _WKB_POINT.size:
        order, kind, x, y = _WKB_POINT.unpack(data)
        if (order, kind) == (1, 1):
            return None if math.isnan(x) and math.isnan(y) else [x, y]
    return data.hex()


def write_table(table: PlainTable, out: BinaryIO) -> None:
    """Write a table as lines of JSON: what it is, column by column, then its shapes.

    Raises
    ------
    Unreadable
        If it has no rows, or is too large.
    """
    rows = len(table.shapes or []) if table.rows is None else table.rows
    if not rows:
        raise Unreadable("{file} has no rows; there is nothing to take in.")
    require_size(rows, len(table.headers))
    head = {
        "form": table.form,
        "layer_name": table.layer_name,
        "headers": table.headers,
        "rows": rows,
        "has_shapes": table.shapes is not None,
        "crs": table.crs,
        "crs_said": table.crs_said,
        "left_out": table.left_out,
        "faults": [[place, reason] for place, reason in table.faults.items()],
        "guesses": table.guesses,
    }
    out.write(orjson.dumps(head, option=orjson.OPT_APPEND_NEWLINE))
    for column in (*table.columns, table.shapes or []):
        out.writelines(column if column and isinstance(column[0], bytes) else as_lines(column))


def as_lines(cells: list[Any]) -> Iterator[bytes]:
    """Yield cells or shapes as lines of JSON, ``CHUNK`` in each."""
    for first in range(0, len(cells), CHUNK):
        line = orjson.dumps(cells[first : first + CHUNK], option=orjson.OPT_APPEND_NEWLINE)
        yield bytes(memoryview(line))  # a copy of its own size: what the library gives holds far more room
