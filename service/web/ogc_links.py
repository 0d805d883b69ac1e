"""Links of the open collections: whole addresses, types without parameters, a page beside every document.

References
----------
OGC 17-069r4, OGC API - Features - Part 1: Core, 1.0.1, sections 7.2 to 7.16 (which links stand where).
RFC 8288, Web Linking, 2017.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from flask import Response

from service.web.addresses import absolute

BASE = "/ogc"
JSON = "application/json"
GEOJSON = "application/geo+json"
SCHEMA = "application/schema+json"
HTML = "text/html"
OPENAPI = "application/vnd.oai.openapi+json;version=3.0"
REL_QUERYABLES = "http://www.opengis.net/def/rel/ogc/1.0/queryables"
REL_SCHEMA = "http://www.opengis.net/def/rel/ogc/1.0/schema"
IN_HEADER = ("self", "alternate", "collection", "next", "prev", "describedby", "license")

Link = dict[str, str]


def link(rel: str, path: str, media_type: str, title: str, query: Mapping[str, Any] | None = None) -> Link:
    """Return a link to an address of ours."""
    return {"href": absolute(path, **(query or {})), "rel": rel, "type": media_type, "title": title}


def both(
    path: str, media_type: str, title: str, form: str, query: Mapping[str, Any] | None = None
) -> list[Link]:
    """Return the links to what is being shown, as it is and in the other form."""
    asked = {name: value for name, value in (query or {}).items() if name != "f"}
    page = HTML, f"{title} as a page", {**asked, "f": "html"}
    if form == "json":
        return [link("self", path, media_type, f"{title} as data", asked), link("alternate", path, *page)]
    data = media_type, f"{title} as data", {**asked, "f": "json"}
    return [link("self", path, *page), link("alternate", path, *data)]


def with_header(response: Response, links: Iterable[Link]) -> Response:
    """Say the links to what is near in the header too."""
    for each in links:
        if each["rel"] in IN_HEADER:
            response.headers.add("Link", f'<{each["href"]}>; rel="{each["rel"]}"; type="{each["type"]}"')
    return response
