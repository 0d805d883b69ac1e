"""The open collections at ``/ogc``: features of all grounds by open standards, for any GIS.

OGC API - Features: Part 1 (17-069r4), Part 2 (18-058r1), Part 3 (19-079r2) with CQL2 (21-065r2).
"""

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response

from service import features
from service.crs_list import crs_of
from service.errors import NotFound
from service.feature_kinds import COLLECTIONS, Collection, collection_of, queryable
from service.layer_parts import LayerColumn
from service.web import current, frame, ogc_answers, ogc_documents, ogc_links, ogc_schemas
from service.web.accepting import form_asked
from service.web.addresses import absolute
from service.web.ogc_openapi import Described, api_document
from service.web.ogc_parameters import OF_ITEM
from service.web.ogc_questions import asked_crs, asked_day, only, question

bp = Blueprint("ogc_pages", __name__, url_prefix=ogc_links.BASE)

OF_DOCUMENTS = (ogc_links.JSON,)
OF_SCHEMAS = (ogc_links.SCHEMA, ogc_links.JSON)
OF_FEATURES = (ogc_links.GEOJSON, ogc_links.JSON)
OF_API = (ogc_links.OPENAPI, "application/openapi+json", ogc_links.JSON)

Schema = Callable[[Collection, tuple[LayerColumn, ...], str], dict[str, Any]]


@bp.get("")
@bp.get("/")
def landing_page() -> Response:
    """Where to begin."""
    form = _form(OF_DOCUMENTS)
    return _document(ogc_documents.landing(form), form, "ogc_landing.html", root=absolute(ogc_links.BASE))


@bp.get("/conformance")
def conformance_page() -> Response:
    """Which standards this conforms to."""
    form = _form(OF_DOCUMENTS)
    return _document(ogc_documents.conformance(form), form, "ogc_conformance.html")


@bp.get("/openapi.json")
@bp.get("/api")
def api_page() -> Response:
    """How to ask: for programs, or as a page."""
    form = _form(OF_API)
    said = api_document(
        ogc_documents.TITLE,
        ogc_documents.DESCRIPTION,
        absolute(ogc_links.BASE),
        [_described(each) for each in COLLECTIONS.values()],
        _slugs(),
    )
    links = ogc_links.both(f"{ogc_links.BASE}/api", ogc_links.OPENAPI, ogc_documents.TITLE, form)
    return ogc_answers.document(said, ogc_links.OPENAPI, form, "ogc_api.html", links)


@bp.get("/collections")
def collections_page() -> Response:
    """The collections."""
    form = _form(OF_DOCUMENTS)
    found = [_collection(each, "json") for each in COLLECTIONS.values()]
    said = ogc_documents.collection_list(found, form)
    given = {"collections": COLLECTIONS.values(), "caution": frame.caution_in_words(None)}
    return _document(said, form, "ogc_collections.html", **given)


@bp.get("/collections/<collection>")
def collection_page(collection: str) -> Response:
    """A collection: what it holds, where and when, and its addresses.

    Raises
    ------
    NotFound
        If there is none of that name.
    """
    said, form = collection_of(collection), _form(OF_DOCUMENTS)
    return _document(_collection(said, form), form, "ogc_collection.html")


@bp.get("/collections/<collection>/queryables")
def queryables_page(collection: str) -> Response:
    """What may be named in a filter of a collection."""
    return _schema(collection, "queryables", ogc_schemas.queryables_schema, only_queryables=True)


@bp.get("/collections/<collection>/schema")
def schema_page(collection: str) -> Response:
    """The properties of a collection's features."""
    return _schema(collection, "schema", ogc_schemas.flat_schema)


@bp.get("/collections/<collection>/feature-schema")
def feature_schema_page(collection: str) -> Response:
    """What a whole feature of a collection consists of."""
    return _schema(collection, "feature-schema", ogc_schemas.feature_schema)


@bp.get("/collections/<collection>/items")
def items_page(collection: str) -> Response:
    """The features of a collection that are asked for, a page of them.

    Raises
    ------
    NotFound
        If there is no such collection.
    NotAcceptable
        If ``Accept`` allows nothing that can be given.
    InvalidRequest
        If a parameter is not known or its value cannot be used.
    """
    said, form = collection_of(collection), form_asked(OF_FEATURES)
    asked = question(_queryables(said), _crs(said), _slugs(), form)
    items = features.items(current.store(), current.actor(), said, asked.asked)
    tag = ogc_answers.tag_of(items.tag, form)
    return ogc_answers.unchanged(tag) or ogc_answers.page_of_items(said, items, asked.crs, form, tag)


@bp.get("/collections/<collection>/items/<fid>")
def item_page(collection: str, fid: str) -> Response:
    """A feature of a collection.

    Raises
    ------
    NotFound
        If there is no such collection or feature.
    NotAcceptable
        If ``Accept`` allows nothing that can be given.
    InvalidRequest
        If a parameter is not known or its value cannot be used.
    """
    said, form = collection_of(collection), form_asked(OF_FEATURES)
    only(OF_ITEM)
    if not (fid.isascii() and fid.isdigit() and len(fid) < 17):
        raise NotFound("feature", f"{said.id}/{fid[:40]}")
    crs = asked_crs("crs", _crs(said))
    items = features.item(current.store(), current.actor(), said, int(fid), asked_day())
    tag = ogc_answers.tag_of(items.tag, form)
    return ogc_answers.unchanged(tag) or ogc_answers.single_feature(said, items, crs, form, tag)


def _form(media_types: tuple[str, ...]) -> str:
    form = form_asked(media_types)
    only(("f",))
    return form


def _slugs() -> list[str]:
    return features.site_names(current.store(), current.actor())


def _columns(said: Collection) -> tuple[LayerColumn, ...]:
    return features.properties(current.store(), current.actor(), said)


def _queryables(said: Collection) -> tuple[LayerColumn, ...]:
    return tuple(column for column in _columns(said) if queryable(column))


def _crs(said: Collection) -> list[str]:
    return crs_of(features.extent(current.store(), current.actor(), said).box)


def _described(said: Collection) -> Described:
    return Described(said, _columns(said), tuple(_crs(said)))


def _document(said: dict[str, Any], form: str, template: str, **given: Any) -> Response:
    return ogc_answers.document(said, ogc_links.JSON, form, template, said["links"], **given)


def _collection(said: Collection, form: str) -> dict[str, Any]:
    extent = features.extent(current.store(), current.actor(), said)
    return ogc_documents.collection_document(said, extent, _slugs(), form)


def _schema(collection: str, name: str, made: Schema, only_queryables: bool = False) -> Response:
    said, form = collection_of(collection), _form(OF_SCHEMAS)
    path = f"{ogc_links.BASE}/collections/{said.id}/{name}"
    columns = _queryables(said) if only_queryables else _columns(said)
    links = ogc_links.both(path, ogc_links.SCHEMA, said.title, form)
    links.append(ogc_links.link("collection", path.rpartition("/")[0], ogc_links.JSON, said.title))
    schema = made(said, columns, absolute(path))
    given = {"collection": said, "columns": columns}
    return ogc_answers.document(schema, ogc_links.SCHEMA, form, "ogc_schema.html", links, **given)
