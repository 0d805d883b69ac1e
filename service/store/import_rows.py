"""What an import asks the store: which keys it knows, what they said, and what stands there now."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection, Row

from service.store import rows, schema
from service.store.changes import open_change_ids
from service.store.schema import change, former_version, place, reading, source_key, tree


@dataclass(frozen=True)
class KnownKey:
    """What a key of a file is known as, and what it said at its last import (JSON)."""

    record_id: str
    content: str


def known_keys(conn: Connection, site_fid: int, layer: str, place_name: str) -> dict[str, KnownKey]:
    """Return what every key of a layer said at its last import that was closed."""
    query = (
        sa.select(source_key.c.key, source_key.c.record_id, source_key.c.content)
        .where(
            source_key.c.site_id == site_fid, source_key.c.layer == layer, source_key.c.place == place_name
        )
        .where(_closed(source_key))
        .order_by(source_key.c.fid)
    )
    return {key: KnownKey(record_id, content) for key, record_id, content in conn.execute(query)}


def written_keys(conn: Connection, change_fid: int) -> set[str]:
    """Return the keys that an import under way has written."""
    return set(conn.scalars(sa.select(source_key.c.key).where(source_key.c.change_id == change_fid)))


def place_names(conn: Connection, site_fid: int) -> dict[str, str]:
    """Return the UUIDs of the named parts of a site by their names."""
    query = (
        sa.select(place.c.name, place.c.id)
        .where(place.c.site_id == site_fid, place.c.kind == "part", place.c.void == 0)
        .where(_closed(place))
        .order_by(place.c.fid.desc())
    )
    return {row.name: row.id for row in conn.execute(query)}


def void_places(conn: Connection, site_fid: int) -> set[str]:
    """Return the UUIDs of the named parts of a site that somebody voided."""
    query = sa.select(place.c.id).where(
        place.c.site_id == site_fid, place.c.kind == "part", place.c.void == 1
    )
    return set(conn.scalars(query))


def written_places(conn: Connection, change_fid: int) -> set[str]:
    """Return the UUIDs of the places that an import under way has written."""
    return set(conn.scalars(sa.select(place.c.id).where(place.c.change_id == change_fid)))


def standing_tags(conn: Connection, site_fid: int) -> set[tuple[str | None, str]]:
    """Return (place id, tag) of every tree of the site that has a tag and was not removed."""
    query = (
        sa.select(tree.c.place_id, tree.c.tag)
        .where(tree.c.site_id == site_fid, tree.c.void == 0)
        .where(tree.c.tag.is_not(None), tree.c.status != "removed")
        .where(_closed(tree))
    )
    return {(place_id, tag) for place_id, tag in conn.execute(query)}


def standing_positions(
    conn: Connection, site_fid: int
) -> list[tuple[float | None, float | None, float | None, float | None, str | None]]:
    """Return lon, lat [deg], x, y [m] and name as written of the placed trees that were not removed."""
    query = (
        sa.select(tree.c.lon_deg, tree.c.lat_deg, tree.c.x_m, tree.c.y_m, tree.c.name_as_written)
        .where(tree.c.site_id == site_fid, tree.c.void == 0, tree.c.status != "removed")
        .where(sa.or_(tree.c.lon_deg.is_not(None), tree.c.x_m.is_not(None)))
        .where(_closed(tree))
    )
    return [(lon, lat, x, y, name) for lon, lat, x, y, name in conn.execute(query)]


def own_ids(conn: Connection, site_fid: int) -> frozenset[str]:
    """Return the UUIDs of all trees, stems, readings, areas and targets of a site."""
    tables = (schema.tree, schema.stem, schema.reading, schema.area, schema.target)
    parts = [
        sa.select(table.c.id).where(table.c.site_id == site_fid).where(_closed(table)) for table in tables
    ]
    return frozenset(conn.scalars(sa.union_all(*parts)))


def current(conn: Connection, table: Table, site_fid: int, ids: Iterable[str]) -> dict[str, Row[Any]]:
    """Return the rows with these UUIDs that everybody sees."""
    hidden = set(open_change_ids(conn))
    found = rows.by_ids(conn, table, site_fid, ids)
    return {id: row for id, row in found.items() if row.change_id not in hidden}


def stems_of(conn: Connection, site_fid: int, tree_ids: Iterable[str]) -> dict[str, dict[int, str]]:
    """Return the UUIDs of the stems of some trees, {tree: {number: stem}}."""
    wanted, out = list(dict.fromkeys(tree_ids)), dict[str, dict[int, str]]()
    stem = schema.stem
    for start in range(0, len(wanted), rows.AT_ONCE):
        query = (
            sa.select(stem.c.tree_id, stem.c.number, stem.c.id)
            .where(stem.c.site_id == site_fid, stem.c.tree_id.in_(wanted[start : start + rows.AT_ONCE]))
            .where(_closed(stem))
        )
        for tree_id, number, id in conn.execute(query):
            out.setdefault(tree_id, {})[number] = id
    return out


def superseded(conn: Connection, site_fid: int, reading_ids: Iterable[str]) -> set[str]:
    """Return which of these readings somebody has corrected."""
    wanted, out = list(dict.fromkeys(reading_ids)), set[str]()
    for start in range(0, len(wanted), rows.AT_ONCE):
        query = (
            sa.select(reading.c.supersedes)
            .where(
                reading.c.site_id == site_fid, reading.c.supersedes.in_(wanted[start : start + rows.AT_ONCE])
            )
            .where(_closed(reading))
        )
        out.update(conn.scalars(query))
    return out


def former_contents(conn: Connection, table: Table, fids: Iterable[int]) -> dict[str, list[dict[str, Any]]]:
    """Return what versioned records said in their earlier versions, by UUID."""
    wanted, out = list(fids), dict[str, list[dict[str, Any]]]()
    for start in range(0, len(wanted), rows.AT_ONCE):
        query = sa.select(former_version.c.content).where(
            former_version.c.table_name == table.name,
            former_version.c.record_fid.in_(wanted[start : start + rows.AT_ONCE]),
        )
        for text in conn.scalars(query):
            content = json.loads(text)
            out.setdefault(content["id"], []).append(content)
    return out


def statuses_of(conn: Connection, site_fid: int, tree_ids: Iterable[str]) -> dict[str, list[str]]:
    """Return every status that was ever said of some trees."""
    wanted, out = list(dict.fromkeys(tree_ids)), dict[str, list[str]]()
    event = schema.status_event
    for start in range(0, len(wanted), rows.AT_ONCE):
        query = (
            sa.select(event.c.subject_id, event.c.status)
            .where(event.c.site_id == site_fid, event.c.subject_id.in_(wanted[start : start + rows.AT_ONCE]))
            .where(_closed(event))
        )
        for tree_id, status in conn.execute(query):
            out.setdefault(tree_id, []).append(status)
    return out


def _closed(table: Table) -> sa.ColumnElement[bool]:
    return table.c.change_id.not_in(sa.select(change.c.fid).where(change.c.change_no.is_(None)))
