"""The phone page: one page, its files, and the worker that keeps them for without a network."""

import gzip
import hashlib
import json
from functools import cache, lru_cache
from importlib.metadata import version
from pathlib import Path

from flask import Blueprint, Response, make_response, redirect, render_template, request
from flask_babel import gettext as _
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from service.web.field_words import words

bp = Blueprint("field_pages", __name__, url_prefix="/field")

FILES = "/static/field/"
STATIC = Path(__file__).with_name("static")
BESIDE = ("mark.svg",)
FIRST = ("app", "dom", "keep", "locate", "send", "sheet", "words", "join", "next", "plan_map")
KEPT = (".js", ".css", ".svg", ".json")


@bp.get("")
def to_field() -> AnyResponse:
    """To the page itself: its worker reaches only what lies below it."""
    return redirect("/field/", 308)


@bp.get("/")
def field() -> Response:
    """The phone page; everything else of it is read by its scripts."""
    said = words()
    page = render_template(
        "field.html",
        words=said,
        words_json=embedded(said),
        program=version("boleward"),
        version=version_of(said),
        first=FIRST,
    )
    response = make_response(page)
    response.headers["Cache-Control"] = "no-cache"
    return response


@bp.get("/sw.js")
def worker() -> Response:
    """The service worker of this version: another file, text or language makes another version."""
    kept = ["/field/", "/field/manifest.webmanifest", *(f"{FILES}{name}" for name in files())]
    kept += [f"/static/{name}" for name in BESIDE]
    script = render_template("field_worker.js", version=version_of(words()), files=kept)
    response = make_response(script)
    response.content_type = "text/javascript; charset=utf-8"
    response.headers["Cache-Control"] = "no-cache"
    return response


@bp.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to put the page on its home screen."""
    said = {
        "name": f"Boleward: {_('Measuring')}",
        "short_name": "Boleward",
        "start_url": "/field/",
        "scope": "/field/",
        "display": "standalone",
        "background_color": "#fbfaf6",
        "theme_color": "#fbfaf6",
        "icons": [{"src": "/static/mark.svg", "sizes": "any", "type": "image/svg+xml"}],
    }
    response = make_response(json.dumps(said, ensure_ascii=False))
    response.content_type = "application/manifest+json"
    return response


@bp.after_app_request
def compressed(response: Response) -> Response:
    """Compress the page and its files: a yard has a slow network, if any."""
    is_ours = request.path.startswith(FILES) or request.endpoint in (
        "field_pages.field",
        "field_pages.worker",
    )
    if not is_ours or response.status_code != 200 or "Content-Encoding" in response.headers:
        return response
    response.vary.add("Accept-Encoding")
    if request.accept_encodings["gzip"] > 0:
        response.direct_passthrough = False
        response.set_data(_gzipped(response.get_data()))
        response.headers["Content-Encoding"] = "gzip"
        tag, _is_weak = response.get_etag()
        if tag:
            response.set_etag(tag, weak=True)
    return response


@lru_cache(maxsize=256)
def _gzipped(body: bytes) -> bytes:
    return gzip.compress(body, 9, mtime=0)


@cache
def files() -> tuple[str, ...]:
    """Return the names of the page's own static files."""
    return tuple(sorted(path.name for path in (STATIC / "field").iterdir() if path.suffix in KEPT))


@cache
def _files_hash() -> bytes:
    made = hashlib.sha256()
    paths = [*(STATIC / "field" / name for name in files()), *(STATIC / name for name in BESIDE)]
    for path in [*paths, *sorted(Path(__file__).with_name("templates").glob("field*"))]:
        made.update(path.name.encode() + b"\0" + path.read_bytes())
    return made.digest()


def embedded(said: dict[str, str]) -> Markup:
    """Return texts as JSON that may stand inside a page."""
    text = json.dumps(said, ensure_ascii=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def version_of(said: dict[str, str]) -> str:
    """Return what tells one version of page and files from another."""
    text = json.dumps([version("boleward"), said], sort_keys=True)
    return hashlib.sha256(_files_hash() + text.encode()).hexdigest()[:16]
