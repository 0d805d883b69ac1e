"""The collections that can be asked: one for each layer, over all sites that an actor may see."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from service.errors import NotFound
from service.layer_parts import LayerColumn
from service.outlets.layer_rows import POSITION

ShapeKind = Literal["Point", "MultiPolygon", "Unknown"]
GEOMETRY = "geometry"  # the name of the shape in questions; no column is ever called so
STRUCTURED = ("list", "object")


@dataclass(frozen=True)
class Collection:
    """A layer over all sites that an actor may see.

    ``times`` are the columns of the first and the last day of a feature; ``cautioned`` says that the short
    caution goes along with it.
    """

    id: str
    title: str
    description: str
    times: tuple[str, str] | None = None
    shape_kind: ShapeKind = "Point"
    cautioned: bool = False

    @property
    def layer(self) -> str:
        """The layer of each site that it holds."""
        return self.id

    @property
    def by_day(self) -> bool:
        """Whether a day asks for what was true then (figures), instead of for some of the features."""
        return self.id == "figures"


def queryable(column: LayerColumn) -> bool:
    """Return whether a column may be named in filters, as a parameter and for sorting: lists may not."""
    return column.kind not in STRUCTURED


def of_collection(columns: tuple[LayerColumn, ...]) -> tuple[LayerColumn, ...]:
    """Return the columns that features carry: the position is their shape."""
    return tuple(column for column in columns if column.name not in POSITION)


_ALL = (
    Collection(
        "trees",
        "Trees",
        "Every tree with its standard diameter, growth, signs and circumstances.",
        times=("last_measured_on", "last_measured_on"),
        cautioned=True,
    ),
    Collection(
        "stems",
        "Stems",
        "Every stem of every tree with its standard diameter on the day and where it is from.",
        times=("measured_on", "measured_on"),
    ),
    Collection(
        "readings",
        "Readings",
        "Everything that was read off a tape, caliper, string or hand, as it was said.",
        times=("measured_on", "measured_on"),
    ),
    Collection(
        "areas",
        "Areas",
        "Outlines drawn on the ground, with use, counting limit and size.",
        times=("valid_from", "valid_to"),
        shape_kind="MultiPolygon",
    ),
    Collection("places", "Places", "Named parts of sites, stumps, gaps and vacant places of lists."),
    Collection(
        "targets",
        "Targets",
        "What is used near or under trees: benches, paths, play grounds.",
        shape_kind="Unknown",
    ),
    Collection(
        "flags",
        "Flags",
        "What asks for a look, each with its rule, evidence and published source.",
        cautioned=True,
    ),
    Collection(
        "inspections",
        "Inspections",
        "When somebody looked at a tree, at what level and in what capacity.",
        times=("inspected_on", "inspected_on"),
        cautioned=True,
    ),
    Collection(
        "figures",
        "Figures",
        "Counts, basal area and other figures of each site, place and area as of a day.",
        times=("as_of", "as_of"),
        shape_kind="MultiPolygon",
        cautioned=True,
    ),
)
COLLECTIONS: Mapping[str, Collection] = MappingProxyType({one.id: one for one in _ALL})


def collection_of(name: str) -> Collection:
    """Return the collection of a name.

    Raises
    ------
    NotFound
        If there is none.
    """
    if name not in COLLECTIONS:
        raise NotFound("collection", name)
    return COLLECTIONS[name]
