"""Who is who: the keys of a file's rows and the UUIDs made from them (definitions R2).

A UUID is version 5 of RFC 9562 with the site's UUID as namespace and the parts of the identity as name,
joined by the unit separator of ASCII (0x1F): layer, place option or nothing, key; for a stem its number after
it; for a reading its column and day (or ``undated``) after that.
"""

import hashlib
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from operator import attrgetter
from types import MappingProxyType
from typing import TypeAlias

from service.intake.key_rules import NO_POSITION, KeyOf, as_the_file_has_it, key_by, rule_known_here
from service.intake.prepared import Guess, ImportOptions, Prepared, PreparedRow, PreparedShape, Question
from service.store.import_rows import KnownKey

UNDATED = "undated"
_BETWEEN = "\x1f"

Row: TypeAlias = PreparedRow | PreparedShape


@dataclass(slots=True)
class Keyed:
    """A row with its key; ``number`` is 2, 3 ... for rows whose key an earlier row (``first_row``) has."""

    row: Row
    key: str
    record_id: str
    own: str | None = None  # which of our own id columns matched it
    number: int = 1
    first_row: int = 0


class Namer:
    """Makes the UUIDs of one site."""

    def __init__(self, site_id: str) -> None:
        self._seed = hashlib.sha1(uuid.UUID(site_id).bytes, usedforsecurity=False)

    def __call__(self, *parts: str) -> str:
        """Return the UUIDv5 of some parts of an identity."""
        digest = self._seed.copy()
        digest.update(_BETWEEN.join(parts).encode("utf-8", "surrogatepass"))
        raw = bytearray(digest.digest()[:16])
        raw[6] = raw[6] & 0x0F | 0x50
        raw[8] = raw[8] & 0x3F | 0x80
        text = raw.hex()
        return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def place_option(prepared: Prepared, options: ImportOptions) -> str:
    """Return the NAME of ``--place``; empty when it named a column of the file, or was not given."""
    if options.place is None or options.place in prepared.understood or options.place in prepared.kept:
        return ""
    return options.place


def keyed_rows(
    prepared: Prepared,
    place: str,
    name: Namer,
    known_ids: frozenset[str],
    known: Mapping[str, KnownKey] = MappingProxyType({}),
) -> list[Keyed]:
    """Return the rows of a file, in its order, with their keys.

    Rows without a place of their own are in that of ``--place``. Rows that carry UUIDs known here are matched
    by the narrowest of them. Equal keys are numbered #2, #3 in file order; a refused row keeps its place in
    that order as long as it can be told what it was.
    """
    seen: dict[str, list[int]] = {}
    out = []
    rows: list[PreparedRow] | list[PreparedShape] = prepared.trees or prepared.shapes
    for tree in prepared.trees:
        tree.place = tree.place or place or None
        _tell_apart(tree)
    key_of = _rule(prepared, known)
    for row in rows:
        own = next((word for word in _OWN if row.own_ids.get(word) in known_ids), None) if known_ids else None
        key = row.own_ids[own] if own else base_key(row, prepared.layer_name, key_of)
        if row.refused is not None and key == NO_POSITION:
            out.append(Keyed(row, key, ""))
            continue
        earlier = seen.setdefault(key, [])
        earlier.append(row.row)
        number = len(earlier)
        numbered = key if number == 1 else f"{key} #{number}"
        record_id = row.own_ids[own] if own else name(prepared.layer, place, numbered)
        out.append(Keyed(row, numbered, record_id, own, number, earlier[0]))
    return out


def base_key(row: Row, layer_name: str, key_of: KeyOf = as_the_file_has_it) -> str:
    """Return the key of a row before equal ones are numbered.

    An outline without a column unique in the file goes by its name; keys of outlines begin with what they
    came with, for two files of outlines number theirs alike.
    """
    if isinstance(row, PreparedShape):
        known = row.source_key or row.name or hashlib.sha1(row.wkb or b"", usedforsecurity=False).hexdigest()
        return f"{layer_name}: {known}"
    return key_of(row) or as_the_file_has_it(row)


def _rule(prepared: Prepared, known: Mapping[str, KnownKey]) -> KeyOf:
    """Return how rows get their keys, and say it where the site knows them by another rule."""
    rule = rule_known_here(prepared.trees, known)
    if rule is not None:
        why = (
            f"The site knows these rows by {rule}, from an earlier import. By {prepared.key_rule}, which "
            "would come first now, all of them would be taken once more."
        )
        prepared.guesses = [guess for guess in prepared.guesses if guess.what != "key"]
        prepared.guesses.append(Guess("key", rule, why, 0.9))
    return key_by(rule)


def _tell_apart(row: PreparedRow) -> None:
    """Number what one column says twice of one stem and day, so that both are kept."""
    groups = ((row.readings, _which_reading), (row.observations, _which_observation))
    for said, which in groups:
        if len(said) == 1:
            continue
        seen: dict[object, int] = {}
        for one in said:
            known = which(one)
            seen[known] = seen.get(known, 0) + 1
            if seen[known] > 1:
                one.column = f"{one.column} #{seen[known]}"
    by_day = {(status.stem_number, status.happened_on): status for status in row.statuses}
    if len(by_day) < len(row.statuses):
        words = ", ".join(status.as_said for status in row.statuses)
        row.questions.append(
            Question("two statuses", f"The row says {words} of one day; the last was taken.")
        )
        row.statuses = list(by_day.values())


_OWN = ("reading_id", "stem_id", "tree_id", "area_id", "target_id")
_which_reading = attrgetter("column", "stem_number", "measured_on")
_which_observation = attrgetter("column", "what", "observed_on")
