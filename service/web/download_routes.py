"""Layers as files at stable addresses: made piece by piece or kept whole, compressed, known by their tag."""

from collections.abc import Iterator
from pathlib import Path

from flask import Blueprint, Response, request
from flask_babel import gettext as _
from isal import isal_zlib

from service import plan_images
from service.editions import Edition, edition, tag_of
from service.errors import NotAcceptable, NotFound
from service.finished_files import OpenFile, finished_file
from service.outlets.export import BY_EXTENSION, FORMATS, write_layer_file
from service.outlets.exported_rows import EXPORTED
from service.outlets.layer_rows import LAYERS
from service.outlets.map_file import self_contained_map
from service.site_files import SITE_FORMATS, write_site
from service.view import ViewKey, key_of
from service.web import current, display, frame

bp = Blueprint("download_routes", __name__)

GZIP = 16 + isal_zlib.MAX_WBITS
QUICK = 2  # of 0 to 3


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
    key = _key(slug)
    if layer not in EXPORTED:
        raise NotFound(_("layer"), layer)
    if form == "gpkg" and layer in LAYERS:
        return site_file(slug, "gpkg")
    if form not in BY_EXTENSION:
        raise NotAcceptable(list(BY_EXTENSION))
    format_ = FORMATS[BY_EXTENSION[form]]
    name = f"{slug}-{layer}-{key.as_of}.{form}"
    if format_.pieces is None:
        path = finished_file(
            current.store(),
            key.site_id,
            f"{layer}.{form}",
            tag_of(key, layer),
            lambda fresh: write_layer_file(_edition(slug, layer, key), BY_EXTENSION[form], fresh),
        )
        return _kept(path, format_.media_type, name)
    tag = tag_of(key, f"{layer}.{form}")
    held = frame.unchanged(tag)
    if held is not None:
        return _varying(held)
    response = _streamed(format_.pieces(_edition(slug, layer, key)), format_.media_type, tag)
    return _as_file(response, name)


@bp.get("/sites/<slug>/site.gpkg", defaults={"form": "gpkg"})
@bp.get("/sites/<slug>/site.zip", defaults={"form": "zip"})
def site_file(slug: str, form: str) -> Response:
    """All layers of a site at a day and all its records in one file."""
    key, store = _key(slug), current.store()
    box = plan_images.file_box(store, current.settings().data_folder)

    def write(fresh: Path) -> int:
        day, known_at = key.as_of, key.known_at
        return write_site(store, slug, current.actor(), form, fresh, box=box, as_of=day, known_at=known_at)

    path = finished_file(store, key.site_id, f"site.{form}", tag_of(key, "site"), write)
    return _kept(path, SITE_FORMATS[form], f"{slug}-{key.as_of}.{form}")


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
        lang=frame.written(),
        voice=display.Units(view.terms.units).voice(),
    )
    response = frame.kept_answer(text, "text/html; charset=utf-8", tag)
    return _as_file(response, f"{slug}-map-{view.as_of}.html")


def _key(slug: str) -> ViewKey:
    return key_of(current.store(), slug, current.actor(), current.asked_day(), current.asked_change())


def _edition(slug: str, layer: str, key: ViewKey) -> Edition:
    return edition(current.store(), slug, current.actor(), layer, key.as_of, key.known_at)


def _kept(path: Path, media_type: str, name: str) -> Response:
    """Return a kept file, or the range of it that was asked for; made anew it has another tag."""
    file = OpenFile(path)
    response = Response(file, content_type=media_type, direct_passthrough=True)
    response.content_length = file.state.st_size
    response.set_etag(f"{path.name.partition('-')[0]}-{file.state.st_mtime_ns:x}")
    response.accept_ranges = "bytes"
    response.make_conditional(request, accept_ranges=_one_range(), complete_length=file.state.st_size)
    return _as_file(response, name)


def _one_range() -> bool:
    """Whether one range is asked for; several, or what is none, RFC 9110, 14.2, lets us ignore."""
    asked = request.range
    return asked is not None and asked.units == "bytes" and len(asked.ranges) == 1


def _streamed(pieces: Iterator[bytes], media_type: str, tag: str) -> Response:
    """Return the pieces as they are made; the tag is weak where their bytes depend on the compression."""
    compressed = request.accept_encodings["gzip"] > 0
    response = Response(_gzipped(pieces) if compressed else pieces, content_type=media_type)
    if compressed:
        response.headers["Content-Encoding"] = "gzip"
    response.set_etag(tag, weak=True)
    return _varying(response)


def _gzipped(pieces: Iterator[bytes]) -> Iterator[bytes]:
    packing = isal_zlib.compressobj(QUICK, isal_zlib.DEFLATED, GZIP)
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
