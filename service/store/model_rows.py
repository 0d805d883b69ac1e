"""The error models that a site adopted, in the order of adoption; version 0 is the published one."""

import uuid
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from layers.site_model import PUBLISHED, SiteModel
from service.store.changes import Change
from service.store.schema import change, site_model


def adopted_rows(conn: Connection, site_fid: int, known_at: int | None = None) -> Sequence[Row[Any]]:
    """Return every adoption of a site with its change number, the first one first."""
    query = (
        sa.select(site_model, change.c.change_no)
        .join(change, change.c.fid == site_model.c.change_id)
        .where(site_model.c.site_id == site_fid, change.c.change_no.is_not(None))
        .order_by(change.c.change_no, site_model.c.fid)
    )
    if known_at is not None:
        query = query.where(change.c.change_no <= known_at)
    return conn.execute(query).all()


def model_of(row: Any) -> SiteModel:
    """Return the model that a row keeps."""
    return SiteModel.from_json(
        row.content,
        version=row.number,
        fitted_at=row.fitted_at,
        adopted_by=row.adopted_by,
        adopted_at=row.adopted_at,
    )


def model_in_use(conn: Connection, site_fid: int, known_at: int | None = None) -> SiteModel:
    """Return the model that a site uses, or used at a change number: the last one adopted by then."""
    rows = adopted_rows(conn, site_fid, known_at)
    return model_of(rows[-1]) if rows else PUBLISHED


def insert_model(
    conn: Connection,
    site_fid: int,
    made: Change,
    number: int,
    content: str,
    fitted_at: int,
    who: str,
    at: str,
) -> None:
    """Write down that a model was adopted."""
    conn.execute(
        sa.insert(site_model).values(
            id=str(uuid.uuid4()),
            site_id=site_fid,
            change_id=made.fid,
            number=number,
            content=content,
            fitted_at=fitted_at,
            adopted_by=who,
            adopted_at=at,
        )
    )
