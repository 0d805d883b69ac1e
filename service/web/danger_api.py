"""Dangers, closed places and hazards of a day as JSON."""

import json
from typing import Any

import orjson
import shapely
from flask import Blueprint, Response

from service.outlets.warning_rows import closures_with_trees, hazards_asking
from service.view import SiteView
from service.web import current, frame

bp = Blueprint("danger_api", __name__, url_prefix="/api")

BOOKKEEPING = ("fid", "site_id", "change_id", "void", "change_no", "supersedes")


@bp.get("/sites/<slug>/<any(dangers, closures, hazards):kind>")
def api_dangers(slug: str, kind: str) -> Response:
    """What stands: dangers with whether they are answered, what is closed on the day with its trees, hazards.

    ``geometry`` is GeoJSON in the coordinates of the ground, null where a place is known in words only.
    """
    view = current.site_view(slug)
    tag = frame.etag(view, "api", kind)
    held = frame.unchanged(tag)
    if held is not None:
        return held
    body = orjson.dumps([_plain(row) for row in _rows(view, kind)])
    response = frame.kept_answer(body, "application/json", tag)
    return frame.cautioned(response)


def _rows(view: SiteView, kind: str) -> list[dict[Any, Any]]:
    if kind == "dangers":
        return list(view.dangers.to_dict("records"))
    if kind == "hazards":
        return [{**row, "barrier": bool(row["barrier"])} for row in hazards_asking(view)]
    return closures_with_trees(view)


def _plain(row: dict[Any, Any]) -> dict[str, Any]:
    """A row as JSON carries it, without the bookkeeping of the store."""
    return {str(name): _cell(value) for name, value in row.items() if name not in BOOKKEEPING}


def _cell(value: Any) -> Any:
    if isinstance(value, shapely.Geometry):
        return json.loads(shapely.to_geojson(value))
    return None if isinstance(value, float) and value != value else value
