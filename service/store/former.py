"""Versioned records as they were known at an earlier change number (definitions R6, N6)."""

import json
from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection, Row

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


def site_at(connection: Connection, row: Any, known_at: int) -> Any:
    """Return the row of a site with the terms that were agreed on at a change number."""
    former, change = schema.former_version, schema.change
    content = connection.execute(
        sa.select(former.c.content)
        .join(change, change.c.fid == former.c.ended_by)
        .where(
            former.c.table_name == schema.site.name,
            former.c.record_fid == row.fid,
            change.c.change_no > known_at,
        )
        .order_by(former.c.version)
        .limit(1)
    ).scalar()
    return row if content is None else SimpleNamespace(**{**row._mapping, **json.loads(content)})


def first_contents(
    connection: Connection, table: Table, rows: Sequence[Row[Any]]
) -> dict[str, dict[str, Any]]:
    """Return what versioned records said when they were made, by UUID; bytes as hex."""
    out = {row.id: json.loads(content_of(table, row)) for row in rows}
    former, changed = schema.former_version, [row.fid for row in rows if row.version > 1]
    for start in range(0, len(changed), 500):
        query = sa.select(former.c.content).where(
            former.c.table_name == table.name,
            former.c.version == 1,
            former.c.record_fid.in_(changed[start : start + 500]),
        )
        out.update((cells["id"], cells) for cells in map(json.loads, connection.scalars(query)))
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
