"""Trees in tiles: each where PROJ puts it, in every tile that shows it, and none lost or counted twice.

References
----------
EPSG:3857 as PROJ computes it (an independent implementation of the Web-Mercator square).
Mapbox Vector Tile Specification 2.1, section 4.1: what lies beyond the extent is a buffer.
"""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layers import tile_index as index_module
from layers.tile_grid import LAST_ZOOM, Tile, rows_inside
from layers.tile_index import COUNTS, TREES, touched_cells, vector_tile_of
from tests.tile_builders import (
    BUFFER,
    EXTENT,
    in_square,
    indexed,
    places_in,
    read_by_gdal,
    read_tile,
    tile_at,
)

ON_A_BORDER = (-180.0, -90.0, -0.0, 0.0, 45.0, 90.0, 179.9999999, 180.0, 360 / 2**24, -180 + 360 / 2**20)
LON = st.floats(-180, 180) | st.floats(9.17, 9.171) | st.sampled_from(ON_A_BORDER)
LAT = st.floats(-90, 90) | st.floats(47.66, 47.661) | st.sampled_from((0.0, 85.0511, -85.0511, 90.0, -90.0))
PLACES = st.lists(st.tuples(LON, LAT), min_size=1, max_size=40)
ALONG_THE_EDGE = np.array([-70, -64, -60, 0, 4096, 4150, 4160, 4170]) + 0.25


def grid(zoom):
    return [Tile(zoom, x, y) for x in range(1 << zoom) for y in range(1 << zoom)]


def as_trees(index):
    """The index with trees at every zoom."""
    return index_module.replace(index, trees_from_zoom=0)


def as_counts(index):
    return index_module.replace(index, trees_from_zoom=LAST_ZOOM + 1)


@given(PLACES, st.integers(0, LAST_ZOOM))
def test_every_tree_is_within_half_a_unit_of_its_place_in_all_tiles_that_show_it(places, zoom):
    lon, lat = (np.array(each) for each in zip(*places, strict=True))
    index = as_trees(indexed(lon, lat))
    for tile in {tile_at(*place, zoom) for place in places}:
        found = read_tile(vector_tile_of(index, tile))
        x, y = places_in(lon, lat, tile)
        off = np.maximum(np.abs(x - EXTENT / 2), np.abs(y - EXTENT / 2)) - EXTENT / 2
        slack = 1e-9 * EXTENT * 2.0**zoom  # what PROJ and we may differ by
        sure = np.flatnonzero(off < min(0.0, -slack) if zoom == 0 else off < BUFFER - slack) + 1
        maybe = np.flatnonzero(off <= BUFFER + slack) + 1
        assert set(sure.tolist()) <= set(found) <= set(maybe.tolist())
        for fid, (column, row, _) in found.items():
            assert abs(column - x[fid - 1]) <= 0.5 + slack
            assert abs(row - y[fid - 1]) <= 0.5 + slack


@given(PLACES, st.integers(0, 3))
@settings(deadline=None)
def test_the_tiles_of_a_zoom_hold_every_tree_once_beside_their_edges(places, zoom):
    lon, lat = zip(*places, strict=True)
    index = as_trees(indexed(lon, lat))
    own = Counter(fid for tile in grid(zoom) for fid in index.fid[rows_inside(index.cells, tile)].tolist())
    assert own == Counter(range(1, len(places) + 1))
    shown = {fid for tile in grid(zoom) for fid in read_tile(vector_tile_of(index, tile))}
    assert shown == set(own)


@given(PLACES, st.integers(0, 3), st.data())
@settings(deadline=None)
def test_the_counts_of_the_tiles_of_a_zoom_add_up_and_agree_along_their_edges(places, zoom, data):
    count = len(places)
    lon, lat = zip(*places, strict=True)
    status = data.draw(st.lists(st.sampled_from(("living", "unknown", "dead", "removed")), min_size=count,
                                max_size=count))  # fmt: skip
    signs = data.draw(st.lists(st.sampled_from(("[]", '["crack"]')), min_size=count, max_size=count))
    area = np.array(
        data.draw(st.lists(st.floats(0.001, 9) | st.just(np.nan), min_size=count, max_size=count))
    )
    index = as_counts(indexed(lon, lat, status=status, signs=signs, basal_area_m2=area))
    squares, own = {}, []
    for tile in grid(zoom):
        for square, (x, y, said) in read_tile(vector_tile_of(index, tile), COUNTS).items():
            assert squares.setdefault(square, said) == said
            if 0 <= x < EXTENT and 0 <= y < EXTENT:
                own.append(said)
    living = np.isin(status, ("living", "unknown"))
    assert len(own) == len(squares)
    assert sum(one["trees"] for one in own) == living.sum()
    assert sum(one["dead_trees"] for one in own) == status.count("dead")
    assert sum(one["to_be_looked_at"] for one in own) == (living & (np.array(signs) != "[]")).sum()
    total = sum(one.get("basal_area_m2", 0.0) for one in own)
    assert total == pytest.approx(np.nansum(area[living]), rel=1e-12)
    assert any("basal_area_m2" in one for one in own) == np.isfinite(area[living]).any()


@pytest.mark.parametrize("zoom", [2, 9, 14, 19, 22])
def test_a_tree_near_the_edge_is_in_both_tiles_and_none_beyond_the_buffer(zoom):
    """64/4096 of a tile: along both axes, and round the corner."""
    middle = tile_at(9.17, 47.66, zoom)
    corner = np.array([middle.x, middle.y])
    x, y = (each.ravel() for each in np.meshgrid(ALONG_THE_EDGE, ALONG_THE_EDGE))
    lon = (corner[0] + x / EXTENT) / (1 << zoom) * 360 - 180
    lat = np.degrees(np.arctan(np.sinh(np.pi * (1 - 2 * (corner[1] + y / EXTENT) / (1 << zoom)))))
    index = as_trees(indexed(lon, lat))
    found = read_tile(vector_tile_of(index, middle))
    inside = (x > -BUFFER) & (x < EXTENT + BUFFER) & (y > -BUFFER) & (y < EXTENT + BUFFER)
    assert sorted(found) == (np.flatnonzero(inside) + 1).tolist()
    beside = Tile(zoom, (middle.x + 1) % (1 << zoom), middle.y)
    there = read_tile(vector_tile_of(index, beside))
    near = (x > EXTENT - BUFFER) & (x < 2 * EXTENT) & (y > -BUFFER) & (y < EXTENT + BUFFER)
    assert set((np.flatnonzero(near) + 1).tolist()) <= set(there)
    for fid in set(found) & set(there):
        assert found[fid][0] - there[fid][0] == EXTENT
        assert found[fid][1:] == there[fid][1:]


def test_the_edge_goes_on_across_the_antimeridian():
    index = as_trees(indexed([179.99, -179.99], [10.0, 10.0]))
    west, east = tile_at(-179.99, 10.0, 8), tile_at(179.99, 10.0, 8)
    assert sorted(read_tile(vector_tile_of(index, west))) == [1, 2]
    assert sorted(read_tile(vector_tile_of(index, east))) == [1, 2]
    assert read_tile(vector_tile_of(index, west))[1][0] < 0
    assert read_tile(vector_tile_of(index, east))[2][0] >= EXTENT


def test_gdal_reads_the_same_trees_at_the_same_places(tmp_path):
    rng = np.random.default_rng(11)
    lon, lat = rng.uniform(9.167, 9.173, 500), rng.uniform(47.657, 47.663, 500)
    dbh = np.where(rng.random(500) < 0.2, np.nan, np.round(rng.lognormal(3, 0.5, 500), 2))
    signs = np.array(["[]", '["dead branch","Ast – tot"]'])[rng.integers(0, 2, 500)].tolist()
    tags = [f"Bäume {i} 木" if i % 7 else None for i in range(500)]
    index = indexed(lon, lat, dbh_cm=dbh, signs=signs, tag=tags)
    tile = tile_at(9.17, 47.66, 16)
    found = read_by_gdal(vector_tile_of(index, tile), tile, tmp_path).set_index("mvt_id").sort_index()
    x, y = places_in(lon, lat, tile)
    shown = np.flatnonzero(np.maximum(np.abs(x - 2048), np.abs(y - 2048)) <= 2048 + 64)
    assert found.index.tolist() == (shown + 1).tolist()
    assert len(shown) > 100
    np.testing.assert_array_equal(found["dbh_cm"], dbh[shown])
    assert found["signs"].tolist() == [signs[i] for i in shown]
    assert [None if tag != tag else tag for tag in found["tag"]] == [tags[i] for i in shown]
    assert set(found["questions_not_askable"]) == {3}
    square = in_square(lon[shown], lat[shown])
    half = 0.5 / EXTENT / (1 << 16) * (1 + 1e-6)
    edge = 20037508.342789244
    assert np.abs((found.geometry.x + edge) / (2 * edge) - square[0]).max() <= half
    assert np.abs((edge - found.geometry.y) / (2 * edge) - square[1]).max() <= half


def test_tags_are_there_from_zoom_16_on():
    index = indexed([9.17], [47.66])
    said = [read_tile(vector_tile_of(index, tile_at(9.17, 47.66, zoom)))[1][2] for zoom in (15, 16)]
    assert set(said[1]) - set(said[0]) == {"tag"}


def test_a_ground_shows_trees_from_the_zoom_where_no_tile_is_too_full(monkeypatch):
    monkeypatch.setattr(index_module, "MOST_TREES", 50)
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(9.1, 9.2, 1000), rng.uniform(47.6, 47.7, 1000)
    index = indexed(lon, lat)
    zoom = index.trees_from_zoom
    by_zoom = [
        max(Counter(tile_at(*place, z) for place in zip(lon, lat, strict=True)).values())
        for z in (zoom - 1, zoom)
    ]
    assert by_zoom[0] > 50 >= by_zoom[1]
    tile = tile_at(lon[0], lat[0], zoom)
    above = Tile(zoom - 1, tile.x // 2, tile.y // 2)
    assert 1 in read_tile(vector_tile_of(index, tile), TREES)
    assert read_tile(vector_tile_of(index, above), COUNTS)


def test_trees_that_all_stand_at_one_place_are_shown_from_zoom_18_on(monkeypatch):
    monkeypatch.setattr(index_module, "MOST_TREES", 5)
    index = indexed([9.17] * 9, [47.66] * 9)
    assert index.trees_from_zoom == 18
    assert len(read_tile(vector_tile_of(index, tile_at(9.17, 47.66, 18)))) == 9


def test_trees_without_a_position_are_in_no_tile():
    index = indexed([np.nan, 9.17], [np.nan, 47.66])
    assert sorted(read_tile(vector_tile_of(index, Tile(0, 0, 0)))) == [2]
    nowhere = indexed([np.nan], [np.nan])
    assert nowhere.box is None
    assert vector_tile_of(nowhere, Tile(0, 0, 0)) == b""
    assert vector_tile_of(as_counts(nowhere), Tile(0, 0, 0)) == b""


CHANGES = {
    "tag": "B2",
    "status": "dead",
    "size_class": "40 to under 60 cm",
    "dbh_cm": 31.0,
    "basal_area_m2": 0.08,
    "signs": '["crack"]',
    "questions_not_askable": 4.0,
    "lon": 9.1702,
    "lat": 47.6602,
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_of_one_tree_touches_its_cell_alone(name):
    lon, lat = [9.17, 9.171, 9.172], [47.66, 47.661, 47.662]
    before = indexed(lon, lat)
    columns = {"lon": lon, "lat": lat}
    columns[name] = [*columns.get(name, [None] * 3)]
    unchanged = {"tag": "A1", "status": "living", "size_class": "20 to under 40 cm", "dbh_cm": 30.0,
                 "basal_area_m2": 0.07, "signs": "[]", "questions_not_askable": 3.0}  # fmt: skip
    if name in unchanged:
        columns[name] = [unchanged[name]] * 3
    columns[name][1] = CHANGES[name]
    after = indexed(columns.pop("lon"), columns.pop("lat"), **columns)
    cells = {int(index.cells[index.fid == 2][0]) for index in (before, after)}
    assert set(touched_cells(before, after).tolist()) == cells
    assert touched_cells(before, indexed(lon, lat)).tolist() == []


def test_trees_that_come_and_go_touch_their_cells():
    two, three = indexed([9.17, 9.171], [47.66, 47.661]), indexed([9.17, 9.171, 9.2], [47.66, 47.661, 47.7])
    new = int(three.cells[three.fid == 3][0])
    assert touched_cells(two, three).tolist() == touched_cells(three, two).tolist() == [new]
