"""What every page of a site is given (terms, tabs, units, caution), and answers that a browser may keep."""

import hashlib
from typing import Any
from urllib.parse import urlencode

from flask import Response, make_response, render_template, request
from flask_babel import gettext as _

from layers.caution import CAUTION, caution
from layers.map_words import MAP_WORDS
from layers.maps import MapShell, map_shell
from service import conventions
from service.outlets.map_file import map_assets
from service.view import SiteView, today_in, view_of
from service.web import current, dangers, display, languages
from service.web.addresses import absolute

CLASSROOM_HEIGHT_M = 0.6096  # 24 in, for a tape or a string and a 12 in ruler; common practice, no source


def site_page(template: str, view: SiteView, here: str, **given: Any) -> str:
    """Return a page of a site."""
    return render_template(
        template,
        terms=view.terms,
        as_of=view.as_of,
        is_ahead=view.as_of > today_in(view.terms.time_zone),
        known_at=view.known_at,
        invented=view.invented,
        units=display.Units(view.terms.units),
        tabs=_tabs(view.terms.slug),
        here=here,
        site_caution=site_caution(view),
        day_query=day_query(),
        asked_change=current.asked_change(),
        today_address=request.path,
        height_words=height_words(view),
        offered_heights=offered_heights(view),
        dangers_on_top=_dangers(view),
        dialled=dangers.dialled(view.terms.phone),
        **given,
    )


def _dangers(view: SiteView) -> list[dangers.Spot]:
    """Those of now, whatever day or change a page is about: a danger does not wait for its page."""
    return dangers.open_spots(view_of(current.store(), view.terms.slug, current.actor()))


def _tabs(slug: str) -> list[tuple[str, str, str]]:
    base = f"/sites/{slug}"
    day = day_query()
    return [
        ("today", f"{base}{day}", _("Today")),
        ("figures", f"{base}/figures{day}", _("Figures")),
        ("trees", f"{base}/trees{day}", _("Trees")),
        ("growth", f"{base}/growth{day}", _("Growth")),
        ("flags", f"{base}/flags{day}", _("To be looked at")),
        ("sheets", f"{base}/sheets{day}", _("Measuring")),
        ("ground", f"{base}/ground{day}", _("Ground")),
        ("data", f"{base}/data{day}", _("Data")),
    ]


def day_query() -> str:
    """The part of an address that keeps the day, and the change known at, that were asked for."""
    asked = {"as_of": current.asked_day(), "known_at": current.asked_change()}
    said = urlencode({name: value for name, value in asked.items() if value})
    return f"?{said}" if said else ""


def height_words(view: SiteView) -> str:
    """The site's measuring height in words, in its display unit."""
    return display.Units(view.terms.units).height(view.terms.breast_height_m)


def offered_heights(view: SiteView) -> list[str]:
    """The heights that a form offers, in the unit of the ground: its own first, then the usual ones."""
    units = display.Units(view.terms.units)
    usual = [each.height_m for each in conventions.OFFERED]
    low = [CLASSROOM_HEIGHT_M] if view.terms.units == "us" else []
    return list(dict.fromkeys(units.height(metres) for metres in (view.terms.breast_height_m, *low, *usual)))


def site_caution(view: SiteView) -> str:
    """The short caution in the language of the page, with the site's number."""
    return caution_in_words(view.terms.phone)


def caution_in_words(phone: str | None) -> str:
    """The short caution in the language of the page."""
    return caution(phone, _(CAUTION), _("the site's number"))


def map_messages() -> dict[str, str]:
    """The words of a map in the language of the page."""
    return {**{key: str(_(text)) for key, text in MAP_WORDS.items()}, "caution": str(_(CAUTION))}


def written() -> str:
    """How a map writes days and numbers, as browsers name it: de-DE."""
    return str(display.written()).replace("_", "-")


def map_of(view: SiteView) -> MapShell:
    """The parts of the site's map, drawn from ``map.json``."""
    source = f"/sites/{view.terms.slug}/map.json{day_query()}"
    return map_shell(map_assets(), view.terms.frame, source, map_messages())


def etag(view: SiteView, *more: str) -> str:
    """The tag of what is computed from a view: changes with the site, who asks, the day and the words."""
    said = "\n".join((view.key, view.audience, languages.spoken(), *more))
    return hashlib.sha256(said.encode()).hexdigest()[:32]


def kept_answer(body: Any, media_type: str, tag: str) -> Response:
    """Return an answer that a browser may keep and ask about again (304)."""
    response = make_response(body)
    response.content_type = media_type
    response.set_etag(tag)
    return response


def unchanged(tag: str) -> Response | None:
    """Return 304 when the browser holds what has this tag; None when it has to be made."""
    if request.if_none_match.contains_weak(tag):
        response = make_response("", 304)
        response.set_etag(tag)
        return response
    return None


def cautioned(response: Response) -> Response:
    """Point from data to the caution that goes with them."""
    response.headers.add("Link", f'<{absolute("/cautions")}>; rel="describedby"; title="caution"')
    return response
