"""What a ground agreed on, as a form: whom to call, who is qualified here, units, measuring height."""

from typing import Any

from flask import Blueprint, flash, request
from flask_babel import gettext as _

from service import conventions
from service.site_terms import edit_terms, terms_now
from service.view import SiteView
from service.web import current, display, form, frame, lengths

bp = Blueprint("terms_pages", __name__)

TEXTS = ("name", "country", "units", "time_zone", "phone", "qualified", "wind_limit")


@bp.route("/sites/<slug>/terms", methods=["GET", "POST"])
def site_terms(slug: str) -> Any:
    """The terms of a site; a change keeps the former ones."""
    view = current.site_view(slug)
    if request.method == "GET":
        known = terms_now(current.store(), slug)
        girth = lengths.shown(known.values["unseen_girth_cm"], view.terms.units, "width")
        return _page(view, form.blank(version=known.version, **{**known.values, "unseen_girth_cm": girth}))
    sent = form.typed()
    values: dict[str, Any] = {**sent.texts(*TEXTS), "breast_height_m": sent.number("breast_height_m") or 0.0}
    version = sent.version()
    values["unseen_girth_cm"] = lengths.typed(sent, "unseen_girth_cm", view.terms.units, kind="width")
    values["country"] = values["country"] and values["country"].upper()
    written = form.tried(sent, lambda: edit_terms(current.store(), slug, current.actor(), version, values))
    if written is None:
        return _page(view, sent)
    flash(_("The terms were changed; the former ones are kept."))
    return form.away(f"/sites/{slug}")


def _page(view: SiteView, sent: form.Form) -> Any:
    units = display.Units(view.terms.units)
    heights = [(_number(each.height_m), _offered(units, each)) for each in conventions.OFFERED]
    offered = {height for height, _words in heights}
    known = sent.values.get("breast_height_m", "")
    if known and known not in offered:
        heights.append((known, _both(units, float(known)) if form.Form.is_number(known) else known))
    page = frame.site_page(
        "terms_form.html", view, "ground", form=sent, heights=heights, usual=_usual(units, sent)
    )
    return page, (422 if sent.faults else 200)


def _number(metres: float) -> str:
    return f"{metres:.4f}".rstrip("0").ljust(len("1.0"), "0")


def _offered(units: display.Units, each: conventions.Convention) -> str:
    """A height with who uses it."""
    return f"{_both(units, each.height_m)}: {', '.join(str(_(who)) for who in each.used_by)}"


def _usual(units: display.Units, sent: form.Form) -> str:
    """What the country of the ground preselects, and why; any other height may be chosen."""
    country = sent.text("country")
    height = units.height(conventions.breast_height_m(country))
    users = ", ".join(str(_(who)) for who in conventions.usual_in(country))
    if not users:
        return str(_("Where nothing is known of the country, %(height)s is preselected.", height=height))
    return str(
        _(
            "For %(country)s it is %(height)s that is preselected, because it is used there: %(users)s.",
            country=country,
            height=height,
            users=users,
        )
    )


def _both(units: display.Units, metres: float) -> str:
    """A height that laws and rules name in metres, in feet and inches too where those are the units."""
    said = f"{display.number(metres, 2)} m"
    return f"{units.height(metres)} ({said})" if units.system == "us" else said
