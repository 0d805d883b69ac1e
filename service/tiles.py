"""Tiles of the trees of a ground: kept by what they show, so that one change leaves the other tiles valid.

Beside the present index of a ground stands which of its cells were last touched by what; a tile's tag is the
last that touched it. Finished tiles are kept by their tags, compressed, the least used thrown away first.
"""

import hashlib
from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock
from typing import Literal

import numpy as np
from isal import igzip
from numpy.typing import NDArray

from layers.density_tile import counted, density_tile, steps
from layers.error_model import Whole
from layers.tile_grid import Tile, rows_around
from layers.tile_index import NEEDED, TileIndex, tile_index, touched_cells, vector_tile_of
from service.actors import Actor
from service.editions import Edition, edition
from service.layer_parts import LayerFacts
from service.store.engine import Store
from service.store.site_rows import find_site
from service.view import ViewKey, key_of

Form = Literal["pbf", "png"]
Asked = tuple[int, str, str, str | None, int | None]

KEPT_GROUNDS = 4
KEPT_BYTES = 64 << 20
QUICK = 2  # of 0 to 3


@dataclass(frozen=True)
class GroundTiles:
    """The tiles of a ground at a day, as an audience sees them."""

    key: ViewKey
    name: str
    facts: LayerFacts
    index: TileIndex
    stamps: tuple[str, ...]  # what was shown, first to last
    cells: NDArray[np.uint64]  # cells that were touched since the first stamp, in order
    stamped: Whole  # by which stamp, last

    def tag(self, tile: Tile, form: Form) -> str:
        """Return a text that is another one whenever the tile is."""
        last = int(self.stamped[rows_around(self.cells, tile)].max(initial=0))
        mode = steps(self.index, tile.z) if form == "png" else tile.z >= self.index.trees_from_zoom
        said = f"{self.stamps[last]} {tile} {form} {mode}"
        return hashlib.blake2b(said.encode(), digest_size=16).hexdigest()

    def made(self, tile: Tile, form: Form, tag: str) -> bytes:
        """Return the tile of a tag: PNG, or gzip of a vector tile; no bytes for a vector tile of nothing."""
        found = _finished.get(tag)
        if found is None:
            found = self._made(tile, form)
            _finished.put(tag, found)
        return found

    def _made(self, tile: Tile, form: Form) -> bytes:
        if form == "png":
            return density_tile(counted(self.index, tile), steps(self.index, tile.z))
        data = vector_tile_of(self.index, tile)
        return igzip.compress(data, QUICK, mtime=0) if data else b""


class _Finished:
    """Finished tiles by tag, of so many bytes together; the least used goes first."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._held: OrderedDict[str, bytes] = OrderedDict()
        self._bytes = 0
        self._lock = Lock()

    def get(self, tag: str) -> bytes | None:
        with self._lock:
            if tag in self._held:
                self._held.move_to_end(tag)
            return self._held.get(tag)

    def put(self, tag: str, data: bytes) -> None:
        with self._lock:
            self._bytes += len(data) - len(self._held.pop(tag, b""))
            self._held[tag] = data
            while self._bytes > self.most:
                _, gone = self._held.popitem(last=False)
                self._bytes -= len(gone)


_finished = _Finished(KEPT_BYTES)
_kept: OrderedDict[Asked, GroundTiles] = OrderedDict()
_making: dict[Asked, Lock] = {}
_lock = Lock()


def ground_tiles(
    store: Store, slug: str, actor: Actor, as_of: str | None = None, known_at: int | None = None
) -> GroundTiles:
    """Return the tiles of a ground at a day (today by default), as an actor may see them.

    Raises
    ------
    NotFound
        If there is no such ground.
    NotPermitted
        If the actor may not see it.
    InvalidRequest
        If ``as_of`` is not a day.
    StoreUnavailable
        If what was computed cannot be kept.
    """
    key = key_of(store, slug, actor, as_of, known_at)
    asked = (store.serial, key.site_id, key.audience, as_of, known_at)
    with _lock:
        making = _making.setdefault(asked, Lock())
    with making:
        with _lock:
            former = _kept.get(asked)
        if former is not None and former.key == key:
            tiles = former
        else:
            tiles = _tiles(store, edition(store, slug, actor, "trees", as_of, known_at), former)
        with _lock:
            _kept[asked] = tiles
            _kept.move_to_end(asked)
            while len(_kept) > KEPT_GROUNDS:
                _making.pop(_kept.popitem(last=False)[0], None)
    return tiles


def _tiles(store: Store, trees: Edition, former: GroundTiles | None) -> GroundTiles:
    """The tiles of an edition; what it shows as the former one did keeps its stamp."""
    with store.read() as connection:
        name = str(find_site(connection, trees.facts.site).name)
    index = tile_index(_columns(trees))
    if former is None:
        none = np.zeros(0, dtype=np.int64)
        return GroundTiles(trees.key, name, trees.facts, index, (trees.tag,), index.cells[:0], none)
    fresh = touched_cells(former.index, index)
    untouched = ~np.isin(former.cells, fresh)
    cells = np.append(former.cells[untouched], fresh)
    stamped = np.append(former.stamped[untouched], np.full(len(fresh), len(former.stamps)))
    used = np.union1d([0], stamped)
    stamps = tuple((*former.stamps, trees.tag)[number] for number in used)
    order = np.argsort(cells)
    stamped = np.searchsorted(used, stamped)[order]
    return GroundTiles(trees.key, name, trees.facts, index, stamps, cells[order], stamped)


def _columns(trees: Edition) -> dict[str, np.ndarray]:
    """What tiles need of every tree; on a ground without a place on earth none has a position."""
    columns = trees.table.arrays(NEEDED)
    if trees.facts.local:
        nowhere = np.full(len(columns["fid"]), np.nan)
        columns |= {"lon": nowhere, "lat": nowhere}
    return columns
