"""A layer that leaves, a part at a time: its facts, and rows whose cells every format can write."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import orjson

from layers.column_kinds import Kind

Cells = tuple[Any, ...]


@dataclass(frozen=True)
class LayerColumn:
    """A column of a layer; ``own`` tells a word of the nomenclature from a header that a file brought."""

    name: str
    kind: Kind
    unit: str = ""
    meaning: str = ""
    own: bool = True


@dataclass(frozen=True)
class LayerFacts:
    """What a layer is: of which site at which day, its columns, its kind of shape."""

    layer: str
    site: str
    as_of: str
    known_at: int
    local: bool  # positions are metres of a ground without a place on earth
    shape_kind: str  # Point, MultiPolygon or Unknown (mixed)
    columns: tuple[LayerColumn, ...]
    rows: int
    box: tuple[float, float, float, float] | None  # west, south, east, north [deg]; None where local or empty
    caution: str | None  # goes with everything that holds flags, once
    by_number: bool = True  # whether the rows come by feature number; else as the layer has them
    unplaced: int = 0  # rows without a shape
    sparse: bool = False  # in GeoJSON what is missing is left out, not null

    @property
    def names(self) -> list[str]:
        """The names of the columns, in order."""
        return [column.name for column in self.columns]

    @property
    def points(self) -> bool:
        """Whether every shape is a point."""
        return self.shape_kind == "Point"


@dataclass(frozen=True)
class LayerPart:
    """Some rows of a layer, in its order.

    Cells are plain: text, numbers, 0 or 1 for a flag, JSON text for lists and objects, None where missing.
    Points come as ``lon`` and ``lat`` [deg, or metres where local], other shapes as shapely ``shapes``.
    """

    ids: list[int]
    rows: list[Cells]
    lon: list[float | None]
    lat: list[float | None]
    shapes: np.ndarray | None


class Layer(Protocol):
    """What every format is written from."""

    @property
    def facts(self) -> LayerFacts:
        """What the layer is."""

    def parts(self, size: int = 1000, names: Sequence[str] | None = None) -> Iterator[LayerPart]:
        """Its rows in order, at most ``size`` at a time; cells of the columns in ``names`` only, if given."""


def properties_of(columns: Sequence[LayerColumn]) -> Callable[[Cells], dict[str, Any]]:
    """Return a function from cells to a mapping that orjson writes: JSON text as it is, flags as booleans."""
    names = [column.name for column in columns]
    structured = [column.name for column in columns if column.kind in ("list", "object")]
    flags = [column.name for column in columns if column.kind == "flag"]
    fragment = orjson.Fragment

    def properties(cells: Cells) -> dict[str, Any]:
        said = dict(zip(names, cells, strict=True))
        for name in structured:
            if (text := said[name]) is not None:
                said[name] = fragment(text)
        for name in flags:
            if (there := said[name]) is not None:
                said[name] = bool(there)
        return said

    return properties


def columns_named(facts: LayerFacts, names: Sequence[str] | None) -> tuple[LayerColumn, ...]:
    """Return the columns of a layer that are named, in the order of the layer; all without names."""
    return tuple(column for column in facts.columns if names is None or column.name in names)
