"""Filters as they are sent, CQL2 in words or as JSON (OGC 21-065r2), read into nodes; bounded throughout."""

import datetime as dt
import math
import re
from collections.abc import Callable
from typing import Any

import orjson
import shapely

from service.cql_nodes import (
    All,
    Between,
    Compare,
    Drawn,
    Folded,
    IsNull,
    Like,
    Meets,
    Moment,
    Node,
    Not,
    OneOf,
    Property,
    Some,
    Truth,
    Value,
    Written,
)
from service.cql_text import MAX_DEPTH, TOO_DEEP, from_text
from service.errors import InvalidRequest
from service.intake.bounded_shapes import from_geojson

LANGUAGES = ("cql2-text", "cql2-json", "cql-text")  # the last is what drafts called the first; with ILIKE
MAX_LENGTH = 8192
MAX_NODES = 500
FARTHEST = 1e6  # degrees that a shape may be away, far beyond all features, where lengths are still numbers

ToCrs84 = Callable[[Any], Any]  # a shapely geometry as it was sent -> the same place in CRS84

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt]([0-9]{2}:[0-9]{2}:[0-9]{2})(\.[0-9]{1,9})?([Zz]|[-+][0-9]{2}:[0-9]{2})"
)
_COMPARISONS = ("=", "<>", "<", "<=", ">", ">=")


def parsed(text: str, language: str = "cql2-text", to_crs84: ToCrs84 | None = None) -> Node:
    """Return a filter as nodes, whatever the collection it is for.

    Parameters
    ----------
    text : str
        The filter as it was sent.
    language : str
        One of ``LANGUAGES``.
    to_crs84 : callable, optional
        Brings a shape from the system of ``filter-crs``, its axes in the order of the authority, to
        longitude and latitude.

    Raises
    ------
    InvalidRequest
        If it cannot be read, is too long or too deep, or asks for what is not offered.
    """
    if len(text) > MAX_LENGTH:
        raise fault(f"The filter is longer than {MAX_LENGTH:,} characters; ask in several steps.")
    if not storable(text):
        raise fault("The filter has a character that no text here can have (NUL or half a character).")
    if language == "cql2-json":
        return _Builder(to_crs84).node(_json(text))
    if language not in LANGUAGES:
        said = f"{language[:40]!r} is no language of filters; use one of {', '.join(LANGUAGES)}."
        raise InvalidRequest([("filter-lang", said)])
    return _Builder(to_crs84).node(from_text(text, ilike=language == "cql-text"))


def fault(said: str) -> InvalidRequest:
    """Return what is wrong with a filter, to be raised."""
    return InvalidRequest([("filter", said)])


def moment_of(text: str) -> Moment:
    """Return the day or instant that a text says.

    Raises
    ------
    InvalidRequest
        If it says neither.
    """
    if _DAY.fullmatch(text):
        return Moment(_day(text), exact=False)
    return Moment(_instant(text), exact=True)


def storable(text: str) -> bool:
    """Return whether a database takes a text: without NUL and without half characters."""
    return "\x00" not in text and not any("\ud800" <= sign <= "\udfff" for sign in text)


def _json(text: str) -> Any:
    try:
        return orjson.loads(text)
    except orjson.JSONDecodeError as error:
        raise fault(f"The filter is no JSON: {error}.") from error


class _Builder:
    """Turns the plain data of CQL2 JSON into nodes."""

    def __init__(self, to_crs84: ToCrs84 | None) -> None:
        self.to_crs84 = to_crs84
        self.nodes = 0
        self.depth = 0

    def node(self, said: Any) -> Node:
        """Return what is true or false of a feature."""
        self._count()
        if isinstance(said, bool):
            return Truth(Written(said))
        if isinstance(said, dict) and "property" in said:
            return Truth(_property(said))
        if not isinstance(said, dict) or "op" not in said:
            raise fault(f"{_shown(said)} is not true or false of a feature; compare it with something.")
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise fault(TOO_DEEP)
        made = self._operation(said)
        self.depth -= 1
        return made

    def _count(self) -> None:
        self.nodes += 1
        if self.nodes > MAX_NODES:
            raise fault(f"The filter has more than {MAX_NODES} conditions; ask in several steps.")

    def _operation(self, said: dict[str, Any]) -> Node:
        op = said["op"]
        if op in ("and", "or"):
            terms = tuple(self.node(term) for term in _args(said, 2, or_more=True))
            return All(terms) if op == "and" else Some(terms)
        if op == "not":
            return Not(self.node(*_args(said, 1)))
        if op == "s_intersects":
            left, right = (self._place(side) for side in _args(said, 2))
            return Meets(left, right)
        if op == "in":
            value, choices = _args(said, 2)
            if not isinstance(choices, list) or not choices:
                raise fault("IN needs a list of at least one value.")
            return OneOf(self._value(value), tuple(map(self._value, choices)))
        if op in _COMPARISONS:
            return Compare(op, *map(self._value, _args(said, 2)))
        if op == "between":
            return Between(*map(self._value, _args(said, 3)))
        if op == "like":
            return Like(*map(self._value, _args(said, 2)))
        if op == "isNull":
            return IsNull(self._value(*_args(said, 1)))
        raise fault(f"{_shown(op)} is not offered.")

    def _value(self, said: Any, deep: int = 0) -> Value:
        if isinstance(said, str):
            return Written(said)
        if isinstance(said, bool | int | float):
            return Written(_finite(said))
        if isinstance(said, dict):
            if "property" in said:
                return _property(said)
            if said.get("op") == "casei" and deep < MAX_DEPTH:
                return Folded(self._value(_args(said, 1)[0], deep + 1))
            if "date" in said:
                return Moment(_day(said["date"]), exact=False)
            if "timestamp" in said:
                return Moment(_instant(said["timestamp"]), exact=True)
        raise fault(f"{_shown(said)} is not a value that can be compared here.")

    def _place(self, said: Any) -> Property | Drawn:
        if isinstance(said, dict) and "property" in said:
            return _property(said)
        if isinstance(said, dict) and "bbox" in said:
            return self._box(said["bbox"])
        shape, why = from_geojson(said)
        if why is not None or shape is None or shape.is_empty:
            raise fault(why or "A shape without any point meets nothing.")
        return Drawn(wkb=self._in_crs84(shape))

    def _box(self, said: Any) -> Drawn:
        numbers = said if isinstance(said, list) and len(said) in (4, 6) else []
        if not numbers or any(isinstance(n, bool) or not isinstance(n, int | float) for n in numbers):
            raise fault("BBOX needs 4 numbers: west, south, east, north (or 6 with heights).")
        half = len(numbers) // 2
        west, south, east, north = (float(_finite(numbers[at])) for at in (0, 1, half, half + 1))
        if self.to_crs84 is not None:
            return Drawn(wkb=self._in_crs84(shapely.box(west, south, east, north)))
        west, south, east, north = (min(max(n, -FARTHEST), FARTHEST) for n in (west, south, east, north))
        if south > north:
            raise fault(f"BBOX has its south ({south:g}) above its north ({north:g}).")
        return Drawn(box=(west, south, east, north))

    def _in_crs84(self, shape: Any) -> bytes:
        placed = shape if self.to_crs84 is None else self.to_crs84(shape)
        if not all(abs(side) <= FARTHEST for side in placed.bounds):  # nor what is not finite
            raise fault("A shape of the filter is not on the ground of its coordinate system.")
        return bytes(shapely.to_wkb(placed))


def _args(said: dict[str, Any], count: int, or_more: bool = False) -> list[Any]:
    args = said.get("args")
    if not isinstance(args, list) or len(args) < count or (len(args) > count and not or_more):
        wanted = f"{count} or more arguments" if or_more else f"{count} argument{'s' * (count > 1)}"
        raise fault(f"{_shown(said['op'])} needs {wanted}.")
    return args


def _property(said: dict[str, Any]) -> Property:
    if not isinstance(said["property"], str):
        raise fault(f"{_shown(said['property'])} is no name of a property.")
    return Property(said["property"])


def _finite(number: int | float) -> int | float:
    try:
        known = math.isfinite(number)
    except OverflowError:  # a whole number beyond all floats
        known = False
    if not known:
        raise fault("A number of the filter is too large.")
    return number


def _day(said: Any) -> str:
    with_fault = fault(f"{_shown(said)} is not a day; write it as YYYY-MM-DD.")
    if not isinstance(said, str) or not _DAY.fullmatch(said):
        raise with_fault
    try:
        return dt.date.fromisoformat(said).isoformat()
    except ValueError as error:
        raise with_fault from error


def _instant(said: Any) -> str:
    """Return an instant in UTC, ending in ``Z``."""
    with_fault = fault(f"{_shown(said)} is not an instant; write it as 2026-05-14T10:30:00Z.")
    found = _TIME.fullmatch(said) if isinstance(said, str) else None
    if found is None:
        raise with_fault
    day, clock, fraction, zone = found.groups()
    try:
        moment = dt.datetime.fromisoformat(f"{day}T{clock}{(fraction or '')[:7]}{zone.upper()}")
        return moment.astimezone(dt.UTC).replace(tzinfo=None).isoformat() + "Z"
    except (ValueError, OverflowError) as error:
        raise with_fault from error


def _shown(said: Any) -> str:
    """Return what was sent, short enough for a sentence."""
    if isinstance(said, dict):
        return _shown(said["op"]) if "op" in said else "An object"
    return "A list" if isinstance(said, list) else repr(str(said)[:60])
