"""Answers of the open collections: as data or as a page, with their links, tag and caution.

References
----------
OGC 17-069r4, OGC API - Features - Part 1: Core, sections 7.15.6 to 7.16 (features); 18-058r1, Part 2
(Content-Crs); RFC 9110, HTTP Semantics, 2022, section 13 (conditional requests).
"""

import datetime as dt
import hashlib
from collections.abc import Sequence
from typing import Any

import orjson
from flask import Response, make_response, render_template, request

from service.feature_kinds import Collection
from service.feature_questions import Items
from service.web import frame, languages
from service.web.addresses import absolute
from service.web.ogc_features import feature_texts_in
from service.web.ogc_links import BASE, GEOJSON, HTML, JSON, Link, both, link, with_header

NO_PLACE = (
    "What has no geometry has no position, or is on a ground without a place on earth yet; the CSV of such a "
    "ground has metres."
)


def tag_of(*said: object) -> str:
    """Return the tag of an answer: of what it is made from, and of what its words and addresses depend on."""
    asked = (*said, absolute(request.full_path), languages.spoken())
    return hashlib.sha256("\n".join(map(str, asked)).encode("utf-8", "replace")).hexdigest()[:32]


def document(
    said: dict[str, Any], media_type: str, form: str, template: str, links: Sequence[Link], **given: Any
) -> Response:
    """Return a document as data or as a page; its links are in the header too."""
    if form == "html":
        body: Any = render_template(template, said=said, links=links, **given)
    else:
        body = orjson.dumps(said)
    response = make_response(body)
    response.content_type = f"{HTML}; charset=utf-8" if form == "html" else media_type
    response.vary.add("Accept")
    response.add_etag(weak=True)
    with_header(response, links)
    response.make_conditional(request)
    return response


def unchanged(tag: str) -> Response | None:
    """Return 304, marked as the whole answer would be, when whoever asks holds it; None to make it."""
    held = frame.unchanged(tag)
    return None if held is None else _marked(held, tag)


def page_of_items(said: Collection, items: Items, crs: str, form: str, tag: str) -> Response:
    """Return a page of features."""
    links = _page_links(said, items, form)
    held: dict[str, Any] = {
        "type": "FeatureCollection",
        "links": links,
        "timeStamp": dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        "numberMatched": items.matched,
        "numberReturned": items.returned,
    }
    if said.cautioned:
        held["caution"] = frame.caution_in_words(None)
    if any(
        place is None for part in items.parts for place in (part.lon if part.shapes is None else part.shapes)
    ):
        held["note"] = NO_PLACE
    if form == "html":
        rows = [(fid, cells) for part in items.parts for fid, cells in zip(part.ids, part.rows, strict=True)]
        body: Any = render_template(
            "ogc_items.html", said=held, links=links, collection=said, columns=items.columns, rows=rows
        )
    else:
        texts = [text for part in items.parts for text in feature_texts_in(crs, items.columns, part)]
        body = orjson.dumps(held)[:-1] + b',"features":[' + b",".join(texts) + b"]}"
    return _of_features(make_response(body), said, links, crs, form, tag)


def single_feature(said: Collection, items: Items, crs: str, form: str, tag: str) -> Response:
    """Return one feature."""
    part = items.parts[0]
    text = feature_texts_in(crs, items.columns, part)[0]
    at = f"{BASE}/collections/{said.id}"
    links = both(f"{at}/items/{part.ids[0]}", GEOJSON, said.title, form, request.args)
    links.append(link("collection", at, JSON, said.title))
    held: dict[str, Any] = {"links": links}
    if said.cautioned:
        held["caution"] = frame.caution_in_words(None)
    if form == "html":
        cells = list(zip(items.columns, part.rows[0], strict=True))
        body: Any = render_template(
            "ogc_item.html", said=held, fid=part.ids[0], links=links, collection=said, cells=cells
        )
    else:
        body = text[:-1] + b"," + orjson.dumps(held)[1:]
    return _of_features(make_response(body), said, links, crs, form, tag)


def _page_links(said: Collection, items: Items, form: str) -> list[Link]:
    at, asked = f"{BASE}/collections/{said.id}", request.args.to_dict()
    links = both(f"{at}/items", GEOJSON, said.title, form, asked)
    media_type = HTML if form == "html" else GEOJSON
    if items.next is not None:
        links.append(link("next", f"{at}/items", media_type, "The next page", {**asked, "token": items.next}))
    links.append(link("collection", at, JSON, said.title))
    return links


def _of_features(
    response: Response, said: Collection, links: Sequence[Link], crs: str, form: str, tag: str
) -> Response:
    response.content_type = f"{HTML}; charset=utf-8" if form == "html" else GEOJSON
    response.headers["Content-Crs"] = f"<{crs}>"
    with_header(response, links)
    if said.cautioned:
        frame.cautioned(response)
    return _marked(response, tag)


def _marked(response: Response, tag: str) -> Response:
    response.vary.add("Accept")
    response.set_etag(tag, weak=True)
    return response
