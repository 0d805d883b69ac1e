"""Layers as files at stable addresses: made piece by piece, compressed on request, kept by their tag."""

import tempfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from flask import Blueprint, Response, request
from flask_babel import gettext as _

from service.errors import NotAcceptable, NotFound
from service.outlets.export import EXPORTED, FORMATS, LAYERS, MEDIA_TYPES, export_layer, layer_pieces
from service.outlets.map_file import self_contained_map
from service.view import SiteView
from service.web import current, display, frame

bp = Blueprint("download_routes", __name__)

GZIP = 16 + zlib.MAX_WBITS
READ_BYTES = 1 << 16


@bp.get("/sites/<slug>/layers/<layer>.<form>")
def layer_file(slug: str, layer: str, form: str) -> Response:
    """A layer of a site at a day.

    Raises
    ------
    NotFound
        If there is no such layer.
    NotAcceptable
        If it is not given in that form.
    """
    view = current.site_view(slug)
    if layer not in EXPORTED:
        raise NotFound(_("layer"), layer)
    if form not in FORMATS:
        raise NotAcceptable(list(FORMATS))
    if form == "gpkg" and layer in LAYERS:
        return whole_site_file(slug)
    tag = frame.etag(view, layer, form)
    held = frame.unchanged(tag)
    if held is not None:
        return _varying(held)
    response = _streamed(layer_pieces(view, layer, form), MEDIA_TYPES[form], tag)
    return _as_file(response, f"{slug}-{layer}-{view.as_of}.{form}")


@bp.get("/sites/<slug>/site.gpkg")
def whole_site_file(slug: str) -> Response:
    """All layers of a site at a day in one GeoPackage."""
    view = current.site_view(slug)
    tag = frame.etag(view, "gpkg")
    held = frame.unchanged(tag)
    if held is not None:
        return held
    response = Response(_geopackage(view), content_type=MEDIA_TYPES["gpkg"])
    response.set_etag(tag)
    return _as_file(response, f"{slug}-{view.as_of}.gpkg")


@bp.get("/sites/<slug>/map.html")
def map_file(slug: str) -> Response:
    """The map as one file that opens from a disk without a network."""
    view = current.site_view(slug)
    tag = frame.etag(view, "map.html")
    held = frame.unchanged(tag)
    if held is not None:
        return held
    text = self_contained_map(
        view,
        messages=frame.map_messages(),
        lang=frame.language(),
        voice=display.Units(view.terms.units).voice(),
    )
    response = frame.kept_answer(text, "text/html; charset=utf-8", tag)
    return _as_file(response, f"{slug}-map-{view.as_of}.html")


def _geopackage(view: SiteView) -> Iterator[bytes]:
    with tempfile.TemporaryDirectory(prefix="boleward-") as folder:
        path = Path(folder) / "site.gpkg"
        export_layer(view, LAYERS[0], "gpkg", path)
        with path.open("rb") as file:
            while piece := file.read(READ_BYTES):
                yield piece


def _streamed(pieces: Iterator[bytes], media_type: str, tag: str) -> Response:
    """Return the pieces as they are made; the tag is weak where their bytes depend on the compression."""
    compressed = request.accept_encodings["gzip"] > 0
    response = Response(_gzipped(pieces) if compressed else pieces, content_type=media_type)
    if compressed:
        response.headers["Content-Encoding"] = "gzip"
    response.set_etag(tag, weak=True)
    return _varying(response)


def _gzipped(pieces: Iterator[bytes]) -> Iterator[bytes]:
    packing = zlib.compressobj(6, zlib.DEFLATED, GZIP)
    for piece in pieces:
        packed = packing.compress(piece)
        if packed:
            yield packed
    yield packing.flush()


def _varying(response: Response) -> Response:
    response.vary.add("Accept-Encoding")
    return response


def _as_file(response: Response, name: str) -> Response:
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return frame.cautioned(response)
