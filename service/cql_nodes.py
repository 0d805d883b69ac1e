"""What a filter is made of: the nodes of CQL2 (OGC 21-065r2) that are offered, read from text or JSON."""

from dataclasses import dataclass
from typing import Any, Literal

import shapely

Comparison = Literal["=", "<>", "<", "<=", ">", ">="]


@dataclass(frozen=True)
class Property:
    """The value of a property of the feature."""

    name: str


@dataclass(frozen=True)
class Written:
    """A text, number or truth value that was written out."""

    value: str | int | float | bool


@dataclass(frozen=True)
class Moment:
    """A day (YYYY-MM-DD) or, with ``exact``, an instant (RFC 3339) that was written out."""

    text: str
    exact: bool


@dataclass(frozen=True)
class Folded:
    """A text without regard to case (CASEI)."""

    of: "Value"


@dataclass(frozen=True)
class Drawn:
    """A shape that was written out, in longitude and latitude [deg].

    A box (west > east crosses 180 degrees), or any other shape as bytes (WKB).
    """

    box: tuple[float, float, float, float] | None = None
    wkb: bytes = b""

    @property
    def shape(self) -> Any:
        """The shape, as shapely has it."""
        if self.box is None:
            return shapely.from_wkb(self.wkb)
        west, south, east, north = self.box
        if west <= east:
            return shapely.box(west, south, east, north)
        sides = ((west, 180.0), (-180.0, east))
        return shapely.MultiPolygon([shapely.box(first, south, last, north) for first, last in sides])

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """The box round it."""
        return tuple(self.shape.bounds) if self.box is None else self.box


Value = Property | Written | Moment | Folded


def unfolded(value: Value) -> Property | Written | Moment:
    """Return what stands inside of all CASEI."""
    while isinstance(value, Folded):
        value = value.of
    return value


@dataclass(frozen=True)
class Compare:
    """Two values side by side."""

    op: Comparison
    left: Value
    right: Value


@dataclass(frozen=True)
class Between:
    """A value within two others, both included."""

    value: Value
    low: Value
    high: Value


@dataclass(frozen=True)
class OneOf:
    """A value that is one of several."""

    value: Value
    choices: tuple[Value, ...]


@dataclass(frozen=True)
class Like:
    r"""A text that fits a pattern: ``%`` any run, ``_`` one character, ``\`` takes the next as written."""

    value: Value
    pattern: Value


@dataclass(frozen=True)
class IsNull:
    """A property that the feature does not have."""

    of: Value


@dataclass(frozen=True)
class Meets:
    """Two shapes that have a point in common (S_INTERSECTS)."""

    left: Property | Drawn
    right: Property | Drawn

    @property
    def drawn(self) -> Drawn:
        """The side that was written out, of a checked filter."""
        drawn = self.left if isinstance(self.left, Drawn) else self.right
        assert isinstance(drawn, Drawn)
        return drawn


@dataclass(frozen=True)
class Not:
    """What is not so."""

    of: "Node"


@dataclass(frozen=True)
class All:
    """Everything holds."""

    of: tuple["Node", ...]


@dataclass(frozen=True)
class Some:
    """At least one holds."""

    of: tuple["Node", ...]


@dataclass(frozen=True)
class Truth:
    """A truth value that stands alone: a property of that kind, TRUE or FALSE."""

    of: Property | Written


Node = Compare | Between | OneOf | Like | IsNull | Meets | Not | All | Some | Truth
