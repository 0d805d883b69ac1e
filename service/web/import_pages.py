"""Bringing a list in: send it, see how it was understood, answer what it asks, take it."""

from collections.abc import Mapping
from pathlib import Path
from threading import Lock
from urllib.parse import urlencode

from flask import Blueprint, flash, redirect, request, send_file
from flask_babel import gettext as _
from werkzeug.wrappers import Response

from service.errors import Ask, InvalidRequest, NotFound
from service.intake.phone_file import is_phone_file
from service.intake.prepared import ImportOptions
from service.intake.report import ImportReport
from service.intake.run import import_file
from service.intake.snapshot_in import is_snapshot
from service.intake.writing import Progress
from service.store.change_list import import_summary
from service.uploads import Upload, Uploads
from service.web import current, frame, import_words, open_questions, phone_file_pages, snapshot_pages

bp = Blueprint("import_pages", __name__)

FIELDS = ("layer", "place", "size", "height_m", "measured_on", "crs", "kind")
COLUMN_FIELD = "column."
ASKED_COLUMN = "columns"  # the option --columns, asked for

_under_way: dict[str, tuple[int, int]] = {}
_lock = Lock()


def uploads() -> Uploads:
    """The folder of waiting files of this server."""
    settings = current.settings()
    return Uploads((current.store().folder or settings.data_folder) / "uploads", settings.upload_hours)


@bp.post("/sites/<slug>/data/uploads")
def send_list(slug: str) -> Response:
    """Keep a file and go on to how it was understood.

    Raises
    ------
    InvalidRequest
        If no file was chosen.
    """
    current.site_view(slug)
    return redirect(f"/sites/{slug}/data/uploads/{kept_file().id}", 303)


def kept_file() -> Upload:
    """Keep the file of the form that is being sent.

    Raises
    ------
    InvalidRequest
        If no file was chosen.
    """
    sent = request.files.get("file")
    if sent is None:
        raise InvalidRequest([("file", _("Choose the file that holds the list."))])
    return uploads().keep(sent.filename or "", sent.save)


@bp.get("/sites/<slug>/data/uploads/<upload_id>")
def look_at_list(slug: str, upload_id: str) -> str | Response:
    """How a waiting file was understood; nothing of it is taken yet."""
    view = current.site_view(slug)
    upload = uploads().find(upload_id)
    said = _said(request.args)
    if is_phone_file(upload.path):
        return phone_file_pages.look_at(view, upload)
    if not said.get("layer") and is_snapshot(upload.path):
        return snapshot_pages.look_at(upload, f"/sites/{slug}/data/uploads/{upload.id}")
    ask, report, faults = None, None, []
    try:
        report = _run(slug, upload, said, dry_run=True)
    except Ask as asked:
        ask = asked
    except InvalidRequest as fault:
        faults = fault.faults
    return frame.site_page(
        "import_preview.html",
        view,
        "data",
        upload=upload,
        said=said,
        query=urlencode(said),
        ask=ask,
        asked_option=_field(ask.option) if ask else None,
        faults=[(_field(where), message) for where, message in faults],
        report=report,
        headers=_headers(report),
        words=import_words,
    )


@bp.post("/sites/<slug>/data/uploads/<upload_id>")
def take_list(slug: str, upload_id: str) -> str | Response:
    """Take a waiting file in, as one change; the file of a phone item by item."""
    upload, said = uploads().find(upload_id), _said(request.form)
    if is_phone_file(upload.path):
        return phone_file_pages.bring_in(slug, upload)
    try:
        if not said.get("layer") and is_snapshot(upload.path):
            response = snapshot_pages.bring_in(upload, _noted(upload))
            uploads().discard(upload_id)
            return response
        report = _run(slug, upload, said, dry_run=False)
    finally:
        with _lock:
            _under_way.pop(upload_id, None)
    uploads().discard(upload_id)
    if report.change_no is None:
        flash(_("%(name)s: nothing new; everything in it is already there.", name=upload.name))
        return redirect(f"/sites/{slug}/data", 303)
    return redirect(f"/sites/{slug}/data/imports/{report.change_no}", 303)


@bp.post("/sites/<slug>/data/uploads/<upload_id>/discard")
def discard_list(slug: str, upload_id: str) -> Response:
    """Throw a waiting file away."""
    uploads().discard(upload_id)
    flash(_("The file was thrown away; nothing of it was taken."))
    return redirect(f"/sites/{slug}/data", 303)


@bp.get("/sites/<slug>/data/uploads/<upload_id>/progress")
def progress_of_list(slug: str, upload_id: str) -> dict[str, int]:
    """How far taking a file in has come: rows done, of all."""
    with _lock:
        done, rows = _under_way.get(upload_id, (0, 0))
    return {"done": done, "rows": rows}


@bp.get("/sites/<slug>/data/imports/<int:change_no>")
def import_done(slug: str, change_no: int) -> str:
    """What became of each row of a list that was brought in."""
    view = current.site_view(slug)
    with current.store().read() as connection:
        report = import_summary(connection, slug, change_no)
    return frame.site_page(
        "import_done.html",
        view,
        "data",
        asked=open_questions.asked_of_change(view, change_no),
        report=report,
        change_no=change_no,
        words=import_words,
    )


@bp.get("/sites/<slug>/data/imports/<int:change_no>/rows.csv")
def import_rows(slug: str, change_no: int) -> Response:
    """The rows to check and the rows not taken in, each with its sentence.

    Raises
    ------
    NotFound
        If all rows were taken, or the list is no longer there.
    """
    current.site_view(slug)
    with current.store().read() as connection:
        path = import_summary(connection, slug, change_no)["side_file"]
    if not path or not Path(path).is_file():
        raise NotFound(_("list of rows to look at"), str(change_no))
    return send_file(Path(path), mimetype="text/csv", as_attachment=True, download_name=Path(path).name)


def _noted(upload: Upload) -> Progress:
    def note(done: int, rows: int) -> None:
        with _lock:
            _under_way[upload.id] = (done, rows)

    return note


def _run(slug: str, upload: Upload, said: Mapping[str, str], *, dry_run: bool) -> ImportReport:
    options = options_of(said)
    return import_file(
        current.store(),
        upload.path,
        slug,
        options,
        current.actor(),
        dry_run=dry_run,
        progress=None if dry_run else _noted(upload),
    )


def _said(values: Mapping[str, str]) -> dict[str, str]:
    """What was said about a file: the options that are known, without empty ones.

    The answer to which column is what comes as word=header, and is one of the columns said by hand.
    """
    word, sign, header = values.get(ASKED_COLUMN, "").partition("=")
    known = {
        name: values.get(name, "").strip()
        for name in values
        if name in FIELDS or name.startswith(COLUMN_FIELD)
    }
    if sign:
        known[COLUMN_FIELD + word] = header.strip()
    return {name: value for name, value in known.items() if value}


def options_of(said: Mapping[str, str]) -> ImportOptions:
    """Return the options of an import as they were said on a page.

    Raises
    ------
    InvalidRequest
        If the height is no number.
    """
    height = said.get("height_m")
    try:
        height_m = None if height is None else float(height.replace(",", "."))
    except ValueError:
        raise InvalidRequest([("--height-m", _("Write the height in metres, for example 1.3."))]) from None
    named = {
        name.removeprefix(COLUMN_FIELD): value
        for name, value in said.items()
        if name.startswith(COLUMN_FIELD)
    }
    plain = {name: said.get(name) for name in FIELDS if name != "height_m"}
    return ImportOptions(columns=named, height_m=height_m, **plain)


def _field(option: str) -> str:
    return option.lstrip("-").replace("-", "_")


def _headers(report: ImportReport | None) -> list[str]:
    if report is None:
        return []
    columns = report.columns
    return [*columns["understood"], *columns["kept"], *columns["left_out"]]
