"""The tiles of the earth: which cells lie in a tile and round it, and where in a tile a position lies.

A tile is found by zoom, column and row, from the west and the north of the Web-Mercator square.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from layers import ground
from layers.error_model import Array, Whole
from layers.vector_tile import BUFFER, EXTENT

LAST_ZOOM = ground.CELL_ZOOM
EDGE_BITS = (EXTENT // BUFFER).bit_length() - 1  # the edge round a tile is a cell of so many zooms below wide


class Tile(NamedTuple):
    """A tile: its zoom, column from the west, row from the north."""

    z: int
    x: int
    y: int

    @property
    def exists(self) -> bool:
        """Whether there is such a tile."""
        return 0 <= self.z <= LAST_ZOOM and 0 <= self.x < 1 << self.z and 0 <= self.y < 1 << self.z


def prefixes(cells: NDArray[np.uint64], zoom: int) -> NDArray[np.uint64]:
    """Return the cells of a coarser grid that cells lie in."""
    return cells >> np.uint64(2 * (LAST_ZOOM - zoom))


def rows_inside(cells: NDArray[np.uint64], tile: Tile) -> slice:
    """Return which rows of sorted cells lie in a tile."""
    first, last = _bounds(np.array([[tile.x, tile.y]]), tile.z)
    return slice(int(np.searchsorted(cells, first[0])), int(np.searchsorted(cells, last[0])))


def rows_around(cells: NDArray[np.uint64], tile: Tile) -> Whole:
    """Return which rows of sorted cells lie in a tile or in the cells of the edge round it, in their order.

    The edge goes on across the antimeridian, and ends at the north and south. It is at least ``BUFFER`` wide,
    and that very width as long as the cells are fine enough.
    """
    own = np.concatenate(_bounds(np.array([[tile.x, tile.y]]), tile.z))
    first, last = _bounds(*_edge(tile))
    first, last = np.append(first, own[0]), np.append(last, own[1])
    order = np.argsort(first)
    start, stop = np.searchsorted(cells, first[order]), np.searchsorted(cells, last[order])
    lengths = stop - start
    return np.repeat(start - (np.cumsum(lengths) - lengths), lengths) + np.arange(lengths.sum())


def _edge(tile: Tile) -> tuple[Whole, int]:
    """The cells round a tile at the zoom where they are as wide as its edge, or at the last; that zoom."""
    zoom = min(tile.z + EDGE_BITS, LAST_ZOOM)
    if tile.z == 0:
        return np.empty((0, 2), dtype=np.int64), zoom
    side = 1 << (zoom - tile.z)
    along = np.arange(-1, side + 1)
    between = along[1:-1]
    ends = np.array([-1, side])
    column = np.concatenate([np.tile(along, 2), np.repeat(ends, side)]) + tile.x * side
    row = np.concatenate([np.repeat(ends, side + 2), np.tile(between, 2)]) + tile.y * side
    there = (row >= 0) & (row < 1 << zoom)
    return np.column_stack([column % (1 << zoom), row])[there], zoom


def _bounds(places: Whole, zoom: int) -> tuple[NDArray[np.uint64], NDArray[np.uint64]]:
    """The first cell of each place of a grid, and the first one behind it."""
    number = ground.interleaved(places[:, 0].astype(np.uint64), places[:, 1].astype(np.uint64))
    shift = np.uint64(2 * (LAST_ZOOM - zoom))
    return number << shift, (number + np.uint64(1)) << shift


def in_tile(x: Array, y: Array, tile: Tile) -> tuple[Array, Array]:
    """Return where positions of the Web-Mercator square lie, from the west and north of a tile.

    In 1/4096 of its side; across the antimeridian the way round the earth is the shorter one.
    """
    side = float(1 << tile.z)
    column, row = x * side - tile.x, y * side - tile.y
    round_earth = np.rint((column - 0.5) / side) * side
    return (column - round_earth) * EXTENT, row * EXTENT
