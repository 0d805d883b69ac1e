"""FlatGeobuf to a plain table: header, index passed over, features one after the other.

References
----------
FlatGeobuf specification, version 3: header.fbs, feature.fbs and the packed Hilbert R-tree before them.
"""

import struct
from dataclasses import dataclass
from typing import Any

from service.errors import Unreadable
from service.intake import crs_said
from service.intake.flatbuffer import FlatTable, OutOfBytes
from service.intake.plain_table import BINARY, PlainTable, cell_text, require_size, shortest_single

FORM = "flatgeobuf"
MAX_PARTS = 10_000
_MAGIC = b"fgb\x03fgb"
_DAMAGED = "{file} is cut off or damaged; export it again."
_NODE_BYTES = 40  # four doubles and an offset
_BYTE, _BOOL, _U16, _U32, _U64 = (struct.Struct(f"<{code}") for code in "B?HIQ")
_I32 = struct.Struct("<i")
_NUMBERS = {  # ColumnType: how its value is written
    kind: struct.Struct(f"<{code}") for kind, code in enumerate("bB?hHiIqQfd")
}
_SINGLE, _STRING, _JSON, _DAY, _BINARY = 9, 11, 12, 13, 14
_KINDS = {
    1: "Point",
    2: "LineString",
    3: "Polygon",
    4: "MultiPoint",
    5: "MultiLineString",
    6: "MultiPolygon",
    7: "GeometryCollection",
}


@dataclass(frozen=True)
class _Header:
    title: str
    kind: int
    names: list[str]
    kinds: list[int]
    crs: str | None
    crs_said: str | None


def read_flatgeobuf(data: bytes, layer: str | None) -> PlainTable:
    """Return the table of a FlatGeobuf file, which has one layer whatever it is called.

    Raises
    ------
    Unreadable
        If it is none, of a version that is not known here, cut off or damaged.
    """
    if data[:3] != b"fgb":
        raise Unreadable("{file} is no FlatGeobuf; export the layer again, or as GeoJSON or GeoPackage.")
    if data[:7] != _MAGIC:
        raise Unreadable("{file} is FlatGeobuf of another version than 3; export it anew, or as GeoPackage.")
    try:
        return _read(memoryview(data))
    except (OutOfBytes, struct.error) as wrong:
        raise Unreadable(_DAMAGED) from wrong


def _read(data: memoryview) -> PlainTable:
    size = _U32.unpack_from(data, 8)[0]
    table = FlatTable.root(data[12 : 12 + size])
    header = _header(table)
    place = 12 + size + _index_bytes(table, len(data))
    columns: list[list[str]] = [[] for _ in header.names]
    out = PlainTable(FORM, header.title, header.names, columns, [], header.crs, header.crs_said)
    while place < len(data):
        size = _U32.unpack_from(data, place)[0]
        place += 4
        if size > len(data) - place:
            raise OutOfBytes
        _take_feature(out, header, FlatTable.root(data[place : place + size]))
        place += size
    _leave_out_binary(out, header)
    return out


def _header(table: FlatTable) -> _Header:
    columns = table.tables(7)
    require_size(0, len(columns))
    crs = table.table(10)
    code, said = None, None
    if crs is not None:
        number = crs.number(1, _I32, 0)
        authority = crs.text(0).upper() or "EPSG"
        code, said = crs_said.read(crs.text(4), f"{authority}:{number}" if number else None, crs.text(2))
    return _Header(
        table.text(0),
        table.number(2, _BYTE, 0),
        [column.text(0) for column in columns],
        [column.number(1, _BYTE, 0) for column in columns],
        code,
        said,
    )


def _index_bytes(table: FlatTable, available: int) -> int:
    """Return how long the index is: nodes of its levels up to the root."""
    count, per_node = table.number(8, _U64, 0), table.number(9, _U16, 16)
    if per_node == 0 or count == 0:
        return 0
    if per_node < 2 or count > available:
        raise OutOfBytes
    nodes = level = count
    while level > 1 or nodes == count:
        level = -(-level // per_node)
        nodes += level
    return int(nodes * _NODE_BYTES)


def _take_feature(out: PlainTable, header: _Header, feature: FlatTable) -> None:
    row = len(out.shapes or [])
    require_size(row + 1, len(out.columns))
    if feature.number(2, _U32, None) is not None:
        out.faults[row] = (
            "This row has columns of its own, which a table cannot have; export the layer again."
        )
    values, fault = _values(feature.raw(1), header)
    if fault:
        out.faults[row] = fault
    for place, column in enumerate(out.columns):
        column.append(values.get(place, ""))
    geometry = feature.table(0)
    assert out.shapes is not None  # set by _read
    out.shapes.append(None if geometry is None else _shape(geometry, header.kind, 0))


def _values(data: memoryview, header: _Header) -> tuple[dict[int, str], str | None]:
    """Return place of column -> text of the properties of one feature, and what of them is no text."""
    out: dict[int, str] = {}
    fault = None
    place, end = 0, len(data)
    while place + 2 <= end:
        column = _U16.unpack_from(data, place)[0]
        place += 2
        kind = header.kinds[column] if column < len(header.kinds) else -1
        number = _NUMBERS.get(kind)
        if number is not None:
            value = number.unpack_from(data, place)[0]
            out[column] = cell_text(shortest_single(value) if kind == _SINGLE else value)
            place += number.size
            continue
        if kind not in (_STRING, _JSON, _DAY, _BINARY):
            raise OutOfBytes
        size = _U32.unpack_from(data, place)[0]
        place += 4
        if size > end - place:
            raise OutOfBytes
        if kind != _BINARY:
            said = bytes(data[place : place + size])
            try:
                out[column] = said.decode("utf-8")
            except UnicodeDecodeError:
                fault = f"{header.names[column][:40]!r} holds text that is not UTF-8."
        place += size
    return out, fault


def _shape(geometry: FlatTable, kind: int, depth: int) -> Any:
    kind = geometry.number(6, _BYTE, 0) or kind
    name = _KINDS.get(kind)
    if name is None or kind == 7:
        return {"type": name or "Curve"}
    if kind == 6:
        parts = geometry.tables(7)
        if depth or len(parts) > MAX_PARTS:
            raise OutOfBytes
        polygons = [_shape(part, 3, depth + 1) for part in parts]
        return {"type": name, "coordinates": [part.get("coordinates") for part in polygons if part]}
    flat = geometry.numbers(1, "d")
    points = list(zip(flat[::2], flat[1::2], strict=False))
    if not points:
        return None
    if kind == 1:
        return None if points[0][0] != points[0][0] else list(points[0])
    if kind in (2, 4):
        return {"type": name, "coordinates": points}
    ends = geometry.numbers(0, "I") or (len(points),)
    firsts = (0, *ends[:-1])
    return {"type": name, "coordinates": [points[a:b] for a, b in zip(firsts, ends, strict=True)]}


def _leave_out_binary(out: PlainTable, header: _Header) -> None:
    for place in reversed(range(len(header.kinds))):
        if header.kinds[place] == _BINARY:
            out.left_out[out.headers.pop(place)] = BINARY
            out.columns.pop(place)
