"""What a phone sends, checked: the envelope of a batch, its items, and the kinds that only phones send.

``FORMAT`` is the form of the items. What an older page of the phone sent is brought up to date step by step
by ``UPGRADES``: {format: function of kind and content that returns those of the next format}.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from service.records import Appended, CrewKind, Id, Time, Words, parsed, plain_text

FORMAT = 1
MOST_ITEMS = 200
MOST_CHARACTERS = 20_000  # of the content of an item
Content = dict[str, Any]
UPGRADES: dict[int, Callable[[str, Content], tuple[str, Content]]] = {}
HELPER_SAYS = {"not found": "unknown", "looks dead: no leaves": "dead", "only a stump": "removed"}
POSITION_SOURCES = Literal[
    "tap on plan", "two tapes", "baseline and offset", "bearing and distance", "paces", "GPS"
]
Short = Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=40)]
Metres = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]


class Batch(BaseModel):
    """The envelope: what form the items have, and when the phone sent them by its own clock."""

    model_config = ConfigDict(extra="ignore")
    format: Annotated[int, Field(ge=1)]
    phone: Id
    sent_at: Time | None = None
    items: Annotated[list[Any], Field(max_length=MOST_ITEMS)]


class Item(BaseModel):
    """What was entered on a phone: a kind, an id, when by the clock of the phone, by which team, what."""

    model_config = ConfigDict(extra="ignore")
    kind: Short
    id: Id
    recorded_at: Time | None = None
    crew: Words | None = None
    content: Content
    format: Annotated[int, Field(ge=1)] | None = None


class StemSent(BaseModel):
    """A trunk of a tree that a team wrote down."""

    model_config = ConfigDict(extra="forbid")
    id: Id
    number: Annotated[int, Field(ge=1, le=60)]


class TreeSent(BaseModel):
    """A tree that a team wrote down, with how its place was found."""

    model_config = ConfigDict(extra="forbid")
    tree_id: Id
    stems: Annotated[list[StemSent], Field(min_length=1, max_length=60)]
    tag: Words | None = None
    name_as_written: Words | None = None
    name_sure: Words | bool | None = None
    x: Metres | None = None
    y: Metres | None = None
    lon_deg: Annotated[float, Field(ge=-180, le=180, allow_inf_nan=False)] | None = None
    lat_deg: Annotated[float, Field(ge=-90, le=90, allow_inf_nan=False)] | None = None
    position_source: POSITION_SOURCES | None = None
    position_accuracy_m: Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)] | None = None
    how: dict[str, Any] | None = None
    note: Words | None = None


class PhotoIn(Appended):
    """That a picture belongs to something; the picture itself comes by its own address."""

    photo_id: Id
    subject: Literal["reading", "tree", "danger", "observation"]
    subject_id: Id
    kind: Literal["tape", "leaf", "tree", "danger", "other"] = "other"
    taken_at: Time | None = None
    crew: Words | None = None
    crew_kind: CrewKind | None = None
    round_id: Id | None = None


class StatusSent(BaseModel):
    """What a helper says of a tree that is not as it was; whoever looks after the ground settles it."""

    model_config = ConfigDict(extra="forbid")
    tree_id: Id | None = None
    tag: Words | None = None
    says: Literal["not found", "looks dead: no leaves", "only a stump"] | None = None
    supersedes: Id | None = None
    void: bool = False
    reason: Words | None = None
    note: Words | None = None


@dataclass(frozen=True)
class Team:
    """Who entered something: the code and kind of a team, and its round."""

    code: str | None
    kind: str | None
    round_id: str | None


@dataclass(frozen=True)
class Entry:
    """An item as it is looked at: what was sent (``sent``, in its format) and what that means today.

    ``kind`` and ``content`` are up to date; ``is_readable`` is False for what a newer page sent.
    """

    id: str
    sent_kind: str
    sent: str
    sent_format: int
    kind: str
    content: Content
    team: Team
    recorded_at: str | None
    is_readable: bool = True


Outcome = Literal["taken", "already there", "questioned", "set aside", "refused"]


@dataclass(frozen=True)
class FieldAnswer:
    """What became of an item of a phone, with why where that is not plain."""

    id: str
    outcome: Outcome
    why: str | None = None


def canonical(content: Mapping[str, Any]) -> str:
    """Return the content of an item as the text that is kept and compared."""
    return json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def up_to_date(kind: str, content: Content, format: int) -> tuple[str, Content]:
    """Return kind and content in the form of today."""
    for step in range(format, FORMAT):
        kind, content = UPGRADES[step](kind, content)
    return kind, content


def entry_of(id: str, kind: str, text: str, format: int, team: Team, recorded_at: str | None) -> Entry:
    """Return an item from the text of its content."""
    content: Content = json.loads(text)
    if format > FORMAT:
        return Entry(id, kind, text, format, kind, content, team, recorded_at, is_readable=False)
    now_kind, now = up_to_date(kind, content, format)
    return Entry(id, kind, text, format, now_kind, now, team, recorded_at)


def batch_of(data: Any) -> Batch:
    """Return the envelope of what a phone sent.

    Raises
    ------
    InvalidRequest
        If it is no batch, or holds too many items.
    """
    return parsed(Batch, data)
