"""Versioned records as they were known at an earlier change number (definitions R6, N6)."""

import json
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection

from service.store import schema


def content_of(table: Table, row: Any) -> str:
    """Return a row as JSON text, bytes as hex, to be kept as a former version."""
    return json.dumps(
        {
            name: value.hex() if isinstance(value, bytes) else value
            for name, value in row._mapping.items()
            if name in table.c
        },
        ensure_ascii=False,
    )


def row_of(table: Table, content: str, change_no: int) -> list[Any]:
    """Return a kept former version as the cells of a row of its table, the change number last."""
    cells = json.loads(content)
    return [_value(table, name, cells.get(name)) for name in table.columns.keys()] + [change_no]  # noqa: SIM118


def versions_at(
    connection: Connection, table: Table, site_fid: int, rows: Sequence[Sequence[Any]], known_at: int
) -> list[Sequence[Any]]:
    """Return the rows of a versioned table with each record in the version known at ``known_at``.

    ``rows`` are current rows with their change number last; records not known then are left out.
    """
    former, change = schema.former_version, schema.change
    found = connection.execute(
        sa.select(former.c.record_fid, former.c.content, change.c.change_no)
        .join(change, change.c.fid == former.c.change_id)
        .where(
            former.c.site_id == site_fid, former.c.table_name == table.name, change.c.change_no <= known_at
        )
        .order_by(former.c.version)
    )
    earlier = {fid: row_of(table, content, number) for fid, content, number in found}
    out: list[Sequence[Any]] = []
    for row in rows:
        if row[-1] <= known_at:
            out.append(row)
        elif row[0] in earlier:
            out.append(earlier[row[0]])
    return out


def former_contents(
    connection: Connection, table: Table, site_fid: int, record_id: str
) -> list[tuple[str, dict[str, Any]]]:
    """Return the former versions of a record, the first one first: until when each held, and its cells."""
    former, change = schema.former_version, schema.change
    query = (
        sa.select(change.c.at, former.c.content)
        .join(change, change.c.fid == former.c.ended_by)
        .join(table, table.c.fid == former.c.record_fid)
        .where(
            former.c.site_id == site_fid,
            former.c.table_name == table.name,
            table.c.id == record_id,
            change.c.change_no.is_not(None),
        )
        .order_by(former.c.version)
    )
    return [(at, json.loads(content)) for at, content in connection.execute(query)]


def _value(table: Table, name: str, value: Any) -> Any:
    return (
        bytes.fromhex(value)
        if value is not None and isinstance(table.c[name].type, sa.LargeBinary)
        else value
    )
