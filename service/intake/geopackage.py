"""GeoPackage to the common table: read-only through sqlite3, base tables only, bounded in time and size.

References
----------
OGC GeoPackage Encoding Standard 1.3, 12-128r17, clauses 1.1.1 to 2.1.
"""

import math
import sqlite3
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from service.errors import InvalidRequest, Unreadable
from service.intake.bounded_shapes import from_wkb, set_points
from service.intake.choosing import TableOfFile, chosen
from service.intake.guess_crs import LOCAL, WGS84, code_of
from service.intake.prepared import Guess
from service.intake.source_table import SourceTable
from service.intake.words import roles_of

MAX_SECONDS = 120.0
MAX_ROWS = 5_000_000
MAX_VALUE_BYTES = 16 << 20
NUMBERED = "It is the running number that the format gives its rows."
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}


def read_geopackage(path: Path, layer: str | None = None) -> SourceTable:
    """Return the table of a GeoPackage; of several the one that is named as the layer, or fits it.

    Raises
    ------
    Unreadable
        If it is no whole GeoPackage, or reading it takes too long.
    Ask
        If it holds several tables, and the layer tells which is meant.
    InvalidRequest
        If it holds several tables and none of them is told.
    """
    with path.open("rb") as file:
        if file.read(16) != b"SQLite format 3\0":
            raise Unreadable(f"{path.name} is no GeoPackage; export the layer again, or as GeoJSON or CSV.")
    try:
        with opened(path) as connection:
            return _read(connection, path, layer)
    except sqlite3.OperationalError as wrong:
        if "interrupt" in str(wrong):
            raise Unreadable(
                f"Reading {path.name} took longer than {MAX_SECONDS:.0f} s; it was stopped."
            ) from wrong
        raise Unreadable(f"{path.name} is no whole GeoPackage ({wrong}); export it again.") from wrong
    except sqlite3.Error as wrong:
        raise Unreadable(f"{path.name} is damaged ({wrong}); export it again.") from wrong


@contextmanager
def opened(path: Path, most_seconds: float | None = None) -> Iterator[sqlite3.Connection]:
    """A GeoPackage from outside, opened to be read and nothing else; its texts are bytes.

    Raises
    ------
    sqlite3.Error
        If it is no whole database, or reading it takes too long.
    """
    waiting = Path(f"{path}-wal")
    mode = "mode=ro" if waiting.exists() and waiting.stat().st_size else "mode=ro&immutable=1"
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?{mode}", uri=True)
    ends = time.monotonic() + (most_seconds or MAX_SECONDS)
    try:
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MAX_VALUE_BYTES)
        connection.setlimit(sqlite3.SQLITE_LIMIT_SQL_LENGTH, 200_000)
        connection.setlimit(sqlite3.SQLITE_LIMIT_EXPR_DEPTH, 50)
        connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
        connection.set_progress_handler(lambda: time.monotonic() > ends, 100_000)
        for pragma in ("trusted_schema=OFF", "cell_size_check=ON", "query_only=ON"):
            connection.execute(f"PRAGMA {pragma}")
        connection.text_factory = bytes
        yield connection
    finally:
        connection.close()


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _decoded(value: Any) -> Any:
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else value


def base_tables(connection: sqlite3.Connection) -> set[str]:
    """Return the names of the tables that hold their rows themselves."""
    found = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND sql NOT LIKE 'CREATE VIRTUAL%'"
    )
    return {_decoded(name) for (name,) in found}


def _read(connection: sqlite3.Connection, path: Path, layer: str | None) -> SourceTable:
    tables = base_tables(connection)
    if not {"gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys"} <= tables:
        raise Unreadable(f"{path.name} is a database but no GeoPackage: it has no table of contents.")
    contents = connection.execute(
        "SELECT c.table_name, g.column_name, g.geometry_type_name, g.srs_id FROM gpkg_contents c "
        "LEFT JOIN gpkg_geometry_columns g ON g.table_name = c.table_name "
        "WHERE c.data_type IN ('features', 'attributes')"
    ).fetchall()
    layers = [tuple(map(_decoded, row)) for row in contents]
    readable = [row for row in layers if row[0] in tables]
    if not readable:
        what = "only views or tables that compute themselves" if layers else "no table of features"
        raise Unreadable(f"{path.name} holds {what}; export the layer as a plain table.")
    tables_of_file = [TableOfFile(str(row[0]), None if row[1] is None else str(row[2])) for row in readable]
    name, column, _, srs = readable[chosen(tables_of_file, layer, path.name)]
    return _table(connection, path, str(name), column, srs)


def _system(connection: sqlite3.Connection, srs: Any) -> str | None:
    if srs == -1:
        return LOCAL
    row = connection.execute(
        "SELECT organization, organization_coordsys_id FROM gpkg_spatial_ref_sys WHERE srs_id = ?", (srs,)
    ).fetchone()
    if row is None or str(_decoded(row[0])).upper() != "EPSG":
        return None
    try:
        return code_of(str(row[1]))
    except InvalidRequest:
        return None


def _table(
    connection: sqlite3.Connection, path: Path, name: str, geometry_column: Any, srs: Any
) -> SourceTable:
    described = connection.execute(f"PRAGMA table_info({_quoted(name)})").fetchall()
    declared = {_decoded(row[1]): str(_decoded(row[2])).upper() for row in described}
    numbered = [_decoded(row[1]) for row in described if row[5]]
    headers = [h for h, kind in declared.items() if h != geometry_column and not kind.startswith("BLOB")]
    left_out = {
        h: "It holds pictures or other binary data."
        for h, kind in declared.items()
        if h != geometry_column and kind.startswith("BLOB")
    }
    chosen = [*headers, str(geometry_column)] if geometry_column in declared else headers
    select = ", ".join(map(_quoted, chosen))
    rows = connection.execute(f"SELECT {select} FROM {_quoted(name)}").fetchmany(MAX_ROWS + 1)
    if not rows:
        raise Unreadable(f"The table {name} of {path.name} has no rows; there is nothing to take in.")
    if len(rows) > MAX_ROWS:
        raise Unreadable(f"The table {name} of {path.name} has more than {MAX_ROWS:,} rows; split it.")
    faults: dict[int, str] = {}
    columns = [_texts([row[i] for row in rows], header, faults) for i, header in enumerate(headers)]
    has_shapes = len(chosen) > len(headers)
    geometry = _shapes([row[-1] for row in rows], faults) if has_shapes else None
    crs = _system(connection, srs) if has_shapes else None
    table = SourceTable(
        path, "geopackage", name, headers, columns, list(range(1, len(rows) + 1)), geometry, crs, faults
    )
    table.left_out = left_out | {h: NUMBERED for h in numbered if "row_id" in roles_of(h)}
    if crs is not None:
        words = "WGS84 (EPSG:4326)" if crs == WGS84 else crs
        table.guesses.append(Guess("crs", words, f"The GeoPackage names it for the table {name}.", 1.0))
    return table


def _texts(values: list[Any], header: str, faults: dict[int, str]) -> list[str]:
    out = []
    for place, value in enumerate(values):
        text = ""
        if isinstance(value, bytes):
            try:
                text = value.decode("utf-8")
            except UnicodeDecodeError:
                faults[place] = f"{header[:40]!r} holds text that is not UTF-8."
            if "\0" in text:
                faults[place], text = f"{header[:40]!r} holds a NUL character.", ""
        elif isinstance(value, float):
            text = repr(value).removesuffix(".0") if math.isfinite(value) else ""
        elif value is not None:
            text = str(value)
        out.append(text)
    return out


def _shapes(values: list[Any], faults: dict[int, str]) -> list[Any]:
    out: list[Any] = [None] * len(values)
    plain: dict[int, tuple[float, float]] = {}
    for place, value in enumerate(values):
        if value is None:
            continue
        wkb, fault = _body(value)
        if wkb is not None and len(wkb) == 21 and wkb[:5] == b"\x01\x01\x00\x00\x00":
            x, y = struct.unpack_from("<2d", wkb, 5)
            if math.isfinite(x) and math.isfinite(y):
                plain[place] = (x, y)
            continue
        if wkb is not None:
            out[place], fault = from_wkb(wkb)
        if fault is not None:
            faults[place] = fault
    set_points(out, plain)
    return out


def _body(value: Any) -> tuple[bytes | None, str | None]:
    """Return the WKB behind the header of a GeoPackage geometry, or why there is none."""
    broken = "The geometry is no GeoPackage geometry."
    if not isinstance(value, bytes) or len(value) < 8 or value[:2] != b"GP":
        return None, broken
    flags = value[3]
    envelope = _ENVELOPE_BYTES.get((flags >> 1) & 7)
    if envelope is None or flags & 0x20:
        return None, broken
    if flags & 0x10:
        return None, None
    return value[8 + envelope :], None
