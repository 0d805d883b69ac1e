"""The description of the open collections for programs, as data: OpenAPI 3.0.

Every operation has all its parameters and every status that it answers; nothing points out of the document.
Reference: OpenAPI Specification 3.0.3, 2020.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from service.feature_kinds import Collection, queryable
from service.feature_questions import MAX_LIMIT
from service.layer_parts import LayerColumn
from service.web import ogc_links, ogc_parameters, problems
from service.web.ogc_schemas import property_schema

VERSION = "1.0.0"
STATUSES = {
    "400": "A parameter is not known or its value cannot be used.",
    "403": "Whoever asks may not look at this.",
    "404": "There is nothing by that name.",
    "406": "It cannot be given in a form that Accept allows.",
    "500": "Something went wrong here.",
    "503": "The records cannot be reached just now.",
}
_TEXT = {"type": "string"}
_OBJECT = {"type": "object"}


@dataclass(frozen=True)
class Described:
    """A collection with what can be asked of it."""

    collection: Collection
    columns: tuple[LayerColumn, ...]
    crs: tuple[str, ...]


def api_document(
    title: str, description: str, server: str, described: Iterable[Described], sites: Iterable[str]
) -> dict[str, Any]:
    """Return the whole document."""
    held, slugs = list(described), tuple(sites)
    paths = _fixed_paths([each.collection.id for each in held])
    for each in held:
        at = f"/collections/{each.collection.id}/items"
        paths |= {at: _items(each, slugs), f"{at}/{{featureId}}": _item(each)}
    schemas = {**_SHARED}
    for each in held:
        schemas |= _feature_schemas(each)
    return {
        "openapi": "3.0.3",
        "info": {"title": title, "version": VERSION, "description": description},
        "servers": [{"url": server}],
        "security": [],
        "tags": [{"name": "Capabilities"}, {"name": "Data"}],
        "paths": paths,
        "components": {"schemas": schemas},
    }


def _fixed_paths(ids: list[str]) -> dict[str, Any]:
    form = [ogc_parameters.form_parameter()]
    one = [_in_path("collectionId", {"type": "string", "enum": ids})]
    json, schema = ogc_links.JSON, ogc_links.SCHEMA
    at = "/collections/{collectionId}"
    return {
        "/": _get("getLandingPage", "Where to begin", form, json, "landing"),
        "/conformance": _get("getConformance", "What is conformed to", form, json, "conformance"),
        "/collections": _get("getCollections", "The collections", form, json, "collections"),
        at: _get("describeCollection", "A collection", [*one, *form], json, "collection"),
        f"{at}/queryables": _get("getQueryables", "What a filter may name", [*one, *form], schema, "schema"),
        f"{at}/schema": _get("getSchema", "Its properties", [*one, *form], schema, "schema"),
        f"{at}/feature-schema": _get("getFeatureSchema", "A whole feature", [*one, *form], schema, "schema"),
    }


def _items(each: Described, slugs: tuple[str, ...]) -> dict[str, Any]:
    said = each.collection
    named = tuple(column for column in each.columns if queryable(column))
    parameters = ogc_parameters.items_parameters(named, each.crs, slugs)
    name, media_type, schema = f"get{said.id.capitalize()}", ogc_links.GEOJSON, f"{said.id}-page"
    return _get(name, said.title, parameters, media_type, schema, "Data", description=said.description)


def _item(each: Described) -> dict[str, Any]:
    said = each.collection
    number = _in_path("featureId", {"type": "integer", "format": "int64"})
    parameters = [number, *ogc_parameters.item_parameters(each.crs)]
    name, media_type, schema = f"get{said.id.capitalize()}Feature", ogc_links.GEOJSON, f"{said.id}-feature"
    summary = f"One of {said.title}"
    return _get(name, summary, parameters, media_type, schema, "Data", description=said.description)


def _get(
    name: str,
    summary: str,
    parameters: list[dict[str, Any]],
    media_type: str,
    schema: str,
    tag: str = "Capabilities",
    **more: str,
) -> dict[str, Any]:
    statuses = {k: v for k, v in STATUSES.items() if k != "404" or any(p["in"] == "path" for p in parameters)}
    held = {media_type: {"schema": _ref(schema)}, ogc_links.HTML: {"schema": _TEXT}}
    answers: dict[str, Any] = {"200": {"description": summary, "content": held, "headers": _HEADERS}}
    answers["304"] = {"description": "What whoever asks holds has not changed."}
    for status, said in statuses.items():
        content = {problems.MEDIA_TYPE: {"schema": _ref("problem")}, ogc_links.HTML: {"schema": _TEXT}}
        answers[status] = {"description": said, "content": content}
    return {
        "get": {
            "operationId": name,
            "summary": summary,
            "tags": [tag],
            "parameters": parameters,
            "responses": answers,
            **more,
        }
    }


def _feature_schemas(each: Described) -> dict[str, Any]:
    name = each.collection.id
    properties = {column.name: _nullable(column) for column in each.columns}
    feature = _feature(
        {
            "type": "object",
            "required": list(properties),
            "properties": properties,
            "additionalProperties": False,
        }
    )
    page = {
        "type": "object",
        "required": ["type", "features", "links", "timeStamp", "numberMatched", "numberReturned"],
        "properties": {
            "type": {"type": "string", "enum": ["FeatureCollection"]},
            "features": {"type": "array", "items": _ref(f"{name}-feature")},
            "links": {"type": "array", "items": _ref("link")},
            "timeStamp": {"type": "string", "format": "date-time"},
            "numberMatched": {"type": "integer", "minimum": 0},
            "numberReturned": {"type": "integer", "minimum": 0, "maximum": MAX_LIMIT},
            "caution": _TEXT,
            "note": _TEXT,
        },
    }
    return {f"{name}-feature": feature, f"{name}-page": page}


def _feature(properties: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["type", "id", "geometry", "properties"],
        "properties": {
            "type": {"type": "string", "enum": ["Feature"]},
            "id": {"type": "integer", "format": "int64"},
            "geometry": _ref("geometry"),
            "properties": dict(properties),
            "links": {"type": "array", "items": _ref("link")},
        },
    }


def _nullable(column: LayerColumn) -> dict[str, Any]:
    said = {name: value for name, value in property_schema(column).items() if not name.startswith("x-")}
    if said["type"] == "array":
        said["items"] = {}
    return {**said, "nullable": True}


def _in_path(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "path", "required": True, "schema": schema}


def _ref(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/schemas/{name}"}


def _linked(required: Iterable[str], **properties: Any) -> dict[str, Any]:
    held = {"links": {"type": "array", "items": _ref("link")}, **properties}
    return {"type": "object", "required": [*required, "links"], "properties": held}


_HEADERS = {
    "Link": {"description": "Links to what is near.", "schema": _TEXT},
    "ETag": {"description": "Changes with the answer.", "schema": _TEXT},
    "Content-Crs": {"description": "The system of the positions, in angle brackets.", "schema": _TEXT},
}
_SHARED: dict[str, Any] = {
    "link": {
        "type": "object",
        "required": ["href", "rel"],
        "properties": {
            "href": {"type": "string", "format": "uri"},
            "rel": _TEXT,
            "type": _TEXT,
            "title": _TEXT,
        },
    },
    "landing": _linked(["title"], title=_TEXT, description=_TEXT),
    "conformance": {
        "type": "object",
        "required": ["conformsTo"],
        "properties": {"conformsTo": {"type": "array", "items": _TEXT}},
    },
    "collections": _linked(["collections"], collections={"type": "array", "items": _ref("collection")}),
    "collection": _linked(
        ["id", "itemType", "crs", "storageCrs"],
        id=_TEXT,
        title=_TEXT,
        description=_TEXT,
        itemType={"type": "string", "enum": ["feature"]},
        extent=_OBJECT,
        crs={"type": "array", "items": _TEXT},
        storageCrs=_TEXT,
    ),
    "schema": {"type": "object", "required": ["$schema", "$id", "type", "properties"], "properties": {}},
    "geometry": {
        "type": "object",
        "nullable": True,
        "required": ["type"],
        "properties": {"type": _TEXT, "coordinates": {"type": "array", "items": {}}},
    },
    "problem": {
        "type": "object",
        "required": ["type", "title", "status", "detail", "instance"],
        "properties": {
            **dict.fromkeys(("type", "title", "detail", "instance"), _TEXT),
            "status": {"type": "integer"},
            "errors": {"type": "array", "items": {"type": "object"}},
        },
    },
}
