"""A file that a phone saved: what was entered on it, taken in item by item as if the phone had sent it."""

import json
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.actors import Actor
from service.errors import InvalidRequest, Unreadable
from service.field_entry import Taking
from service.field_records import MOST_ITEMS, Batch, FieldAnswer, Item, Team
from service.store.engine import Store
from service.store.round_rows import crews_of_site
from service.store.site_rows import held_site

WHAT = "boleward measurements of a phone"
MOST_BYTES = 32 << 20
_BEGINS = 4096  # bytes in which the words stand that say what it is
_NOBODY = "00000000-0000-0000-0000-000000000000"


@dataclass(frozen=True)
class PhoneFile:
    """What a saved file holds: of which ground, in which form, when it was saved, its items."""

    site: str
    format: int
    saved_at: str | None
    items: tuple[Any, ...]

    def kinds(self) -> dict[str, int]:
        """Return how many items there are of each kind."""
        said = (one.get("kind") for one in self.items if isinstance(one, dict))
        return dict(Counter(kind for kind in said if isinstance(kind, str)))

    def teams(self) -> list[str]:
        """Return the codes of the teams that entered something."""
        said = (one.get("crew") for one in self.items if isinstance(one, dict))
        return sorted({code for code in said if isinstance(code, str) and code})


def is_phone_file(path: Path) -> bool:
    """Whether a file was saved by a phone, by its first words."""
    try:
        with path.open("rb") as file:
            return f'"{WHAT}"'.encode() in file.read(_BEGINS)
    except OSError:
        return False


def read_phone_file(path: Path) -> PhoneFile:
    """Return what a saved file holds.

    Raises
    ------
    Unreadable
        If it is damaged or too large.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise Unreadable("A file of a phone has at most 32 MB; save it again on the phone.")
        said = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError) as error:
        raise Unreadable("This file of a phone is damaged. Save it again on the phone.") from error
    if not isinstance(said, dict) or said.get("what") != WHAT or not isinstance(said.get("items"), list):
        raise Unreadable("This file of a phone is damaged. Save it again on the phone.")
    format, site = said.get("format"), said.get("site")
    if not isinstance(format, int) or isinstance(format, bool) or format < 1 or not isinstance(site, str):
        raise Unreadable("This file of a phone is damaged. Save it again on the phone.")
    saved_at = said.get("saved_at")
    return PhoneFile(site, format, saved_at if isinstance(saved_at, str) else None, tuple(said["items"]))


def take_phone_file(
    store: Store, file: PhoneFile, actor: Actor, slug: str | None = None
) -> list[FieldAnswer]:
    """Take in what a saved file holds; answers in the order of its items.

    Teams are found by their codes; what is of no team of the ground waits for a person.

    Raises
    ------
    InvalidRequest
        If it is of another ground than ``slug``.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    if slug is not None and slug != file.site:
        raise InvalidRequest(f"This file is of the ground {file.site[:80]}. Bring it in there.")
    out: list[FieldAnswer] = []
    for start in range(0, len(file.items), MOST_ITEMS):
        part = list(file.items[start : start + MOST_ITEMS])
        batch = Batch(format=file.format, phone=_NOBODY, items=part)
        with store.write() as connection:
            site = held_site(connection, file.site)
            teams = {
                row.code: Team(row.code, row.kind, row.round_id)
                for row in crews_of_site(connection, site.fid)
            }
            taking = Taking(connection, site, actor)
            out += taking.take(part, lambda item, known=teams: _team(known, item), batch)  # type: ignore[misc]
    return out


def _team(known: dict[str, Team], item: Item) -> Team | None:
    return known.get(item.crew or "")
