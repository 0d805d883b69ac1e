"""A layer as a file: which formats there are, in pieces or whole."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.errors import NotAcceptable
from service.layer_parts import Layer
from service.outlets.csv_out import csv_pieces
from service.outlets.flatgeobuf_out import write_flatgeobuf
from service.outlets.fresh_file import fresh_file
from service.outlets.geojson_out import geojson_pieces, geojsonseq_pieces
from service.outlets.held_layer import HeldLayer
from service.outlets.kml_out import kml_pieces
from service.outlets.layer_rows import Viewed, figure_rows
from service.outlets.parquet_out import write_parquet


@dataclass(frozen=True)
class Format:
    """A format of one layer: made in ``pieces`` as it leaves, or by ``write`` as a whole file.

    ``cautioned`` tells whether the file itself has a place for the caution.
    """

    extension: str
    media_type: str
    pieces: Callable[[Layer], Iterator[bytes]] | None = None
    write: Callable[[Layer, Path], None] | None = None
    cautioned: bool = True


FORMATS = {
    "geojson": Format("geojson", "application/geo+json", geojson_pieces),
    "geojsonseq": Format("geojsons", "application/geo+json-seq", geojsonseq_pieces, cautioned=False),
    "csv": Format("csv", "text/csv; charset=utf-8", csv_pieces, cautioned=False),
    "fgb": Format("fgb", "application/flatgeobuf", write=write_flatgeobuf),
    "parquet": Format("parquet", "application/vnd.apache.parquet", write=write_parquet),
    "kml": Format("kml", "application/vnd.google-earth.kml+xml", kml_pieces),
}
BY_EXTENSION = {format_.extension: name for name, format_ in FORMATS.items()}
MEDIA_TYPES = {format_.extension: format_.media_type for format_ in FORMATS.values()}  # by extension


def layer_pieces(layer: Layer, form: str) -> Iterator[bytes]:
    """Return a layer in a format in pieces of bytes, none made before it is taken.

    Raises
    ------
    NotAcceptable
        If the format cannot be given in pieces.
    """
    pieces = FORMATS[form].pieces if form in FORMATS else None
    if pieces is None:
        raise NotAcceptable([name for name, format_ in FORMATS.items() if format_.pieces])
    return pieces(layer)


def write_layer_file(layer: Layer, form: str, path: Path) -> None:
    """Write a layer into a new file.

    Raises
    ------
    NotAcceptable
        If there is no such format.
    OSError
        If the file cannot be written.
    """
    if form not in FORMATS:
        raise NotAcceptable(list(FORMATS))
    write = FORMATS[form].write
    if write is not None:
        write(layer, path)
        return
    with path.open("wb") as out:
        out.writelines(layer_pieces(layer, form))


def export_layer(layer: Layer, form: str, out_path: Path) -> int:
    """Write a layer to a file and return its rows; an old file stays until then.

    Raises
    ------
    NotAcceptable
        If there is no such format.
    InvalidRequest
        If the file cannot be written there.
    """
    with fresh_file(out_path) as fresh:
        write_layer_file(layer, form, fresh)
    return layer.facts.rows


def figures_geojson(view: Viewed, figures: list[dict[str, Any]]) -> str:
    """Return figures as a GeoJSON text."""
    return b"".join(geojson_pieces(HeldLayer(figure_rows(view, figures)))).decode()
