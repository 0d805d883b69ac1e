"""Trees for tiles, and tiles read by two libraries that are not ours."""

import mapbox_vector_tile
import numpy as np
import pyogrio
from pyproj import Transformer

from layers.tile_grid import Tile
from layers.tile_index import tile_index

EXTENT, BUFFER = 4096, 64
EDGE_M = 20037508.342789244  # half the side of the square of EPSG:3857, from its definition: pi x 6378137 m
EDGE_DEG = 85.0511
_TO_SQUARE = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)


def make_trees(lon, lat, **said):
    """Columns of trees at these places, living, of 30 cm, without a sign; ``said`` changes whole columns."""
    count = len(lon)
    one = {
        "tag": "A1",
        "status": "living",
        "size_class": "20 to under 40 cm",
        "dbh_cm": 30.0,
        "basal_area_m2": 0.07,
        "signs": "[]",
        "questions_not_askable": 3.0,
    }
    columns = {name: column(value, count) for name, value in one.items()}
    columns |= {"fid": np.arange(1, count + 1), "lon": column(lon, count), "lat": column(lat, count)}
    return columns | {name: column(value, count) for name, value in said.items()}


def column(value, count):
    """An array of ``count`` rows: of numbers, or of objects."""
    cells = list(value) if isinstance(value, list | tuple | np.ndarray) else [value] * count
    numbers = all(isinstance(cell, int | float | np.number) for cell in cells)
    out = np.empty(count, dtype=float if numbers else object)
    out[:] = cells
    return out.astype(np.int64) if numbers and all(isinstance(cell, int) for cell in cells) else out


def indexed(lon, lat, **said):
    """The index of such trees."""
    return tile_index(make_trees(lon, lat, **said))


def in_square(lon, lat):
    """Places from the west and north of the Web-Mercator square, by PROJ, in sides of it."""
    x, y = _TO_SQUARE.transform(np.asarray(lon, dtype=float), np.clip(lat, -EDGE_DEG, EDGE_DEG))
    return (np.asarray(x) + EDGE_M) / (2 * EDGE_M), (EDGE_M - np.asarray(y)) / (2 * EDGE_M)


def tile_at(lon, lat, zoom):
    """The tile that holds a place, by PROJ."""
    last = (1 << zoom) - 1
    x, y = in_square(lon, lat)
    return Tile(zoom, min(int(x * (1 << zoom)), last), min(int(y * (1 << zoom)), last))


def places_in(lon, lat, tile):
    """Places from the west and north of a tile [1/4096 of its side], the nearer way round the earth."""
    side = 1 << tile.z
    x, y = in_square(lon, lat)
    x, y = x * side - tile.x, y * side - tile.y
    x = np.where(x - 0.5 > side / 2, x - side, np.where(x - 0.5 < -side / 2, x + side, x))
    return x * EXTENT, y * EXTENT


def read_tile(data, layer="trees"):
    """The features of a layer as mapbox_vector_tile reads them: {id: (x, y, properties)}, y downwards."""
    if not data:
        return {}
    features = mapbox_vector_tile.decode(data, default_options={"y_coord_down": True})[layer]["features"]
    found = {one["id"]: (*one["geometry"]["coordinates"], one["properties"]) for one in features}
    assert len(found) == len(features)
    return found


def read_by_gdal(data, tile, folder):
    """The same as GDAL reads it: a frame with positions in EPSG:3857 and ``mvt_id``."""
    path = folder / f"{tile.z}-{tile.x}-{tile.y}.pbf"
    path.write_bytes(data)
    return pyogrio.read_dataframe(path, X=tile.x, Y=tile.y, Z=tile.z, CLIP="NO")
