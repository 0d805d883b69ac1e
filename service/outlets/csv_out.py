"""A layer as CSV in UTF-8, a piece at a time: shapes as WKT, lists as JSON, nothing that a spreadsheet runs.

References
----------
Shafranovich, Y. (2005): RFC 4180, Common Format and MIME Type for CSV Files.
"""

import csv
import io
from collections.abc import Iterator
from typing import Any

import orjson
import pandas as pd
import shapely

from service.outlets.formula_guard import guarded
from service.outlets.geojson_out import plain
from service.outlets.layer_rows import LayerRows

ROWS_A_PIECE = 1000
EXACT_DIGITS = 17  # of a double, so that it comes back to the last bit


def csv_pieces(layer: LayerRows) -> Iterator[bytes]:
    """Return the table in pieces of bytes, the header first."""
    rows = layer.rows
    drawn = layer.shape_kind != "Point" and layer.name != "figures"
    yield _lines([[guarded(name) for name in rows] + (["geometry"] if drawn else [])])
    for start in range(0, len(rows), ROWS_A_PIECE):
        piece = rows.iloc[start : start + ROWS_A_PIECE]
        written = [_column(piece[name]) for name in rows]
        if drawn:
            shapes = layer.shapes[start : start + ROWS_A_PIECE]
            written.append(list(shapely.to_wkt(shapes, rounding_precision=EXACT_DIGITS)))
        yield _lines(zip(*written, strict=True))


def _lines(rows: Any) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    return out.getvalue().encode()


def _column(cells: pd.Series) -> list[Any]:
    return [_cell(value) for value in plain(cells)]


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return guarded(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return orjson.dumps(value, option=orjson.OPT_SERIALIZE_NUMPY).decode()
    return value
