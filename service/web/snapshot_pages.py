"""A file that is a snapshot of a whole ground: what it is of, and bringing that ground in."""

from flask import flash, make_response, redirect, render_template
from flask_babel import gettext as _
from werkzeug.wrappers import Response

from service.errors import HereAlready, InvalidRequest
from service.intake.report import ImportReport
from service.intake.snapshot_in import restore
from service.intake.writing import Progress
from service.plan_images import file_box
from service.uploads import Upload
from service.web import current


def look_at(upload: Upload, back: str) -> Response:
    """What a waiting snapshot is of, checked whole; ``back`` is the page that its buttons lead to."""
    report, faults, status = None, [], 200
    try:
        report = _restored(upload, dry_run=True)
    except InvalidRequest as fault:
        faults = [said for _where, said in fault.faults]
    except HereAlready as fault:
        faults, status = [str(fault)], 409
    page = render_template("snapshot.html", upload=upload, report=report, faults=faults, back=back)
    return make_response(page, status)


def bring_in(upload: Upload, progress: Progress | None = None) -> Response:
    """Bring the ground of a waiting snapshot in and go to it.

    Raises
    ------
    HereAlready
        If it is here.
    Unreadable
        If anything in the file cannot be what it says.
    """
    report = _restored(upload, dry_run=False, progress=progress)
    flash(_("%(name)s was brought in as it was, with everything that was said of it.", name=report.site))
    return redirect(f"/sites/{report.site}", 303)


def _restored(upload: Upload, *, dry_run: bool, progress: Progress | None = None) -> ImportReport:
    store = current.store()
    box = file_box(store, current.settings().data_folder)
    return restore(store, upload.path, None, current.actor(), box, dry_run=dry_run, progress=progress)
