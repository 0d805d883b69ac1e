"""By which rule the rows of a file are told apart, where the site knows them by another than the file would.

A list whose double numbers were put right has a column of its own numbers now, and a list that got numbers
has them now; both are known here by what they said before. They are told by their content, never by keys
alone: two lists may number their trees alike.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import TypeAlias

from service.intake.comparing import FAR_M, distance_m
from service.intake.content import from_text
from service.intake.prepared import PreparedRow
from service.store.import_rows import KnownKey

KeyOf: TypeAlias = Callable[[PreparedRow], str | None]
NO_POSITION = "without a position"
_ENOUGH = 0.5  # of the rows that the site could know (assumption)


def by_column(row: PreparedRow) -> str | None:
    """Return what the column that is unique in the file calls a row."""
    return row.source_key


def by_tag(row: PreparedRow) -> str | None:
    """Return the tag and place of a row."""
    if row.tag is None:
        return None
    return f"{row.tag} @ {row.place}" if row.place else row.tag


def by_name_in_file(row: PreparedRow) -> str | None:
    """Return what the file calls a row, though it may call another so, too, and its place."""
    if row.external_id is None:
        return None
    return f"{row.external_id} @ {row.place}" if row.place else row.external_id


def by_position(row: PreparedRow) -> str:
    """Return the position to 0.1 m and the name as written."""
    return position_words(row.lon_deg, row.lat_deg, row.x_m, row.y_m, row.name_as_written)


def position_words(
    lon: float | None, lat: float | None, x: float | None, y: float | None, name: str | None
) -> str:
    """Return a position to 0.1 m and a name as one text; 0.000001 degrees are 0.11 m of latitude."""
    where = NO_POSITION
    if lon is not None and lat is not None:
        where = f"{lon:.6f}, {lat:.6f}"
    elif x is not None and y is not None:
        where = f"{x:.1f}, {y:.1f}"
    return f"{where} {name or ''}".strip()


def has_position(row: PreparedRow) -> bool:
    """Return whether a row says where its tree stands."""
    return row.lon_deg is not None or row.x_m is not None


def as_the_file_has_it(row: PreparedRow) -> str:
    """Return the key of a row before equal ones are numbered.

    A column unique in the file; else tag and place; else position to 0.1 m and the species as written, of a
    row without a position what the file calls it (definitions R2).
    """
    found = by_column(row) or by_tag(row)
    if found is None and not has_position(row):
        found = by_name_in_file(row)
    return by_position(row) if found is None else found


_OTHERS: Mapping[str, KeyOf] = {
    "tag and place": by_tag,
    "tag": lambda row: row.tag,
    "what the file calls it": lambda row: row.external_id,
    "what the file calls it and place": by_name_in_file,
    "position to 0.1 m and species as written": by_position,
}


def rule_known_here(rows: Sequence[PreparedRow], known: Mapping[str, KnownKey]) -> str | None:
    """Return the rule by which the site knows these rows, where it is another than that of the file."""
    asked = [row for row in rows if row.refused is None and not row.own_ids]
    could = min(len(asked), len(known))
    if not could or sum(as_the_file_has_it(row) in known for row in asked) >= _ENOUGH * could:
        return None
    hits = {rule: _agreeing(asked, key_of, known) for rule, key_of in _OTHERS.items()}
    best = max(hits, key=lambda rule: hits[rule])
    here = _agreeing(asked, as_the_file_has_it, known)
    return best if hits[best] >= _ENOUGH * could and hits[best] > 2 * here else None


def key_by(rule: str | None) -> KeyOf:
    """Return how a row gets its key by a rule; where the rule has none for it, as the file has it."""
    if rule is None:
        return as_the_file_has_it
    key_of = _OTHERS[rule]
    return lambda row: key_of(row) or as_the_file_has_it(row)


def _agreeing(rows: Sequence[PreparedRow], key_of: KeyOf, known: Mapping[str, KnownKey]) -> int:
    """Return how many rows have a key that is known here, and say what it said: place and kind of tree."""
    return sum(
        _is_same(row, from_text(known[key].content)) for row in rows if (key := key_of(row)) in known and key
    )


def _is_same(row: PreparedRow, said: Mapping[str, object]) -> bool:
    position, species = said.get("position"), said.get("species")
    away = distance_m((row.lon_deg, row.lat_deg, row.x_m, row.y_m), position)
    if away is not None:
        return away <= FAR_M
    return isinstance(species, list) and species[0] == row.name_as_written
