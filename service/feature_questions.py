"""A question to a collection and its answer, as plain facts."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from service.cql_nodes import Node
from service.layer_parts import LayerColumn, LayerPart

DEFAULT_LIMIT = 1000
MAX_LIMIT = 10_000

Box = tuple[float, float, float, float]  # west, south, east, north [deg]; west > east crosses 180 degrees
Days = tuple[str | None, str | None]  # first and last day (YYYY-MM-DD), None where open


class By(NamedTuple):
    """A property to sort by; features without it come last either way."""

    name: str
    descending: bool = False


@dataclass(frozen=True)
class Asked:
    """What is asked of a collection; all conditions hold together.

    ``box`` is in CRS84, ``time`` the first and last day in UTC that a feature's time has to touch, ``equals``
    the text of a property as it was sent, ``filter`` what `service.cql_filter.parsed` gave, ``after`` the
    token of the answer before.
    """

    site: str | None = None
    as_of: str | None = None
    box: Box | None = None
    time: Days | None = None
    equals: Mapping[str, str] = field(default_factory=dict)
    filter: Node | None = None
    order: tuple[By, ...] = ()
    limit: int = DEFAULT_LIMIT
    after: str | None = None


@dataclass(frozen=True)
class Items:
    """A page of features: ``parts`` in order, each of one site, with cells for every one of ``columns``.

    ``matched`` counts all pages; ``next`` is the token of the page that follows, None on the last one;
    ``tag`` changes when the answer may have (for ETags).
    """

    matched: int
    returned: int
    columns: tuple[LayerColumn, ...]
    parts: list[LayerPart]
    next: str | None
    tag: str


@dataclass(frozen=True)
class Extent:
    """Where and when the features of a collection are; None where nothing is known."""

    box: Box | None
    time: Days
