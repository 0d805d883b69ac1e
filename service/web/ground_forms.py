"""Forms of the ground: areas and targets, drawn on the map, or hectares typed with their source."""

import json
from typing import Any

import shapely
from flask import Blueprint, flash, request
from flask_babel import gettext as _

from service.edit import add_areas, add_targets, cross_out, edit_shape
from service.errors import NotFound
from service.view import SiteView
from service.web import choices, current, form, frame

bp = Blueprint("ground_forms", __name__)

KINDS = {"areas": "area", "targets": "target"}
AREA_TEXTS = ("name", "kind", "use", "keeper", "area_source", "counting_complete")
AREA_NUMBERS = ("typed_area_ha", "area_se_ha", "counting_limit_cm")
TARGET_TEXTS = ("name", "kind", "use")


def _values(kind: str, sent: form.Form) -> dict[str, Any]:
    values: dict[str, Any] = sent.texts(*(AREA_TEXTS if kind == "areas" else TARGET_TEXTS))
    if kind == "areas":
        values |= {name: sent.number(name) for name in AREA_NUMBERS}
    drawn = sent.text("geometry")
    if drawn:
        try:
            values["geometry"] = json.loads(drawn)
        except (json.JSONDecodeError, RecursionError):
            sent.faults["geometry"] = _("The outline could not be read; draw it again.")
    elif kind == "targets":
        sent.faults["geometry"] = _("Draw where it is: a point, a line or an outline.")
    return {name: value for name, value in values.items() if value is not None}


@bp.route("/sites/<slug>/<any(areas, targets):kind>/new", methods=["GET", "POST"])
def new_shape(slug: str, kind: str) -> Any:
    """A new area, or something that a tree could hit."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _page(view, kind, form.blank(kind="lawn" if kind == "areas" else "path"))
    sent = form.typed()
    values = _values(kind, sent)
    add = add_areas if kind == "areas" else add_targets
    if form.tried(sent, lambda: add(current.store(), slug, current.actor(), [values])) is None:
        return _page(view, kind, sent)
    flash(_("%(name)s is on the map.", name=values["name"]))
    return form.away(f"/sites/{slug}/ground")


@bp.route("/sites/<slug>/<any(areas, targets):kind>/<id>/edit", methods=["GET", "POST"])
def edit_one(slug: str, kind: str, id: str) -> Any:
    """Change an area or target: the former version is kept."""
    view = current.site_view(slug)
    record = _record(view, kind, id)
    if request.method == "GET":
        names = (*AREA_TEXTS, *AREA_NUMBERS) if kind == "areas" else TARGET_TEXTS
        shape = record["geometry"]
        outline = shapely.to_geojson(shape) if shape is not None else None
        known = form.blank(**{name: record[name] for name in (*names, "version")}, geometry=outline)
        return _page(view, kind, known, record=record)
    sent = form.typed()
    values, version = _values(kind, sent), int(sent.number("version") or 0)

    def change() -> int:
        return edit_shape(current.store(), slug, current.actor(), KINDS[kind], id, version, values)

    if form.tried(sent, change) is None:
        return _page(view, kind, sent, record=record)
    flash(_("%(name)s was changed; the former version is kept.", name=values["name"]))
    return form.away(f"/sites/{slug}/ground")


@bp.post("/sites/<slug>/<any(areas, targets):kind>/<id>/cross-out")
def cross_out_one(slug: str, kind: str, id: str) -> Any:
    """Cross out an area or target that was drawn by mistake."""
    version = int(form.typed().number("version") or 0)
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
        areas=list(view.areas.itertuples()),
        targets=list(view.records.targets.itertuples()),
        plans=list(view.records.plan_images.itertuples()),
        choices=choices,
    )


def _record(view: SiteView, kind: str, id: str) -> Any:
    rows = view.records.areas if kind == "areas" else view.records.targets
    found = rows[rows[f"{KINDS[kind]}_id"] == id]
    if not len(found):
        raise NotFound(KINDS[kind], id)
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
        **given,
    )
    return page, (422 if sent.faults else 200)
