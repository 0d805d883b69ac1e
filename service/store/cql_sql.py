"""A checked filter as a condition of SQL on a layer's table; what was sent only ever becomes parameters.

SQL's three-valued logic is that of CQL2: what is unknown of a feature does not select it, nor does its
opposite (OGC 21-065r2). A property that the layer of a site does not have is unknown of all its features.
"""

import datetime as dt
import operator
import sqlite3
from collections.abc import Callable
from typing import Any

import shapely
import sqlalchemy as sa
from sqlalchemy.engine import Connection

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
    unfolded,
)
from service.feature_kinds import GEOMETRY
from service.store.layer_tables import LayerTable

Condition = sa.ColumnElement[Any]
_COMPARE: dict[str, Callable[[Any, Any], Condition]] = {
    "=": operator.eq,
    "<>": operator.ne,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_LARGEST = 2**63 - 1
UNKNOWN: Condition = sa.literal(None, sa.Integer())


class Conditions:
    """Makes conditions on one table; ``shapes`` are what they are about beside plain values."""

    def __init__(self, table: LayerTable) -> None:
        self.table = table
        self.facts = table.facts
        self.kinds = {column.name: column.kind for column in table.facts.columns}
        self.shapes: list[Any] = []

    def of(self, node: Node) -> Condition:
        """Return a checked filter as a condition."""
        match node:
            case All(of):
                return sa.and_(*map(self.of, of))
            case Some(of):
                return sa.or_(*map(self.of, of))
            case Not(of):
                return sa.not_(self.of(of))
            case Truth(of):
                return self._one(of) == 1
            case Compare(op, left, right):
                return _COMPARE[op](*self._side_by_side(left, right))
            case Between(value, low, high):
                found, least, most = self._side_by_side(value, low, high)
                return sa.and_(found >= least, found <= most)
            case OneOf(value, choices):
                found, *rest = self._side_by_side(value, *choices)
                return _one_of(found, rest)
            case Like(value, pattern):
                return self._one(value).op("GLOB", is_comparison=True)(sa.literal(_glob(pattern), sa.Text()))
            case IsNull(Property(name)):
                return self.without_shape() if name == GEOMETRY else self.column(name).is_(None)
            case Meets():
                return self.meets(node.drawn)
        raise AssertionError(f"not a checked filter: {node!r}")

    def key(self, name: str) -> Condition:
        """Return what features are sorted by: a property, times by the clock."""
        return self._by_clock(Property(name)) if self.kinds.get(name) == "time" else self.column(name)

    def without_shape(self) -> Condition:
        """Return that a feature has no shape on earth."""
        if self.facts.local:
            return sa.true()
        return self.table.table.c["lon" if self.facts.points else "wkb"].is_(None)

    def meets(self, drawn: Drawn) -> Condition:
        """Return that a feature's shape and a drawn one have a point in common; unknown without a shape."""
        if self.facts.local:
            return UNKNOWN
        c = self.table.table.c
        if not self.facts.points:
            return self._overlaps(drawn.shape)
        if drawn.box is not None:
            west, south, east, north = drawn.box
            lon = c.lon.between(west, east) if west <= east else sa.or_(c.lon >= west, c.lon <= east)
            return sa.and_(lon, c.lat.between(south, north))
        west, south, east, north = drawn.bounds
        exactly = sa.func.shape_meets(self._number(drawn.shape), c.lon, c.lat) == 1
        return sa.and_(c.lon.between(west, east), c.lat.between(south, north), exactly)

    def _overlaps(self, shape: Any) -> Condition:
        c = self.table.table.c
        west, south, east, north = shape.bounds
        apart = (c.west <= east, c.east >= west, c.south <= north, c.north >= south)
        return sa.and_(*apart, sa.func.drawn_meets(self._number(shape), c.wkb) == 1)

    def _number(self, shape: Any) -> int:
        shapely.prepare(shape)
        self.shapes.append(shape)
        return len(self.shapes) - 1

    def column(self, name: str) -> Condition:
        """Return the column of a property, unknown where the layer has none."""
        return self.table.column(name) if name in self.kinds else UNKNOWN

    def _side_by_side(self, *values: Value) -> list[Condition]:
        """Return values to be compared; moments by the clock where one of them has a clock."""
        if any(isinstance(value, Property) and self.kinds.get(value.name) == "time" for value in values):
            return [self._by_clock(value) for value in values]
        return [self._one(value) for value in values]

    def _by_clock(self, value: Value) -> Condition:
        if isinstance(value, Moment):
            return sa.literal(microseconds(value.text), sa.BigInteger())
        return sa.func.microseconds(self._one(value), type_=sa.BigInteger())

    def _one(self, value: Value) -> Condition:
        match value:
            case Property(name):
                return self.column(name)
            case Folded():
                return self._folded(value.of)
            case Moment(text):  # a day is the instant at which it begins, so that texts are in their order
                return sa.literal(text.removesuffix("T00:00:00Z"), sa.Text())
            case Written(said):
                return literal(said)

    def _folded(self, value: Value) -> Condition:
        plain = unfolded(value)
        if isinstance(plain, Written):
            return literal(str(plain.value).casefold())
        return sa.func.folded(self._one(plain), type_=sa.Text())


def _one_of(found: Condition, rest: list[Condition]) -> Condition:
    """Return that a value is one of others; written ones as one list, as thousands apart take seconds."""
    written = [one.value for one in rest if isinstance(one, sa.BindParameter)]
    if len(written) < len(rest):
        return found.in_(rest)
    values = list(dict.fromkeys(written))
    return found.in_(sa.bindparam("choices", values, expanding=True, unique=True, type_=sa.types.NullType()))


def teach(connection: Connection, shapes: list[Any]) -> None:
    """Give a connection the functions that conditions use, for the shapes they are about."""

    def shape_meets(number: int, lon: float | None, lat: float | None) -> int | None:
        if lon is None or lat is None:
            return None
        return int(shapely.intersects_xy(shapes[number], lon, lat))

    def drawn_meets(number: int, wkb: bytes | None) -> int | None:
        return None if wkb is None else int(shapely.intersects(shapes[number], shapely.from_wkb(wkb)))

    raw = connection.connection.driver_connection
    assert isinstance(raw, sqlite3.Connection)
    raw.create_function("shape_meets", 3, shape_meets, deterministic=True)
    raw.create_function("drawn_meets", 2, drawn_meets, deterministic=True)
    raw.create_function("folded", 1, _casefold, deterministic=True)
    raw.create_function("microseconds", 1, microseconds, deterministic=True)


def microseconds(text: str | None) -> int | None:
    """Return an instant or the begin of a day in microseconds since 1970, None where it is neither."""
    if text is None:
        return None
    try:
        moment = dt.datetime.fromisoformat(text)
        moment = moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment
        return (moment - _EPOCH) // dt.timedelta(microseconds=1)
    except (ValueError, OverflowError):
        return None


def _casefold(text: str | None) -> str | None:
    return None if text is None else text.casefold()


def literal(said: str | int | float | bool) -> Condition:
    """Return a value as a parameter that the database takes."""
    if isinstance(said, bool):
        return sa.literal(int(said), sa.Integer())
    if isinstance(said, str):
        return sa.literal(said, sa.Text())
    if isinstance(said, int) and -_LARGEST <= said <= _LARGEST:
        return sa.literal(said, sa.BigInteger())
    return sa.literal(float(said), sa.REAL())


def _glob(pattern: Value) -> str:
    """Return a pattern of LIKE as one of GLOB, which tells capitals from small letters."""
    plain = unfolded(pattern)
    assert isinstance(plain, Written)
    text = str(plain.value).casefold() if isinstance(pattern, Folded) else str(plain.value)
    out: list[str] = []
    signs = iter(text)
    for sign in signs:
        if sign == "%":
            out += [] if out[-1:] == ["*"] else ["*"]
        elif sign == "_":
            out.append("?")
        else:
            written = next(signs, sign) if sign == "\\" else sign
            out.append(f"[{written}]" if written in "*?[" else written)
    return "".join(out)
