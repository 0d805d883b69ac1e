"""Measuring by paper: choosing and printing sheets, and typing them back."""

import uuid
from typing import Any

import pandas as pd
from flask import Blueprint, Response, flash, make_response, request
from flask_babel import gettext as _

from service.entry import Answer, enter_readings
from service.errors import InvalidRequest
from service.outlets.sheet_rows import SheetJob
from service.outlets.sheets import sheet_of
from service.view import SiteView
from service.web import choices, current, form, frame

bp = Blueprint("sheet_pages", __name__)

SHARED = ("quantity", "unit", "instrument", "measured_on", "crew", "crew_kind")


@bp.get("/sites/<slug>/sheets")
def sheets(slug: str) -> str:
    """Choose what is measured where, with what, and print it."""
    view = current.site_view(slug)
    usual = form.blank(
        instrument="girth tape",
        unit="in" if view.terms.units == "us" else "cm",
        height_m=f"{view.terms.breast_height_m:g}",
        crew_kind="pupils",
        paper="Letter" if view.terms.units == "us" else "A4",
        day=view.as_of,
    )
    return frame.site_page("sheets.html", view, "sheets", form=usual, choices=choices, zones=_zones(view))


@bp.get("/sites/<slug>/sheets.pdf")
def sheet_pdf(slug: str) -> Response:
    """The sheets of one area or place as PDF."""
    view = current.site_view(slug)
    asked = form.Form(request.args.to_dict())
    height = asked.number("height_m")
    unit, paper = asked.text("unit") or "cm", asked.text("paper") or "A4"
    known = {name for name, _plain in choices.INSTRUMENTS}
    instrument = asked.text("instrument") or "girth tape"
    if (
        asked.faults
        or unit not in dict(choices.UNITS)
        or paper not in ("A4", "Letter")
        or instrument not in known
    ):
        raise InvalidRequest("Choose instrument, unit, height and paper on the page of sheets.")
    zone = asked.text("zone") or ""
    leader = asked.text("leader") == "yes"
    job = SheetJob(
        title=dict(_zones(view)).get(zone, ""),
        round_name=asked.text("round_name") or "",
        instrument=instrument,
        unit=unit,  # type: ignore[arg-type]
        height_m=height if height is not None else view.terms.breast_height_m,
        day=asked.text("day"),
        team=asked.text("team"),
        meet=asked.text("meet"),
        paper=paper,  # type: ignore[arg-type]
        leader=leader,
    )
    body = sheet_of(view, zone, job, crew_kind=asked.text("crew_kind") or "pupils")
    response = make_response(body)
    response.content_type = "application/pdf"
    name = f"{slug}-{'leader' if leader else 'sheets'}.pdf"
    response.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def _zones(view: SiteView) -> list[tuple[str, str]]:
    """Areas and named parts that have trees, by id."""
    counted = {row["area_id"]: row for row in view.figures[1:]}
    return [(id, row["name"]) for id, row in counted.items() if row["trees"]]


@bp.route("/sites/<slug>/grid", methods=["GET", "POST"])
def grid(slug: str) -> Any:
    """Type measured sheets back: a row a trunk, by keyboard; what was typed is kept row by row."""
    view = current.site_view(slug)
    zone = request.args.get("zone", "")
    rows = _rows(view, zone)
    if request.method == "GET":
        usual = form.blank(
            quantity="girth",
            unit="in" if view.terms.units == "us" else "cm",
            instrument="girth tape",
            measured_on=view.as_of,
            crew_kind="pupils",
            height_m=f"{view.terms.breast_height_m:g}",
            batch=uuid.uuid4(),
        )
        return _grid_page(view, zone, rows, usual, {})
    sent = form.typed()
    items, of_field = _items(sent, rows)
    if sent.faults:
        return _grid_page(view, zone, rows, sent, {})
    if not items:
        sent.faults[""] = _("No row has a number yet.")
        return _grid_page(view, zone, rows, sent, {})
    answers = enter_readings(current.store(), slug, current.actor(), items)
    told = {of_field[item["id"]]: answer for item, answer in zip(items, answers, strict=True)}
    if any(answer.outcome == "refused" for answer in answers):
        sent.faults[""] = _("Some rows were not taken in; the others are kept. Look at the marked rows.")
        return _grid_page(view, zone, rows, sent, told)
    form.told(answers, _("Kept: %(what)s.", what=form.counted(len(answers))))
    flash(_("Measured the same trees again with another team? Type the next sheet."))
    return form.away(f"/sites/{slug}/grid?zone={zone}")


def _rows(view: SiteView, zone: str) -> list[dict[str, Any]]:
    trees = view.trees[view.trees["status"].isin(["living", "unknown"])]
    if zone:
        place_of = dict(zip(view.records.trees["tree_id"], view.records.trees["place_id"], strict=True))
        members = view.membership
        inside = set(members.loc[members["area_id"] == zone, "tree_id"])
        trees = trees[[id in inside or place_of.get(id) == zone for id in trees["tree_id"]]]
    stems = view.records.stems[["stem_id", "tree_id", "number"]]
    named = ["tree_id", "tag", "scientific_name", "name_as_written", "place"]
    merged = stems.merge(trees[named], on="tree_id")
    merged["many"] = merged.groupby("tree_id")["stem_id"].transform("size") > 1
    merged["order"] = merged["tag"].map(_tag_order)
    rows: list[dict[str, Any]] = merged.sort_values(["order", "number"]).to_dict("records")
    return rows


def _tag_order(tag: Any) -> str:
    """Numbers in tags by their size: 2 before 10."""
    text = "" if tag is None or pd.isna(tag) else str(tag)
    return text.zfill(12) if text.isdigit() else f"~{text}" if text else "~~"


def _items(sent: form.Form, rows: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], dict[str, str]]:
    shared: dict[str, Any] = {**sent.texts(*SHARED), "height_m": sent.number("height_m")}
    shared["date_precision"] = "day" if shared["measured_on"] else "unknown"
    shared = {name: value for name, value in shared.items() if value is not None}
    try:
        batch = uuid.UUID(sent.text("batch") or "")
    except ValueError:
        batch = uuid.uuid4()
    items, of_field = [], {}
    for row in rows:
        guess = sent.number(f"guess-{row['stem_id']}")
        for n in (1, 2):
            field = f"r{n}-{row['stem_id']}"
            value = sent.number(field)
            if value is None:
                continue
            id = str(uuid.uuid5(batch, f"{field} {value!r} {sorted(shared.items())!r}"))
            of_field[id] = field
            said = {
                **shared,
                "id": id,
                "stem_id": row["stem_id"],
                "value": value,
                "source": "typed from a sheet",
            }
            items.append({**said, "first_guess": guess} if guess is not None else said)
    return items, of_field


def _grid_page(
    view: SiteView, zone: str, rows: list[dict[str, Any]], sent: form.Form, told: dict[str, Answer]
) -> Any:
    page = frame.site_page(
        "grid.html",
        view,
        "sheets",
        form=sent,
        rows=rows,
        zones=_zones(view),
        zone=zone,
        told=told,
        choices=choices,
    )
    return page, (422 if sent.faults else 200)
