"""Taking a sample ground out of a store, with everything in it. Real grounds are never taken out."""

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from service.actors import Actor
from service.errors import InvalidRequest
from service.store.engine import Store
from service.store.schema import metadata, picture, plan_image, site
from service.store.site_rows import find_site


def remove_sample(store: Store, slug: str, actor: Actor) -> list[str]:
    """Take an invented ground out of the store; return the hashes of files that nothing names any more.

    Raises
    ------
    NotFound
        If there is no such site.
    InvalidRequest
        If it is no invented one.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    with store.write() as connection:
        row = find_site(connection, slug)
        if not row.invented:
            raise InvalidRequest(
                f"{slug} is no invented ground: what people said of it is kept. "
                "Only samples can be thrown away."
            )
        hashes = _files_of(connection, row.fid)
        for table in reversed(metadata.sorted_tables):
            if "site_id" in table.c:
                connection.execute(sa.delete(table).where(table.c.site_id == row.fid))
        connection.execute(sa.delete(site).where(site.c.fid == row.fid))
        return sorted(hashes - _files_of(connection))


def _files_of(connection: Connection, site_fid: int | None = None) -> set[str]:
    """The files that plan images and pictures name, of one site or of all that are left."""
    found: set[str] = set()
    for table in (plan_image, picture):
        query = sa.select(table.c.file_hash).distinct()
        if site_fid is not None:
            query = query.where(table.c.site_id == site_fid)
        found.update(connection.scalars(query))
    return found
