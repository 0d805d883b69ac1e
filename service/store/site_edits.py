"""A new version of what a site agreed on; the former one is kept."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from service.actors import Actor
from service.errors import StaleVersion
from service.store import changes
from service.store.former import content_of
from service.store.schema import change, former_version, site
from service.store.site_rows import held_site


def revise_site(
    conn: Connection, slug: str, actor: Actor, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Write the terms of a site, as one change of it, and return the new version's number.

    Raises
    ------
    NotFound
        If there is no such site.
    StaleVersion
        If it has another version than the one that was seen.
    """
    row = held_site(conn, slug)
    if row.version != seen_version:
        known = {name: getattr(row, name) for name in values}
        raise StaleVersion("site", slug, dict(values), known)
    last = conn.execute(
        sa.select(sa.func.max(change.c.fid)).where(
            change.c.site_id == row.fid, change.c.change_no.is_not(None)
        )
    ).scalar_one()
    made = changes.begin(conn, row.fid, actor, "terms")
    conn.execute(
        sa.insert(former_version).values(
            site_id=row.fid,
            table_name="site",
            record_fid=row.fid,
            version=row.version,
            content=content_of(site, row),
            change_id=last,
            ended_by=made.fid,
        )
    )
    conn.execute(sa.update(site).where(site.c.fid == row.fid).values(version=row.version + 1, **values))
    return int(row.version) + 1
