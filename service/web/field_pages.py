"""The phone page: one page, its files, and the worker that keeps them for without a network."""

import hashlib
import json
from functools import cache
from importlib.metadata import version
from pathlib import Path

from flask import Blueprint, Response, make_response, redirect, render_template
from flask_babel import gettext as _
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from service.web.field_words import words

bp = Blueprint("field_pages", __name__, url_prefix="/field")

STATIC = Path(__file__).with_name("static")
BESIDE = ("mark.svg",)
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
        words_json=_embedded(said),
        program=version("boleward"),
        version=_version(said),
        scripts=[name for name in files() if name.endswith(".js")],
    )
    response = make_response(page)
    response.headers["Cache-Control"] = "no-cache"
    return response


@bp.get("/sw.js")
def worker() -> Response:
    """The service worker of this version: another file, text or language makes another version."""
    kept = ["/field/", "/field/manifest.webmanifest", *(f"/static/field/{name}" for name in files())]
    kept += [f"/static/{name}" for name in BESIDE]
    script = render_template("field_worker.js", version=_version(words()), files=kept)
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


def _embedded(said: dict[str, str]) -> Markup:
    """Texts as JSON that may stand inside a page."""
    text = json.dumps(said, ensure_ascii=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _version(said: dict[str, str]) -> str:
    """What tells one version of page and files from another."""
    text = json.dumps([version("boleward"), said], sort_keys=True)
    return hashlib.sha256(_files_hash() + text.encode()).hexdigest()[:16]
