"""Rows of a collection as GeoJSON features in any of the systems that are offered.

References
----------
RFC 7946, The GeoJSON Format, 2016, section 3.2 (features); OGC 18-058r1, OGC API - Features - Part 2:
coordinates come in the order of axes of the asked system.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import orjson
import shapely

from service.crs_list import Moved, from_crs84
from service.layer_parts import LayerColumn, LayerPart, properties_of
from service.outlets.geojson_out import feature_texts


def feature_texts_in(crs: str, columns: Sequence[LayerColumn], part: LayerPart) -> list[bytes]:
    """Return the rows of a part as features; what has no place in the asked system has a null geometry."""
    move = from_crs84(crs)
    if move is None:
        return feature_texts(columns, part)
    properties = properties_of(columns)
    places = zip(part.ids, _moved(part, move), part.rows, strict=True)
    return [
        orjson.dumps({"type": "Feature", "id": fid, "geometry": place, "properties": properties(cells)})
        for fid, place, cells in places
    ]


def _moved(part: LayerPart, move: Moved) -> list[Any]:
    shapes = part.shapes
    if shapes is None:
        shapes = shapely.points(np.array([part.lon, part.lat], dtype=float).T)  # one without a place is empty
    placed = np.array(shapely.transform(shapes, move), dtype=object)
    placed[~np.isfinite(shapely.bounds(placed)).all(axis=1)] = None
    texts = shapely.to_geojson(shapely.orient_polygons(placed))
    return [None if text is None else orjson.Fragment(text) for text in texts]
