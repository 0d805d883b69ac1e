"""What entering append-only records asks the store."""

from sqlalchemy import Table
from sqlalchemy import select as sa_select
from sqlalchemy.engine import Connection


def corrections(connection: Connection, table: Table, site_fid: int) -> dict[str, str]:
    """Return which record corrects which: {id: id of the record it supersedes}."""
    query = sa_select(table.c.id, table.c.supersedes).where(
        table.c.site_id == site_fid, table.c.supersedes.is_not(None)
    )
    return {row.id: row.supersedes for row in connection.execute(query)}


def column_names(table: Table) -> list[str]:
    """Return the names of the columns of a table."""
    return [column.name for column in table.columns]
