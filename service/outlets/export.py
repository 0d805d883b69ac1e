"""Layers of a site as files: which layers and formats there are, and writing one."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from service.errors import NotAcceptable
from service.outlets.csv_out import csv_pieces
from service.outlets.fresh_file import fresh_file
from service.outlets.geojson_out import geojson_pieces
from service.outlets.geopackage_out import write_geopackage
from service.outlets.layer_rows import LAYERS, LayerRows, Viewed, figure_rows, layer_rows
from service.outlets.osm_tags import OSM_TREES, osm_trees

__all__ = ["EXPORTED", "FORMATS", "LAYERS", "MEDIA_TYPES", "export_layer", "figures_geojson", "layer_pieces"]

EXPORTED = (*LAYERS, OSM_TREES)  # the last only as a file of its own, never in a snapshot

_STREAMED: dict[str, Callable[[LayerRows], Iterator[bytes]]] = {
    "geojson": geojson_pieces,
    "csv": csv_pieces,
}
FORMATS = (*_STREAMED, "gpkg")
MEDIA_TYPES = {
    "geojson": "application/geo+json",
    "csv": "text/csv; charset=utf-8",
    "gpkg": "application/geopackage+sqlite3",
}


def layer_pieces(view: Viewed, layer: str, form: str) -> Iterator[bytes]:
    """Return a layer in a format in pieces of bytes, none made before it is taken.

    Raises
    ------
    NotFound
        If there is no such layer.
    NotAcceptable
        If the format cannot be given in pieces.
    """
    if form not in _STREAMED:
        raise NotAcceptable(list(_STREAMED))
    return _STREAMED[form](_rows(view, layer))


def _rows(view: Viewed, layer: str) -> LayerRows:
    return osm_trees(view) if layer == OSM_TREES else layer_rows(view, layer)


def export_layer(view: Viewed, layer: str, form: str, out_path: Path) -> int:
    """Write a layer to a file (gpkg: all layers) and return its rows; an old file stays until then.

    Raises
    ------
    NotFound
        If there is no such layer.
    NotAcceptable
        If there is no such format.
    InvalidRequest
        If the file cannot be written there.
    """
    if form not in FORMATS or (layer == OSM_TREES and form not in _STREAMED):
        raise NotAcceptable(list(_STREAMED if layer == OSM_TREES else FORMATS))
    with fresh_file(out_path) as fresh:
        return write_geopackage(view, fresh) if form == "gpkg" else _written(view, layer, form, fresh)


def figures_geojson(view: Viewed, figures: list[dict[str, Any]]) -> str:
    """Return figures as a GeoJSON text."""
    return b"".join(geojson_pieces(figure_rows(view, figures))).decode()


def _written(view: Viewed, layer: str, form: str, path: Path) -> int:
    rows = _rows(view, layer)
    with path.open("wb") as out:
        out.writelines(_STREAMED[form](rows))
    return len(rows.rows)
