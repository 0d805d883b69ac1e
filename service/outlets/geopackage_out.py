"""All layers of a site as a GeoPackage: a snapshot of a day.

References
----------
Open Geospatial Consortium (2021): OGC GeoPackage Encoding Standard 1.3, 12-128r17: spatial reference -1 is
the undefined Cartesian frame, 4326 is WGS84; ``description`` in ``gpkg_contents`` is text for people.
"""

from pathlib import Path
from typing import Any

import geopandas as gpd
import orjson
import pandas as pd
import pyogrio

from service.outlets.geojson_out import plain
from service.outlets.layer_rows import LAYERS, LayerRows, Viewed, layer_rows

LOCAL_FRAME = 'LOCAL_CS["Metres on a ground without a place on earth",UNIT["metre",1]]'
UNDEFINED_CARTESIAN = "-1"


def write_geopackage(view: Viewed, path: Path) -> int:
    """Write every layer into a new file and return the number of rows; the caution describes its layers.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    total = 0
    for name in LAYERS:
        layer = layer_rows(view, name)
        _write(layer, path)
        total += len(layer.rows)
    return total


def _write(layer: LayerRows, path: Path) -> None:
    described = [f"{layer.name} of {layer.site} as of {layer.as_of}, known at {layer.known_at}."]
    described += [layer.caution] if layer.caution is not None else []
    options = {"FID": "fid" if "fid" in layer.rows else "ogc_fid"}
    if layer.local:
        options["SRID"] = UNDEFINED_CARTESIAN
    pyogrio.write_dataframe(
        _frame(layer),
        path,
        layer=layer.name,
        driver="GPKG",
        geometry_type=layer.shape_kind,
        promote_to_multi=layer.shape_kind == "MultiPolygon",
        layer_options={"DESCRIPTION": " ".join(described), "IDENTIFIER": layer.name, **options},
    )


def _frame(layer: LayerRows) -> Any:
    rows = layer.spatial
    written = pd.DataFrame({name: _column(rows[name]) for name in rows}, index=rows.index)
    return gpd.GeoDataFrame(written, geometry=layer.shapes, crs=LOCAL_FRAME if layer.local else "EPSG:4326")


def _column(cells: pd.Series) -> pd.Series:
    if cells.dtype != object:
        return cells
    texts = [
        orjson.dumps(value, option=orjson.OPT_SERIALIZE_NUMPY).decode()
        if isinstance(value, dict | list)
        else value
        for value in plain(cells)
    ]
    return pd.Series(texts, index=cells.index, dtype=object)
