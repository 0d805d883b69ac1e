"""What a phone is given for its crew's word: a token of its own, which it then sends along.

A token is 32 random bytes, so that a fast hash of it (SHA-256) is enough to keep; the word is short and has a
slow one. Tokens end with the word: when its time is over, when the round is closed, and when the crew gets
a new word, so that a lost phone is locked out by making one.
"""

import datetime as dt
import hashlib
import secrets
from contextlib import suppress

from service.crew_words import CrewPass
from service.errors import InvalidRequest, NotAWord, StoreUnavailable
from service.store import changes
from service.store.crew_token_rows import (
    keep_token,
    note_seen,
    phones_of,
    token_that_holds,
    word_still_holds,
)
from service.store.engine import Store
from service.store.site_rows import held_site

MOST_PHONES = 200  # of one crew: a class with two phones each, thrice over
_SEEN_EVERY = dt.timedelta(hours=1)
_LONGEST = 100


def give_token(store: Store, crew: CrewPass, phone: str, since: str) -> str:
    """Return a new token for a phone whose word was looked at after ``since``; its former token ends.

    Raises
    ------
    NotAWord
        If the crew got a new word in the meantime.
    InvalidRequest
        If more phones came in with this word than any class has.
    """
    token = secrets.token_urlsafe(32)
    with store.write() as connection:
        site = held_site(connection, crew.slug)
        now = changes.now()
        if not word_still_holds(connection, crew.crew_id, since, now):
            raise NotAWord("This word has just ended. Ask the leader for the new one.")
        row = {"crew_id": crew.crew_id, "phone": phone, "token_hash": _hashed(token)}
        times = {"made_at": now, "ends_at": crew.ends_at, "last_seen_at": now}
        keep_token(connection, site.fid, {**row, **times})
        if phones_of(connection, crew.crew_id) > MOST_PHONES:
            raise InvalidRequest(
                f"{MOST_PHONES} phones came in with this word already. Ask the leader for a new one."
            )
    return token


def crew_with(store: Store, token: str) -> CrewPass | None:
    """Return whom a token lets in now; None where it is unknown or has ended."""
    if not 0 < len(token) <= _LONGEST:
        return None
    now = changes.now()
    with store.read() as connection:
        row = token_that_holds(connection, _hashed(token), now)
    if row is None:
        return None
    if row.last_seen_at is None or _long_ago(row.last_seen_at, now):
        with suppress(StoreUnavailable), store.write() as connection:
            note_seen(connection, row.fid, now)
    return CrewPass(row.slug, row.round_id, row.crew_id, row.code, row.kind, row.ends_at)


def _long_ago(seen: str, now: str) -> bool:
    return dt.datetime.fromisoformat(now) - dt.datetime.fromisoformat(seen) >= _SEEN_EVERY


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", errors="surrogatepass")).hexdigest()
