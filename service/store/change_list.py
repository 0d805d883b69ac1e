"""The changes of a site, for its pages: what was done when, and the report of an import."""

from collections.abc import Sequence
from typing import Any

import orjson
import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.errors import NotFound
from service.store.schema import change, site

_SHOWN = (change.c.change_no, change.c.kind, change.c.actor, change.c.at, change.c.note, change.c.file_name)


def _of_site(slug: str) -> sa.Select[Any]:
    query = sa.select(*_SHOWN).join(site, site.c.fid == change.c.site_id)
    return query.where(site.c.slug == slug, change.c.change_no.is_not(None))


def recent_changes(conn: Connection, slug: str, limit: int = 20) -> Sequence[Row[Any]]:
    """Return the latest changes of a site, the last one first."""
    return conn.execute(_of_site(slug).order_by(change.c.change_no.desc()).limit(limit)).all()


def import_summary(conn: Connection, slug: str, change_no: int) -> dict[str, Any]:
    """Return the report of an import as it was kept with its change; ``file_name`` and ``at`` beside.

    Raises
    ------
    NotFound
        If there is no such change, or it was no import.
    """
    query = sa.select(change.c.summary, change.c.file_name, change.c.at).join(
        site, site.c.fid == change.c.site_id
    )
    row = conn.execute(query.where(site.c.slug == slug, change.c.change_no == change_no)).one_or_none()
    if row is None or row.summary is None:
        raise NotFound("import", str(change_no))
    said: dict[str, Any] = orjson.loads(row.summary)
    return {**said, "file_name": row.file_name, "at": row.at}
