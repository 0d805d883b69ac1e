"""Writing a site from a snapshot: short transactions into a site that nobody sees, then one that shows it.

Until then the site has no change number and a short name that no site can have, and none of its changes has a
number. What a killed run left behind is erased by the next one. Numbers of rows (``fid``) are kept where this
store has never given out any of them in that table; else all of that table are moved up together, past the
last one that was given out, so that none is used twice and their order stays.
"""

import json
import time
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from service.errors import HereAlready, ImportRunning, InvalidRequest
from service.store import changes, record_log, rows, schema
from service.store.changes import ERASED_AT_ONCE, OpenImport
from service.store.engine import Store

_HIDDEN = "."  # begins the short name of a site that is being restored


@dataclass(frozen=True)
class Restored:
    """What a snapshot holds of a site before its records: its terms and how its records are numbered."""

    site: Mapping[str, Any]  # columns of record_log for the site
    numbers: Mapping[str, tuple[int, int]]  # lowest and highest number of each kind that has records
    file_name: str
    file_hash: str


class Restoring:
    """A site that is being written from a snapshot."""

    def __init__(
        self,
        store: Store,
        mine: OpenImport,
        said: Restored,
        first: Mapping[str, Any],
        moved: Mapping[str, int],
    ) -> None:
        self.store = store
        self.mine = mine
        self.said = said
        self.first = first
        self.moved = moved

    def write(self, name: str, records: Iterator[tuple[Any, ...]]) -> Iterator[int]:
        """Write the records of a kind, in the columns and order of ``record_log``; changes come first.

        The number of records is yielded after each transaction.

        Raises
        ------
        HereAlready
            If one of them is known on another ground.
        InvalidRequest
            If a former version is of no record of the site.
        ImportRunning
            If another process has taken this one over.
        StoreUnavailable
            If the store is full or locked.
        """
        size = changes.FIRST_ROWS
        while part := list(islice(records, size)):
            began = time.perf_counter()
            try:
                with self.store.write() as conn:
                    alive = changes.beat(conn, self.mine)
                    self._insert(conn, name, part)
                self.mine = alive
            except sa.exc.IntegrityError as error:
                why = "A record of this snapshot is known on another ground here. Open another store for it."
                raise HereAlready(self.said.site["slug"], why) from error
            size = changes.next_size(size, time.perf_counter() - began)
            yield len(part)

    def show(self) -> None:
        """Give every change its number and the site its short name: from now on everybody sees it.

        Raises
        ------
        HereAlready
            If a site of that short name has come meanwhile.
        ImportRunning
            If another process has taken this one over.
        """
        change, site, said = schema.change, schema.site, self.said.site
        numbered = {"change_no": change.c.fid - self.moved["change"], "heartbeat_at": None}
        shown = {"slug": said["slug"], "change_no": said["change_no"]}
        own = {name: self.first[name] for name in ("file_name", "file_hash")}
        try:
            with self.store.write() as conn:
                changes.beat(conn, self.mine)
                conn.execute(sa.update(change).where(change.c.site_id == self.mine.site_fid).values(numbered))
                conn.execute(sa.update(change).where(change.c.fid == self.mine.fid).values(own))
                conn.execute(sa.update(site).where(site.c.fid == self.mine.site_fid).values(shown))
        except sa.exc.IntegrityError as error:
            raise _here(said["slug"]) from error

    def abandon(self) -> None:
        """Erase what was written.

        Raises
        ------
        ImportRunning
            If another process has taken this one over.
        """
        _erase(self.store, self.mine)

    def _insert(self, conn: Connection, name: str, part: list[tuple[Any, ...]]) -> None:
        columns = record_log.columns_of(name)
        cells = [dict(zip(columns, row, strict=True)) for row in part]
        if name == "former_version":
            self._as_kept(conn, cells)
        for row in cells:
            self._number(name, row)
        names = tuple(cells[0])
        rows.insert_rows(conn, record_log.table_named(name), names, [tuple(row.values()) for row in cells])

    def _number(self, name: str, row: dict[str, Any]) -> None:
        """Put the numbers of this store into a record."""
        base = self.moved["change"]
        row["site_id"] = self.mine.site_fid
        if name == "change":
            row |= {"fid": base + row.pop("change_no")}
            return
        row["fid"] += self.moved[name]
        row["change_id"] = base + row.pop("change_no")
        if "ended_by" in row:
            row["ended_by"] += base
        if name == "settling" and row["subject"] == "question" and row["subject_id"].isdecimal():
            row["subject_id"] = str(int(row["subject_id"]) + self.moved.get("question", 0))

    def _as_kept(self, conn: Connection, cells: list[dict[str, Any]]) -> None:
        """Turn the UUIDs in former versions into numbers of this store, in their content too."""
        wanted: dict[str, set[str]] = {}
        for row in cells:
            wanted.setdefault(row["table_name"], set()).add(row["record_id"])
        fids = {name: _fids(conn, name, self.mine.site_fid, ids) for name, ids in wanted.items()}
        for row in cells:
            fid = fids[row["table_name"]].get(row.pop("record_id"))
            if fid is None:
                raise InvalidRequest(
                    f"The snapshot cannot be taken: former version {row['fid']} is of a record that is not "
                    "in it. Write the snapshot again where it came from; nothing was taken."
                )
            content = json.loads(row["content"])
            if row["table_name"] == "site":
                own, content["slug"] = {"fid": fid}, self.said.site["slug"]
            else:
                number = self.moved["change"] + row["change_no"]
                own = {"fid": fid, "site_id": self.mine.site_fid, "change_id": number}
            row |= {"record_fid": fid, "content": json.dumps({**own, **content}, ensure_ascii=False)}


def begin(store: Store, said: Restored, first: Mapping[str, Any]) -> Restoring:
    """Make the site that nobody sees with its first change, and set aside the numbers of its rows.

    Raises
    ------
    HereAlready
        If the site, or one of its short name, is in the store.
    ImportRunning
        If this snapshot is being brought in by another process.
    """
    _sweep(store, said)
    moved = {name: _set_aside(store, name, *ends) for name, ends in said.numbers.items()}
    hidden = {**said.site, "slug": f"{_HIDDEN}{uuid.uuid4()}", "change_no": 0}
    opened = {"file_hash": said.file_hash, "file_name": said.file_name, "heartbeat_at": changes.now()}
    lock = {**first, **opened, "change_no": None, "fid": moved["change"] + first["change_no"]}
    try:
        with store.write() as conn:
            _require_not_here(conn, said.site)
            made = sa.insert(schema.site).values(hidden).returning(schema.site.c.fid)
            fid = conn.execute(made).scalar_one()
            conn.execute(sa.insert(schema.change).values({**lock, "site_id": fid}))
    except sa.exc.IntegrityError as error:
        raise ImportRunning(said.file_name) from error
    mine = OpenImport(lock["fid"], fid, first["at"], said.file_name, opened["heartbeat_at"], resumed=False)
    return Restoring(store, mine, said, first, moved)


def require_not_here(store: Store, site: Mapping[str, Any]) -> None:
    """Check that a site could be restored.

    Raises
    ------
    HereAlready
        If it, or one of its short name, is in the store.
    """
    with store.read() as conn:
        _require_not_here(conn, site)


def is_here(store: Store, site_id: str) -> bool:
    """Whether a site is in the store, for everybody to see."""
    site = schema.site
    with store.read() as conn:
        query = sa.select(site.c.fid).where(site.c.id == site_id, site.c.change_no > 0)
        return conn.execute(query).first() is not None


def _require_not_here(conn: Connection, said: Mapping[str, Any]) -> None:
    site = schema.site
    own = sa.and_(site.c.id == said["id"], site.c.slug.not_like(f"{_HIDDEN}%"))
    same = sa.or_(own, site.c.slug == said["slug"])
    found = conn.execute(sa.select(site.c.id, site.c.slug).where(same)).first()
    if found is not None:
        raise _here(found.slug, found.id == said["id"])


def _here(slug: str, same: bool = False) -> HereAlready:
    if same:
        why = (
            f"This ground is here already, as {slug}. Open another store for the snapshot, or name one of "
            "its layers (trees, areas or targets) to bring in what is new in it."
        )
    else:
        why = f"There is another ground called {slug} here. Name the one to be made with --site."
    return HereAlready(slug, why)


def _fids(conn: Connection, name: str, site_fid: int, ids: set[str]) -> dict[str, int]:
    if name == "site":
        return dict.fromkeys(ids, site_fid)
    table, wanted, out = record_log.table_named(name), sorted(ids), dict[str, int]()
    for start in range(0, len(wanted), rows.AT_ONCE):
        part = wanted[start : start + rows.AT_ONCE]
        query = sa.select(table.c.id, table.c.fid).where(table.c.site_id == site_fid, table.c.id.in_(part))
        out.update((row.id, row.fid) for row in conn.execute(query))
    return out


def _set_aside(store: Store, name: str, lowest: int, highest: int) -> int:
    """Set numbers of a table aside for rows numbered so, and return by how much they are moved up."""
    table = record_log.table_named(name)
    with store.write() as conn:
        quoted = conn.dialect.identifier_preparer.format_table(table)
        if conn.dialect.name == "sqlite":
            return _set_aside_in_file(conn, name, lowest, highest)
        conn.exec_driver_sql(f"LOCK TABLE {quoted} IN SHARE ROW EXCLUSIVE MODE")
        sequence = conn.execute(sa.select(sa.func.pg_get_serial_sequence(quoted, "fid"))).scalar_one()
        last, called = conn.exec_driver_sql(f"SELECT last_value, is_called FROM {sequence}").one()
        by = _moved(lowest, last if called else 0)
        conn.execute(sa.select(sa.func.setval(sequence, highest + by)))
    return by


def _set_aside_in_file(conn: Connection, name: str, lowest: int, highest: int) -> int:
    last = conn.exec_driver_sql("SELECT seq FROM sqlite_sequence WHERE name = ?", (name,)).scalar()
    by = _moved(lowest, last or 0)
    if last is None:
        conn.exec_driver_sql("INSERT INTO sqlite_sequence VALUES (?, ?)", (name, highest + by))
    else:
        conn.exec_driver_sql("UPDATE sqlite_sequence SET seq = ? WHERE name = ?", (highest + by, name))
    return by


def _moved(lowest: int, last: int) -> int:
    return 0 if lowest > last else last - lowest + 1


def _sweep(store: Store, said: Restored) -> None:
    """Erase what runs that ended have left behind.

    Raises
    ------
    ImportRunning
        If a run that has not ended is at the same site.
    """
    site, change = schema.site, schema.change
    query = (
        sa.select(site.c.id, change.c.fid, change.c.site_id, change.c.at, change.c.file_name)
        .add_columns(change.c.file_hash, change.c.heartbeat_at)
        .join(change, change.c.site_id == site.c.fid)
        .where(site.c.slug.startswith(_HIDDEN), change.c.heartbeat_at.is_not(None))
    )
    with store.read() as conn:
        found = conn.execute(query).all()
    for row in found:
        again = row.id == said.site["id"] and row.file_hash == said.file_hash
        left = OpenImport(row.fid, row.site_id, row.at, row.file_name, row.heartbeat_at, resumed=True)
        if again or changes.is_stale(row.heartbeat_at):
            _erase(store, left)
        elif row.id == said.site["id"]:
            raise ImportRunning(row.file_name)


def _erase(store: Store, mine: OpenImport) -> None:
    """Erase a site that nobody has seen, a bit at a time."""
    left = [table for table in reversed(schema.metadata.sorted_tables) if "site_id" in table.c]
    left.remove(schema.change)
    left.sort(key=lambda table: table is not schema.former_version)
    for table in left:
        some = sa.select(table.c.fid).where(table.c.site_id == mine.site_fid).limit(ERASED_AT_ONCE)
        while True:
            with store.write() as conn:
                mine = changes.beat(conn, mine)
                if not conn.execute(sa.delete(table).where(table.c.fid.in_(some))).rowcount:
                    break
    with store.write() as conn:
        changes.beat(conn, mine)
        conn.execute(sa.delete(schema.change).where(schema.change.c.site_id == mine.site_fid))
        conn.execute(sa.delete(schema.site).where(schema.site.c.fid == mine.site_fid))
