"""A layer as FlatGeobuf, with its index of places where every row has one.

Days are text, since the format knows moments only, and these to the millisecond. With the index the rows come
in the order of their places; making it takes about 100 bytes of memory a row.

References
----------
FlatGeobuf specification 3.0: a header with title, description and columns; a packed Hilbert R-tree.
"""

from pathlib import Path

import pyarrow as pa
from pyogrio.raw import write_arrow

from service.layer_parts import Layer
from service.outlets.arrow_parts import EARTH_FRAME, GEOMETRY, LOCAL_FRAME, batches, fields_of, shaped_columns
from service.outlets.fresh_file import full_disk_said
from service.outlets.layer_words import described


def write_flatgeobuf(layer: Layer, path: Path) -> None:
    """Write a layer into a new file; the caution is in the description of its header.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    facts = layer.facts
    with full_disk_said(path):
        write_arrow(
            batches(layer, fields_of(shaped_columns(facts), dates=pa.string())),
            path,
            layer=facts.layer,
            driver="FlatGeobuf",
            geometry_name=GEOMETRY,
            geometry_type=facts.shape_kind,
            crs=LOCAL_FRAME if facts.local else EARTH_FRAME,
            layer_options={
                "SPATIAL_INDEX": "NO" if facts.unplaced or not facts.rows else "YES",
                "TITLE": f"{facts.layer} of {facts.site}",
                "DESCRIPTION": described(facts),
            },
        )
