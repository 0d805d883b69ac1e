"""Finding and adding append-only records of a site."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection

CHUNK = 500


def rows_by_id(
    connection: Connection, table: Table, site_fid: int, ids: Iterable[str]
) -> dict[str, Mapping[str, Any]]:
    """Return the records of a site that have one of ``ids``, by id."""
    found: dict[str, Mapping[str, Any]] = {}
    wanted = sorted(set(ids))
    for start in range(0, len(wanted), CHUNK):
        query = sa.select(table).where(
            table.c.site_id == site_fid, table.c.id.in_(wanted[start : start + CHUNK])
        )
        found.update({row.id: dict(row._mapping) for row in connection.execute(query)})
    return found


def corrections(connection: Connection, table: Table, site_fid: int) -> dict[str, str]:
    """Return which record corrects which: {id: id of the record it supersedes}."""
    query = sa.select(table.c.id, table.c.supersedes).where(
        table.c.site_id == site_fid, table.c.supersedes.is_not(None)
    )
    return {row.id: row.supersedes for row in connection.execute(query)}


def add(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Add records, each with the same cells."""
    if rows:
        connection.execute(sa.insert(table), [dict(row) for row in rows])


def column_names(table: Table) -> list[str]:
    """Return the names of the columns of a table."""
    return [column.name for column in table.columns]
