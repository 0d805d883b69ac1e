"""The records of a site as attribute tables of a GeoPackage: what makes a file of layers a snapshot.

Each kind of record is one table, ``record_tree`` for example, in the columns of
:mod:`service.store.record_log`; ``snapshot`` says of what and of when; ``record_file`` holds the pictures of
plans and phones. Trees lead to their stems and observations, stems to their readings, by related tables.

References
----------
Open Geospatial Consortium (2021): OGC GeoPackage Encoding Standard 1.3, 12-128r17, clauses 1.1.3 (contents),
2.3 (extensions) and 2.4 (attributes).
Open Geospatial Consortium (2019): OGC GeoPackage Related Tables Extension, 18-000.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from service.errors import NotFound
from service.file_box import FileBox
from service.store import changes, record_log
from service.store.engine import Store
from service.store.site_rows import find_site

FORMAT, FORMAT_VERSION = "boleward site snapshot", 1
ABOUT, PREFIX, FILES = "snapshot", "record_", "record_file"
_TYPES = {"whole": "INTEGER", "real": "DOUBLE", "text": "TEXT", "bytes": "BLOB"}
_ABOUT = {
    "format": "TEXT NOT NULL",
    "format_version": "INTEGER NOT NULL",
    "program": "TEXT NOT NULL",
    "site_id": "TEXT NOT NULL",
    "slug": "TEXT NOT NULL",
    "change_no": "INTEGER NOT NULL",
    "written_at": "TEXT NOT NULL",
    "as_of": "TEXT NOT NULL",
    "audience": "TEXT NOT NULL",
}
_RELATED = (  # base, its number, its id; related kind of record, the column that names the base
    ("trees", "fid", "tree_id", "stem", "tree_id"),
    ("trees", "fid", "tree_id", "observation", "tree_id"),
    ("record_stem", "fid", "id", "reading", "stem_id"),
)
_EXTENSION = ("gpkg_related_tables", "http://docs.opengeospatial.org/is/18-000/18-000.html", "read-write")


@dataclass(frozen=True)
class SnapshotOf:
    """What a snapshot is of: a site as it was known at a change, for whom, and the day of its layers."""

    slug: str
    known_at: int
    as_of: str
    audience: str


def write_records(store: Store, what: SnapshotOf, path: Path, box: FileBox | None) -> int:
    """Put every record of a site into a GeoPackage that holds its layers; return how many there are.

    ``box`` has the pictures of plans and phones; those that it lacks are left out. No more than some
    rows are in memory at a time.

    Raises
    ------
    NotFound
        If there is no such site.
    OSError
        If the file cannot be written.
    StoreUnavailable
        If the store cannot be read.
    """
    try:
        with store.read() as records, closing(sqlite3.connect(path, isolation_level=None)) as file:
            for pragma in ("journal_mode=OFF", "synchronous=OFF"):
                file.execute(f"PRAGMA {pragma}")
            file.execute("BEGIN")
            count = _write(records, what, file, box)
            file.execute("COMMIT")
    except sqlite3.Error as error:
        raise OSError(0, str(error)) from error
    return count


def _write(records: Any, what: SnapshotOf, file: sqlite3.Connection, box: FileBox | None) -> int:
    site = find_site(records, what.slug)
    upto = min(what.known_at, site.change_no)
    about = (FORMAT, FORMAT_VERSION, version("boleward"), site.id, site.slug, upto, changes.now())
    _table(file, ABOUT, "What this file is a snapshot of, and when it was written.", _ABOUT)
    _fill(file, ABOUT, tuple(_ABOUT), [(*about, what.as_of, what.audience)])
    agreed = record_log.site_row(records, site, upto)
    _records(file, "site", record_log.columns_of("site"), [tuple(agreed.values())])
    count = 1
    for name, columns, rows in record_log.record_parts(records, site.fid, upto):
        count += _records(file, name, columns, rows)
    count += _files(file, box)
    for related in _RELATED:
        _relate(file, *related)
    return count


def _records(
    file: sqlite3.Connection, name: str, columns: Sequence[str], rows: Iterable[tuple[Any, ...]]
) -> int:
    kinds = {column: _TYPES[record_log.kind_of(name, column)] for column in columns}
    _table(file, PREFIX + name, f"Every record of the kind {name}, whatever became of it.", kinds)
    return _fill(file, PREFIX + name, columns, rows)


def _table(file: sqlite3.Connection, name: str, told: str, columns: dict[str, str]) -> None:
    """Make an attribute table; its number is its first column where that is a whole number, else added."""
    first = next(iter(columns))
    own = {first: columns[first]} if first in ("fid", "change_no") else {}
    key = first if own else "fid"
    rest = ", ".join(f'"{column}" {kind}' for column, kind in columns.items() if column not in own)
    file.execute(f"CREATE TABLE {name} ({key} INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, {rest})")
    file.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description) "
        "VALUES (?, 'attributes', ?, ?)",
        (name, name, told),
    )


def _fill(
    file: sqlite3.Connection, name: str, columns: Sequence[str], rows: Iterable[tuple[Any, ...]]
) -> int:
    before = file.total_changes
    into, marks = ", ".join(f'"{column}"' for column in columns), ", ".join("?" for _ in columns)
    file.executemany(f"INSERT INTO {name} ({into}) VALUES ({marks})", rows)
    return file.total_changes - before


def _files(file: sqlite3.Connection, box: FileBox | None) -> int:
    """Put in the pictures that plans and phones brought, each once."""
    _table(
        file, FILES, "The pictures of plans and phones, by the SHA-256 of their content.",
        {"hash": "TEXT NOT NULL UNIQUE", "content": "BLOB NOT NULL"},
    )  # fmt: skip
    named = file.execute(
        "SELECT file_hash FROM record_plan_image UNION SELECT file_hash FROM record_picture ORDER BY 1"
    ).fetchall()
    return _fill(file, FILES, ("hash", "content"), _contents([name for (name,) in named], box))


def _contents(names: Sequence[str], box: FileBox | None) -> Iterator[tuple[str, bytes]]:
    if box is None:
        return
    for name in names:
        try:
            yield name, box.get(name)
        except NotFound:
            continue


def _relate(file: sqlite3.Connection, base: str, key: str, id: str, kind: str, by: str) -> None:
    """Say which rows of a table belong to which of another, for clients that follow related tables."""
    if not file.execute("SELECT 1 FROM gpkg_contents WHERE table_name = ?", (base,)).fetchone():
        return
    related, link = PREFIX + kind, f"{base.removeprefix(PREFIX)}_{kind}s"
    file.execute(
        "CREATE TABLE IF NOT EXISTS gpkgext_relations (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
        "base_table_name TEXT NOT NULL, base_primary_column TEXT NOT NULL DEFAULT 'id', "
        "related_table_name TEXT NOT NULL, related_primary_column TEXT NOT NULL DEFAULT 'id', "
        "relation_name TEXT NOT NULL, mapping_table_name TEXT NOT NULL UNIQUE)"
    )
    _extend(file, "gpkgext_relations")
    file.execute(f"CREATE TABLE {link} (base_id INTEGER NOT NULL, related_id INTEGER NOT NULL)")
    file.execute(
        f"INSERT INTO {link} SELECT b.{key}, r.fid FROM {related} r JOIN {base} b ON b.{id} = r.{by} "
        "ORDER BY r.fid"
    )
    _extend(file, link)
    file.execute(
        "INSERT INTO gpkgext_relations (base_table_name, base_primary_column, related_table_name, "
        "related_primary_column, relation_name, mapping_table_name) VALUES (?, ?, ?, 'fid', 'attributes', ?)",
        (base, key, related, link),
    )


def _extend(file: sqlite3.Connection, table: str) -> None:
    file.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, "
        "extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL, "
        "CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))"
    )
    if not file.execute(
        "SELECT 1 FROM gpkg_extensions WHERE table_name = ? AND extension_name = ?", (table, _EXTENSION[0])
    ).fetchone():
        file.execute("INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, ?)", (table, *_EXTENSION))
