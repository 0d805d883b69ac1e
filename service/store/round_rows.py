"""The crews of a round, as they are."""

from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.errors import NotFound
from service.store.rows import by_ids
from service.store.schema import change, crew, round_


def round_row(conn: Connection, site_fid: int, round_id: str) -> Row[Any]:
    """Return the row of a round.

    Raises
    ------
    NotFound
        If the site has none of that id, or it was crossed out.
    """
    row = by_ids(conn, round_, site_fid, [round_id]).get(round_id)
    if row is None or row.void:
        raise NotFound("round", round_id)
    return row


def crews_of_round(conn: Connection, site_fid: int, round_id: str) -> list[Row[Any]]:
    """Return the crews of a round that are not crossed out, in the order in which they were made."""
    query = (
        sa.select(crew)
        .join(change, change.c.fid == crew.c.change_id)
        .where(crew.c.site_id == site_fid, crew.c.round_id == round_id, crew.c.void == 0)
        .where(change.c.change_no.is_not(None))
        .order_by(crew.c.fid)
    )
    return list(conn.execute(query).all())


def crews_of_site(conn: Connection, site_fid: int) -> list[Row[Any]]:
    """Return the crews of all rounds of a site that are not crossed out, in the order of their making."""
    query = (
        sa.select(crew)
        .join(change, change.c.fid == crew.c.change_id)
        .where(crew.c.site_id == site_fid, crew.c.void == 0, change.c.change_no.is_not(None))
        .order_by(crew.c.fid)
    )
    return list(conn.execute(query).all())


def crew_codes(conn: Connection, site_fid: int) -> set[str]:
    """Return every code that a crew of the site has or had."""
    return set(conn.scalars(sa.select(crew.c.code).where(crew.c.site_id == site_fid)))
