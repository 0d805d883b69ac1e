"""What settling a question asks the store."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.store import schema


def is_corrected(connection: Connection, site_fid: int, reading_id: str) -> bool:
    """Return whether any record corrects or crosses out a reading."""
    table = schema.reading
    query = sa.select(table.c.fid).where(table.c.site_id == site_fid, table.c.supersedes == reading_id)
    return connection.execute(query.limit(1)).first() is not None


def readings_of_crew(
    connection: Connection, site_fid: int, round_id: str, crew: str, quantity: str, unit: str
) -> Sequence[Row[Any]]:
    """Return what a crew read in a round, in one quantity and unit, and nothing corrects."""
    table = schema.reading
    corrected = sa.select(table.c.supersedes).where(
        table.c.site_id == site_fid, table.c.supersedes.is_not(None)
    )
    query = sa.select(table).where(
        table.c.site_id == site_fid,
        table.c.round_id == round_id,
        table.c.crew == crew,
        table.c.quantity == quantity,
        table.c.unit == unit,
        table.c.void == 0,
        table.c.id.not_in(corrected),
    )
    return connection.execute(query.order_by(table.c.fid)).all()


def has_question(connection: Connection, site_fid: int, fid: int) -> bool:
    """Return whether a list asked a question of this number on a site."""
    table = schema.question
    query = sa.select(table.c.fid).where(table.c.site_id == site_fid, table.c.fid == fid)
    return connection.execute(query).first() is not None
