"""Forms of the ground: areas and targets, drawn on the map, or hectares typed with their source."""

import json
from collections.abc import Mapping
from typing import Any

import shapely
from flask import Blueprint, flash, request
from flask_babel import gettext as _

from service.edit import add_areas, add_targets, cross_out, edit_shape
from service.errors import InvalidRequest, NotFound
from service.view import SiteView
from service.web import area_errors, choices, closed, corners, current, form, frame, lengths
from service.web.display import say

bp = Blueprint("ground_forms", __name__)

KINDS = {"areas": "area", "targets": "target", "closures": "closure", "hazards": "hazard"}
AREA_TEXTS = ("name", "kind", "use", "keeper", "area_source", "counting_complete")
AREA_NUMBERS = (("typed_area_ha", "ground"), ("counting_limit_cm", "width"))
TARGET_TEXTS = ("name", "kind", "use")


def _values(view: SiteView, kind: str, sent: form.Form, before: Any = None) -> dict[str, Any]:
    values: dict[str, Any] = sent.texts(*(AREA_TEXTS if kind == "areas" else TARGET_TEXTS))
    values["geometry"] = corners.geometry(
        sent, values["kind"], kind == "areas", view.terms.frame, lengths.per_unit(view.terms.units)
    )
    if kind == "areas":
        for name, what in AREA_NUMBERS:
            known = () if before is None else (before[name],)
            values[name] = lengths.typed(sent, name, view.terms.units, *known, kind=what)
        if values["typed_area_ha"] is not None and values["area_source"] is None:
            sent.faults["area_source"] = _("Say where that size is from.")
        if not sent.faults:
            values |= area_errors.of_area(view, sent, values, before)
    elif values["geometry"] is None:
        sent.faults.setdefault("geometry", _("Draw where it is: a point, a line or an outline."))
    return {name: value for name, value in values.items() if value is not None}


@bp.route("/sites/<slug>/<any(areas, targets):kind>/new", methods=["GET", "POST"])
def new_shape(slug: str, kind: str) -> Any:
    """A new area, or something that a tree could hit."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _page(view, kind, form.blank(kind="lawn" if kind == "areas" else "path"))
    sent = form.typed()
    values = _checked(view, kind, sent)
    add = add_areas if kind == "areas" else add_targets
    if form.tried(sent, lambda: add(current.store(), slug, current.actor(), [values])) is None:
        return _page(view, kind, sent)
    flash(_("%(name)s is on the map.", name=values["name"]))
    return form.away(f"/sites/{slug}/ground")


def _checked(view: SiteView, kind: str, sent: form.Form, before: Any = None) -> dict[str, Any]:
    """What was sent; an outline that cannot be used is a fault of the form."""
    try:
        return _values(view, kind, sent, before)
    except InvalidRequest as error:
        for where, message in error.faults:
            sent.faults.setdefault(where.strip("/"), say(message))
    return {}


@bp.route("/sites/<slug>/<any(areas, targets):kind>/<id>/edit", methods=["GET", "POST"])
def edit_one(slug: str, kind: str, id: str) -> Any:
    """Change an area or target: the former version is kept."""
    view = current.site_view(slug)
    record = _record(view, kind, id)
    if request.method == "GET":
        return _page(view, kind, _known(view, kind, record), record=record)
    sent = form.typed()
    values, version = _checked(view, kind, sent, record), sent.version()

    def change() -> int:
        kept = {"layer": record["layer"], **values}
        return edit_shape(current.store(), slug, current.actor(), KINDS[kind], id, version, kept)

    if form.tried(sent, change) is None:
        return _page(view, kind, sent, record=record)
    flash(_("%(name)s was changed; the former version is kept.", name=values["name"]))
    return form.away(f"/sites/{slug}/ground")


def _known(view: SiteView, kind: str, record: Any) -> form.Form:
    shape = record["geometry"]
    said = {name: record[name] for name in ("name", "kind", "use", "version")}
    if kind == "areas":
        said |= {name: record[name] for name in ("keeper", "counting_complete")}
        said |= {name: lengths.shown(record[name], view.terms.units, what) for name, what in AREA_NUMBERS}
        said |= area_errors.typed_of(view, record)
    return form.blank(**said, geometry=None if shape is None else shapely.to_geojson(shape))


@bp.post("/sites/<slug>/<any(areas, targets, closures, hazards):kind>/<id>/cross-out")
def cross_out_one(slug: str, kind: str, id: str) -> Any:
    """Cross out an area, target, closure or hazard that was entered by mistake."""
    version = form.typed().version()
    cross_out(current.store(), slug, current.actor(), KINDS[kind], id, version)
    flash(_("It was crossed out. It can be taken back."))
    return form.away(f"/sites/{slug}/ground")


@bp.get("/sites/<slug>/ground")
def ground(slug: str) -> str:
    """What is on the map besides trees: areas, what is underneath, plan images."""
    view = current.site_view(slug)
    return frame.site_page(
        "ground.html",
        view,
        "ground",
        areas=list(view.areas.sort_values("name").itertuples()),
        targets=list(view.records.targets.sort_values("name").itertuples()),
        plans=[_plan(row) for row in view.records.plan_images.to_dict("records")],
        closures=closed.closed_now(view),
        other_closures=closed.closed_before_or_later(view),
        hazards=closed.hazard_rows(view),
        plain={"area": dict(choices.AREA_KINDS), "target": dict(choices.TARGET_KINDS)},
    )


def _plan(row: Mapping[Any, Any]) -> dict[str, Any]:
    placed = json.loads(row["placement"]) if row["placement"] else None
    return {
        "id": row["id"],
        "name": row["name"],
        "placed": placed is not None,
        "local": placed is not None and placed.get("lon_deg") is None,
        "misfit_share": row["misfit_share"],
    }


def _record(view: SiteView, kind: str, id: str) -> Any:
    rows = view.records.areas if kind == "areas" else view.records.targets
    found = rows[rows[f"{KINDS[kind]}_id"] == id]
    if not len(found):
        raise NotFound(_("area on this ground") if kind == "areas" else _("thing on this ground"), id)
    return found.iloc[0]


def _page(view: SiteView, kind: str, sent: form.Form, **given: Any) -> Any:
    page = frame.site_page(
        "ground_form.html",
        view,
        "ground",
        kind=kind,
        form=sent,
        choices=choices,
        shell=frame.map_of(view),
        plan_error=area_errors.words(view),
        **given,
    )
    return page, (422 if sent.faults else 200)
