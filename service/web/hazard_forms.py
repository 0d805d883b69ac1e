"""Forms of hazards: overhead lines, road edges, water, steep ground, fences, nests; drawn on the map."""

from typing import Any

import shapely
from flask import Blueprint, flash, request
from flask_babel import gettext as _

from service import closures
from service.danger_records import HazardIn
from service.errors import NotFound
from service.records import parsed
from service.view import SiteView
from service.web import choices, closed, corners, current, form, frame, lengths

bp = Blueprint("hazard_forms", __name__)

TEXTS = ("kind", "note", "valid_from", "valid_to")
LINES = ("overhead line", "road", "fence")  # drawn as lines when they have more than one corner


@bp.route("/sites/<slug>/hazards/new", methods=["GET", "POST"])
def new_hazard(slug: str) -> Any:
    """Something that endangers those who work or measure."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _page(view, form.blank(kind="overhead line"))
    sent = form.typed()
    values = _values(view, sent)

    def make() -> list[str]:
        return closures.add_hazards(current.store(), slug, current.actor(), [parsed(HazardIn, values)])

    if form.tried(sent, make) is None:
        return _page(view, sent)
    flash(_("The hazard is on the map."))
    return form.away(f"/sites/{slug}/ground")


@bp.route("/sites/<slug>/hazards/<id>/edit", methods=["GET", "POST"])
def edit_hazard(slug: str, id: str) -> Any:
    """Change a hazard: the former version is kept."""
    view = current.site_view(slug)
    record = _record(view, id)
    if request.method == "GET":
        known = {name: record[name] for name in (*TEXTS, "voltage_kv", "version")}
        known["barrier"] = "yes" if record["barrier"] else None
        return _page(view, form.blank(**known, geometry=shapely.to_geojson(record["geometry"])), record)
    sent = form.typed()
    values, version = _values(view, sent), sent.version()

    def change() -> int:
        return closures.change(current.store(), slug, current.actor(), "hazard", id, version, values)

    if form.tried(sent, change) is None:
        return _page(view, sent, record)
    flash(_("The hazard was changed; the former version is kept."))
    return form.away(f"/sites/{slug}/ground")


def _values(view: SiteView, sent: form.Form) -> dict[str, Any]:
    values: dict[str, Any] = sent.texts(*TEXTS)
    values["barrier"] = sent.text("barrier") == "yes"
    values["voltage_kv"] = sent.number("voltage_kv")
    kind = "road" if values["kind"] in LINES else None
    per_unit = lengths.per_unit(view.terms.units)
    values["geometry"] = corners.geometry(sent, kind, False, view.terms.frame, per_unit)
    if values["geometry"] is None:
        sent.faults.setdefault("geometry", _("Draw where it is: a point, a line or an outline."))
    return values


def _record(view: SiteView, id: str) -> dict[Any, Any]:
    rows = view.records.hazards
    found = rows[rows["id"] == id].to_dict("records") if len(rows) else []
    if not found:
        raise NotFound(_("hazard on this ground"), id[:80])
    return dict(found[0])


def _page(view: SiteView, sent: form.Form, record: dict[Any, Any] | None = None) -> Any:
    page = frame.site_page(
        "hazard_form.html",
        view,
        "ground",
        form=sent,
        record=record,
        choices=choices,
        shell=frame.map_of(view),
        wires=closed.WIRES,
    )
    return page, (422 if sent.faults else 200)
