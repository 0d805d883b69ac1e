"""The map's shell from folium, and the map as one file.

folium and branca compile what they are given as templates, so they get constants and our own addresses only;
data and words reach the map as JSON (`layers.map_document`) and are drawn by ``map.js`` as text.
"""

import base64
import hashlib
import html
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import folium

from layers.errors import AddressUnusable
from layers.map_words import MAP_WORDS

SHELL_ID = "map_shell"
DATA_ID = "map_data"
MAX_ZOOM = 22
MIN_ZOOM = {"earth": 1, "local": -6}
CRS = {"earth": "EPSG3857", "local": "Simple"}

# Files below the static folder that a map needs, in the order in which they are loaded.
STYLES = ("vendor/leaflet/leaflet.css", "map.css")
SCRIPTS = (
    "vendor/leaflet/leaflet.js",
    "map_parts.js",
    "map_marks.js",
    "map_cards.js",
    "map_warnings.js",
    "map.js",
)

_ADDRESS = re.compile(r"[A-Za-z0-9_./:?=&%~-]+")


@dataclass(frozen=True)
class MapAssets:
    """Where the page finds the browser files: style sheets and scripts, in the order they are loaded."""

    css: tuple[str, ...]
    js: tuple[str, ...]


@dataclass(frozen=True)
class MapShell:
    """The parts of a map for a page.

    ``header`` goes into the head (links to files only), ``html`` where the map should be, ``script`` into one
    ``<script>`` element with the page's nonce, after ``html``.
    """

    header: str
    html: str
    script: str


class _LeanMap(folium.Map):
    """A map that brings Leaflet and our own files, and nothing else."""

    def __init__(self, frame: str, assets: MapAssets) -> None:
        super().__init__(
            location=[0, 0],
            zoom_start=1,
            tiles=None,
            crs=CRS[frame],
            max_zoom=MAX_ZOOM,
            zoom_control=False,
            maxZoom=MAX_ZOOM,
            minZoom=MIN_ZOOM[frame],
            zoomSnap=0.25,
            attributionControl=False,
        )
        self.default_js = [(f"js_{i}", address) for i, address in enumerate(assets.js)]
        self.default_css = [(f"css_{i}", address) for i, address in enumerate(assets.css)]

    def get_name(self) -> str:
        """The fixed name by which our script finds the map."""
        return SHELL_ID


def map_shell(
    assets: MapAssets,
    frame: Literal["earth", "local"],
    source: str | None = None,
    messages: Mapping[str, str] = MAP_WORDS,
) -> MapShell:
    """Return the parts of a map.

    Parameters
    ----------
    assets : MapAssets
        Addresses of the files named by ``STYLES`` and ``SCRIPTS``.
    frame : str
        "earth", or "local" for a ground in metres without a place on earth.
    source : str, optional
        Address of the document as JSON. Without one the page carries it (`embedded`).
    messages : mapping
        Words of the map, translated; those for waiting and for failing are needed before there is a document.

    Raises
    ------
    AddressUnusable
        If an address has characters that have no place in one.
    """
    for address in (*assets.css, *assets.js):
        if not _ADDRESS.fullmatch(address):
            raise AddressUnusable(address)
    figure = _LeanMap(frame, assets).get_root()
    figure.render()
    for name in [*figure.header._children]:
        if not name.startswith(("css_", "js_")):
            figure.header._children.pop(name)
    where = f'data-source="{html.escape(source)}"' if source else f'data-inline="{DATA_ID}"'
    waiting, failed = (html.escape(messages.get(key, MAP_WORDS[key])) for key in ("loading", "failed"))
    canvas = figure.html.render().strip()
    return MapShell(
        header=_one_per_line(figure.header.render()),
        html=f'<section class="bw-map" data-map="{SHELL_ID}" data-failed="{failed}" {where}>'
        f'<div class="bw-map-ground">{canvas}</div><div class="bw-map-side"><p>{waiting}</p></div></section>',
        script=_one_per_line(figure.script.render()),
    )


def embedded(document: Mapping[str, Any]) -> str:
    """Return the document as a JSON element for a page; nothing in it can end the element or run."""
    return f'<script type="application/json" id="{DATA_ID}">{_inert_json(document)}</script>'


def self_contained(document: Mapping[str, Any], assets: Mapping[str, str]) -> str:
    """Return the map as one HTML file that opens from a disk without a network.

    Parameters
    ----------
    document : mapping
        What `layers.map_document.map_document` gives. A street basemap is left out; a plan image must be a
        ``data:`` address.
    assets : mapping
        The texts of the files named by ``STYLES`` and ``SCRIPTS``.
    """
    shell = map_shell(MapAssets((), ()), document["frame"], messages=document["messages"])
    styles = [_without_addresses(assets[name]) for name in STYLES]
    scripts = [_inline(assets[name]) for name in SCRIPTS]
    scripts.insert(1, shell.script)
    words = {**MAP_WORDS, **document["messages"]}
    title = html.escape(document["title"])
    day = html.escape(words["as_of"].replace("{day}", document["as_of"]))
    policy = (
        f"default-src 'none'; script-src {_hashes(scripts)}; style-src {_hashes(styles)}; "
        "style-src-attr 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    )
    return "\n".join(
        [
            "<!DOCTYPE html>",
            f'<html lang="{html.escape(document["lang"])}">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{title}, {day}</title>",
            *(f"<style>{style}</style>" for style in styles),
            "</head>",
            '<body class="bw-map-file">',
            f"<header><h1>{title}</h1><p>{day}</p></header>",
            f"<main>{shell.html}</main>",
            embedded({**document, "basemap": None}),
            *(f"<script>{script}</script>" for script in scripts),
            "</body>",
            "</html>",
            "",
        ]
    )


def _one_per_line(text: str) -> str:
    return "\n".join(line.strip() for line in text.splitlines() if line.strip())


def _inert_json(document: Mapping[str, Any]) -> str:
    """JSON in which no character can end a script element or a line of one."""
    text = json.dumps(document, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _without_addresses(style: str) -> str:
    """A style sheet without pictures of its own: a file has none beside it."""
    return re.sub(r"url\([^)]*\)", "none", style)


def _inline(script: str) -> str:
    """A script as it may stand inside a script element, without the pointer to its source."""
    bare = re.sub(r"(?m)^//[#@] sourceMappingURL=.*$", "", script)
    return bare.replace("</script", "<\\/script").replace("<!--", "<\\!--")


def _hashes(texts: list[str]) -> str:
    digests = (hashlib.sha256(text.encode()).digest() for text in texts)
    return " ".join(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests)
