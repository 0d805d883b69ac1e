"""The map inside a page with the strict policy that pages send, and the drawing tool on it."""

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from layers import maps
from tests.map_builders import STATIC, make_document

NONCE = "c2FpZCBvbmNl"
POLICY = (
    f"default-src 'self'; script-src 'self' 'nonce-{NONCE}'; style-src 'self' 'nonce-{NONCE}'; "
    "style-src-attr 'unsafe-inline'; img-src 'self' data:; connect-src 'self'; object-src 'none'; "
    "base-uri 'none'"
)
TYPES = {"js": "text/javascript", "css": "text/css", "png": "image/png", "json": "application/json"}
DRAWING = ("vendor/geoman/leaflet-geoman.js", "vendor/geoman/leaflet-geoman.css")


def page_text():
    assets = maps.MapAssets(
        css=tuple("/static/" + name for name in (*maps.STYLES, DRAWING[1])),
        js=tuple("/static/" + name for name in (maps.SCRIPTS[0], DRAWING[0], *maps.SCRIPTS[1:])),
    )
    shell = maps.map_shell(assets, "earth", "/map.json")
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Map</title>{shell.header}</head>'
        f'<body><h1>Map</h1>{shell.html}<script nonce="{NONCE}">{shell.script}</script></body></html>'
    )


@pytest.fixture
def served():
    """The address of a server with the page, its document and the browser files."""
    document = {"text": json.dumps(make_document())}

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            path = self.path.split("?")[0]
            if path == "/":
                self.answer(page_text().encode(), "text/html; charset=utf-8")
            elif path == "/map.json":
                self.answer(document["text"].encode(), TYPES["json"], 200 if document["text"] else 503)
            elif path.startswith("/static/"):
                file = STATIC / path.removeprefix("/static/")
                self.answer(file.read_bytes(), TYPES[file.suffix[1:]])
            else:
                self.answer(b"", "text/plain", 204)

        def answer(self, body, media_type, status=200):
            self.send_response(status)
            self.send_header("Content-Type", media_type)
            self.send_header("Content-Security-Policy", POLICY)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *said):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/", document
    server.shutdown()
    server.server_close()
    thread.join()


def test_the_served_map_keeps_to_the_policy_of_pages(served, browser_page):
    address, _ = served
    page = browser_page.page
    page.goto(address)
    page.wait_for_selector(".bw-map-ready")
    page.fill("#bw-find", "T006")
    page.click(".bw-found button")
    assert page.locator(".bw-card").is_visible()
    assert browser_page.complaints == []
    assert browser_page.outside(address) == []


def test_an_area_can_be_drawn_under_the_policy_of_pages(served, browser_page):
    address, _ = served
    page = browser_page.page
    page.goto(address)
    page.wait_for_selector(".bw-map-ready")
    page.evaluate(
        """() => { window.corners = 0;
                   map_shell.on('pm:create', e => { window.drawn = e.layer.toGeoJSON().geometry; });
                   map_shell.on('pm:drawstart', e => {
                     e.workingLayer.on('pm:vertexadded', () => { window.corners += 1; }); });
                   map_shell.pm.enableDraw('Polygon'); }"""
    )
    box = page.locator("#map_shell").bounding_box()
    corners = [(0.3, 0.3), (0.6, 0.3), (0.6, 0.6), (0.3, 0.3)]
    for number, (right, down) in enumerate(corners):
        at = box["x"] + right * box["width"], box["y"] + down * box["height"]
        page.mouse.move(*at, steps=5)
        page.wait_for_timeout(100)
        page.mouse.click(*at)
        if number < 3:
            page.wait_for_function("n => window.corners === n", arg=number + 1)
    page.wait_for_function("() => window.drawn")
    drawn = page.evaluate("() => window.drawn")
    assert drawn["type"] == "Polygon"
    assert len(drawn["coordinates"][0]) == 4
    assert page.locator(".bw-card").is_hidden()
    assert browser_page.complaints == []


def test_a_document_that_does_not_come_is_said(served, browser_page):
    address, document = served
    document["text"] = ""
    page = browser_page.page
    page.goto(address)
    page.wait_for_selector(".bw-map-failed")
    assert "could not be loaded" in page.locator(".bw-map-side").inner_text()


def test_other_scripts_are_told_when_the_map_is_there(served, browser_page):
    address, _ = served
    page = browser_page.page
    page.add_init_script(
        "document.addEventListener('bw-map-ready', e => { window.told = e.detail.trees.length; });"
    )
    page.goto(address)
    page.wait_for_selector(".bw-map-ready")
    assert page.evaluate("() => window.told") == 40
