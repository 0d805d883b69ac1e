"""A file that a phone saved, among the files that come in: what it holds, what became of each item."""

from flask_babel import gettext as _

from service.answers import PAGES
from service.field_records import FieldAnswer
from service.intake.phone_file import PhoneFile, read_phone_file, take_phone_file
from service.uploads import Upload
from service.view import SiteView
from service.web import current, display, frame
from service.web.set_aside_pages import KINDS

OUTCOMES = ("taken", "already there", "questioned", "set aside", "refused")


def look_at(view: SiteView, upload: Upload) -> str:
    """Return the page that says what a saved file holds; nothing of it is taken yet."""
    file = read_phone_file(upload.path)
    return _page(view, upload, file, None)


def bring_in(slug: str, upload: Upload) -> str:
    """Take a saved file in and return the page that says what became of each item."""
    file = read_phone_file(upload.path)
    answers = take_phone_file(current.store(), file, current.actor(), slug)
    return _page(current.site_view(slug), upload, file, answers)


def _page(view: SiteView, upload: Upload, file: PhoneFile, answers: list[FieldAnswer] | None) -> str:
    voice = display.Units(view.terms.units).voice()
    rows = [
        (_kind(item), _when(item), answer.outcome, PAGES.told(answer.why, voice) if answer.why else "")
        for item, answer in zip(file.items, answers or (), strict=answers is not None)
    ]
    counts = {name: sum(row[2] == name for row in rows) for name in OUTCOMES}
    return frame.site_page(
        "phone_file.html",
        view,
        "data",
        upload=upload,
        file=file,
        kinds=[(str(KINDS.get(kind, kind)), count) for kind, count in file.kinds().items()],
        rows=rows if answers is not None else None,
        counts=counts,
        outcomes=_outcomes(),
        is_other=file.site != view.terms.slug,
    )


def _outcomes() -> dict[str, str]:
    return {
        "taken": _("taken"),
        "already there": _("already there"),
        "questioned": _("taken, please check"),
        "set aside": _("set aside"),
        "refused": _("not taken"),
    }


def _kind(item: object) -> str:
    kind = item.get("kind") if isinstance(item, dict) else None
    return str(KINDS.get(str(kind), kind or display.NONE))


def _when(item: object) -> str:
    said = item.get("recorded_at") if isinstance(item, dict) else None
    return display.day(said[:10], "short") if isinstance(said, str) else display.NONE
