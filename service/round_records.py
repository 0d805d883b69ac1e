"""What a manager sends about measuring days, checked: the plan, a tree put back, the day page."""

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from layers.day_page import CHECKED_WITHIN_DAYS
from layers.round_choice import KEEP_OFF_M, PRACTICE_TREES, REPEAT_SHARE
from service.records import Day, Id, Instrument, Words, plain_text

MOST_TEAMS = 40
MOST_DAYS = 400
Said = Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=2000)]
Teams = Annotated[int, Field(ge=0, le=MOST_TEAMS)]
Width = Annotated[float, Field(ge=0, le=2000, allow_inf_nan=False)]


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid", str_max_length=20_000)


class RoundPlanIn(_Asked):
    """Measuring days as a manager asks for them: when, which trees, how, who, where all meet."""

    name: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]
    from_on: Day
    to_on: Day | None = None
    instrument: Instrument = "girth tape"
    unit: Literal["cm", "mm", "m", "in", "ft", "hands", "spans"] = "cm"
    height_m: Annotated[float, Field(gt=0, le=10, allow_inf_nan=False)]
    zone: Id | None = None
    from_cm: Width | None = None
    to_cm: Width | None = None
    not_since: Day | None = None
    pupils: Teams = 0
    volunteers: Teams = 0
    trained_staff: Teams = 0
    practice: Annotated[int, Field(ge=0, le=10)] = PRACTICE_TREES
    repeat_share: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)] = REPEAT_SHARE
    keep_off_m: Annotated[float, Field(ge=0, le=500, allow_inf_nan=False)] = KEEP_OFF_M
    seed: Annotated[int, Field(ge=0, le=2**31)] = 1
    meeting_words: Words | None = None
    lon_deg: Annotated[float, Field(ge=-180, le=180, allow_inf_nan=False)] | None = None
    lat_deg: Annotated[float, Field(ge=-90, le=90, allow_inf_nan=False)] | None = None
    x_m: Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)] | None = None
    y_m: Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _adds_up(self) -> "RoundPlanIn":
        if self.to_on and self.to_on < self.from_on:
            raise ValueError("the last day (to_on) lies before the first (from_on)")
        teams = self.pupils + self.volunteers + self.trained_staff
        if not 1 <= teams <= MOST_TEAMS:
            raise ValueError(f"say how many teams there are: at least 1, at most {MOST_TEAMS}")
        if self.from_cm is not None and self.to_cm is not None and self.to_cm <= self.from_cm:
            raise ValueError("no tree is in that class of width; give the smaller end first")
        if (self.lon_deg is None) != (self.lat_deg is None) or (self.x_m is None) != (self.y_m is None):
            raise ValueError("a meeting point needs both its numbers, or none")
        return self

    def kinds(self) -> list[str]:
        """The kind of each team, in order."""
        counts = (("pupils", self.pupils), ("volunteers", self.volunteers))
        named = [kind for kind, count in counts for _ in range(count)]
        return [*named, *["trained staff"] * self.trained_staff]


class PutBackIn(_Asked):
    """A tree that a manager puts back on pupils' lists, and why."""

    tree_id: Id
    reason: Said


class DayPageIn(_Asked):
    """The lines of the day page that are kept; leader and stand-in are written by hand and never sent."""

    permission_asked_on: Day | None = None
    permission_given_on: Day | None = None
    tree_check_by: Words | None = None
    tree_check_on: Day | None = None
    tree_check_days: Annotated[int, Field(ge=0, le=MOST_DAYS)] = CHECKED_WITHIN_DAYS
    wind_reading: Words | None = None
    fall_back_on: Day | None = None
    who_calls: Words | None = None
    first_aid: Words | None = None
    toilets: Words | None = None
    water: Words | None = None
    allergies_asked: bool = False
    caution_read: bool = False
    note: Words | None = None
