"""Tiles for web maps and desktop GIS, and the documents that tell clients about them.

References
----------
TileJSON 3.0.0 (github.com/mapbox/tilejson-spec); Mapbox Vector Tile Specification 2.1, section 2.
"""

import html
from typing import Any

from flask import Blueprint, Response, json, request
from flask_babel import gettext as _
from isal import isal_zlib

from layers import columns
from layers.column_kinds import Column
from layers.ground import MERCATOR_EDGE_DEG
from layers.tile_grid import LAST_ZOOM, Tile
from layers.tile_index import COUNTED_NAMES, COUNTS, SAID, TAGS_FROM, TREES
from service.errors import InvalidRequest
from service.outlets.layer_rows import LOCAL_NOTE
from service.tiles import Form, GroundTiles, ground_tiles
from service.web import current, frame
from service.web.addresses import absolute

bp = Blueprint("tile_routes", __name__)

GZIP = 16 + isal_zlib.MAX_WBITS
MEDIA_TYPES: dict[Form, str] = {"pbf": "application/vnd.mapbox-vector-tile", "png": "image/png"}
DEEPEST = 20  # advertised: a unit of a tile there is under 1 cm; clients enlarge it beyond
AS_JSON = " (JSON text)"
SQUARES = "Living and dead trees of small squares, at the middle of each."
ONE_BY_ONE = "Trees one by one, removed ones with that status; the feature number is their fid."
DENSITY = "Living trees, darker where they stand thicker: each step holds twice the trees of the one before."


@bp.get("/tiles/<slug>/<int:z>/<int:x>/<int:y>.<any(pbf, png):form>")
def tile(slug: str, z: int, x: int, y: int, form: Form) -> Response:
    """A tile; 204 for a vector tile of nothing, as some web maps take an empty 200 for a fault.

    Raises
    ------
    InvalidRequest
        If there is no such tile.
    """
    tiles = _tiles(slug)
    asked = Tile(z, x, y)
    if not asked.exists:
        raise InvalidRequest(_no_such_tile(asked))
    tag = tiles.tag(asked, form)
    held = frame.unchanged(tag)
    response = _answer(tiles.made(asked, form, tag), form) if held is None else held
    response.set_etag(tag, weak=form == "pbf")
    if form == "pbf":
        response.vary.add("Accept-Encoding")
        frame.cautioned(response)
    return response


def _answer(data: bytes, form: Form) -> Response:
    if not data:
        return Response(status=204, content_type=MEDIA_TYPES[form])
    if form == "png":
        return Response(data, content_type=MEDIA_TYPES[form])
    compressed = request.accept_encodings["gzip"] > 0
    response = Response(
        data if compressed else isal_zlib.decompress(data, GZIP), content_type=MEDIA_TYPES[form]
    )
    if compressed:
        response.headers["Content-Encoding"] = "gzip"
    return response


def _no_such_tile(asked: Tile) -> list[tuple[str, str]]:
    if not 0 <= asked.z <= LAST_ZOOM:
        return [("z", _("There is no zoom %(zoom)s; ask for 0 to %(last)s.", zoom=asked.z, last=LAST_ZOOM))]
    last = (1 << asked.z) - 1
    said = _("At zoom %(zoom)s it goes from 0 to %(last)s.", zoom=asked.z, last=last)
    return [(name, said) for name, place in (("x", asked.x), ("y", asked.y)) if not 0 <= place <= last]


@bp.get("/tiles/<slug>/tile.json")
def vector_document(slug: str) -> Response:
    """What clients need to know of the vector tiles."""
    tiles = _tiles(slug)
    said = " ".join(filter(None, (LOCAL_NOTE if tiles.facts.local else "", tiles.facts.caution)))
    first = tiles.index.trees_from_zoom
    told = {
        TREES: _layer(TREES, ONE_BY_ONE, _fields("trees", SAID), first, DEEPEST),
        COUNTS: _layer(COUNTS, SQUARES, _fields("figures", COUNTED_NAMES), 0, first - 1),
    }
    layers = [layer for layer in told.values() if layer["minzoom"] <= layer["maxzoom"]]
    return _document(tiles, "pbf", said, {"vector_layers": layers})


@bp.get("/tiles/<slug>/density.json")
def density_document(slug: str) -> Response:
    """What clients need to know of the pictures."""
    tiles = _tiles(slug)
    said = f"{LOCAL_NOTE} {DENSITY}" if tiles.facts.local else DENSITY
    return _document(tiles, "png", said, {})


def _tiles(slug: str) -> GroundTiles:
    asked = (current.asked_day(), current.asked_change())
    return ground_tiles(current.store(), slug, current.actor(), *asked)


def _document(tiles: GroundTiles, form: Form, description: str, more: dict[str, Any]) -> Response:
    query = {"as_of": current.asked_day(), "known_at": current.asked_change()}
    template = absolute(f"/tiles/{tiles.facts.site}", **query)
    address, mark, asked = template.partition("?")
    said = {
        "tilejson": "3.0.0",
        "name": tiles.name,
        "description": description,
        "attribution": html.escape(tiles.name),  # some clients take it for HTML
        "scheme": "xyz",
        "tiles": [f"{address}/{{z}}/{{x}}/{{y}}.{form}{mark}{asked}"],
        "minzoom": 0,
        "maxzoom": DEEPEST,
        **({"bounds": _bounds(tiles.index.box)} if tiles.index.box else {}),
        **more,
    }
    return frame.cautioned(Response(json.dumps(said), content_type="application/json"))


def _bounds(box: tuple[float, float, float, float]) -> list[float]:
    """The box round the trees, no further north and south than tiles go."""
    west, south, east, north = box
    return [west, max(south, -MERCATOR_EDGE_DEG), east, min(north, MERCATOR_EDGE_DEG)]


def _layer(name: str, description: str, fields: dict[str, str], first: int, last: int) -> dict[str, Any]:
    return {"id": name, "description": description, "minzoom": first, "maxzoom": last, "fields": fields}


def _fields(frame_name: str, chosen: tuple[str, ...]) -> dict[str, str]:
    """What each attribute means, with its unit, in the words of the nomenclature."""
    said = {column.name: _meaning(column) for column in columns.FRAMES[frame_name] if column.name in chosen}
    return said | ({"tag": f"{said['tag']} (from zoom {TAGS_FROM} on)"} if "tag" in said else {})


def _meaning(column: Column) -> str:
    unit = f" [{column.unit}]" if column.unit else ""
    return f"{column.meaning}{unit}{AS_JSON if column.kind == 'list' else ''}"
