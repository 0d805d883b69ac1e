"""Layers of vector tiles, read by others: mapbox_vector_tile and the classes that protobuf makes.

References
----------
Mapbox Vector Tile Specification 2.1 (github.com/mapbox/vector-tile-spec); sections stand beside the checks.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mapbox_vector_tile.Mapbox import vector_tile_pb2

from layers.errors import OutsideDomain
from layers.vector_tile import coded, points_layer
from tests.tile_builders import column, read_tile

TEXTS = st.none() | st.text(max_size=200)
NUMBERS = st.none() | st.floats(allow_infinity=True, allow_nan=False)
WHOLES = st.none() | st.integers(0, 2**40)
PLACES = st.integers(-(2**20), 2**20)
ROWS = st.lists(st.tuples(PLACES, PLACES, TEXTS, NUMBERS, WHOLES, TEXTS), min_size=1, max_size=60)


def as_numbers(cells):
    return np.array([math.nan if cell is None else cell for cell in cells], dtype=float)


def parsed(data):
    tile = vector_tile_pb2.tile()
    tile.ParseFromString(data)
    return tile


def layer_of(rows, ids):
    x, y, name, size, count, note = (list(cells) for cells in zip(*rows, strict=True))
    said = coded(
        {
            "name": column(name, len(rows)),
            "size": as_numbers(size),
            "count": as_numbers(count),
            "note": column(note, len(rows)),
        },
        whole=("count",),
    )
    return points_layer("here", ids, x, y, said)


def test_a_point_is_the_example_of_the_specification():
    """4.3.5.1: a point at (25, 17) is the geometry 9 50 34."""
    (layer,) = parsed(points_layer("one", [7], [25], [17], coded({"hello": column("world", 1)}))).layers
    (feature,) = layer.features
    assert list(feature.geometry) == [9, 50, 34]
    assert (feature.type, feature.id, list(feature.tags)) == (1, 7, [0, 0])
    assert (layer.version, layer.name, layer.extent) == (2, "one", 4096)
    assert [value.string_value for value in layer.values] == ["world"]


@given(ROWS, st.data())
def test_what_was_packed_is_read_back_whole(rows, data):
    ids = data.draw(st.lists(st.integers(0, 2**49 - 1), min_size=len(rows), max_size=len(rows), unique=True))
    said = [
        (x, y, {k: v for k, v in zip(("name", "size", "count", "note"), rest, strict=True) if v is not None})
        for x, y, *rest in rows
    ]
    assert read_tile(layer_of(rows, ids), "here") == dict(zip(ids, said, strict=True))


@given(ROWS)
def test_no_key_and_no_value_stands_twice_or_is_unused(rows):
    """4.1: keys and values should not be there twice; 4.4: no index beyond them."""
    (layer,) = parsed(layer_of(rows, range(len(rows)))).layers
    values = [value.SerializeToString() for value in layer.values]
    assert len(set(values)) == len(values)
    assert len(set(layer.keys)) == len(layer.keys)
    tags = [list(feature.tags) for feature in layer.features]
    assert {tag for pairs in tags for tag in pairs[::2]} == set(range(len(layer.keys)))
    assert {tag for pairs in tags for tag in pairs[1::2]} == set(range(len(values)))


@given(ROWS)
def test_the_bytes_are_those_that_protobuf_writes(rows):
    data = layer_of(rows, range(len(rows)))
    assert len(parsed(data).SerializeToString()) == len(data)


def test_twenty_thousand_points_keep_their_numbers_and_values():
    rng = np.random.default_rng(5)
    ids = rng.permutation(20_000) + 1
    x, y = rng.integers(-64, 4161, (2, 20_000))
    sizes = np.round(rng.lognormal(3, 1, 20_000), 1)
    said = coded({"tag": np.array([f"tree {i}" for i in ids], dtype=object), "size": sizes})
    found = read_tile(points_layer("trees", ids, x, y, said))
    assert list(found) == ids.tolist()
    assert [(a, b) for a, b, _ in found.values()] == list(zip(x.tolist(), y.tolist(), strict=True))
    assert [one["size"] for *_, one in found.values()] == sizes.tolist()
    assert [one["tag"] for *_, one in found.values()] == [f"tree {i}" for i in ids]


def test_what_some_points_do_not_say_leaves_the_others_whole():
    said = coded({"a": column(["x", None, "y", None, "z"], 5)})
    found = read_tile(points_layer("here", [1, 2, 3, 4, 5], [0] * 5, [0] * 5, said), "here")
    assert [one for *_, one in found.values()] == [{"a": "x"}, {}, {"a": "y"}, {}, {"a": "z"}]


def test_no_point_is_no_byte():
    assert points_layer("trees", [], [], [], coded({"size": np.zeros(0)})) == b""


def test_a_number_that_has_no_room_is_refused():
    with pytest.raises(OutsideDomain, match="fid"):
        points_layer("trees", [2**49], [0], [0], coded({"size": np.ones(1)}))
