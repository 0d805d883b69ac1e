"""A layer as KML, a piece at a time: every cell as text with its name, in the order of the columns.

What is lost: the types and units of columns (all is text), feature numbers, and the positions of a ground
without a place on earth; lists and objects are JSON text.

References
----------
Open Geospatial Consortium (2015): OGC KML 2.3, 12-007r2: Placemark, ExtendedData, Data; coordinates are
longitude and latitude in WGS84.
"""

from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import shapely

from layers import antimeridian
from service.layer_parts import Layer, LayerColumn, LayerPart, columns_named
from service.outlets.arrow_parts import shapes_of
from service.outlets.layer_rows import LOCAL_NOTE, POSITION
from service.outlets.layer_words import described

ROWS_A_PIECE = 1000
NAMES = ("name", "tag")  # of which the first that a layer has is the label
_UNSAID = {ord(c): None for c in map(chr, range(32)) if c not in "\t\n\r"} | {0xFFFE: None, 0xFFFF: None}


def kml_pieces(layer: Layer) -> Iterator[bytes]:
    """Return the document in pieces of bytes; the caution is in its description."""
    facts = layer.facts
    told = described(facts) + (f" {LOCAL_NOTE}" if facts.local else "")
    head = f"<name>{_text(f'{facts.layer} of {facts.site}')}</name><description>{_text(told)}</description>\n"
    yield (
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.3"><Document>'
        + head
    ).encode()
    names = [name for name in facts.names if name not in POSITION]
    columns = columns_named(facts, names)
    for part in layer.parts(ROWS_A_PIECE, names):
        shapes = np.full(len(part.ids), None, dtype=object) if facts.local else shapes_of(facts, part)
        yield "".join(_placemarks(columns, part, antimeridian.cut(shapes))).encode()
    yield b"</Document></kml>\n"


def _placemarks(columns: Sequence[LayerColumn], part: LayerPart, shapes: np.ndarray) -> Iterator[str]:
    heads = [f"<Data name={quoteattr(column.name.translate(_UNSAID))}><value>" for column in columns]
    named = [column.name for column in columns]
    label = next((named.index(name) for name in NAMES if name in named), None)
    for row, shape in zip(part.rows, shapes, strict=True):
        cells = "".join(
            f"{head}{_said(column, cell)}</value></Data>"
            for head, column, cell in zip(heads, columns, row, strict=True)
            if cell is not None
        )
        name = "" if label is None or row[label] is None else f"<name>{_text(row[label])}</name>"
        drawn = "" if shape is None else _drawn(shape)
        yield f"<Placemark>{name}<ExtendedData>{cells}</ExtendedData>{drawn}</Placemark>\n"


def _said(column: LayerColumn, cell: Any) -> str:
    if column.kind == "flag":
        return "true" if cell else "false"
    return _text(cell) if isinstance(cell, str) else repr(cell)


def _text(said: object) -> str:
    return escape(str(said).translate(_UNSAID))


def _drawn(shape: Any) -> str:
    kind = shape.geom_type
    if kind == "Point":
        return f"<Point>{_corners(shape)}</Point>"
    if kind == "LineString":
        return f"<LineString>{_corners(shape)}</LineString>"
    if kind == "Polygon":
        turned = shapely.orient_polygons(shape)
        inner = "".join(f"<innerBoundaryIs>{_ring(ring)}</innerBoundaryIs>" for ring in turned.interiors)
        return f"<Polygon><outerBoundaryIs>{_ring(turned.exterior)}</outerBoundaryIs>{inner}</Polygon>"
    return f"<MultiGeometry>{''.join(map(_drawn, shape.geoms))}</MultiGeometry>"


def _ring(ring: Any) -> str:
    return f"<LinearRing>{_corners(ring)}</LinearRing>"


def _corners(line: Any) -> str:
    said = " ".join(f"{lon!r},{lat!r}" for lon, lat in shapely.get_coordinates(line).tolist())
    return f"<coordinates>{said}</coordinates>"
