"""Change numbers: every writing of a site takes the site's next one (definitions R7).

A change of an import is open (without a number) until its last transaction closes it; nobody sees its records
before. One import at a time is open in a site. Whoever writes into an open change shows the heartbeat that it
wrote last: a second process that takes the change over (the same command given again) ends the first one.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from service.actors import Actor
from service.errors import ImportRunning, NotFound
from service.store.schema import change, metadata, site

STALE_AFTER = timedelta(seconds=60)
ERASED_AT_ONCE = 2000
FIRST_ROWS = 400  # of the first short transaction of an import
AIM_S, GROWTH = 0.1, 2.0  # of the 0.2 s that a transaction may take


@dataclass(frozen=True)
class Change:
    """A change that has its number."""

    fid: int
    change_no: int


@dataclass(frozen=True)
class OpenImport:
    """A change of an import under way; ``resumed`` says that it holds records of an earlier, ended run."""

    fid: int
    site_fid: int
    at: str
    file_name: str
    heartbeat_at: str
    resumed: bool


def now() -> str:
    """Return the time of the server, UTC, as ISO text with microseconds."""
    return datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def begin(conn: Connection, site_fid: int, actor: Actor, kind: str, note: str | None = None) -> Change:
    """Take the site's next change number for what this transaction writes.

    Raises
    ------
    NotFound
        If there is no such site.
    """
    number = _next_number(conn, site_fid)
    made = sa.insert(change).values(
        site_id=site_fid, change_no=number, kind=kind, actor=actor.handle, at=now(), note=note
    )
    return Change(conn.execute(made.returning(change.c.fid)).scalar_one(), number)


def hold(conn: Connection, site_fid: int) -> None:
    """Let no other change of the site come between this and the end of the transaction.

    A transaction that writes holds the whole of an SQLite store; elsewhere it waits for the site's row.
    """
    conn.execute(sa.select(site.c.fid).where(site.c.fid == site_fid).with_for_update())


def open_import(conn: Connection, site_fid: int, actor: Actor, file_name: str, file_hash: str) -> OpenImport:
    """Open the change of an import, or take over the one that the same file left behind.

    Raises
    ------
    ImportRunning
        If an import of another file is open; a stale one has to be erased first (`stale_imports`).
    """
    found = conn.execute(_open_ones().where(change.c.site_id == site_fid)).all()
    other = next((row for row in found if row.file_hash != file_hash), None)
    if other is not None:
        raise ImportRunning(other.file_name)
    if found:
        row = found[0]
        mine = OpenImport(row.fid, site_fid, row.at, file_name, row.heartbeat_at, resumed=True)
        return beat(conn, mine)
    at = now()
    made = sa.insert(change).values(
        site_id=site_fid,
        kind="import",
        actor=actor.handle,
        at=at,
        file_name=file_name,
        file_hash=file_hash,
        heartbeat_at=at,
    )
    fid = conn.execute(made.returning(change.c.fid)).scalar_one()
    return OpenImport(fid, site_fid, at, file_name, at, resumed=False)


def beat(conn: Connection, mine: OpenImport) -> OpenImport:
    """Show that an import is alive, and that it is still the one that writes into its change.

    Raises
    ------
    ImportRunning
        If another process has taken the change over, closed it or erased it.
    """
    at = now()
    done = conn.execute(
        sa.update(change)
        .where(
            change.c.fid == mine.fid, change.c.heartbeat_at == mine.heartbeat_at, change.c.change_no.is_(None)
        )
        .values(heartbeat_at=at)
    )
    if done.rowcount != 1:
        raise ImportRunning(mine.file_name)
    return replace(mine, heartbeat_at=at)


def next_size(rows: int, took_s: float) -> int:
    """Return how many rows the next short transaction takes, after one of so many took so long [s]."""
    return max(1, int(rows * min(GROWTH, AIM_S / max(took_s, 1e-6))))


def close_import(conn: Connection, mine: OpenImport, summary: str) -> Change:
    """Give an import its number: from the end of this transaction on, everybody sees its records.

    Raises
    ------
    ImportRunning
        If another process has taken the change over.
    """
    beat(conn, mine)
    number = _next_number(conn, mine.site_fid)
    conn.execute(
        sa.update(change)
        .where(change.c.fid == mine.fid)
        .values(change_no=number, heartbeat_at=None, summary=summary)
    )
    return Change(mine.fid, number)


def open_change_ids(conn: Connection) -> list[int]:
    """Return the changes whose records nobody may see yet."""
    return [row.fid for row in conn.execute(_open_ones())]


def last_number(conn: Connection, site_fid: int) -> int:
    """Return the number of a site's last change."""
    return int(conn.execute(sa.select(site.c.change_no).where(site.c.fid == site_fid)).scalar_one())


def last_import(conn: Connection, site_fid: int) -> int | None:
    """Return the last change of a site that was an import and is closed."""
    query = sa.select(sa.func.max(change.c.fid)).where(
        change.c.site_id == site_fid, change.c.kind == "import", change.c.change_no.is_not(None)
    )
    return conn.execute(query).scalar()


def is_stale(heartbeat_at: str) -> bool:
    """Whether nobody works any more on an import that showed a heartbeat then."""
    oldest = (datetime.now(UTC) - STALE_AFTER).isoformat(timespec="microseconds").replace("+00:00", "Z")
    return heartbeat_at <= oldest


def stale_imports(conn: Connection, site_fid: int, file_hash: str) -> list[OpenImport]:
    """Return the open imports of other files that nobody works on any more.

    Raises
    ------
    ImportRunning
        If somebody does.
    """
    out = []
    for row in conn.execute(_open_ones().where(change.c.site_id == site_fid)):
        if row.file_hash == file_hash:
            continue
        if not is_stale(row.heartbeat_at):
            raise ImportRunning(row.file_name)
        out.append(OpenImport(row.fid, site_fid, row.at, row.file_name, row.heartbeat_at, resumed=True))
    return out


def erase_some(conn: Connection, mine: OpenImport) -> OpenImport | None:
    """Erase a part of what an abandoned import wrote; None once all of it and its change are gone.

    Raises
    ------
    ImportRunning
        If another process has taken the change over.
    """
    mine = beat(conn, mine)
    for table in reversed(metadata.sorted_tables):
        if "change_id" not in table.c or table.name == "former_version":
            continue
        some = sa.select(table.c.fid).where(table.c.change_id == mine.fid).limit(ERASED_AT_ONCE)
        if conn.execute(sa.delete(table).where(table.c.fid.in_(some))).rowcount:
            return mine
    conn.execute(sa.delete(change).where(change.c.fid == mine.fid))
    return None


def _open_ones() -> sa.Select[tuple[int, int, str, str, str, str]]:
    return sa.select(
        change.c.fid,
        change.c.site_id,
        change.c.at,
        change.c.file_name,
        change.c.file_hash,
        change.c.heartbeat_at,
    ).where(change.c.change_no.is_(None))


def _next_number(conn: Connection, site_fid: int) -> int:
    number = conn.execute(
        sa.update(site)
        .where(site.c.fid == site_fid)
        .values(change_no=site.c.change_no + 1)
        .returning(site.c.change_no)
    ).scalar()
    if number is None:
        raise NotFound("site", str(site_fid))
    return int(number)
