"""GeoParquet to a plain table: columns as text, shapes as WKB or as the coordinates of native encodings.

References
----------
GeoParquet specification 1.1.0: metadata "geo", primary column, encodings, crs (PROJJSON; absent is OGC:CRS84,
null is unknown), covering. A Parquet file without that metadata is a table without shapes.
"""

import datetime as dt
import math
from collections.abc import Callable
from importlib import resources
from typing import Any
from zoneinfo import ZoneInfo

import orjson
import pyarrow as pa
import pyarrow.parquet as pq

from service.errors import Unreadable
from service.intake import crs_said
from service.intake.plain_table import (
    BINARY,
    PlainTable,
    as_lines,
    cell_text,
    require_size,
    shape_of_wkb,
    shortest_single,
)

FORM = "geoparquet"
BOX = "It is the box that the format gives its shapes."
_MARK = b"PAR1"
_DAMAGED = "{file} is cut off or damaged, or no Parquet file; export it again."
_NATIVE = {
    "point": "Point",
    "linestring": "LineString",
    "polygon": "Polygon",
    "multipoint": "MultiPoint",
    "multilinestring": "MultiLineString",
    "multipolygon": "MultiPolygon",
}


_zones: list[ZoneInfo] = []


def ready() -> None:
    """Load the time zones that days may be said in, as long as files can be opened."""
    names = (resources.files("tzdata") / "zones").read_text("utf-8").split()
    _zones.extend(ZoneInfo(name) for name in names)
    pa.array([dt.datetime(2020, 1, 1, tzinfo=dt.UTC)]).to_pylist()


def read_geoparquet(data: bytes, layer: str | None) -> PlainTable:
    """Return the table of a GeoParquet file, of shapes of its primary column.

    Raises
    ------
    Unreadable
        If it is none, cut off or damaged.
    """
    if data[:4] != _MARK or data[-4:] != _MARK:
        raise Unreadable(_DAMAGED)
    try:
        file = pq.ParquetFile(pa.BufferReader(data), pre_buffer=False)
        return _read(file)
    except MemoryError:
        raise
    except (pa.ArrowException, OSError, UnicodeDecodeError, OverflowError) as wrong:
        raise Unreadable(_DAMAGED) from wrong


def _read(file: pq.ParquetFile) -> PlainTable:
    schema = file.schema_arrow
    require_size(file.metadata.num_rows, len(schema.names))
    geo = _geo(schema.metadata or {})
    columns = geo.get("columns")
    described = columns if isinstance(columns, dict) else {}
    primary = geo.get("primary_column")
    out = PlainTable(FORM, "", [], [], rows=file.metadata.num_rows)
    boxes = {name for of in described.values() for name in _covering(of)}
    for place, name in enumerate(schema.names):
        if name == primary and name in described and out.shapes is None:
            values = _column(file, place)
            out.shapes = _shapes(values, described[name])
            _say_system(out, described[name])
        elif name in boxes or name in described:
            out.left_out[name] = BOX if name in boxes else "It is a second shape of the row."
        elif _is_binary(schema.field(place).type):
            out.left_out[name] = BINARY
        else:
            out.headers.append(name)
            out.columns.append(list(as_lines(_texts(_column(file, place)))))
    return out


def _geo(metadata: dict[bytes, bytes]) -> dict[str, Any]:
    written = metadata.get(b"geo")
    if written is None:
        return {}
    try:
        geo = orjson.loads(written)
    except orjson.JSONDecodeError as wrong:
        raise Unreadable("{file} says of its shapes what cannot be read (geo); export it again.") from wrong
    return geo if isinstance(geo, dict) else {}


def _covering(of: Any) -> set[str]:
    """Return the columns that hold the boxes of shapes."""
    covering = of.get("covering") if isinstance(of, dict) else None
    box = covering.get("bbox") if isinstance(covering, dict) else None
    paths = box.values() if isinstance(box, dict) else []
    return {path[0] for path in paths if isinstance(path, list) and path and isinstance(path[0], str)}


def _is_binary(kind: pa.DataType) -> bool:
    return any(
        test(kind) for test in (pa.types.is_binary, pa.types.is_large_binary, pa.types.is_fixed_size_binary)
    )


def _column(file: pq.ParquetFile, place: int) -> pa.ChunkedArray:
    """Return one column, so that no more than one is held at a time."""
    column = file.reader.read_all(column_indices=_leaves(file, place), use_threads=False).column(0)
    if len(column) != file.metadata.num_rows:
        raise Unreadable(_DAMAGED)
    return column


def _leaves(file: pq.ParquetFile, place: int) -> list[int]:
    """Return the places of the plain columns that a column, which may be nested, is made of."""
    kinds = file.schema_arrow.types
    first = sum(map(_leaf_count, kinds[:place]))
    return list(range(first, first + _leaf_count(kinds[place])))


def _leaf_count(kind: pa.DataType) -> int:
    plain = kind.storage_type if isinstance(kind, pa.BaseExtensionType) else kind
    below = [plain.field(i).type for i in range(plain.num_fields)]
    return sum(map(_leaf_count, below)) if below else 1


def _texts(column: pa.ChunkedArray) -> list[str]:
    kind = column.type.value_type if pa.types.is_dictionary(column.type) else column.type
    to_text: Callable[[Any], str] = cell_text
    if pa.types.is_float32(kind) or pa.types.is_float16(kind):
        to_text = _single
    if pa.types.is_timestamp(kind):
        column = column.cast(pa.timestamp("us", kind.tz), safe=False)
    return [to_text(value) for chunk in column.chunks for value in chunk.to_pylist()]


def _single(value: float | None) -> str:
    return "" if value is None else cell_text(shortest_single(value))


def _say_system(out: PlainTable, of: dict[str, Any]) -> None:
    if "crs" not in of:
        out.crs = "EPSG:4326"
        why = "GeoParquet is in longitude and latitude where it names no other system."
        out.guesses.append(("crs", "WGS84 (EPSG:4326)", why, 0.99))
        return
    crs = of["crs"]
    if isinstance(crs, dict):
        id_ = crs.get("id")
        code = f"{id_.get('authority')}:{id_.get('code')}" if isinstance(id_, dict) else None
        name = crs.get("name")
        out.crs, out.crs_said = crs_said.read(crs, code, name if isinstance(name, str) else None)


def _shapes(column: pa.ChunkedArray, of: dict[str, Any]) -> list[Any]:
    encoding = str(of.get("encoding", "")) if isinstance(of, dict) else ""
    values = (value for chunk in column.chunks for value in chunk.to_pylist())
    if encoding == "WKB" and _is_binary(column.type):
        return [None if value is None else shape_of_wkb(value) for value in values]
    kind = _NATIVE.get(encoding)
    if kind is None:
        raise Unreadable(
            "{file} keeps its shapes in a way that is not read here; export it as GeoParquet 1.1."
        )
    return [_native(kind, value) for value in values]


def _native(kind: str, value: Any) -> Any:
    if value is None or not value:
        return None
    coordinates = _pairs(value)
    if kind == "Point":
        return None if any(math.isnan(n) for n in coordinates) else coordinates
    return {"type": kind, "coordinates": coordinates}


def _pairs(value: Any) -> Any:
    """Return nested coordinates with each position as a list of x and y."""
    if isinstance(value, dict):
        return [value["x"], value["y"]]
    return [_pairs(item) for item in value] if isinstance(value, list) else value
