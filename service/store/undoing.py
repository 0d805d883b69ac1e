"""What a change wrote, so that it can be taken back."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection, Row

from service.store import schema
from service.store.former import row_of

APPENDED = (
    schema.reading,
    schema.observation,
    schema.status_event,
    schema.finding,
    schema.inspection,
    schema.calibration,
    schema.danger_report,
    schema.danger_answer,
    schema.photo,
)
VERSIONED = (
    schema.tree,
    schema.stem,
    schema.area,
    schema.target,
    schema.place,
    schema.round_,
    schema.crew,
    schema.plan_image,
    schema.closure,
    schema.hazard,
    schema.set_aside,
)


def last_entry(connection: Connection, site_fid: int, actor: str) -> Row[Any] | None:
    """Return the latest change by hand of an actor that has not been taken back; None when there is none."""
    change = schema.change
    mine = sa.and_(change.c.site_id == site_fid, change.c.actor == actor, change.c.change_no.is_not(None))
    query = sa.select(change).where(mine, change.c.kind.in_(("entry", "edit")))
    undone = _undone_numbers(connection, site_fid)
    if undone:
        query = query.where(change.c.change_no.not_in(undone))
    return connection.execute(query.order_by(change.c.change_no.desc()).limit(1)).one_or_none()


def taken_back(connection: Connection, site_fid: int) -> set[int]:
    """Return the changes that do not count any more: those taken back, and the takings back themselves."""
    change = schema.change
    query = sa.select(change.c.fid).where(
        change.c.site_id == site_fid,
        sa.or_(change.c.kind == "undo", change.c.change_no.in_(_undone_numbers(connection, site_fid))),
    )
    return {fid for (fid,) in connection.execute(query)}


def _undone_numbers(connection: Connection, site_fid: int) -> list[int]:
    change = schema.change
    query = sa.select(change.c.note).where(change.c.site_id == site_fid, change.c.kind == "undo")
    return [int(note) for (note,) in connection.execute(query)]


def written_by(connection: Connection, table: Table, change_fid: int) -> Sequence[Row[Any]]:
    """Return the rows of an append-only table that a change wrote."""
    return connection.execute(sa.select(table).where(table.c.change_id == change_fid)).all()


@dataclass(frozen=True)
class Corrections:
    """Which records of a site correct which: by the id of what is corrected, with their changes."""

    by_corrected: dict[str, list[tuple[str, int]]]

    def tip(self, id: str, without: set[int]) -> str | None:
        """Return the last record of a chain; None where a change that still counts has gone on from it."""
        at = id
        while later := self.by_corrected.get(at):
            if any(change not in without for _id, change in later):
                return None
            at = later[-1][0]
        return at

    def is_contested(self, id: str, change_fid: int, without: set[int]) -> bool:
        """Return whether another change that counts has corrected a record as well."""
        others = self.by_corrected.get(id, [])
        return any(change != change_fid and change not in without for _id, change in others)


def corrections_of(connection: Connection, table: Table, site_fid: int) -> Corrections:
    """Return the corrections in an append-only table of a site."""
    query = sa.select(table.c.supersedes, table.c.id, table.c.change_id).where(
        table.c.site_id == site_fid, table.c.supersedes.is_not(None)
    )
    found: dict[str, list[tuple[str, int]]] = {}
    for corrected, id, change_id in connection.execute(query.order_by(table.c.fid)):
        found.setdefault(corrected, []).append((id, change_id))
    return Corrections(found)


def before(
    connection: Connection, table: Table, change_fid: int, without: set[int]
) -> list[tuple[Row[Any], dict[str, Any]]]:
    """Return the records that a change touched and what to write to have them as they were before it.

    A record that another change has touched since is left alone; changes in ``without`` are no such changes.
    """
    former = schema.former_version
    past = sa.select(former).where(former.c.table_name == table.name, former.c.change_id == change_fid)
    versions = {row.record_fid: row.version for row in connection.execute(past)}
    at_hand = sa.or_(table.c.change_id == change_fid, table.c.fid.in_(list(versions)))
    out = []
    for row in connection.execute(sa.select(table).where(at_hand)).all():
        version = versions.get(row.fid, row.version)
        if _touched_since(connection, table, row, version) <= without:
            out.append((row, _cells_before(connection, table, row, version)))
    return out


def _touched_since(connection: Connection, table: Table, row: Any, version: int) -> set[int]:
    former = schema.former_version
    query = sa.select(former.c.change_id).where(
        former.c.table_name == table.name, former.c.record_fid == row.fid, former.c.version > version
    )
    since = {change for (change,) in connection.execute(query)}
    return since | ({row.change_id} if row.version > version else set())


def _cells_before(connection: Connection, table: Table, row: Any, version: int) -> dict[str, Any]:
    if version == 1:
        return {"void": 1}
    former = schema.former_version
    content = connection.execute(
        sa.select(former.c.content).where(
            former.c.table_name == table.name,
            former.c.record_fid == row.fid,
            former.c.version == version - 1,
        )
    ).scalar_one()
    names = [column.name for column in table.columns]
    cells = dict(zip(names, row_of(table, content, 0), strict=False))
    return {k: v for k, v in cells.items() if k not in ("fid", "id", "site_id", "change_id", "version")}
