"""The tokens of phones that came in with a word: only their hashes are kept, and only while they hold."""

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.store.schema import change, crew, crew_token, crew_word, round_, site


def word_still_holds(conn: Connection, crew_id: str, since: str, at: str) -> bool:
    """Whether the word of a crew holds at a time and is none that was made after ``since``."""
    mine = sa.select(crew_word.c.fid).where(
        crew_word.c.crew_id == crew_id, crew_word.c.made_at <= since, crew_word.c.ends_at > at
    )
    return conn.execute(mine).first() is not None


def keep_token(conn: Connection, site_fid: int, row: dict[str, Any]) -> None:
    """Keep the hash of a token; the former one of the same phone and crew goes, and those that ended."""
    former = sa.and_(crew_token.c.crew_id == row["crew_id"], crew_token.c.phone == row["phone"])
    conn.execute(sa.delete(crew_token).where(sa.or_(former, crew_token.c.ends_at <= row["made_at"])))
    conn.execute(sa.insert(crew_token), {"site_id": site_fid, **row})


def phones_of(conn: Connection, crew_id: str) -> int:
    """Return how many phones came in with the word of a crew."""
    query = sa.select(sa.func.count()).select_from(crew_token).where(crew_token.c.crew_id == crew_id)
    return int(conn.scalar(query) or 0)


def end_tokens(conn: Connection, crew_ids: Iterable[str]) -> None:
    """Let no phone in any more that came in with a former word of these crews."""
    conn.execute(sa.delete(crew_token).where(crew_token.c.crew_id.in_(list(crew_ids))))


def token_that_holds(conn: Connection, token_hash: str, at: str) -> Row[Any] | None:
    """Return whom a token lets in at a time; a crew or round that was crossed out has none."""
    query = (
        sa.select(
            crew_token.c.fid,
            crew_token.c.ends_at,
            crew_token.c.last_seen_at,
            crew_token.c.crew_id,
            crew.c.code,
            crew.c.kind,
            crew.c.round_id,
            site.c.slug,
        )
        .join(crew, sa.and_(crew.c.id == crew_token.c.crew_id, crew.c.site_id == crew_token.c.site_id))
        .join(round_, sa.and_(round_.c.id == crew.c.round_id, round_.c.site_id == crew_token.c.site_id))
        .join(site, site.c.fid == crew_token.c.site_id)
        .join(change, change.c.fid == crew.c.change_id)
        .where(crew_token.c.token_hash == token_hash, crew_token.c.ends_at > at)
        .where(crew.c.void == 0, round_.c.void == 0, round_.c.closed_at.is_(None))
        .where(change.c.change_no.is_not(None))
    )
    rows: list[Row[Any]] = [*conn.execute(query)]
    return rows[0] if rows else None


def note_seen(conn: Connection, fid: int, at: str) -> None:
    """Keep when a phone was last here."""
    conn.execute(sa.update(crew_token).where(crew_token.c.fid == fid).values(last_seen_at=at))
