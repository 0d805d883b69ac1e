"""A layer as GeoJSON, a piece at a time.

References
----------
Butler, H. et al. (2016): RFC 7946, The GeoJSON Format. Positions in WGS84, longitude first (section 4); outer
rings against the clock (3.1.6); a feature without a place has a null geometry (3.2); further members of the
collection are allowed (6.1).
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import orjson
import pandas as pd
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from service.outlets.layer_rows import LOCAL_NOTE, LayerRows

ROWS_A_PIECE = 1000


def geojson_pieces(layer: LayerRows) -> Iterator[bytes]:
    """Return the feature collection in pieces of bytes; the caution is said once, as a member of it."""
    yield orjson.dumps(_head(layer))[:-1] + b',"features":['
    rows, shapes = layer.spatial, _on_earth(layer)
    for start in range(0, len(rows), ROWS_A_PIECE):
        end = start + ROWS_A_PIECE
        ids = layer.ids[start:end].tolist()
        features = _features(rows.iloc[start:end], shapes[start:end], ids, sparse=layer.sparse)
        yield (b",\n" if start else b"\n") + b",\n".join(features)
    yield b"\n]}\n"


def _head(layer: LayerRows) -> dict[str, Any]:
    head: dict[str, Any] = {"type": "FeatureCollection", "site": layer.site, "layer": layer.name}
    head |= {"as_of": layer.as_of, "known_at": layer.known_at}
    if layer.caution is not None:
        head["caution"] = layer.caution
    if layer.local:
        head["note"] = LOCAL_NOTE
    return head


def _on_earth(layer: LayerRows) -> np.ndarray:
    if layer.local:
        return np.full(len(layer.shapes), None, dtype=object)
    if layer.shape_kind == "Point":
        return layer.shapes
    out = np.empty(len(layer.shapes), dtype=object)
    out[:] = [_right_handed(shape) for shape in layer.shapes]
    return out


def _right_handed(shape: Any) -> Any:
    if isinstance(shape, Polygon):
        return orient(shape)
    if isinstance(shape, MultiPolygon):
        return MultiPolygon([orient(part) for part in shape.geoms])
    return shape


def _features(rows: pd.DataFrame, shapes: np.ndarray, ids: list[int], *, sparse: bool) -> Iterator[bytes]:
    names = list(rows.columns)
    cells = zip(*(plain(rows[name]) for name in names), strict=True)
    for number, (values, geometry) in enumerate(zip(cells, shapely.to_geojson(shapes), strict=True)):
        feature: dict[str, Any] = {"type": "Feature", "id": ids[number]}
        feature["geometry"] = None if geometry is None else orjson.Fragment(geometry)
        feature["properties"] = dict(zip(names, values, strict=True))
        if sparse:
            feature["properties"] = {n: v for n, v in feature["properties"].items() if v is not None}
        yield orjson.dumps(feature, option=orjson.OPT_SERIALIZE_NUMPY)


def plain(cells: pd.Series) -> list[Any]:
    """Return cells as plain values, what is missing as None."""
    there = cells.notna().to_numpy()
    return [value if known else None for value, known in zip(cells.astype(object), there, strict=True)]
