"""What people send about dangers, closed places and hazards, checked."""

from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, Field, field_validator, model_validator

from layers.danger_state import DANGER_WORDS
from layers.stop_card import LEADER_DID
from service.records import Appended, CrewKind, Day, Id, Sent, Time, Words, plain_text

Sight = Literal[
    "hanging or broken branch",
    "new lean",
    "lifted or cracked soil",
    "fresh crack",
    "large fungus at the foot",
    "on a wire",
]
LeaderDid = Literal["moved away", "area closed", "called"]
HazardKind = Literal["overhead line", "road", "water", "steep ground", "fence", "insects", "other"]
Said = Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=2000)]
Who = Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]
Longitude = Annotated[float, Field(ge=-180, le=180, allow_inf_nan=False)]
Latitude = Annotated[float, Field(ge=-90, le=90, allow_inf_nan=False)]
Metres = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]

assert get_args(Sight) == DANGER_WORDS and get_args(LeaderDid) == tuple(LEADER_DID)


class DangerIn(Appended):
    """One of the six sights, where it was seen, and what was done at once."""

    sight: Sight
    tree_id: Id | None = None
    place: Words | None = None
    lon_deg: Longitude | None = None
    lat_deg: Latitude | None = None
    x_m: Metres | None = None
    y_m: Metres | None = None
    text: Words | None = None
    seen_on: Day | None = None
    crew: Words | None = None
    crew_kind: CrewKind | None = None
    round_id: Id | None = None
    leader_did: list[LeaderDid] = Field(default_factory=list, max_length=3)
    leader_called: Words | None = None
    leader_at: Time | None = None

    @field_validator("leader_did")
    @classmethod
    def _in_order(cls, did: list[Any]) -> list[Any]:
        """Said in whatever order, kept in one."""
        return [word for word in LEADER_DID if word in did]

    @model_validator(mode="after")
    def _is_somewhere(self) -> "DangerIn":
        if (self.lon_deg is None) != (self.lat_deg is None) or (self.x_m is None) != (self.y_m is None):
            raise ValueError("a position needs both its numbers, or none")
        where = (self.tree_id, self.place, self.lon_deg, self.x_m)
        if all(part is None or part == "" for part in where) and not self.void:
            raise ValueError("say at which tree or where on the ground it was seen")
        return self


class DangerAnswerIn(Appended):
    """What a manager had done about a danger; it takes it off the top and answers no question of the tree."""

    report_id: Id
    did: Said
    organisation: Who
    qualification: Words | None = None
    answered_on: Day
    closure_id: Id | None = None


class ClosureIn(Sent):
    """A place that people are kept out of: an outline, a circle round a tree or point, or only in words."""

    name: Who
    tree_id: Id | None = None
    radius_m: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = None
    geometry: dict[str, Any] | None = None
    from_on: Day
    to_on: Day | None = None
    why: Said
    how_marked: Words | None = None
    who_may_reopen: Said

    @model_validator(mode="after")
    def _adds_up(self) -> "ClosureIn":
        kind = (self.geometry or {}).get("type")
        if self.tree_id is not None and self.geometry is not None:
            raise ValueError("close a circle round the tree or an outline, not both at once")
        if (self.tree_id is not None or kind == "Point") and self.radius_m is None:
            raise ValueError("say how far from it people are kept out (radius_m)")
        if kind is not None and kind not in ("Point", "Polygon", "MultiPolygon"):
            raise ValueError("what is closed needs an outline, or a point with a radius")
        if self.tree_id is None and kind != "Point":
            self.radius_m = None
        if self.to_on and self.to_on < self.from_on:
            raise ValueError("the last day of a closure (to_on) lies before its first (from_on)")
        return self


class ReopeningIn(Sent):
    """Why a closed place is open again, on what finding, by whom."""

    reopened_on: Day
    reopened_because: Said
    reopened_by: Who


class HazardIn(Sent):
    """What endangers those who work or measure: an overhead line, a road edge, water, steep ground ..."""

    kind: HazardKind
    geometry: dict[str, Any]
    note: Words | None = None
    voltage_kv: Annotated[float, Field(gt=0, le=2000, allow_inf_nan=False)] | None = None
    barrier: bool = False
    valid_from: Day | None = None
    valid_to: Day | None = None

    @model_validator(mode="after")
    def _adds_up(self) -> "HazardIn":
        if self.voltage_kv is not None and self.kind != "overhead line":
            raise ValueError("only an overhead line has a voltage; leave it empty")
        if self.valid_from and self.valid_to and self.valid_to < self.valid_from:
            raise ValueError("the last day of a hazard (valid_to) lies before its first (valid_from)")
        return self
