"""What a feature of a collection consists of, as JSON Schema in the shapes that clients read.

References
----------
OGC 19-079r2, OGC API - Features - Part 3: Filtering, sections 6.2 and 6.3 (queryables): a geometry has a
format and no type; nothing beside the queryables may be named.
OGC 23-058r1, OGC API - Features - Part 5: Schemas: ``x-ogc-role``, ``x-ogc-unit``.
RFC 7946 for the schema of a whole feature, the shape that general-purpose readers take types from.
"""

from collections.abc import Iterable
from typing import Any

from layers.column_kinds import Kind
from service.feature_kinds import GEOMETRY, Collection
from service.layer_parts import LayerColumn

DRAFT = "https://json-schema.org/draft/2020-12/schema"
SHAPES = {"Point": "point", "MultiPolygon": "multipolygon", "Unknown": "any"}
_TYPES: dict[Kind, dict[str, Any]] = {
    "text": {"type": "string"},
    "float": {"type": "number"},
    "int": {"type": "integer"},
    "flag": {"type": "boolean"},
    "date": {"type": "string", "format": "date"},
    "time": {"type": "string", "format": "date-time"},
    "list": {"type": "array"},
    "object": {"type": "object"},
}


def flat_schema(collection: Collection, columns: Iterable[LayerColumn], address: str) -> dict[str, Any]:
    """Return the schema with one entry a property."""
    shape = f"geometry-{SHAPES[collection.shape_kind]}"
    held = {GEOMETRY: {"title": GEOMETRY, "format": shape, "x-ogc-role": "primary-geometry"}}
    return _head(collection, address) | {"properties": held | _properties(columns)}


def queryables_schema(collection: Collection, columns: Iterable[LayerColumn], address: str) -> dict[str, Any]:
    """Return the schema of what may be named in a filter."""
    return flat_schema(collection, columns, address) | {"additionalProperties": False}


def feature_schema(collection: Collection, columns: Iterable[LayerColumn], address: str) -> dict[str, Any]:
    """Return the schema of a GeoJSON feature.

    Every type is one word although each property may be null: GDAL 3.6 and 3.12 read a list as text.
    """
    kinds = {"Point": ["Point"], "MultiPolygon": ["Polygon", "MultiPolygon"]}.get(collection.shape_kind)
    kind: dict[str, Any] = {"type": "string", "enum": kinds} if kinds else {"type": "string"}
    drawn: dict[str, Any] = {"type": "object", "required": ["type", "coordinates"]}
    drawn |= {"properties": {"type": kind, "coordinates": {"type": "array"}}}
    properties = {"type": "object", "properties": _properties(columns)}
    return _head(collection, address) | {
        "required": ["type", "geometry", "properties"],
        "properties": {
            "type": {"type": "string", "enum": ["Feature"]},
            "id": {"type": "integer"},
            "geometry": {"oneOf": [{"type": "null"}, drawn]},
            "properties": properties,
        },
    }


def property_schema(column: LayerColumn) -> dict[str, Any]:
    """Return what is said of one property: its type, what it means, its unit."""
    said = dict(_TYPES.get(column.kind, {"type": "string"}))
    if column.meaning:
        said["description"] = column.meaning
    if column.unit:
        said["x-ogc-unit"] = column.unit
    return said


def _head(collection: Collection, address: str) -> dict[str, Any]:
    head = {"$schema": DRAFT, "$id": address, "type": "object", "title": collection.title}
    return head | {"description": collection.description}


def _properties(columns: Iterable[LayerColumn]) -> dict[str, Any]:
    return {column.name: {"title": column.name, **property_schema(column)} for column in columns}
