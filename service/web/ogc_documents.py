"""The documents that lead to the open collections: where to begin, what is conformed to, what there is.

References
----------
OGC 17-069r4, OGC API - Features - Part 1: Core, sections 7.2 to 7.14; OGC 18-058r1, Part 2, section 6.2;
OGC 19-079r2, Part 3, sections 6.2 to 6.5; OGC 21-065r2, Common Query Language (CQL2), section 6.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from service.crs_list import CRS84, crs_of
from service.feature_kinds import Collection
from service.feature_questions import Days, Extent
from service.outlets.export import MEDIA_TYPES
from service.web import frame
from service.web.ogc_links import (
    BASE,
    GEOJSON,
    HTML,
    JSON,
    OPENAPI,
    REL_QUERYABLES,
    REL_SCHEMA,
    SCHEMA,
    both,
    link,
)

TITLE = "Trees and what belongs to them"
DESCRIPTION = (
    "What is known of the trees of these grounds, from girths that anyone can measure. Numbers are metric, "
    "positions WGS 84 unless another system is asked for; what has no position has a null geometry."
)
GREGORIAN = "http://www.opengis.net/def/uom/ISO-8601/0/Gregorian"
DOWNLOADS = ("geojson", "fgb", "parquet")  # what readers of links take whole
_FEATURES = "http://www.opengis.net/spec/ogcapi-features"
_CQL2 = "http://www.opengis.net/spec/cql2/1.0/conf"
CONFORMS_TO = (
    *(f"{_FEATURES}-1/1.0/conf/{name}" for name in ("core", "oas30", "html", "geojson")),
    f"{_FEATURES}-2/1.0/conf/crs",
    *(
        f"{_FEATURES}-3/1.0/conf/{name}"
        for name in ("queryables", "queryables-query-parameters", "filter", "features-filter")
    ),
    *(
        f"{_CQL2}/{name}"
        for name in (
            *("cql2-text", "cql2-json", "basic-cql2", "advanced-comparison-operators"),
            *("case-insensitive-comparison", "basic-spatial-functions", "property-property"),
        )
    ),
)


def landing(form: str) -> dict[str, Any]:
    """Return where to begin."""
    links = [
        *both(BASE, JSON, "Where to begin", form),
        link("service-desc", f"{BASE}/openapi.json", OPENAPI, "How to ask, for programs"),
        link("service-doc", f"{BASE}/api", HTML, "How to ask, for people", {"f": "html"}),
        link("conformance", f"{BASE}/conformance", JSON, "Which standards this conforms to"),
        link("data", f"{BASE}/collections", JSON, "The collections"),
        link("describedby", "/cautions", HTML, "Caution"),
    ]
    return {"title": TITLE, "description": DESCRIPTION, "links": links}


def conformance(form: str) -> dict[str, Any]:
    """Return what is conformed to."""
    links = both(f"{BASE}/conformance", JSON, "Which standards this conforms to", form)
    return {"conformsTo": list(CONFORMS_TO), "links": links}


def collection_list(found: Iterable[dict[str, Any]], form: str) -> dict[str, Any]:
    """Return the collections, each as it says itself."""
    links = both(f"{BASE}/collections", JSON, "The collections", form)
    return {"links": links, "collections": list(found)}


def collection_document(said: Collection, extent: Extent, sites: Sequence[str], form: str) -> dict[str, Any]:
    """Return a collection: what it holds, where and when, and the addresses of everything of it."""
    own = both(f"{BASE}/collections/{said.id}", JSON, said.title, form)
    spans: dict[str, Any] = {"temporal": {"interval": [_interval(extent.time)], "trs": GREGORIAN}}
    if extent.box is not None:
        spans["spatial"] = {"bbox": [list(extent.box)], "crs": CRS84}
    return {
        "id": said.id,
        "title": said.title,
        "description": f"{said.description} {frame.caution_in_words(None)}"
        if said.cautioned
        else said.description,
        "itemType": "feature",
        "extent": spans,
        "crs": crs_of(extent.box),
        "storageCrs": CRS84,
        "links": [*own, *_links(said), *_downloads(said, sites)],
    }


def _interval(days: Days) -> list[str | None]:
    first, last = days
    return [first and f"{first}T00:00:00Z", last and f"{last}T23:59:59Z"]


def _links(said: Collection) -> list[dict[str, str]]:
    at = f"{BASE}/collections/{said.id}"
    links = [
        link("items", f"{at}/items", GEOJSON, f"{said.title} as GeoJSON"),
        link("items", f"{at}/items", HTML, f"{said.title} as a page", {"f": "html"}),
        link(REL_QUERYABLES, f"{at}/queryables", SCHEMA, "What a filter may name"),
        link(REL_SCHEMA, f"{at}/schema", SCHEMA, "Its properties"),
        link("describedby", f"{at}/feature-schema", SCHEMA, "A whole feature"),
        link("describedBy", f"{at}/feature-schema", SCHEMA, "A whole feature"),  # GDAL 3.6 minds the case
    ]
    if said.cautioned:
        links.append(link("describedby", "/cautions", HTML, "Caution"))
    return links


def _downloads(said: Collection, sites: Sequence[str]) -> list[dict[str, str]]:
    links = [
        link(
            "enclosure", f"/sites/{slug}/layers/{said.layer}.{form}", MEDIA_TYPES[form], f"{slug}, all of it"
        )
        for slug in sites
        for form in DOWNLOADS
    ]
    if len(sites) == 1:
        links.append({**next(each for each in links if each["href"].endswith(".fgb")), "rel": "items"})
    return links
