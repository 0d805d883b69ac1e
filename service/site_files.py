"""Files of a whole site at a day: a GeoPackage that is its snapshot, an archive of plain tables."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from layers.symbology import drawn_classes
from service.actors import Actor
from service.editions import Edition, edition
from service.errors import NotAcceptable
from service.file_box import FileBox
from service.outlets.archive_out import write_archive
from service.outlets.geopackage_out import write_layers
from service.outlets.layer_rows import LAYERS
from service.outlets.record_tables import SnapshotOf, write_records
from service.store import record_log
from service.store.engine import Connection, Store
from service.store.site_rows import find_site
from service.view import ViewKey, key_of, terms_at

SITE_FORMATS = {"gpkg": "application/geopackage+sqlite3", "zip": "application/zip"}


def write_site(
    store: Store,
    slug: str,
    actor: Actor,
    form: str,
    path: Path,
    *,
    box: FileBox | None = None,
    as_of: str | None = None,
    known_at: int | None = None,
) -> int:
    """Write all layers of a site at a day and all its records into a new file; return the rows of the layers.

    ``box`` has the pictures of plans, which go into a GeoPackage.

    Raises
    ------
    NotAcceptable
        If there is no such format.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not see it.
    InvalidRequest
        If ``as_of`` is not a day.
    StoreUnavailable
        If the store cannot be read, or what was computed not kept.
    OSError
        If the file cannot be written.
    """
    if form not in SITE_FORMATS:
        raise NotAcceptable(list(SITE_FORMATS))
    key = key_of(store, slug, actor, as_of, known_at)
    layers = [edition(store, slug, actor, layer, key.as_of, key.known_at) for layer in LAYERS]
    if form == "zip":
        return _archive(store, slug, key, layers, path)
    classes = drawn_classes(terms_at(store, slug, actor, key.known_at))
    rows = write_layers(layers, path, classes)
    write_records(store, SnapshotOf(slug, key.known_at, key.as_of, key.audience), path, box)
    return rows


def _archive(store: Store, slug: str, key: ViewKey, layers: Sequence[Edition], path: Path) -> int:
    with store.read() as connection:
        return write_archive(layers, _records(connection, slug, key.known_at), path)


def _records(
    connection: Connection, slug: str, known_at: int
) -> Iterator[tuple[str, list[tuple[str, str]], Iterator[tuple[Any, ...]]]]:
    """Return every kind of record: its name, its columns with what they are, its rows."""
    site = find_site(connection, slug)
    upto = min(known_at, site.change_no)
    agreed = record_log.site_row(connection, site, upto)
    yield "site", _kinds("site", tuple(agreed)), iter([tuple(agreed.values())])
    for name, columns, rows in record_log.record_parts(connection, site.fid, upto):
        yield name, _kinds(name, columns), rows


def _kinds(name: str, columns: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(column, record_log.kind_of(name, column)) for column in columns]
