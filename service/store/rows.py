"""Writing records: many new ones at once, and new versions of those that may change (definitions R6)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Table as Table  # writers outside of the store name what they hand over
from sqlalchemy.engine import Connection as Connection
from sqlalchemy.engine import Row

from service.errors import NotFound, StaleVersion
from service.store.former import content_of
from service.store.schema import former_version

AT_ONCE = 500
_FORMER = ("site_id", "table_name", "record_fid", "version", "content", "change_id", "ended_by")


def insert_rows(conn: Connection, table: Table, names: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Insert many rows given as tuples in the order of ``names``."""
    if not rows:
        return
    quote = conn.dialect.identifier_preparer.quote
    mark = "?" if conn.dialect.paramstyle == "qmark" else "%s"
    columns, marks = ", ".join(map(quote, names)), ", ".join([mark] * len(names))
    conn.exec_driver_sql(f"INSERT INTO {quote(table.name)} ({columns}) VALUES ({marks})", list(rows))


def insert_records(conn: Connection, table: Table, records: Iterable[Mapping[str, Any]]) -> None:
    """Insert records given as mappings; each may name other columns, what it does not name is empty."""
    for names, group in groupby(records, key=tuple):
        insert_rows(conn, table, names, [tuple(record.values()) for record in group])


def by_ids(conn: Connection, table: Table, site_fid: int, ids: Iterable[str]) -> dict[str, Row[Any]]:
    """Return the rows of a site by their UUIDs."""
    wanted = list(dict.fromkeys(ids))
    out: dict[str, Row[Any]] = {}
    for start in range(0, len(wanted), AT_ONCE):
        part = wanted[start : start + AT_ONCE]
        query = sa.select(table).where(table.c.site_id == site_fid, table.c.id.in_(part))
        out.update((row.id, row) for row in conn.execute(query))
    return out


def known_elsewhere(conn: Connection, table: Table, site_fid: int, ids: Iterable[str]) -> set[str]:
    """Return which of these UUIDs are records of another site."""
    wanted, out = list(dict.fromkeys(ids)), set[str]()
    for start in range(0, len(wanted), AT_ONCE):
        part = wanted[start : start + AT_ONCE]
        out.update(
            conn.scalars(sa.select(table.c.id).where(table.c.site_id != site_fid, table.c.id.in_(part)))
        )
    return out


def revise(
    conn: Connection,
    table: Table,
    site_fid: int,
    record_id: str,
    seen_version: int,
    values: Mapping[str, Any],
    change_fid: int,
) -> int:
    """Write a new version of a record, keep the former one, and return the new version's number.

    Raises
    ------
    NotFound
        If the site has no such record.
    StaleVersion
        If it has another version than the one that was seen.
    """
    row = by_ids(conn, table, site_fid, [record_id]).get(record_id)
    if row is None:
        raise NotFound(table.name, record_id)
    if row.version != seen_version:
        raise StaleVersion(table.name, record_id, dict(values), dict(row._mapping))
    revise_many(conn, table, [(row, values)], change_fid)
    return int(row.version) + 1


def revise_many(
    conn: Connection,
    table: Table,
    revisions: Sequence[tuple[Row[Any], Mapping[str, Any]]],
    change_fid: int,
) -> None:
    """Write new versions of records whose rows were read in this transaction; former ones are kept."""
    write_draft(conn, draft(table, revisions, change_fid))


@dataclass(frozen=True)
class Draft:
    """New versions ready to be written: former ones, and by names of columns the cells of the new ones."""

    table: Table
    former: list[tuple[Any, ...]]
    changed: list[tuple[tuple[str, ...], list[tuple[Any, ...]]]]


def draft(table: Table, revisions: Iterable[tuple[Row[Any], Mapping[str, Any]]], change_fid: int) -> Draft:
    """Return new versions of records, to be written while nothing of the site has changed since."""
    former, by_names = [], dict[tuple[str, ...], list[tuple[Any, ...]]]()
    for row, values in revisions:
        former.append(
            (row.site_id, table.name, row.fid, row.version, content_of(table, row), row.change_id, change_fid)
        )
        cells = (*values.values(), row.version + 1, change_fid, row.fid)
        by_names.setdefault(tuple(values), []).append(cells)
    return Draft(table, former, list(by_names.items()))


def write_draft(conn: Connection, drafted: Draft) -> None:
    """Write new versions of records."""
    insert_rows(conn, former_version, _FORMER, drafted.former)
    quote = conn.dialect.identifier_preparer.quote
    mark = "?" if conn.dialect.paramstyle == "qmark" else "%s"
    for names, cells in drafted.changed:
        columns = ", ".join(f"{quote(name)} = {mark}" for name in (*names, "version", "change_id"))
        statement = f"UPDATE {quote(drafted.table.name)} SET {columns} WHERE fid = {mark}"
        conn.exec_driver_sql(statement, cells)
