"""A layer as GeoJSON, and as a sequence of GeoJSON texts, a piece at a time.

References
----------
Butler, H. et al. (2016): RFC 7946, The GeoJSON Format. Positions in WGS84, longitude first (section 4); outer
rings against the clock (3.1.6); shapes cut where 180 degrees are crossed (3.1.9); a feature without a place
has a null geometry (3.2); further members of the collection are allowed (6.1).
Gillies, S. (2017): RFC 8142, GeoJSON Text Sequences. Every text comes after a record separator and before a
line feed (section 2).
"""

from collections.abc import Iterator, Sequence
from typing import Any

import orjson
import shapely

from layers import antimeridian
from service.layer_parts import Layer, LayerColumn, LayerFacts, LayerPart, columns_named, properties_of
from service.outlets.layer_rows import LOCAL_NOTE, POSITION

ROWS_A_PIECE = 100  # so few that they stay in the cache of the processor, which is a fifth faster
RECORD_SEPARATOR = b"\x1e"


def geojson_pieces(layer: Layer) -> Iterator[bytes]:
    """Return the feature collection in pieces of bytes; the caution is said once, as a member of it."""
    yield orjson.dumps(_head(layer.facts))[:-1] + b',"features":['
    between = b"\n"
    for lines in _features(layer):
        yield between + b",\n".join(lines)
        between = b",\n"
    yield b"\n]}\n"


def geojsonseq_pieces(layer: Layer) -> Iterator[bytes]:
    """Return the features as a sequence of texts, in pieces of bytes; it has no place for a caution."""
    for lines in _features(layer):
        yield b"".join(b"%b%b\n" % (RECORD_SEPARATOR, line) for line in lines)


def feature_texts(
    columns: Sequence[LayerColumn], part: LayerPart, *, local: bool = False, sparse: bool = False
) -> list[bytes]:
    """Return the rows of a part as features; those of a ground without a place on earth have none.

    ``sparse`` leaves properties out that are missing, which otherwise are null.
    """
    properties = properties_of(columns)
    places = [b"null"] * len(part.ids) if local else _places(part)
    said: Iterator[dict[str, Any]] = map(properties, part.rows)
    if sparse:
        said = ({name: value for name, value in each.items() if value is not None} for each in said)
    return [
        b'{"type":"Feature","id":%d,"geometry":%b,"properties":%b}' % (number, place, orjson.dumps(each))
        for number, place, each in zip(part.ids, places, said, strict=True)
    ]


def _features(layer: Layer) -> Iterator[list[bytes]]:
    facts = layer.facts
    names = [name for name in facts.names if name not in POSITION]
    columns = columns_named(facts, names)
    for part in layer.parts(ROWS_A_PIECE, names):
        yield feature_texts(columns, part, local=facts.local, sparse=facts.sparse)


def _head(facts: LayerFacts) -> dict[str, Any]:
    head: dict[str, Any] = {"type": "FeatureCollection", "site": facts.site, "layer": facts.layer}
    head |= {"as_of": facts.as_of, "known_at": facts.known_at}
    if facts.caution is not None:
        head["caution"] = facts.caution
    if facts.local:
        head["note"] = LOCAL_NOTE
    return head


def _places(part: LayerPart) -> list[bytes]:
    if part.shapes is not None:
        texts = shapely.to_geojson(shapely.orient_polygons(antimeridian.cut(part.shapes)))
        return [b"null" if text is None else text.encode() for text in texts]
    pairs = orjson.dumps(list(zip(part.lon, part.lat, strict=True)))[2:-2].split(b"],[")
    return [
        b"null" if lon is None else b'{"type":"Point","coordinates":[%b]}' % pair
        for lon, pair in zip(part.lon, pairs, strict=True)
    ]
