"""The trees of a ground in the order of their cells, so that those of a tile are found at once.

A ground has one mode a zoom, so that tiles side by side fit: from ``trees_from_zoom`` on a tile holds trees,
below it the sums of small squares, the same ones for every tile that shows them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layers import ground
from layers.error_model import Array, Whole
from layers.standing import COUNTED
from layers.tile_grid import EDGE_BITS, LAST_ZOOM, Tile, in_tile, prefixes, rows_around
from layers.vector_tile import BUFFER, EXTENT, Coded, coded, points_layer

TREES, COUNTS = "trees", "tree_counts"  # layers of a vector tile
SAID = ("status", "size_class", "dbh_cm", "signs", "questions_not_askable", "tag")  # the most different last
COUNTED_NAMES = ("trees", "dead_trees", "basal_area_m2", "to_be_looked_at")
NEEDED = ("fid", "lon", "lat", "basal_area_m2", *SAID)
NO_SIGNS = "[]"

MOST_TREES = 20_000  # in the fullest tile of a zoom that shows trees
ALWAYS_TREES_FROM = 18  # a tile there is at most 153 m wide
TAGS_FROM = 16  # as there is no room to write them before, and each is another one


@dataclass(frozen=True)
class TileIndex:
    """Trees with a position, by cell; all arrays have a row a tree."""

    cells: NDArray[np.uint64]
    x: Array  # in the Web-Mercator square, [-] of its side
    y: Array
    fid: Whole
    said: Coded
    living: NDArray[np.bool_]
    dead: NDArray[np.bool_]
    signed: NDArray[np.bool_]  # living, with an open sign
    basal_area_m2: Array  # of living trees, NaN without a size
    fingerprint: NDArray[np.uint64]  # of all that a tile shows of a tree
    box: tuple[float, float, float, float] | None  # west, south, east, north [deg]
    trees_from_zoom: int
    fullest: tuple[int, ...]  # living trees in the fullest cell, by zoom


def tile_index(trees: Mapping[str, NDArray[Any]]) -> TileIndex:
    """Return the index of trees.

    Parameters
    ----------
    trees : mapping of str to array
        The columns ``NEEDED``: ``lon`` and ``lat`` [deg] are NaN where there is no position, ``signs`` is
        JSON text, everything else as in TREES.
    """
    x, y = ground.mercator(trees["lon"], trees["lat"])
    placed = np.flatnonzero(np.isfinite(x))
    cells = ground.cell_numbers(x[placed], y[placed])
    order = np.lexsort((trees["fid"][placed], cells))
    rows, cells = placed[order], cells[order]
    status = pd.Series(trees["status"][rows], dtype=object)
    living = status.isin(list(COUNTED)).to_numpy(dtype=bool)
    said = coded({name: trees[name][rows] for name in SAID}, whole=("questions_not_askable",))
    basal = np.where(living, trees["basal_area_m2"][rows].astype(float), np.nan)
    signs = trees["signs"][rows]
    index = TileIndex(
        cells=cells,
        x=x[rows],
        y=y[rows],
        fid=trees["fid"][rows].astype(np.int64),
        said=said,
        living=living,
        dead=(status == "dead").to_numpy(dtype=bool),
        signed=living & (signs != NO_SIGNS) & ~pd.isna(signs),
        basal_area_m2=basal,
        fingerprint=np.empty(0, dtype=np.uint64),
        box=_box(trees["lon"][rows], trees["lat"][rows]),
        trees_from_zoom=_trees_from(cells),
        fullest=tuple(_fullest(prefixes(cells[living], zoom)) for zoom in range(LAST_ZOOM + 1)),
    )
    return replace(index, fingerprint=_fingerprints(index))


def _trees_from(cells: NDArray[np.uint64]) -> int:
    """The lowest zoom of which no tile is too full."""
    fitting = (zoom for zoom in range(ALWAYS_TREES_FROM) if _fullest(prefixes(cells, zoom)) <= MOST_TREES)
    return next(fitting, ALWAYS_TREES_FROM)


def _fullest(sorted_cells: NDArray[np.uint64]) -> int:
    return int(np.diff(_ends(sorted_cells), prepend=0).max(initial=0))


def _ends(sorted_cells: NDArray[np.uint64]) -> Whole:
    """Where each run of equal cells ends."""
    last = np.flatnonzero(sorted_cells[1:] != sorted_cells[:-1]) + 1
    return np.append(last, len(sorted_cells)) if len(sorted_cells) else last


def _box(lon: ArrayLike, lat: ArrayLike) -> tuple[float, float, float, float] | None:
    at = np.column_stack([np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)])
    if not len(at):
        return None
    (west, south), (east, north) = at.min(axis=0), at.max(axis=0)
    return float(west), float(south), float(east), float(north)


def _fingerprints(index: TileIndex) -> NDArray[np.uint64]:
    """A number of each tree that is another one when what a tile shows of it is another."""
    values = np.empty(len(index.said.starts), dtype=object)
    values[:-1] = index.said.values()
    values[-1] = b""  # where nothing is said: its place is the last, -1
    hashed = pd.util.hash_array(values, categorize=False)
    marks = index.living | index.dead.astype(np.uint64) << np.uint64(1)
    out = marks | index.signed.astype(np.uint64) << np.uint64(2)
    shown = (hashed[codes] for codes in index.said.codes.T)
    for part in (*(number.view(np.uint64) for number in (index.x, index.y, index.basal_area_m2)), *shown):
        out = (out ^ part) * np.uint64(0x9E3779B97F4A7C15)  # odd: nothing is lost by it
        out ^= out >> np.uint64(29)
    return np.asarray(out, dtype=np.uint64)


def touched_cells(old: TileIndex, new: TileIndex) -> NDArray[np.uint64]:
    """Return the cells, old and new, of trees that came, went, or are shown otherwise."""
    by_old, by_new = np.argsort(old.fid), np.argsort(new.fid)
    _, at_old, at_new = np.intersect1d(
        old.fid[by_old], new.fid[by_new], assume_unique=True, return_indices=True
    )
    same_old, same_new = by_old[at_old], by_new[at_new]
    same = old.fingerprint[same_old] == new.fingerprint[same_new]
    other_old, other_new = np.ones(len(old.fid), dtype=bool), np.ones(len(new.fid), dtype=bool)
    other_old[same_old[same]] = False
    other_new[same_new[same]] = False
    return np.unique(np.concatenate([old.cells[other_old], new.cells[other_new]]))


def vector_tile_of(index: TileIndex, tile: Tile) -> bytes:
    """Return a vector tile, of the mode of its zoom; no bytes where there is nothing."""
    if tile.z >= index.trees_from_zoom:
        return _trees(index, tile)
    return _counts(index, tile)


def _trees(index: TileIndex, tile: Tile) -> bytes:
    rows = rows_around(index.cells, tile)
    column, row = in_tile(index.x[rows], index.y[rows], tile)
    near = np.maximum(np.abs(column - EXTENT / 2), np.abs(row - EXTENT / 2)) <= EXTENT / 2 + BUFFER
    rows, column, row = rows[near], column[near], row[near]
    chosen = [place for place, name in enumerate(SAID) if name != "tag" or tile.z >= TAGS_FROM]
    names, codes = tuple(SAID[place] for place in chosen), index.said.codes[rows[:, None], chosen]
    said = replace(index.said, names=names, codes=codes)
    return points_layer(TREES, index.fid[rows], _nearest(column), _nearest(row), said)


def _counts(index: TileIndex, tile: Tile) -> bytes:
    """One point in the middle of each small square, numbered by it."""
    rows = rows_around(index.cells, tile)
    rows = rows[(index.living | index.dead)[rows]]
    zoom = min(tile.z + EDGE_BITS, LAST_ZOOM)
    square = prefixes(index.cells[rows], zoom)
    ends = _ends(square)
    first = ends - np.diff(ends, prepend=0)
    sums = [_sums(counted[rows], first) for counted in (index.living, index.dead, index.signed)]
    basal = index.basal_area_m2[rows]
    known = _sums(np.isfinite(basal), first) > 0
    area = np.where(known, np.add.reduceat(np.nan_to_num(basal), first) if len(first) else 0.0, np.nan)
    trees, dead, signed = sums
    said = coded(
        dict(zip(COUNTED_NAMES, (trees, dead, area, signed), strict=True)),
        whole=("trees", "dead_trees", "to_be_looked_at"),
    )
    fine = float(1 << zoom)
    at = rows[first]
    column, row = in_tile(_middle(index.x[at], fine), _middle(index.y[at], fine), tile)
    return points_layer(COUNTS, square[first], _nearest(column), _nearest(row), said)


def _middle(place: Array, squares: float) -> Array:
    """The middle of the square that a place lies in, of so many along the side of the earth's."""
    return np.asarray((np.minimum(np.floor(place * squares), squares - 1) + 0.5) / squares)


def _sums(counted: NDArray[np.bool_], first: Whole) -> Whole:
    return np.add.reduceat(counted.astype(np.int64), first) if len(first) else np.zeros(0, dtype=np.int64)


def _nearest(place: Array) -> Whole:
    return np.rint(place).astype(np.int64)
