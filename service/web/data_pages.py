"""The data page of a site: bring in, to check, take out, addresses; and starting a ground."""

import csv
import io
import re
import unicodedata
from typing import Any
from zoneinfo import available_timezones

from flask import Blueprint, make_response, redirect, render_template, request
from flask_babel import gettext as _
from werkzeug.wrappers import Response

from service.conventions import breast_height_m
from service.errors import Conflict, InvalidRequest
from service.intake.snapshot_in import is_snapshot
from service.outlets.exported_rows import EXPORTED
from service.outlets.formula_guard import guarded
from service.outlets.layer_rows import LAYERS
from service.store.change_list import recent_changes
from service.store.site_rows import create_site
from service.web import current, display, frame, gis_addresses, open_questions
from service.web.import_pages import kept_file
from service.web.listing import found_rows, listing
from service.web.snapshot_pages import bring_in

bp = Blueprint("data_pages", __name__)

CHECKED = ("tag", "what", "detail")
CHECK_COLUMNS = ("tree_id", "tag", "subject", "subject_id", "what", "detail", "row")
TRIES = 50


@bp.get("/sites/<slug>/data")
def site_data(slug: str) -> str:
    """Bring a list in, see what is to check, take files out."""
    view = current.site_view(slug)
    with current.store().read() as connection:
        changes = recent_changes(connection, slug)
    local = view.terms.frame == "local"
    return frame.site_page(
        "data.html",
        view,
        "data",
        layers=LAYERS if local else EXPORTED,
        local=local,
        forms=gis_addresses.FORMAT_NAMES,
        gis=gis_addresses.parts(slug, on_earth=not local),
        to_check=open_questions.number_to_check(view),
        changes=changes,
    )


@bp.get("/sites/<slug>/data/check")
def site_check(slug: str) -> str:
    """What imports and entries asked and no person has settled."""
    view = current.site_view(slug)
    asked = open_questions.all_with_trees(view)
    said = request.args.to_dict()
    shown = listing(asked, said, searched=CHECKED, exact=("what",), default_sort="fid")
    return frame.site_page("check.html", view, "data", list=shown)


@bp.get("/sites/<slug>/data/check.csv")
def site_check_csv(slug: str) -> Response:
    """The same questions as CSV."""
    view = current.site_view(slug)
    asked = found_rows(
        open_questions.all_with_trees(view), request.args.to_dict(), searched=CHECKED, exact=("what",)
    )
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CHECK_COLUMNS)
    for row in asked.reindex(columns=list(CHECK_COLUMNS)).itertuples(index=False):
        writer.writerow([guarded(str(cell)) if not display.is_missing(cell) else "" for cell in row])
    response = make_response(out.getvalue().encode())
    response.content_type = "text/csv; charset=utf-8"
    response.headers["Content-Disposition"] = f'attachment; filename="{slug}-to-check.csv"'
    return response


@bp.get("/start")
def start() -> str:
    """Three questions for a ground of one's own; with a list in hand, the file too."""
    return render_template("start.html", with_list=bool(request.args.get("list")))


@bp.post("/start")
def make_ground() -> Response:
    """Make a ground and go to it; with a file, on to how the file was understood.

    A file that is a snapshot of a whole ground is that ground: it comes in as it is.

    Raises
    ------
    InvalidRequest
        If a question was left open.
    """
    name = request.form.get("name", "").strip()
    if not name or len(name) > 200:
        raise InvalidRequest([("name", _("Give the ground a name of at most 200 characters."))])
    country = request.form.get("country", "").strip().upper() or None
    units = request.form.get("units", "")
    if units not in ("metric", "us"):
        raise InvalidRequest([("units", _("Say whether you measure in centimetres or inches."))])
    file = kept_file() if request.form.get("list") else None
    if file is not None and is_snapshot(file.path):
        return bring_in(file)
    slug = _made(name, country, units)
    where = f"/sites/{slug}/data/uploads/{file.id}" if file else f"/sites/{slug}"
    return redirect(where, 303)


def _made(name: str, country: str | None, units: Any) -> str:
    base = short_name(name)
    for number in range(1, TRIES):
        slug = base if number == 1 else f"{base}-{number}"
        try:
            create_site(
                current.store(),
                slug,
                actor=current.actor(),
                name=name,
                country=country,
                breast_height_m=breast_height_m(country),
                units=units,
                time_zone=_zone(request.form.get("time_zone", "")),
            )
        except Conflict:
            continue
        return slug
    raise InvalidRequest([("name", _("There are many grounds of this name already; choose another."))])


def _zone(said: str) -> str:
    """The time zone that the browser named, where it is one."""
    return said if said in available_timezones() else "UTC"


def short_name(name: str) -> str:
    """Return a name for addresses: small letters, digits and hyphens."""
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:50].strip("-") or "ground"
