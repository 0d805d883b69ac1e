"""The description of the JSON API for programs, as data: made from its routes and the records that are sent.

Reference: OpenAPI Specification 3.1.0, 2021. What an answer holds is said by the words of the nomenclature,
not by schemas: layers carry the columns that files brought, too.
"""

import re
from typing import Any

import orjson
from flask import Blueprint, Response, current_app, request
from pydantic import BaseModel
from werkzeug.routing import Rule

from service.danger_records import DangerIn
from service.records import CalibrationIn, ObservationIn, ReadingIn
from service.web.addresses import absolute
from service.web.problems import MEDIA_TYPE

bp = Blueprint("api_document", __name__, url_prefix="/api")

VERSION = "1.0.0"
SENT: dict[str, type[BaseModel]] = {
    "readings": ReadingIn,
    "observations": ObservationIn,
    "calibrations": CalibrationIn,
    "dangers": DangerIn,
}
DAY = {"as_of": ("The day that is told of; today by default.", {"type": "string", "format": "date"})}
KNOWN = {"known_at": ("As known at this change.", {"type": "integer", "minimum": 1})}
PAGED = {
    "limit": ("The most rows of an answer.", {"type": "integer", "minimum": 1, "maximum": 10_000}),
    "offset": ("How many rows are left out before.", {"type": "integer", "minimum": 0}),
}
SINCE = {"since": ("An earlier day to compare with.", {"type": "string", "format": "date"})}
CHANGES = {
    "since": ("The last change that a copy holds.", {"type": "integer", "minimum": 0}),
    "limit": ("The most records of a page.", {"type": "integer", "minimum": 1, "maximum": 10_000}),
}
OF = {"of": ("What is to be explained, such as tree:ID.", {"type": "string"})}
ASKED: dict[str, dict[str, tuple[str, dict[str, Any]]]] = {
    "sites": {},
    "openapi.json": {},
    "figures": DAY | KNOWN | SINCE,
    "changes": CHANGES,
    "how": DAY | KNOWN | OF,
    **dict.fromkeys(("dangers", "closures", "hazards"), DAY | KNOWN),
}
STATUSES = {
    "400": "A parameter cannot be used.",
    "403": "Whoever asks has no right to this.",
    "404": "There is nothing by that name.",
    "503": "The records cannot be reached just now.",
}
STATUSES_SENT = {"409": "It is known with other content.", "415": "Send JSON.", "422": "It cannot be taken."}
_ONE_OF = re.compile(r"<any\(([^)]*)\):\w+>")
_PART = re.compile(r"<(?:\w+:)?(\w+)>")


@bp.get("/openapi.json")
def api_openapi() -> Response:
    """How to ask: this description itself."""
    response = Response(orjson.dumps(_document()), content_type="application/json")
    response.add_etag()
    response.make_conditional(request)
    return response


def _document() -> dict[str, Any]:
    paths: dict[str, Any] = {}
    for rule in current_app.url_map.iter_rules():
        if rule.rule.startswith("/api/"):
            for path in _paths(rule.rule):
                paths.setdefault(path, {}).update(_operations(rule, path))
    return {
        "openapi": "3.1.0",
        "info": {"title": "Trees and what belongs to them: JSON", "version": VERSION},
        "servers": [{"url": absolute("")}],
        "security": [],
        "paths": dict(sorted(paths.items())),
        "components": {"schemas": _schemas()},
    }


def _paths(rule: str) -> list[str]:
    """The paths of a rule; one of several words makes as many paths."""
    found = _ONE_OF.search(rule)
    words = [word.strip(" '") for word in found.group(1).split(",")] if found else [""]
    return [_PART.sub(r"{\1}", _ONE_OF.sub(word, rule)) for word in words]


def _operations(rule: Rule, path: str) -> dict[str, Any]:
    function = current_app.view_functions[rule.endpoint]
    told = (function.__doc__ or "").strip().splitlines()[0]
    methods = (rule.methods or set()) & {"GET", "POST"}
    return {method.lower(): _operation(method, path, told) for method in sorted(methods)}


def _operation(method: str, path: str, told: str) -> dict[str, Any]:
    last = path.rpartition("/")[2]
    asked = ASKED.get(last, DAY | KNOWN | PAGED) if method == "GET" else {}
    parameters = [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string"}}
        for name in re.findall(r"{(\w+)}", path)
    ]
    parameters += [
        {"name": name, "in": "query", "description": said, "schema": schema}
        for name, (said, schema) in asked.items()
    ]
    name = f"{method.lower()}{path.removeprefix('/api').title()}"
    operation = {
        "operationId": re.sub(r"\W", "", name),
        "summary": told,
        "parameters": parameters,
        "responses": _answers(method),
    }
    return operation if method == "GET" else operation | {"requestBody": _body(last)}


def _body(kind: str) -> dict[str, Any]:
    one = {"$ref": f"#/components/schemas/{SENT[kind].__name__}"}
    schema = {"oneOf": [one, {"type": "array", "items": one, "maxItems": 5000}]}
    return {"required": True, "content": {"application/json": {"schema": schema}}}


def _answers(method: str) -> dict[str, Any]:
    data: dict[str, Any] = {"content": {"application/json": {"schema": {}}}}
    answers: dict[str, Any] = {"200": {"description": "What was asked for, or what became of each.", **data}}
    if method == "GET":
        answers["304"] = {"description": "What whoever asks holds has not changed."}
    else:
        answers["201"] = {"description": "It was taken.", **data}
    problem = {"content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}}
    statuses = STATUSES if method == "GET" else STATUSES | STATUSES_SENT
    return answers | {status: {"description": said, **problem} for status, said in statuses.items()}


def _schemas() -> dict[str, Any]:
    text = {"type": "string"}
    problem = {"type": "object", "required": ["type", "title", "status", "detail"], "properties": {}}
    problem["properties"] = {"type": text, "title": text, "detail": text, "status": {"type": "integer"}}
    schemas: dict[str, Any] = {"Problem": problem}
    for model in SENT.values():
        said = model.model_json_schema(ref_template="#/components/schemas/{model}")
        schemas |= said.pop("$defs", {})
        schemas[model.__name__] = said
    return schemas
