"""A layer as GeoParquet: compressed groups of rows, with a box round each row so that readers can skip.

The positions of a ground without a place on earth are metres, in the file too: its coordinate reference
system is null, which the specification reads as not known.

References
----------
Open Geospatial Consortium (2024): GeoParquet specification 1.1.0: file metadata (version, primary column,
columns), column metadata (encoding, geometry types, crs, bbox, covering).
"""

from pathlib import Path
from typing import Any

import numpy as np
import orjson
import pyarrow as pa
import pyarrow.parquet as pq
import shapely

from service.layer_parts import Layer, LayerFacts
from service.outlets.arrow_parts import GEOMETRY, batches, fields_of, shaped_columns
from service.outlets.layer_words import described

ROWS_A_GROUP = 65_536
BOX = "bbox"
_SIDES = ("xmin", "ymin", "xmax", "ymax")
_BOX_FIELD = pa.field(BOX, pa.struct([pa.field(side, pa.float64()) for side in _SIDES]))


def write_parquet(layer: Layer, path: Path) -> None:
    """Write a layer into a new file; the caution is in the metadata of the file.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    facts = layer.facts
    read = batches(layer, fields_of(shaped_columns(facts)), more=(_BOX_FIELD, _boxes))
    schema = read.schema.with_metadata(_metadata(facts))
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        waiting: list[pa.RecordBatch] = []
        rows = 0
        for batch in read:
            waiting.append(batch)
            rows += batch.num_rows
            if rows >= ROWS_A_GROUP:
                writer.write_table(pa.Table.from_batches(waiting, schema), row_group_size=ROWS_A_GROUP)
                waiting, rows = [], 0
        writer.write_table(pa.Table.from_batches(waiting, schema), row_group_size=ROWS_A_GROUP)


def _boxes(shapes: np.ndarray) -> pa.Array:
    sides = shapely.bounds(shapes)
    missing = ~np.isfinite(sides).all(axis=1)
    arrays = [pa.array(side) for side in sides.T]
    return pa.StructArray.from_arrays(arrays, fields=list(_BOX_FIELD.type), mask=pa.array(missing))


def _metadata(facts: LayerFacts) -> dict[str, str]:
    column: dict[str, Any] = {
        "encoding": "WKB",
        "geometry_types": [] if facts.shape_kind == "Unknown" else [facts.shape_kind],
        "covering": {"bbox": {side: [BOX, side] for side in _SIDES}},
    }
    if facts.local:
        column["crs"] = None
    elif facts.box is not None:
        column["bbox"] = list(facts.box)
    geo = {"version": "1.1.0", "primary_column": GEOMETRY, "columns": {GEOMETRY: column}}
    return {"geo": orjson.dumps(geo).decode(), "description": described(facts)}
