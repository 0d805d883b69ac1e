"""Forms of closed places: an outline, one of the areas, or a circle round a tree; and opening one again."""

import json
import math
from typing import Any

import shapely
from flask import Blueprint, flash, request
from flask_babel import gettext as _

from service import closures
from service.danger_records import ClosureIn
from service.errors import NotFound
from service.records import parsed
from service.view import SiteView
from service.web import corners, current, form, frame, lengths, tree_facts

bp = Blueprint("closure_forms", __name__)

TEXTS = ("name", "from_on", "to_on", "why", "how_marked", "who_may_reopen")
NEEDED = ("name", "from_on", "why", "who_may_reopen")
REOPENED = ("reopened_on", "reopened_because", "reopened_by")


@bp.route("/sites/<slug>/closures/new", methods=["GET", "POST"])
def new_closure(slug: str) -> Any:
    """Keep people out of a place; with ``?tree=`` of a circle round that tree."""
    view = current.site_view(slug)
    tree = tree_facts.tree_row(view, request.args["tree"]) if request.args.get("tree") else None
    if request.method == "GET":
        return _page(view, _usual(view, tree), tree)
    sent = form.typed()
    values = _values(view, sent, tree)

    def make() -> list[str]:
        return closures.add_closures(current.store(), slug, current.actor(), [parsed(ClosureIn, values)])

    if form.tried(sent, make) is None:
        return _page(view, sent, tree)
    flash(_("The place is closed; it is hatched on every map. Mark it on the ground as well."))
    return form.away(f"/sites/{slug}/ground" if tree is None else f"/sites/{slug}/trees/{tree.tree_id}")


def _usual(view: SiteView, tree: Any) -> form.Form:
    known: dict[str, Any] = {"from_on": view.as_of, "who_may_reopen": view.terms.qualified}
    if tree is not None:
        reach = view.reach_m(tree.tree_id)
        per_unit = lengths.per_unit(view.terms.units)
        known["radius_m"] = None if reach is None else math.ceil(reach / per_unit)
        known["name"] = _("round tree %(tag)s", tag=tree.tag or _("without a number"))
    return form.blank(**known)


def _values(view: SiteView, sent: form.Form, tree: Any, before: Any = None) -> dict[str, Any]:
    values: dict[str, Any] = sent.texts(*TEXTS)
    for name in NEEDED:
        if not values[name]:
            sent.faults[name] = _("Fill this in: it is what people ask at the barrier.")
    if tree is not None or (before is not None and _is_round(before)):
        known = () if before is None else (before["radius_m"],)
        values["radius_m"] = lengths.typed(sent, "radius_m", view.terms.units, *known)
        if values["radius_m"] is None:
            sent.faults.setdefault("radius_m", _("Say how far from it people are kept out."))
        if tree is not None:
            return values | {"tree_id": tree.tree_id}
        return values | {"tree_id": before["tree_id"], "geometry": _geojson(before["geometry"])}
    per_unit = lengths.per_unit(view.terms.units)
    drawn = corners.geometry(sent, None, True, view.terms.frame, per_unit)
    return values | {"geometry": drawn or _outline_of_area(view, sent.text("area"))}


def _outline_of_area(view: SiteView, area_id: str | None) -> dict[str, Any] | None:
    """The outline of an area as it is now: what is closed does not change with a later drawing."""
    found = view.areas[view.areas["area_id"] == area_id]["geometry"].dropna()
    return _geojson(found.iloc[0]) if len(found) else None


def _geojson(shape: Any) -> dict[str, Any] | None:
    return None if shape is None else dict(json.loads(shapely.to_geojson(shape)))


def _is_round(record: Any) -> bool:
    shape = record["geometry"]
    return bool(record["tree_id"]) or (shape is not None and shape.geom_type == "Point")


@bp.route("/sites/<slug>/closures/<id>/edit", methods=["GET", "POST"])
def edit_closure(slug: str, id: str) -> Any:
    """Change what is said of a closed place: the former version is kept."""
    view = current.site_view(slug)
    record = _record(view, id)
    if request.method == "GET":
        shape = record["geometry"]
        known = {name: record[name] for name in (*TEXTS, "version")}
        known["radius_m"] = lengths.shown(record["radius_m"], view.terms.units)
        known["geometry"] = None if shape is None or _is_round(record) else shapely.to_geojson(shape)
        return _page(view, form.blank(**known), None, record)
    sent = form.typed()
    values, version = _values(view, sent, None, record), sent.version()

    def change() -> int:
        return closures.change(current.store(), slug, current.actor(), "closure", id, version, values)

    if form.tried(sent, change) is None:
        return _page(view, sent, None, record)
    flash(_("%(name)s was changed; the former version is kept.", name=values["name"]))
    return form.away(f"/sites/{slug}/ground")


@bp.route("/sites/<slug>/closures/<id>/reopen", methods=["GET", "POST"])
def reopen_closure(slug: str, id: str) -> Any:
    """Open a closed place again: when, on what finding, by whom."""
    view = current.site_view(slug)
    record = _record(view, id)
    sent = form.typed()
    if request.method == "GET":
        sent = form.blank(reopened_on=view.as_of, version=record["version"])
        return _reopen_page(view, record, sent)
    for name, why in (
        ("reopened_on", _("Say from which day it is open again.")),
        ("reopened_because", _("Say what was found; a place is not reopened by a tick.")),
        ("reopened_by", _("Say who decided: an organisation or a role, a person only if they agree.")),
    ):
        if not sent.text(name):
            sent.faults[name] = why
    said, version = sent.texts(*REOPENED), sent.version()
    opened = form.tried(
        sent, lambda: closures.reopen(current.store(), slug, current.actor(), id, version, said)
    )
    if opened is None:
        return _reopen_page(view, record, sent)
    flash(_("%(name)s is open again. Take the marks away on the ground as well.", name=record["name"]))
    return form.away(f"/sites/{slug}/ground")


def _record(view: SiteView, id: str) -> dict[Any, Any]:
    rows = view.records.closures
    found = rows[rows["id"] == id].to_dict("records") if len(rows) else []
    if not found:
        raise NotFound(_("closed place on this ground"), id[:80])
    return dict(found[0])


def _reopen_page(view: SiteView, record: dict[Any, Any], sent: form.Form) -> Any:
    page = frame.site_page("closure_reopen.html", view, "ground", record=record, form=sent)
    return page, (422 if sent.faults else 200)


def _page(view: SiteView, sent: form.Form, tree: Any, record: dict[Any, Any] | None = None) -> Any:
    drawn = view.areas[view.areas["geometry"].notna()]
    page = frame.site_page(
        "closure_form.html",
        view,
        "ground",
        form=sent,
        tree=tree,
        record=record,
        is_round=tree is not None or (record is not None and _is_round(record)),
        areas=[("", _("none of these")), *zip(drawn["area_id"], drawn["name"], strict=True)],
        shell=frame.map_of(view),
    )
    return page, (422 if sent.faults else 200)
