"""What is to become of a row: refused, already there, questioned or taken, looked at in this order (R3)."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from service.intake.identity import Keyed, Namer
from service.intake.prepared import Question
from service.store.import_rows import KnownKey

Outcome = Literal["refused", "already_there", "questioned", "taken"]


@dataclass(slots=True)
class Here:
    """What the site knows of what a file says; ``records`` are rows by UUID as everybody sees them."""

    name: Namer
    layer: str
    place: str  # the NAME of --place, or empty
    keys: dict[str, KnownKey]
    places: dict[str, str] = field(default_factory=dict)  # UUIDs of named parts by name
    void_places: set[str] = field(default_factory=set)
    standing: set[tuple[str | None, str]] = field(default_factory=set)  # place UUID and tag
    standing_at: set[str] = field(default_factory=set)  # positions and names as written
    records: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    stems: dict[str, dict[int, str]] = field(default_factory=dict)
    said_before: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    _names: dict[str, str] = field(default_factory=dict)

    def uid(self, key: str, *parts: str) -> str:
        """Return the UUID of something that a key says."""
        return self.name(self.layer, self.place, key, *parts)

    def place_names(self) -> dict[str, str]:
        """Return the names of the named parts of the site by UUID."""
        if len(self._names) != len(self.places):
            self._names = {id: name for name, id in self.places.items()}
        return self._names

    def place_id(self, place: str | None) -> str | None:
        """Return the UUID of a named part of the site, also where it is still to be made."""
        if place is None:
            return None
        known = self.places.get(place)
        if known is not None:
            return known
        made = self.name("place", place)
        return self.name("place", made, "again") if made in self.void_places else made


@dataclass(slots=True)
class New:
    """Something said that is to be added, with its id and what it corrects."""

    said: Any  # PreparedReading, PreparedObservation or PreparedStatus
    id: str
    supersedes: str | None = None


@dataclass(slots=True)
class Revision:
    """Groups that a file has changed of a record that is here, and what its key said before."""

    changed: dict[str, Any]
    before: dict[str, Any]
    is_taken: bool = True  # False where all of it is put to a person


@dataclass(slots=True)
class Decision:
    """A row and what is to be written of it; for a new record all that the row says."""

    keyed: Keyed
    outcome: Outcome
    is_new: bool = False
    content: str | None = None  # what the key says now, to be kept
    questions: list[Question] = field(default_factory=list)
    proposal: dict[str, Any] | None = None
    revision: Revision | None = None
    proposed: dict[str, Any] = field(default_factory=dict)  # of the revision, as far as it is known yet
    stems: list[tuple[int, str]] = field(default_factory=list)  # to be added
    stem_ids: dict[int, str] = field(default_factory=dict)  # all of the tree
    readings: list[New] = field(default_factory=list)
    observations: list[New] = field(default_factory=list)
    statuses: list[New] = field(default_factory=list)

    @property
    def adds(self) -> bool:
        """Whether it adds something said to a record that is here."""
        return bool(self.stems or self.readings or self.observations or self.statuses)


def same_key_question(keyed: Keyed) -> list[Question]:
    """Return the question of a row whose key an earlier row of the file has; none for a first one."""
    if keyed.number == 1 or keyed.own is not None:
        return []
    return [
        Question(
            "same key",
            f"Row {keyed.row.row} goes by the same key as row {keyed.first_row}. Both are kept: void one if "
            "they are the same.",
        )
    ]
