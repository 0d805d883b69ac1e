"""What a row says of its tree, as JSON kept with its key, to be compared at the next import (definitions R2).

A group is what is compared and changed together: a position, a name, a status. A file says something about a
group if it has a column for it; what it has no column for, it does not change.
"""

from collections.abc import Callable, Mapping, Sequence
from operator import attrgetter
from typing import Any

import orjson

from service.intake.prepared import Prepared, PreparedRow

GROUPS: dict[str, tuple[str, ...]] = {
    "tag": ("tag",),
    "species": ("name_as_written", "scientific_name", "common_name", "genus", "name_sure"),
    "status": ("status", "status_as_said"),
    "position": ("lon_deg", "lat_deg", "x_m", "y_m", "position_source", "position_accuracy_m"),
    "place": ("place",),
    "keeper": ("keeper",),
    "planted_on": ("planted_on",),
    "external_id": ("external_id",),
    "kept": ("kept",),
}
_WORDS = {
    **{word: group for group, words in GROUPS.items() for word in words},
    **dict.fromkeys(("species", "common"), "species"),
    **dict.fromkeys(("lon", "lat", "x", "y", "position", "geometry"), "position"),
}
_TELLING = {
    "species": 4,
    "status": 2,
    "position": 4,
}  # how many of a group's words say something by themselves

_READING = (
    "column", "stem_number", "measured_on", "quantity", "unit", "value", "value_2", "parts", "class_from_cm",
    "class_to_cm", "instrument", "height_m", "resolution", "date_precision", "note", "extra",
)  # fmt: skip
_OBSERVATION = ("column", "what", "observed_on", "value", "unit", "text", "date_precision")
_STATUS = ("stem_number", "happened_on", "status", "as_said", "date_precision")
IDENTIFYING = {"readings": 3, "observations": 3, "statuses": 2}  # first cells that say which one it is

_reading = attrgetter(*_READING)
_observation = attrgetter(*_OBSERVATION)
_status = attrgetter(*_STATUS)

Getters = Sequence[tuple[str, Callable[[PreparedRow], Any]]]


def said_groups(prepared: Prepared) -> list[str]:
    """Return the groups that a file says something about."""
    words = {_WORDS.get(word) for word in prepared.understood.values()}
    return [
        group
        for group in GROUPS
        if group in words
        or (group == "kept" and bool(prepared.kept))
        or any(_says(row, group) for row in prepared.trees)
    ]


def getters(groups: Sequence[str]) -> Getters:
    """Return how to read each of these groups from a row, for `content_of`."""
    return [(group, attrgetter(*GROUPS[group])) for group in groups]


def content_of(row: PreparedRow, groups: Getters) -> dict[str, Any]:
    """Return what a row says, ready to be written as JSON."""
    said: dict[str, Any] = {group: read(row) for group, read in groups}
    said["stems"] = row.stems
    if row.place_kind is not None:
        said["place_kind"] = row.place_kind
    if row.readings:
        said["readings"] = [_reading(reading) for reading in row.readings]
    if row.observations:
        said["observations"] = [_observation(observation) for observation in row.observations]
    if row.statuses:
        said["statuses"] = [_status(status) for status in row.statuses]
    if row.questions:
        said["asked"] = [(question.what, question.column) for question in row.questions]
    return said


def as_text(content: Mapping[str, Any]) -> str:
    """Return a content as it is kept."""
    return orjson.dumps(content, option=orjson.OPT_SORT_KEYS).decode()


def from_text(text: str) -> dict[str, Any]:
    """Return a content that was kept."""
    found: dict[str, Any] = orjson.loads(text)
    return found


def cells_of(kind: str, content: Mapping[str, Any]) -> dict[tuple[Any, ...], list[Any]]:
    """Return the readings, observations or statuses of a content by what tells them apart."""
    width = IDENTIFYING[kind]
    return {tuple(cells[:width]): list(cells[width:]) for cells in content.get(kind, ())}


def _says(row: PreparedRow, group: str) -> bool:
    words = GROUPS[group][: _TELLING.get(group, 1)]
    return any(getattr(row, word) not in (None, "unknown", "") and getattr(row, word) != {} for word in words)
