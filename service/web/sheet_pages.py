"""Measuring by paper: choosing and printing the sheets of an area or place."""

from flask import Blueprint, Response, make_response, request
from flask_babel import gettext as _

from layers.hands import INSTRUMENT_OF, UNIT_OF
from service.errors import InvalidRequest
from service.outlets.sheet_rows import SheetJob
from service.outlets.sheet_words import SHEET_WORDS
from service.outlets.sheets import sheet_of
from service.view import SiteView
from service.web import choices, current, display, form, frame, lengths

bp = Blueprint("sheet_pages", __name__)


@bp.get("/sites/<slug>/sheets")
def sheets(slug: str) -> str:
    """Choose what is measured where, with what, and print it."""
    view = current.site_view(slug)
    usual = form.blank(
        instrument="girth tape",
        unit="in" if view.terms.units == "us" else "cm",
        height_m=lengths.shown(view.terms.breast_height_m, view.terms.units, "measuring"),
        crew_kind="pupils",
        paper="Letter" if view.terms.units == "us" else "A4",
        day=view.as_of,
    )
    return frame.site_page("sheets.html", view, "sheets", form=usual, choices=choices, zones=zones_of(view))


@bp.get("/sites/<slug>/sheets.pdf")
def sheet_pdf(slug: str) -> Response:
    """The sheets of one area or place as PDF."""
    view = current.site_view(slug)
    asked = form.Form(request.args.to_dict())
    height = lengths.typed(asked, "height_m", view.terms.units, view.terms.breast_height_m, kind="measuring")
    unit, paper = asked.text("unit") or "cm", asked.text("paper") or "A4"
    known = {name for name, _plain in choices.INSTRUMENTS}
    instrument = asked.text("instrument") or "girth tape"
    if (
        asked.faults
        or unit not in dict(choices.READING_UNITS)
        or paper not in ("A4", "Letter")
        or instrument not in known
    ):
        raise InvalidRequest(_("Choose instrument, unit, height and paper on the page of sheets."))
    unit = UNIT_OF.get(instrument, "cm" if unit in INSTRUMENT_OF else unit)
    zone = asked.text("zone") or ""
    leader = asked.text("leader") == "yes"
    job = SheetJob(
        title=dict(zones_of(view)).get(zone, ""),
        round_name=asked.text("round_name") or "",
        instrument=instrument,
        unit=unit,  # type: ignore[arg-type]
        height_m=height if height is not None else view.terms.breast_height_m,
        day=asked.text("day"),
        day_said=display.day(asked.text("day")) if asked.text("day") else None,
        team=asked.text("team"),
        meet=asked.text("meet"),
        paper=paper,  # type: ignore[arg-type]
        leader=leader,
        backs=asked.text("backs") == "yes",
    )
    body = sheet_of(
        view,
        zone,
        job,
        crew_kind=asked.text("crew_kind") or "pupils",
        words={key: str(_(text)) for key, text in SHEET_WORDS.items()},
        voice=display.Units(view.terms.units).voice(),
    )
    return pdf_answer(body, f"{slug}-{'leader' if leader else 'sheets'}.pdf")


def pdf_answer(body: bytes, name: str) -> Response:
    """Return a paper for the browser to show, and the name under which it is kept."""
    response = make_response(body)
    response.content_type = "application/pdf"
    response.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def zones_of(view: SiteView) -> list[tuple[str, str]]:
    """Return areas and named parts that have trees: id and name."""
    drawn = {row["name"] for row in view.figures[1:] if row["kind"] != "place"}
    return [
        (
            row["area_id"],
            _("%(place)s (named part)", place=row["name"])
            if row["kind"] == "place" and row["name"] in drawn
            else row["name"],
        )
        for row in view.figures[1:]
        if row["trees"]
    ]
