"""What may be asked of the open collections: every parameter with its type, as OpenAPI 3.0 says it.

References
----------
OGC 17-069r4, OGC API - Features - Part 1, sections 7.15.2 to 7.15.5 (limit, bbox, datetime, properties); OGC
18-058r1, Part 2, sections 6.2 and 6.3 (bbox-crs, crs). OGC 19-079r2, Part 3, section 6.5 (filter ...).
"""

from collections.abc import Iterable
from typing import Any

from layers.column_kinds import Kind
from service.cql_filter import LANGUAGES
from service.feature_questions import DEFAULT_LIMIT, MAX_LIMIT
from service.features import MAX_ORDER
from service.layer_parts import LayerColumn
from service.web.accepting import FORMS

OF_ITEM = ("f", "crs", "as_of")
OF_ITEMS = (
    *("f", "limit", "bbox", "bbox-crs", "crs", "datetime", "filter", "filter-lang", "filter-crs"),
    *("sortby", "site", "as_of", "token"),
)
_TYPES: dict[Kind, dict[str, Any]] = {
    "text": {"type": "string", "pattern": r"^[^\u0000]*$"},
    "float": {"type": "number", "format": "double"},
    "int": {"type": "integer"},
    "flag": {"type": "boolean"},
    "date": {"type": "string", "format": "date"},
    "time": {"type": "string", "format": "date-time"},
}


def form_parameter() -> dict[str, Any]:
    """Return the parameter that names the form of an answer."""
    return _parameter("f", "The form of the answer, instead of the header Accept.", _one_of(FORMS))


def item_parameters(crs: Iterable[str]) -> list[dict[str, Any]]:
    """Return the parameters of a single feature."""
    return [form_parameter(), _crs("crs", "The system in which positions are given.", crs), _as_of()]


def items_parameters(
    columns: Iterable[LayerColumn], crs: Iterable[str], sites: Iterable[str]
) -> list[dict[str, Any]]:
    """Return the parameters of a collection's features, one for each property that can be asked for."""
    systems, columns = tuple(crs), tuple(columns)
    named = [form_parameter(), _limit(), _bbox()]
    named.append(_crs("bbox-crs", "The system of the numbers of bbox.", systems))
    named.append(_crs("crs", "The system in which positions are given.", systems))
    named += [_datetime(), *_filters(systems), _sortby(columns)]
    of_site: dict[str, Any] = {"type": "string"}
    if slugs := sorted(sites):
        of_site["enum"] = slugs
    named.append(_parameter("site", "Only features of this ground.", of_site))
    named += [
        _as_of(),
        _parameter("token", "Where a page begins: as a link of the page before says it.", TOKEN),
    ]
    return named + [_property(column) for column in columns if column.name not in OF_ITEMS]


TOKEN = {"type": "string", "format": "page-token"}


def _parameter(name: str, description: str, schema: dict[str, Any]) -> dict[str, Any]:
    said = {"name": name, "in": "query", "required": False, "description": description}
    return said | {"style": "form", "explode": False, "schema": schema}


def _one_of(values: Iterable[str], **more: Any) -> dict[str, Any]:
    return {"type": "string", "enum": list(values), **more}


def _crs(name: str, description: str, systems: Iterable[str]) -> dict[str, Any]:
    listed = tuple(systems)
    return _parameter(name, description, _one_of(listed, format="uri", default=listed[0]))


def _as_of() -> dict[str, Any]:
    return _parameter(
        "as_of", "The day that is told of; today by default.", {"type": "string", "format": "date"}
    )


def _limit() -> dict[str, Any]:
    schema = {"type": "integer", "minimum": 1, "maximum": MAX_LIMIT, "default": DEFAULT_LIMIT}
    return _parameter("limit", "The most features of an answer; a greater number gives the greatest.", schema)


def _bbox() -> dict[str, Any]:
    schema = {"type": "array", "minItems": 4, "maxItems": 6, "items": {"type": "number"}}
    schema["not"] = {"minItems": 5, "maxItems": 5}
    said = (
        "Only features that meet this box: west, south, east, north, or with the lowest and highest height."
    )
    return _parameter("bbox", f"{said} West is greater than east across the antimeridian.", schema)


def _datetime() -> dict[str, Any]:
    said = "Only features of this moment or interval (a/b, ../b, a/..)."
    return _parameter("datetime", said, {"type": "string", "format": "datetime-or-interval"})


def _filters(systems: tuple[str, ...]) -> list[dict[str, Any]]:
    language = _one_of(LANGUAGES, default=LANGUAGES[0])
    return [
        _parameter(
            "filter", "Only features for which this holds.", {"type": "string", "format": "cql2-text"}
        ),
        _parameter("filter-lang", "The language of filter; cql-text is another name of cql2-text.", language),
        _crs("filter-crs", "The system of the positions in filter.", systems),
    ]


def _sortby(columns: Iterable[LayerColumn]) -> dict[str, Any]:
    names = [column.name for column in columns if sortable(column.name)]
    orders = [order for name in names for order in (name, f"-{name}")]
    schema: dict[str, Any] = {"type": "array", "minItems": 1, "maxItems": MAX_ORDER, "items": _one_of(orders)}
    return _parameter(
        "sortby", "The order of the features: names, each with - before it where falling.", schema
    )


def sortable(name: str) -> bool:
    """Whether a name can be told apart in a list of names with signs before them."""
    return bool(name) and "," not in name and name[0] not in "+- " and name == name.strip()


def _property(column: LayerColumn) -> dict[str, Any]:
    unit = f" [{column.unit}]" if column.unit else ""
    said = f"Only features of which this is so: {column.meaning or column.name}{unit}"
    return _parameter(column.name, said, dict(_TYPES[column.kind]))
