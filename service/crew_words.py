"""Words by which the crews of a round come in: two plain words each, shown once, ending with the round.

Only a slow hash is kept (scrypt, RFC 7914), in a table that leaves in no copy of a site. The crews of a round
share their salt, so that checking a word costs one hash for each round that is open.
"""

import datetime as dt
import hashlib
import re
import secrets
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from service.actors import Actor
from service.errors import InvalidRequest
from service.store import changes
from service.store.crew_token_rows import end_tokens
from service.store.crew_word_rows import end_words, made_for, replace_words, words_that_hold
from service.store.engine import Connection, Store
from service.store.round_rows import crews_of_round, round_row
from service.store.site_rows import find_site, held_site
from service.word_list import QUALITIES, THINGS

_COST = {"n": 2**14, "r": 8, "p": 1, "dklen": 32}
_LONGEST = 60


@dataclass(frozen=True)
class CrewPass:
    """Whom a word lets in: a crew of a round of a site, until when (UTC, ISO)."""

    slug: str
    round_id: str
    crew_id: str
    code: str
    kind: str
    ends_at: str


def make_words(
    store: Store, slug: str, actor: Actor, round_id: str, crew_id: str | None = None
) -> dict[str, str]:
    """Make a new word for each crew of a round, or for one; return them by the id of the crew.

    This is the only time that they can be seen; a former word of the crew ends, and with it every phone that
    came in by it has to come in again.

    Raises
    ------
    NotFound
        If there is no such site or round.
    InvalidRequest
        If the round is over, or has no such crew.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    with store.write() as connection:
        site = held_site(connection, slug)
        row = round_row(connection, site.fid, round_id)
        ends_at = _end_of(row.to_on or row.from_on, site.time_zone)
        now = changes.now()
        if row.closed_at is not None or ends_at <= now:
            raise InvalidRequest(
                "These measuring days are over. Plan new ones, or give them a later last day."
            )
        crews = [crew.id for crew in crews_of_round(connection, site.fid, round_id)]
        if crew_id is not None and crew_id not in crews:
            raise InvalidRequest("That team is not of these measuring days. Choose one of the list.")
        wanted = crews if crew_id is None else [crew_id]
        words, salt = _new_words(connection, now, len(wanted)), secrets.token_hex(16)
        end_tokens(connection, wanted)
        replace_words(
            connection,
            site.fid,
            [
                {
                    "crew_id": id,
                    "salt": salt,
                    "word_hash": _hashed(word, salt),
                    "made_at": now,
                    "ends_at": ends_at,
                }
                for id, word in zip(wanted, words, strict=True)
            ],
        )
    return dict(zip(wanted, words, strict=True))


def crew_of(store: Store, word: str) -> CrewPass | None:
    """Return whom a word lets in now; None where it is no word, or has ended.

    Capital letters, hyphens and more blanks than one make no difference.
    """
    said = _plain(word)
    if said is None:
        return None
    with store.read() as connection:
        rows = words_that_hold(connection, changes.now())
    hashes = {salt: _hashed(said, salt) for salt in dict.fromkeys(row.salt for row in rows)}
    found = [row for row in rows if secrets.compare_digest(row.word_hash, hashes[row.salt])]
    if not found:
        return None
    row = found[0]
    return CrewPass(row.slug, row.round_id, row.crew_id, row.code, row.kind, row.ends_at)


def words_until(store: Store, slug: str, round_id: str) -> dict[str, str]:
    """Return until when the word of each crew of a round holds (UTC, ISO); crews without one are not there.

    Raises
    ------
    NotFound
        If there is no such site.
    """
    with store.read() as connection:
        site = find_site(connection, slug)
        crews = [crew.id for crew in crews_of_round(connection, site.fid, round_id)]
        return made_for(connection, site.fid, crews)


def end_with_round(connection: Connection, site_fid: int, round_id: str) -> None:
    """Let the words of a round and its phones end now, within the transaction that closes it."""
    crews = [crew.id for crew in crews_of_round(connection, site_fid, round_id)]
    end_words(connection, site_fid, crews, changes.now())
    end_tokens(connection, crews)


def _end_of(day: str, time_zone: str) -> str:
    """The end of a day on the ground, as UTC."""
    after = dt.date.fromisoformat(day) + dt.timedelta(days=1)
    local = dt.datetime.combine(after, dt.time(), tzinfo=ZoneInfo(time_zone))
    return local.astimezone(dt.UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def _new_words(connection: Connection, now: str, count: int) -> list[str]:
    """Words that differ among each other and from those that hold."""
    held: dict[str, set[str]] = {}
    for row in words_that_hold(connection, now):
        held.setdefault(row.salt, set()).add(row.word_hash)
    out: list[str] = []
    while len(out) < count:
        word = f"{secrets.choice(QUALITIES)} {secrets.choice(THINGS)}"
        if word not in out and not any(_hashed(word, salt) in hashes for salt, hashes in held.items()):
            out.append(word)
    return out


def _plain(word: str) -> str | None:
    said = " ".join(re.findall(r"[a-z]+", word[:_LONGEST].casefold()))
    return said if said.count(" ") == 1 else None


def _hashed(word: str, salt: str) -> str:
    return hashlib.scrypt(word.encode(), salt=bytes.fromhex(salt), **_COST).hex()
