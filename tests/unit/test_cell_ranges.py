"""Ranges of cells cover every place of a box: against the cells of places themselves."""

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from layers import ground
from layers.cell_ranges import cell_ranges

LON = st.floats(-180, 180)
LAT = st.floats(-90, 90)
PART = st.floats(0, 1)


@st.composite
def boxes(draw):
    """A box as small as some centimetres or as large as the earth; some go across 180 degrees."""
    west, south = draw(LON), draw(LAT)
    size = 10 ** draw(st.floats(-7, 2.5))
    if draw(st.booleans()):
        return west, south, max(min(west + size, 180.0), west), max(min(south + size, 90.0), south)
    return 180.0 - min(size, 170), south, -180.0 + min(size, 170), max(min(south + size, 90.0), south)


def inside(box, across, up):
    """A place of the box, its edges included."""
    west, south, east, north = box
    wide = east - west if west <= east else east - west + 360.0
    lon = west + across * wide
    lon = min(lon, east) if west <= east else lon if lon <= 180.0 else max(-180.0, min(lon - 360.0, east))
    return lon, min(max(south + up * (north - south), south), north)


@given(boxes(), st.lists(st.tuples(PART, PART), min_size=1, max_size=8), st.sampled_from([4, 16, 32]))
def test_every_place_of_a_box_is_in_one_of_its_ranges(box, parts, most):
    ranges = cell_ranges(box, most)
    corners = [(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)]
    for across, up in corners + parts:
        (cell,) = ground.cell(*inside(box, across, up))
        assert sum(low <= cell <= high for low, high in ranges) == 1


@given(boxes(), st.sampled_from([4, 16, 32]))
def test_ranges_are_few_in_order_and_apart(box, most):
    ranges = cell_ranges(box, most)
    assert 1 <= len(ranges) <= 2 * most
    ends = [end for both in ranges for end in both]
    assert ends == sorted(ends)
    assert all(low <= high for low, high in ranges)
    assert all(after[0] - before[1] > 1 for before, after in pairwise(ranges))


def test_a_range_has_exactly_the_cells_of_its_square():
    side = 1 << ground.CELL_ZOOM
    x, y = np.meshgrid(np.arange(8), np.arange(8))
    cells = ground.interleaved(x.ravel().astype(np.uint64), y.ravel().astype(np.uint64))
    assert sorted(cells.tolist()) == list(range(64))
    (both,) = cell_ranges((-180.0, -90.0, 180.0, 90.0))
    assert both == (0, side * side - 1)


@given(LON.filter(lambda lon: abs(lon) < 170), st.floats(-60, 60), st.floats(1e-4, 1.0))
def test_what_the_ranges_cover_beside_a_square_box_is_little(lon, lat, size):
    box = (lon, lat, lon + size, lat + size * np.cos(np.radians(lat)))
    covered = sum(high - low + 1 for low, high in cell_ranges(box, 32))
    x, y = ground.mercator([box[0], box[2]], [box[1], box[3]])
    wanted = float(x[1] - x[0]) * float(y[0] - y[1]) * 4.0**ground.CELL_ZOOM
    assert covered <= 4 * wanted + 100
