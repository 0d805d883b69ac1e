"""What entering append-only records asks the store."""

from typing import Any

from sqlalchemy import Table
from sqlalchemy import select as sa_select
from sqlalchemy.engine import Connection

from service.store import schema


def corrections(connection: Connection, table: Table, site_fid: int) -> dict[str, str]:
    """Return which record corrects which: {id: id of the record it supersedes}."""
    query = sa_select(table.c.id, table.c.supersedes).where(
        table.c.site_id == site_fid, table.c.supersedes.is_not(None)
    )
    return {row.id: row.supersedes for row in connection.execute(query)}


def answers_of(connection: Connection, inspection_id: str) -> dict[str, Any]:
    """Return what was answered per tree in an inspection: {tree id: {answer, note}}, by tree id."""
    table = schema.inspection_answer
    query = sa_select(table).where(table.c.inspection_id == inspection_id).order_by(table.c.tree_id)
    rows = connection.execute(query)
    return {row.tree_id: {"answer": row.answer, "note": row.note} for row in rows}


def column_names(table: Table) -> list[str]:
    """Return the names of the columns of a table."""
    return [column.name for column in table.columns]
