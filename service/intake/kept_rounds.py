"""What a snapshot says of planned measuring days, in structured text: checked before the program reads it."""

from typing import Any, Literal

import shapely
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, field_validator

from layers.round_choice import REASONS
from service.records import Id
from service.round_records import DayPageIn, RoundPlanIn


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid", str_max_length=20_000)


class _Tree(_Kept):
    tree_id: Id
    role: Literal["practice", "first", "repeat"]


class _Sheet(_Kept):
    crew_id: Id
    trees: list[_Tree]
    minutes: float = Field(ge=0, allow_inf_nan=False)
    way_m: float = Field(ge=0, allow_inf_nan=False)
    sector: dict[str, Any] | None
    walk: dict[str, Any] | None

    @field_validator("sector", "walk")
    @classmethod
    def _shape(cls, said: dict[str, Any] | None) -> dict[str, Any] | None:
        try:
            drawn = said is None or shapely.is_valid(shapely.geometry.shape(said))
        except (shapely.errors.ShapelyError, AttributeError, KeyError, TypeError) as error:
            raise ValueError("is no shape") from error
        if not drawn:
            raise ValueError("is no shape")
        return said


class _LeftOut(_Kept):
    tree_id: Id
    reason: str
    metres: float | None = Field(default=None, allow_inf_nan=False)
    cm: float | None = Field(default=None, allow_inf_nan=False)
    words: str | None = None

    @field_validator("reason")
    @classmethod
    def _known(cls, said: str) -> str:
        if said not in REASONS:
            raise ValueError("is no reason")
        return said


class _PutBack(_Kept):
    tree_id: Id
    reason: str
    at: str


class _Plan(_Kept):
    sheets: list[_Sheet]
    left_out: list[_LeftOut]
    put_back: list[_PutBack]
    chosen_by: RoundPlanIn
    seed: int
    spread: float | None
    why: str | None
    timed_gaps: int


class _Closing(_Kept):
    missing: list[tuple[Id, Id]]
    to_check: list[Id]
    again: list[Id]
    minutes: float = Field(ge=0, allow_inf_nan=False)
    note: str | None


class _Meeting(_Kept):
    meeting_words: str | None
    lon_deg: float | None
    lat_deg: float | None
    x_m: float | None
    y_m: float | None


_MODELS: dict[str, TypeAdapter[Any]] = {
    "plan": TypeAdapter(_Plan),
    "day_page": TypeAdapter(DayPageIn),
    "meeting": TypeAdapter(_Meeting),
    "closing": TypeAdapter(_Closing),
}
KEPT_OF_ROUNDS = frozenset(_MODELS)


def require_kept(column: str, said: Any) -> None:
    """Check what a round keeps in one of ``KEPT_OF_ROUNDS``; ``ValueError`` (of pydantic) if it cannot be."""
    _MODELS[column].validate_python(said)
