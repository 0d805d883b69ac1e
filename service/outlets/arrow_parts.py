"""A layer as batches of Arrow columns: typed by the kind of each column, shapes as well-known binary.

Flags are booleans, days dates, moments times in UTC; lists and objects are JSON text.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from layers.column_kinds import Kind
from service.layer_parts import Layer, LayerColumn, LayerFacts, LayerPart, columns_named
from service.outlets.layer_rows import POSITION, points_at

LOCAL_FRAME = 'LOCAL_CS["Metres on a ground without a place on earth",UNIT["metre",1]]'
EARTH_FRAME = "EPSG:4326"
GEOMETRY = "geometry"
ROWS_A_BATCH = 8192
_METRES = ("x_m", "y_m")
_TYPES: dict[Kind, pa.DataType] = {
    "float": pa.float64(),
    "int": pa.int64(),
    "flag": pa.bool_(),
    "date": pa.date32(),
    "time": pa.timestamp("us", tz="UTC"),
}

More = Callable[[np.ndarray], pa.Array]  # a further column, made from the shapes of a batch


def shaped_columns(facts: LayerFacts, *, metres: bool = True) -> tuple[LayerColumn, ...]:
    """Return the columns that leave beside shapes: no position but, if asked, metres on a local ground."""
    left = set(POSITION) - (set(_METRES) if metres and facts.local else set())
    return columns_named(facts, [name for name in facts.names if name not in left])


def fields_of(columns: Sequence[LayerColumn], dates: pa.DataType | None = None) -> list[pa.Field]:
    """Return the typed fields of columns; ``dates`` is the type of days where a format has none."""
    return [
        pa.field(
            column.name, dates if dates and column.kind == "date" else _TYPES.get(column.kind, pa.string())
        )
        for column in columns
    ]


def array_of(cells: Sequence[Any], field: pa.Field) -> pa.Array:
    """Return the cells of a column as an array of its type."""
    if pa.types.is_boolean(field.type):
        return pa.array([None if cell is None else bool(cell) for cell in cells], pa.bool_())
    if pa.types.is_date(field.type) or pa.types.is_timestamp(field.type):
        return pa.array(cells, pa.string()).cast(field.type)
    return pa.array(cells, field.type)


def shapes_of(facts: LayerFacts, part: LayerPart) -> np.ndarray:
    """Return the shapes of a part, polygons as multipolygons where the layer is of these."""
    if facts.points:
        return points_at(np.array([part.lon, part.lat], dtype=float).T)
    assert part.shapes is not None
    if facts.shape_kind != "MultiPolygon":
        return part.shapes
    single = shapely.get_type_id(part.shapes) == 3
    out = part.shapes.copy()
    out[single] = [shapely.MultiPolygon([shape]) for shape in part.shapes[single]]
    return out


def batches(
    layer: Layer,
    fields: Sequence[pa.Field],
    *,
    number: pa.Field | None = None,
    more: tuple[pa.Field, More] | None = None,
) -> pa.RecordBatchReader:
    """Return the rows of a layer as batches that are made as they are read.

    Parameters
    ----------
    layer
        What is read, with a column for each of ``fields``.
    number
        A field for the feature number, where no column says it.
    more
        A last field, and how it is made from the shapes.
    """
    leading = [] if number is None else [number]
    trailing = [pa.field(GEOMETRY, pa.binary()), *([] if more is None else [more[0]])]
    schema = pa.schema([*leading, *fields, *trailing])
    names = [field.name for field in fields]

    def made() -> Iterator[pa.RecordBatch]:
        for part in layer.parts(ROWS_A_BATCH, names):
            shapes = shapes_of(layer.facts, part)
            arrays = [] if number is None else [pa.array(part.ids, pa.int64())]
            arrays += [
                array_of(cells, field)
                for cells, field in zip(zip(*part.rows, strict=True), fields, strict=True)
            ]
            arrays.append(pa.array(shapely.to_wkb(shapes), pa.binary()))
            arrays += [] if more is None else [more[1](shapes)]
            yield pa.RecordBatch.from_arrays(arrays, schema=schema)

    return pa.RecordBatchReader.from_batches(schema, made())
