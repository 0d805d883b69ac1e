"""The list of sites with how many trees each holds."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.store import schema


def site_rows_with_trees(connection: Connection) -> Sequence[Row[Any]]:
    """Return every site's row with ``trees``, its number of trees; one's own grounds first, by name."""
    tree, change, site = schema.tree, schema.change, schema.site
    counted = (
        sa.select(tree.c.site_id, sa.func.count().label("trees"))
        .join(change, change.c.fid == tree.c.change_id)
        .where(tree.c.void == 0, change.c.change_no.is_not(None))
        .group_by(tree.c.site_id)
        .subquery()
    )
    query = sa.select(site, sa.func.coalesce(counted.c.trees, 0).label("trees")).outerjoin(
        counted, counted.c.site_id == site.c.fid
    )
    return connection.execute(query.where(site.c.change_no > 0).order_by(site.c.invented, site.c.name)).all()


def site_states(connection: Connection) -> Sequence[Row[Any]]:
    """Return of every site ``slug``, ``time_zone`` and what tells its states apart, by short name."""
    site = schema.site
    names = ("slug", "time_zone", "id", "created_at", "version", "change_no")
    said: list[sa.Column[Any]] = [site.c[name] for name in names]
    return connection.execute(sa.select(*said).where(site.c.change_no > 0).order_by(site.c.slug)).all()
