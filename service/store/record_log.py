"""A site's records in order of its change numbers, as rows that mean the same in every store (R7).

Internal numbers do not leave: a record names the number of the change that wrote it, a former version the
UUID of its record. A window is a run of whole changes. What is read of a window is the site as it was at the
window's last change: of a record that was written again later, the version that held then. So a copy that
has taken in every window up to a number equals the site at that number. Nothing is ever taken away.
"""

import heapq
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection, Row

from service.store import schema
from service.store.former import row_of, site_at

Kind = Literal["whole", "real", "text", "bytes"]

MOST_CHANGES = 500  # in one window
MOST_LISTED = 10_000  # rows of the lists that the imports of one window brought
AT_ONCE = 2000  # rows that are fetched together
OWN_NUMBERS = ("fid", "site_id", "change_id")  # of this store, not of the record
JSON_TEXT = frozenset(
    {"kept", "content", "summary", "totals_cm", "proposal", "placement", "size_class_breaks_cm"}
    | {"inspection_months", "leader_did", "plan", "day_page", "meeting", "closing"}
)

_LATE = (schema.change.name, schema.former_version.name)
_WRITTEN = [table for table in schema.metadata.sorted_tables if {"site_id", "change_id"} <= {*table.c.keys()}]
_TABLES: dict[str, Table] = {
    str(table.name): table
    for table in (
        schema.change,
        *(table for table in _WRITTEN if table.name not in _LATE),
        schema.former_version,
    )
}
_PLAIN = {"site": schema.site, "change": schema.change}
_KINDS: tuple[tuple[type[sa.types.TypeEngine[Any]], Kind], ...] = (
    (sa.Integer, "whole"),
    (sa.Float, "real"),
    (sa.Text, "text"),
    (sa.LargeBinary, "bytes"),
)
_NOT_TOLD = ("fid", "site_id", "heartbeat_at")
TABLES = tuple(_TABLES)  # the changes first, former versions last


@dataclass(frozen=True)
class Window:
    """A run of whole changes of a site, after ``since`` up to ``upto``; ``changes`` are their rows.

    ``changes`` is None where the window is everything up to ``upto``.
    """

    since: int
    upto: int
    changes: tuple[int, ...] | None = None


def table_named(name: str) -> Table:
    """Return the table of the store that a kind of record is kept in."""
    return _TABLES[name]


def kind_of(name: str, column: str) -> Kind:
    """Return what the cells of a column of :func:`columns_of` are."""
    table = schema.site if name == schema.site.name else _TABLES[name]
    if column not in table.c:
        return "text" if column == "record_id" else "whole"
    said = table.c[column].type
    return next(kind for of, kind in _KINDS if isinstance(said, of))


def is_needed(name: str, column: str) -> bool:
    """Whether every record of a kind has a value in a column of :func:`columns_of`."""
    table = schema.site if name == schema.site.name else _TABLES[name]
    return column in ("change_no", "ended_by", "record_id") or not table.c[column].nullable


def columns_of(name: str) -> tuple[str, ...]:
    """Return the columns of a kind of record, the one that tells its rows apart first.

    ``change_no`` and ``ended_by`` are numbers of changes of the site.
    """
    if name in _PLAIN:
        return tuple(str(c.name) for c in _PLAIN[name].columns if c.name not in _NOT_TOLD)
    if name == schema.former_version.name:
        return ("fid", "table_name", "record_id", "version", "content", "change_no", "ended_by")
    named = {"change_id": "change_no"}
    return tuple(named.get(c.name, str(c.name)) for c in _TABLES[name].columns if c.name != "site_id")


def next_window(conn: Connection, site_fid: int, since: int, upto: int | None = None) -> Window:
    """Return the run of whole changes that follows a number; it is empty where nothing follows.

    A large import is a window of its own: what is small is sorted, what is large is read in its order.
    ``upto`` ends the run earlier.
    """
    change = schema.change
    query = sa.select(change.c.fid, change.c.change_no, change.c.kind).where(
        change.c.site_id == site_fid, change.c.change_no > since
    )
    if upto is not None:
        query = query.where(change.c.change_no <= upto)
    run: list[Any] = []
    listed = 0
    for row in conn.execute(query.order_by(change.c.change_no).limit(MOST_CHANGES)).all():
        listed += _listed(conn, row.fid) if row.kind == "import" else 0
        if run and listed > MOST_LISTED:
            break
        run.append(row)
    last = int(run[-1].change_no) if run else since
    return Window(since, last, tuple(row.fid for row in run))


def _listed(conn: Connection, change_fid: int) -> int:
    """How many rows of its list an import took in, or that they are too many for a window with others."""
    key = schema.source_key
    some = sa.select(key.c.fid).where(key.c.change_id == change_fid).limit(MOST_LISTED + 1).subquery()
    return int(conn.execute(sa.select(sa.func.count()).select_from(some)).scalar_one())


def site_row(conn: Connection, row: Row[Any], upto: int) -> dict[str, Any]:
    """Return the row of a site with what it had agreed on at a change number."""
    then = site_at(conn, row, upto)
    cells = {name: getattr(then, name) for name in columns_of(schema.site.name)}
    return {**cells, "change_no": upto}


def mark_of(conn: Connection, row: Row[Any], change_no: int) -> str | None:
    """Return when a change was made, which tells two histories of one site apart; None without such one."""
    if change_no == 0:
        return str(row.created_at)
    change = schema.change
    query = sa.select(change.c.at).where(change.c.site_id == row.fid, change.c.change_no == change_no)
    at: str | None = conn.execute(query).scalar()
    return at


def record_rows(
    conn: Connection, site_fid: int, name: str, window: Window, *, after: int = 0, most: int | None = None
) -> Iterator[tuple[Any, ...]]:
    """Return the rows of a kind of record in a window, in order, those after a number, in constant memory."""
    if name == schema.change.name:
        return _changes(conn, site_fid, window, after, most)
    if name == schema.former_version.name:
        return _former_versions(conn, site_fid, window, after, most)
    table = _TABLES[name]
    rows = _current(conn, table, site_fid, window, after, most)
    if "version" not in table.c:
        return rows
    return islice(heapq.merge(rows, _held_then(conn, table, site_fid, window, after, most), key=_key), most)


def record_parts(
    conn: Connection, site_fid: int, upto: int
) -> Iterator[tuple[str, tuple[str, ...], Iterator[tuple[Any, ...]]]]:
    """Return every record of a site as of a change number: (kind, columns, rows) of each kind."""
    for name in TABLES:
        yield name, columns_of(name), record_rows(conn, site_fid, name, Window(0, upto))


def without_paths(changes: Iterable[Sequence[Any]]) -> Iterator[tuple[Any, ...]]:
    """Yield rows of changes; reports of imports name no place of a file on the machine where they ran."""
    at = columns_of("change").index("summary")
    for row in changes:
        yield (*row[:at], _without_path(row[at]), *row[at + 1 :])


def portable_content(text: str) -> tuple[str, str]:
    """Return the UUID in a kept former version, and the version's JSON text without numbers of this store."""
    cells = json.loads(text)
    plain = {name: value for name, value in cells.items() if name not in OWN_NUMBERS}
    return str(cells["id"]), json.dumps(plain, ensure_ascii=False)


def _key(row: Sequence[Any]) -> int:
    return int(row[0])


def _streamed(conn: Connection, query: Any, most: int | None) -> Iterator[Row[Any]]:
    result = conn.execute(query.limit(most), execution_options={"yield_per": AT_ONCE})
    try:
        yield from result
    finally:
        result.close()


def _changes(
    conn: Connection, site_fid: int, window: Window, after: int, most: int | None
) -> Iterator[tuple[Any, ...]]:
    change = schema.change
    query = sa.select(*(change.c[name] for name in columns_of("change"))).where(
        change.c.site_id == site_fid,
        change.c.change_no > max(after, window.since),
        change.c.change_no <= window.upto,
    )
    return without_paths(_streamed(conn, query.order_by(change.c.change_no), most))


def _without_path(summary: str | None) -> str | None:
    if summary is None:
        return None
    said = json.loads(summary)
    return json.dumps({**said, "side_file": None}, ensure_ascii=False) if said.get("side_file") else summary


def _current(
    conn: Connection, table: Table, site_fid: int, window: Window, after: int, most: int | None
) -> Iterator[tuple[Any, ...]]:
    change = schema.change
    cells = [change.c.change_no if c.name == "change_id" else c for c in table.columns if c.name != "site_id"]
    query = sa.select(*cells).join(change, change.c.fid == table.c.change_id)
    query = query.where(table.c.site_id == site_fid, table.c.fid > after)
    query = query.where(_within(window, table.c.change_id, change.c.change_no))
    for row in _streamed(conn, query.order_by(table.c.fid), most):
        yield tuple(row)


def _held_then(
    conn: Connection, table: Table, site_fid: int, window: Window, after: int, most: int | None
) -> Iterator[tuple[Any, ...]]:
    """The versions that held at the end of the window and were written again after it."""
    former, wrote, ended = schema.former_version, schema.change.alias(), schema.change.alias()
    query = (
        sa.select(former.c.content, wrote.c.change_no)
        .join(wrote, wrote.c.fid == former.c.change_id)
        .join(ended, ended.c.fid == former.c.ended_by)
        .where(former.c.site_id == site_fid, former.c.table_name == table.name, former.c.record_fid > after)
        .where(_within(window, former.c.change_id, wrote.c.change_no), ended.c.change_no > window.upto)
    )
    names = [column.name for column in table.columns]
    for row in _streamed(conn, query.order_by(former.c.record_fid), most):
        cells = dict(zip(names, row_of(table, row.content, row.change_no), strict=False))
        yield tuple({**cells, "change_no": row.change_no}[name] for name in columns_of(table.name))


def _former_versions(
    conn: Connection, site_fid: int, window: Window, after: int, most: int | None
) -> Iterator[tuple[Any, ...]]:
    former, wrote, ended = schema.former_version, schema.change.alias(), schema.change.alias()
    query = (
        sa.select(former, wrote.c.change_no.label("wrote"), ended.c.change_no.label("ended"))
        .join(wrote, wrote.c.fid == former.c.change_id)
        .join(ended, ended.c.fid == former.c.ended_by)
        .where(former.c.site_id == site_fid, former.c.fid > after)
        .where(_within(window, former.c.ended_by, ended.c.change_no))
    )
    for row in _streamed(conn, query.order_by(former.c.fid), most):
        id, content = portable_content(row.content)
        yield row.fid, row.table_name, id, row.version, content, row.wrote, row.ended


def _within(window: Window, fid: Any, number: Any) -> sa.ColumnElement[bool]:
    """Whether a record was written, or ended, by a change of the window; an open change has no number."""
    if window.changes is not None:
        return sa.and_(fid.in_(window.changes), number.is_not(None))
    return sa.and_(number > window.since, number <= window.upto)
