"""Closed places and hazards: versioned records, made, changed, reopened and crossed out by hand."""

from collections.abc import Mapping, Sequence
from typing import Any

from service.actors import Actor
from service.danger_records import ClosureIn, HazardIn, ReopeningIn
from service.edit import add_records, edit_record
from service.errors import InvalidRequest, NotFound
from service.records import Sent, parsed
from service.store import changes, schema
from service.store.engine import Connection, Store
from service.store.rows import by_ids, revise
from service.store.site_rows import held_site

MODELS: dict[str, type[Sent]] = {"closure": ClosureIn, "hazard": HazardIn}


def add_closures(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[str]:
    """Close places (``ClosureIn``) as one change; return their ids. Raises as `service.edit.add_areas`."""
    return add_records(store, slug, actor, "closure", ClosureIn, items)


def add_hazards(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[str]:
    """Make hazards (``HazardIn``) as one change; return their ids. Raises as `service.edit.add_areas`."""
    return add_records(store, slug, actor, "hazard", HazardIn, items)


def change(
    store: Store, slug: str, actor: Actor, kind: str, id: str, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Write a new version of a closure or hazard; return the version's number.

    Raises as `service.edit.edit_shape`.
    """
    return edit_record(store, slug, actor, kind, MODELS[kind], id, seen_version, values)


def reopen(
    store: Store, slug: str, actor: Actor, id: str, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Open a closed place again (``ReopeningIn``: when, on what finding, by whom); return the new version.

    Raises
    ------
    InvalidRequest
        With every fault; a day before the closing is one.
    NotFound
        If there is no such site or closure.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    said = parsed(ReopeningIn, {**values, "id": id})
    with store.write() as connection:
        site = held_site(connection, slug)
        if said.reopened_on < _closed_from(connection, site.fid, id):
            raise InvalidRequest([("/reopened_on", "It was closed only after that day; check the date.")])
        made = changes.begin(connection, site.fid, actor, "edit", "closure")
        cells = said.model_dump(exclude={"id"})
        return revise(connection, schema.closure, site.fid, id, seen_version, cells, made.fid)


def _closed_from(connection: Connection, site_fid: int, id: str) -> str:
    row = by_ids(connection, schema.closure, site_fid, [id]).get(id)
    if row is None:
        raise NotFound("closure", id)
    return str(row.from_on)
