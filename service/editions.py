"""Layers of a site at a day as files that are asked by SQL: made when first asked for, then kept.

An edition never changes; a change of the site, another day or another audience asks for another one.
Downloads, collections, tiles and exports all read editions, so that they say the same and none holds a whole
layer.
"""

import hashlib
import os
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from threading import Lock

from service.actors import Actor
from service.errors import NotFound
from service.finished_files import made_once, thin_out
from service.layer_parts import LayerFacts, LayerPart
from service.outlets.exported_rows import EXPORTED, exported_rows
from service.outlets.held_layer import HeldLayer
from service.store.engine import Store
from service.store.layer_tables import LayerTable, write_layer
from service.view import ViewKey, key_of, view_of

KEPT_OPEN = 64
KEPT_FILES = 4  # of a layer of a site: today's, and some others that were asked for


class Edition:
    """One layer of a site at a day."""

    def __init__(self, key: ViewKey, tag: str, table: LayerTable) -> None:
        self.key = key
        self.tag = tag
        self.table = table

    @property
    def facts(self) -> LayerFacts:
        """What the layer is."""
        return self.table.facts

    def used(self) -> bool:
        """Return whether its file is still there, which then is the last to be thrown away."""
        try:
            os.utime(self.table.path)
        except OSError:
            return False
        return True

    def parts(self, size: int = 1000, names: Sequence[str] | None = None) -> Iterator[LayerPart]:
        """Return its rows in order, at most ``size`` at a time; cells of the named columns only."""
        return self.table.parts(size, names)


_open: OrderedDict[tuple[int, str], Edition] = OrderedDict()
_lock = Lock()


def edition(
    store: Store,
    slug: str,
    actor: Actor,
    layer: str,
    as_of: str | None = None,
    known_at: int | None = None,
) -> Edition:
    """Return a layer of a site at a day (today by default), as an actor may see it.

    Raises
    ------
    NotFound
        If there is no such site or layer.
    NotPermitted
        If the actor may not see it.
    InvalidRequest
        If ``as_of`` is not a day.
    StoreUnavailable
        If what was computed cannot be kept.
    """
    if layer not in EXPORTED:
        raise NotFound("layer", layer)
    key = key_of(store, slug, actor, as_of, known_at)
    tag = tag_of(key, layer)
    with _lock:
        kept = _open.get((store.serial, tag))
        if kept is not None and kept.used():
            _open.move_to_end((store.serial, tag))
            return kept
    path = store.computed_folder / "layers" / key.site_id / f"{layer}-{tag}.sqlite"
    with made_once(path):
        if not path.exists():
            held = HeldLayer(exported_rows(view_of(store, slug, actor, key.as_of, known_at), layer))
            write_layer(path, held.facts, held.parts())
            thin_out(path.parent, f"{layer}-*.sqlite", KEPT_FILES)
        made = Edition(key, tag, LayerTable(path))
    with _lock:
        _open[store.serial, tag] = made
        while len(_open) > KEPT_OPEN:
            _open.popitem(last=False)
    return made


def tag_of(key: ViewKey, name: str) -> str:
    """Return the tag of what is computed from a view and called so, by this version of the program."""
    return hashlib.blake2b(f"{key} {name} {_program()}".encode(), digest_size=12).hexdigest()


@cache
def _program() -> str:
    """What the program is made of, so that another version of it makes its own editions."""
    root = Path(__file__).parents[1]
    files = (path for package in ("layers", "service") for path in (root / package).rglob("*.py"))
    said = sorted((path.name, path.stat().st_size, path.stat().st_mtime_ns) for path in files)
    return hashlib.blake2b(repr(said).encode(), digest_size=8).hexdigest()
