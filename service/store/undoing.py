"""What a change wrote, so that it can be taken back."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection, Row

from service.store import schema
from service.store.former import row_of

APPENDED = (schema.reading, schema.observation, schema.status_event, schema.finding, schema.inspection)
VERSIONED = (
    schema.tree,
    schema.stem,
    schema.area,
    schema.target,
    schema.place,
    schema.round_,
    schema.crew,
    schema.plan_image,
)


def last_entry(connection: Connection, site_fid: int, actor: str) -> Row[Any] | None:
    """Return the latest change by hand of an actor that has not been taken back; None when there is none."""
    change = schema.change
    mine = sa.and_(change.c.site_id == site_fid, change.c.actor == actor, change.c.change_no.is_not(None))
    undone = [
        int(note)
        for (note,) in connection.execute(sa.select(change.c.note).where(mine, change.c.kind == "undo"))
    ]
    query = sa.select(change).where(mine, change.c.kind.in_(("entry", "edit")))
    if undone:
        query = query.where(change.c.change_no.not_in(undone))
    return connection.execute(query.order_by(change.c.change_no.desc()).limit(1)).one_or_none()


def written_by(connection: Connection, table: Table, change_fid: int) -> Sequence[Row[Any]]:
    """Return the rows of a table that a change wrote and that are still as it wrote them."""
    return connection.execute(sa.select(table).where(table.c.change_id == change_fid)).all()


def former_cells(connection: Connection, table: Table, row: Any) -> dict[str, Any]:
    """Return the cells that a versioned row had in the version before."""
    former = schema.former_version
    content = connection.execute(
        sa.select(former.c.content).where(
            former.c.table_name == table.name,
            former.c.record_fid == row.fid,
            former.c.version == row.version - 1,
        )
    ).scalar_one()
    names = [column.name for column in table.columns]
    cells = dict(zip(names, row_of(table, content, 0), strict=False))
    return {k: v for k, v in cells.items() if k not in ("fid", "id", "site_id", "change_id", "version")}
