"""The words by which crews come in: only their hashes are kept, and only until the round ends."""

from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.store.schema import change, crew, crew_word, round_, site


def replace_words(conn: Connection, site_fid: int, rows: Iterable[Mapping[str, Any]]) -> None:
    """Keep the hash of a new word for each crew; its former word ends."""
    rows = [{"site_id": site_fid, **row} for row in rows]
    ids = [row["crew_id"] for row in rows]
    conn.execute(sa.delete(crew_word).where(crew_word.c.site_id == site_fid, crew_word.c.crew_id.in_(ids)))
    if rows:
        conn.execute(sa.insert(crew_word), rows)


def end_words(conn: Connection, site_fid: int, crew_ids: Iterable[str], at: str) -> None:
    """Let the words of crews end now, unless they ended before."""
    mine = sa.and_(crew_word.c.site_id == site_fid, crew_word.c.crew_id.in_(list(crew_ids)))
    conn.execute(sa.update(crew_word).where(mine, crew_word.c.ends_at > at).values(ends_at=at))


def words_that_hold(conn: Connection, at: str) -> list[Row[Any]]:
    """Return the hashes that hold at a time, with crew, round and site; crossed out crews have none."""
    query = (
        sa.select(
            crew_word.c.salt,
            crew_word.c.word_hash,
            crew_word.c.ends_at,
            crew_word.c.crew_id,
            crew.c.code,
            crew.c.kind,
            crew.c.round_id,
            site.c.slug,
        )
        .join(crew, sa.and_(crew.c.id == crew_word.c.crew_id, crew.c.site_id == crew_word.c.site_id))
        .join(round_, sa.and_(round_.c.id == crew.c.round_id, round_.c.site_id == crew_word.c.site_id))
        .join(site, site.c.fid == crew_word.c.site_id)
        .join(change, change.c.fid == crew.c.change_id)
        .where(crew_word.c.ends_at > at, crew.c.void == 0, round_.c.void == 0)
        .where(change.c.change_no.is_not(None))
        .order_by(crew_word.c.fid)
    )
    return [*conn.execute(query)]


def made_for(conn: Connection, site_fid: int, crew_ids: Iterable[str]) -> dict[str, str]:
    """Return until when the word of each crew holds or held, by crew; those without a word are not there."""
    query = sa.select(crew_word.c.crew_id, crew_word.c.ends_at).where(
        crew_word.c.site_id == site_fid, crew_word.c.crew_id.in_(list(crew_ids))
    )
    return {row.crew_id: row.ends_at for row in conn.execute(query)}
