"""What people send, checked: one model a kind of record, every fault at once.

Ranges are those of layers/columns.py; the words are the nomenclature's.
"""

import datetime as dt
import uuid
from typing import Annotated, Any, Literal, TypeVar, cast

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from layers import awkward_stems, goes, sighting
from layers.hands import CM_PER_SAID, FEWEST_TIMES, INSTRUMENT_OF, LAID
from service.errors import InvalidRequest
from service.fault_words import sentence_of
from service.intake.day_cells import middle

_DAYS_OF_A_PRECISION = ("measured_on", "observed_on", "happened_on")
MAX_GIRTH_CM = 4500.0
ODD_GIRTH_CM = 1000.0

Model = TypeVar("Model", bound=BaseModel)


def plain_text(text: str) -> str:
    """Return a text without blanks around it; what no store can keep is a fault."""
    if "\x00" in text:
        raise ValueError("a NUL character cannot be kept; leave it out")
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise ValueError("half a character (a lone surrogate) cannot be kept; type it again") from error
    return text.strip()


def _iso_day(text: str) -> str:
    try:
        return dt.date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise ValueError(f"{text!r} is not a day; write it as YYYY-MM-DD") from error


def _iso_time(text: str) -> str:
    try:
        dt.datetime.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is not a time; write it as 2026-05-14T10:30:00+02:00") from error
    return text


def _uuid(text: str) -> str:
    try:
        return str(uuid.UUID(text))
    except ValueError as error:
        raise ValueError(f"{text!r} is not a UUID") from error


Words = Annotated[str, AfterValidator(plain_text), Field(max_length=2000)]
Day = Annotated[str, AfterValidator(_iso_day)]
Time = Annotated[str, AfterValidator(_iso_time)]
Id = Annotated[str, AfterValidator(_uuid)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Instrument = Literal[
    "girth tape",
    "diameter tape",
    "caliper",
    "string and ruler",
    "hand breadths",
    "hand spans",
    "sighting",
    "eye",
    "unknown",
]
CrewKind = Literal["pupils", "volunteers", "trained staff"]
Precision = Literal["day", "month", "year", "unknown"]
Status = Literal["living", "dead", "removed", "unknown"]


def _new_id() -> str:
    return str(uuid.uuid4())


class Sent(BaseModel):
    """Base of everything that is sent: unknown names are faults."""

    model_config = ConfigDict(extra="forbid", str_max_length=20_000)
    id: Id = Field(default_factory=_new_id)


class Appended(Sent):
    """A record that never changes, only is superseded."""

    supersedes: Id | None = None
    void: bool = False
    reason: Words | None = None
    recorded_at: Time | None = None

    @model_validator(mode="after")
    def _middle_day(self) -> "Appended":
        """Of a month or a year the middle day is kept (definitions R4)."""
        precision = getattr(self, "date_precision", None)
        for name in _DAYS_OF_A_PRECISION if precision in ("month", "year") else ():
            if day := getattr(self, name, None):
                setattr(self, name, middle(int(day[:4]), int(day[5:7]) if precision == "month" else None))
        return self


class ReadingIn(Appended):
    """One size measurement of one stem on one day."""

    stem_id: Id
    quantity: Literal["girth", "diameter", "class"] = "girth"
    value: Number | None = None
    value_2: Number | None = None
    parts: Words | None = None
    class_from_cm: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    class_to_cm: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    unit: Literal["cm", "mm", "m", "in", "ft", "hands", "spans"] = "cm"
    instrument: Instrument = "unknown"
    calibration_id: Id | None = None
    height_m: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] | None = None
    resolution: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    measured_on: Day | None = None
    date_precision: Precision = "day"
    crew: Words | None = None
    crew_kind: CrewKind | None = None
    round_id: Id | None = None
    tilt_deg: Annotated[float, Field(ge=0, le=60, allow_inf_nan=False)] | None = None
    side: Words | None = None
    rule: Words | None = None
    awkward: Words | None = None
    first_guess: Number | None = None
    first_entry: Number | None = None
    note: Words | None = None
    source: Words | None = None

    @model_validator(mode="after")
    def _adds_up(self) -> "ReadingIn":
        """Goes of a short ruler, and marks of a sighting, make the value; hands go with their instrument."""
        if self.unit in INSTRUMENT_OF:
            if self.instrument == "unknown":
                self.instrument = cast(Instrument, INSTRUMENT_OF[self.unit])
            if self.instrument != INSTRUMENT_OF[self.unit] or self.quantity != "girth":
                raise ValueError(
                    f"a count of {self.unit} goes round the trunk and has the instrument "
                    f"{INSTRUMENT_OF[self.unit]}; choose another unit or that instrument"
                )
        if self.parts is not None and not self.void:
            self._make_of_parts(self.parts)
        faults = awkward_stems.faults_of(awkward_stems.facts_of(self.awkward), self.height_m)
        if faults and not self.void:
            raise ValueError(" ".join(faults.values()))
        return self

    def _make_of_parts(self, parts: str) -> None:
        if not goes.is_laid(self.instrument) and self.instrument != "sighting" and self.value is not None:
            return  # how a count was turned into a length, as it was written
        laid = goes.goes_of(parts)
        total = laid.total if laid else None
        if self.instrument == "sighting" and total is None:
            total = sighting.diameter_of(parts)
            self.quantity = "diameter"
        if total is None:
            raise ValueError(
                f"{parts[:60]!r} does not add up; write goes of a ruler as 3x30 + 12.5, a sighting as "
                "mark 14.9, reach 25"
            )
        if self.value is None:
            self.value = total
        elif abs(self.value - total) > 0.005 * total:
            raise ValueError(f"{parts[:60]} makes {total:g}, not {self.value:g}; type one of them again")

    @model_validator(mode="after")
    def _has_a_size(self) -> "ReadingIn":
        if self.quantity == "class":
            low, high = self.class_from_cm, self.class_to_cm
            if low is None and high is None and not self.void:
                raise ValueError("a class needs class_from_cm or class_to_cm")
            if low is not None and high is not None and high <= low:
                raise ValueError(
                    f"a class from {low:g} to {high:g} cm holds nothing; give the smaller end first"
                )
        elif self.value is None and not self.void:
            raise ValueError("a reading needs a value; leave the row empty when nothing was measured")
        if self.value_2 is not None and self.quantity != "diameter" and not self.void:
            raise ValueError("only a diameter by caliper has a second axis; leave value_2 out")
        if self.value_2 is not None and self.value_2 < 0:
            raise ValueError(f"{self.value_2:g} {self.unit} is below zero; type it again")
        if self.value is not None and self.value < 0:
            raise ValueError(f"{self.value:g} {self.unit} is below zero; type it again")
        if self.value is not None and self.girth_cm() > MAX_GIRTH_CM:
            raise ValueError(
                f"{max(self.value, self.value_2 or 0.0):g} {self.unit} is more than 45 m round the trunk; "
                "check number and unit"
            )
        if self.measured_on is None:
            self.date_precision = "unknown"
        return self

    def girth_cm(self) -> float:
        """The reading as a girth [cm], by the larger of two axes."""
        factor = 3.141592653589793 if self.quantity == "diameter" else 1.0
        return max(self.value or 0.0, self.value_2 or 0.0) * CM_PER_SAID[self.unit] * factor


class CalibrationIn(Appended):
    """A crew's hand: breadths or spans laid one after the other, and the length they covered each time."""

    crew: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=40)]
    crew_kind: CrewKind | None = None
    instrument: Literal["hand breadths", "hand spans"] = "hand breadths"
    counts: Annotated[int, Field(ge=1, le=100)] = LAID
    totals_cm: Annotated[list[Number], Field(min_length=FEWEST_TIMES, max_length=50)]
    calibrated_on: Day

    @model_validator(mode="after")
    def _are_lengths(self) -> "CalibrationIn":
        for total in self.totals_cm:
            if not 0 < total <= 40.0 * self.counts:
                raise ValueError(f"{total:g} cm is no length of {self.counts} hands; check number and unit")
        return self


class ObservationIn(Appended):
    """What somebody saw or measured of a tree on one day besides girth."""

    tree_id: Id
    what: Words
    value: Number | None = None
    unit: Words | None = None
    text: Words | None = None
    method: Words | None = None
    observed_on: Day | None = None
    date_precision: Precision = "day"
    crew: Words | None = None
    crew_kind: CrewKind | None = None
    round_id: Id | None = None
    source: Words | None = None


class StatusIn(Appended):
    """From a day on, a tree or stem is living, dead or removed."""

    subject: Literal["tree", "stem"] = "tree"
    subject_id: Id
    status: Status
    happened_on: Day | None = None
    date_precision: Precision = "day"
    as_said: Words | None = None
    in_doubt: bool = False
    source: Words | None = None


class InspectionIn(Appended):
    """A qualified or trained person walked a zone or looked at trees on a day."""

    area_id: Id | None = None
    inspected_on: Day
    level: Literal["walk-over", "formal", "detailed"]
    organisation: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]
    qualification: Words | None = None
    qualified: bool = False
    leaf_on: Literal["leaf on", "leaf off", "not said"] = "not said"
    not_seen: Words | None = None
    next_look_by: Day | None = None
    note: Words | None = None
    answers: dict[Id, "InspectionAnswer"] = Field(default_factory=dict)


class InspectionAnswer(BaseModel):
    """What was found at one tree."""

    model_config = ConfigDict(extra="forbid")
    answer: Literal["nothing recorded", "recorded", "not reached"]
    note: Words | None = None


class FindingIn(Appended):
    """A qualified person's answer to a flag."""

    flag_key: Words
    rule_version: int
    tree_id: Id
    inspection_id: Id | None = None
    found: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=2000)]
    to_do: Words | None = None
    looked_on: Day
    look_again_by: Day | None = None
    capacity: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]
    evidence: Words | None = None


class TreeIn(Sent):
    """A tree as a person enters it; the position may be missing."""

    tag: Words | None = None
    place: Words | None = None
    name_as_written: Words | None = None
    lon_deg: Annotated[float, Field(ge=-180, le=180, allow_inf_nan=False)] | None = None
    lat_deg: Annotated[float, Field(ge=-90, le=90, allow_inf_nan=False)] | None = None
    x_m: Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)] | None = None
    y_m: Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)] | None = None
    position_source: Words | None = None
    position_accuracy_m: Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)] | None = None
    keeper: Literal["ours", "shared", "not ours", "not known"] | None = None
    planted_on: Day | None = None
    status: Status = "living"
    stems: Annotated[int, Field(ge=1, le=60)] = 1


class AreaIn(Sent):
    """An area as drawn or typed: a GeoJSON polygon, or hectares with their source."""

    name: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]
    kind: Words = "other"
    use: Words | None = None
    layer: Words = "drawn"
    keeper: Literal["ours", "shared", "not ours", "not known"] | None = None
    geometry: dict[str, Any] | None = None
    typed_area_ha: Annotated[float, Field(gt=0, le=10_000_000, allow_inf_nan=False)] | None = None
    area_source: Words | None = None
    area_se_ha: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    counting_limit_cm: Annotated[float, Field(ge=0, le=500, allow_inf_nan=False)] | None = None
    counting_complete: Literal["complete", "not complete", "not known"] | None = None
    counted_on: Day | None = None
    valid_from: Day | None = None
    valid_to: Day | None = None
    place_id: Id | None = None

    @model_validator(mode="after")
    def _has_an_extent(self) -> "AreaIn":
        if self.geometry is None and self.typed_area_ha is None:
            raise ValueError("an area needs an outline, or its hectares and where that number is from")
        if self.valid_from and self.valid_to and self.valid_to < self.valid_from:
            raise ValueError("the last day of an area (valid_to) lies before its first (valid_from)")
        return self


class TargetIn(Sent):
    """What a tree could hit: a GeoJSON point, line or polygon."""

    name: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]
    kind: Words = "other"
    use: Words | None = None
    layer: Words = "drawn"
    geometry: dict[str, Any]


class RoundIn(Sent):
    """A measuring campaign."""

    name: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]
    from_on: Day
    to_on: Day | None = None
    instrument: Instrument | None = None
    unit: Literal["cm", "mm", "m", "in", "ft"] | None = None
    height_m: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] | None = None


class CrewIn(Sent):
    """Who measured: a code, never a name."""

    round_id: Id | None = None
    code: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=40)]
    kind: CrewKind


class PlanImageIn(Sent):
    """A picture of the ground; how it lies is said afterwards."""

    name: Annotated[str, AfterValidator(plain_text), Field(min_length=1, max_length=200)]


def parsed(model: type[Model], data: Any) -> Model:
    """Return ``data`` as a checked record.

    Raises
    ------
    InvalidRequest
        With every fault and where it is.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise InvalidRequest(
            [("/" + "/".join(str(p) for p in fault["loc"]), sentence_of(fault)) for fault in error.errors()]
        ) from error
