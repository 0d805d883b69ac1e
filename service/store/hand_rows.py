"""The hands that crews measured, as the store has them."""

from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from service.store.rows import by_ids
from service.store.schema import calibration, change


def hands_named(connection: Connection, site_fid: int, ids: Iterable[str]) -> dict[str, Mapping[str, Any]]:
    """Return the measured hands of a site by id."""
    rows = by_ids(connection, calibration, site_fid, set(ids))
    return {id: dict(row._mapping) for id, row in rows.items()}


def first_days(connection: Connection, site_fid: int) -> dict[tuple[str, str], str]:
    """Return the day on which each crew first measured its hand, by crew and instrument."""
    query = (
        sa.select(calibration.c.crew, calibration.c.instrument, sa.func.min(calibration.c.calibrated_on))
        .join(change, change.c.fid == calibration.c.change_id)
        .where(calibration.c.site_id == site_fid, calibration.c.void == 0, change.c.change_no.is_not(None))
        .group_by(calibration.c.crew, calibration.c.instrument)
    )
    return {(crew, instrument): day for crew, instrument, day in connection.execute(query)}
