"""Taking back the last entry: nothing is erased, everything is crossed out or put back as it was."""

import uuid
from dataclasses import dataclass
from typing import Any

from service import settling
from service.actors import Actor
from service.errors import NotFound
from service.store import changes, schema
from service.store.engine import Store
from service.store.rows import by_ids, insert_records, revise_many
from service.store.site_rows import find_site, held_site
from service.store.undoing import (
    APPENDED,
    VERSIONED,
    before,
    corrections_of,
    last_entry,
    taken_back,
    written_by,
)

_BOOKKEEPING = ("fid", "id", "change_id", "supersedes", "void", "reason", "received_at", "actor")


@dataclass(frozen=True)
class LastEntry:
    """The latest change by hand of an actor: its number, when (UTC, ISO), and what kind of records."""

    change_no: int
    at: str
    note: str | None


def last_by_hand(store: Store, slug: str, actor: Actor) -> LastEntry | None:
    """Return what `undo_last` would take back; None when there is nothing.

    Raises
    ------
    NotFound
        If there is no such site.
    """
    with store.read() as connection:
        last = last_entry(connection, find_site(connection, slug).fid, actor.handle)
    return None if last is None else LastEntry(last.change_no, last.at, last.note)


def undo_last(store: Store, slug: str, actor: Actor) -> int:
    """Take back the actor's latest change by hand; return the number of records crossed out or put back.

    Raises
    ------
    NotFound
        If there is no such site, or nothing to take back.
    NotPermitted
        If the actor may not measure.
    """
    actor.require("measure")
    with store.write() as connection:
        site = held_site(connection, slug)
        last = last_entry(connection, site.fid, actor.handle)
        if last is None:
            raise NotFound("entry to take back", slug)
        made = changes.begin(connection, site.fid, actor, "undo", str(last.change_no))
        count = _cross_out_appended(connection, site, last, made, actor)
        count += settling.ask_again(connection, site.fid, last.fid, made, actor)
        return count + _put_back(connection, site, last, made)


def _cross_out_appended(connection: Any, site: Any, last: Any, made: Any, actor: Actor) -> int:
    """Cross out what was said; a correction gives way to what it corrected, said once more."""
    count = 0
    without = taken_back(connection, site.fid)
    shared = {"change_id": made.fid, "reason": "taken back", "received_at": changes.now()}
    for table in APPENDED:
        rows = written_by(connection, table, last.fid)
        chains = corrections_of(connection, table, site.fid) if rows else None
        parents = by_ids(connection, table, site.fid, [row.supersedes for row in rows if row.supersedes])
        records = []
        for row in rows:
            assert chains is not None
            tip = chains.tip(row.id, without)
            if tip is None:
                continue
            contested = row.supersedes and chains.is_contested(row.supersedes, last.fid, without)
            before = None if contested or table is schema.inspection else parents.get(row.supersedes)
            id = str(uuid.uuid5(uuid.UUID(row.id), f"undo {made.change_no}"))
            own = {"id": id, "supersedes": tip, "void": 1 if before is None else before.void}
            records.append({**_content(before or row), **own, **shared, "actor": actor.handle})
        insert_records(connection, table, records)
        count += len(records)
    return count


def _content(row: Any) -> dict[str, Any]:
    return {name: value for name, value in row._mapping.items() if name not in _BOOKKEEPING}


def _put_back(connection: Any, site: Any, last: Any, made: Any) -> int:
    count = 0
    without = taken_back(connection, site.fid)
    for table in VERSIONED:
        revisions = before(connection, table, last.fid, without)
        revise_many(connection, table, revisions, made.fid)
        count += len(revisions)
    return count
