"""What a request is about: the store, the settings, who asks, which site at which day."""

import datetime as dt
from dataclasses import dataclass

from flask import Flask, current_app, g, request
from flask_babel import gettext as _

from service.actors import Actor
from service.crew_words import CrewPass
from service.errors import InvalidRequest
from service.settings import Settings
from service.store.engine import Store
from service.view import SiteView, view_of

_KEY = "boleward"


@dataclass(frozen=True)
class _Parts:
    store: Store
    settings: Settings


def attach(app: Flask, store: Store, settings: Settings) -> None:
    """Let the pages of ``app`` find the store and the settings."""
    app.extensions[_KEY] = _Parts(store, settings)


def store() -> Store:
    """The open store."""
    parts: _Parts = current_app.extensions[_KEY]
    return parts.store


def settings() -> Settings:
    """The settings of this server."""
    parts: _Parts = current_app.extensions[_KEY]
    return parts.settings


def actor() -> Actor:
    """Who asks; set by ``access`` before any page runs."""
    asking: Actor = g.actor
    return asking


def crew() -> CrewPass:
    """The crew that asks, by the token of its phone; only on addresses below ``/field`` that need one."""
    asking: CrewPass = g.crew
    return asking


def asked_day() -> str | None:
    """The day named by ``?as_of=``, or ``None`` for today.

    Raises
    ------
    InvalidRequest
        If it is not a day, or lies outside the years 1500 to 2999.
    """
    said = request.args.get("as_of", "").strip()
    if not said:
        return None
    try:
        day = dt.date.fromisoformat(said)
    except ValueError:
        day = None
    if day is None or said != day.isoformat() or not 1500 <= day.year <= 2999:
        raise InvalidRequest(
            [("as_of", _("%(said)s is not a day; write it as YYYY-MM-DD.", said=repr(said)[:40]))]
        )
    return day.isoformat()


def asked_change() -> int | None:
    """The change named by ``?known_at=``, or ``None`` for the latest: what would have been said then.

    Nothing is written from what was known then, so that only addresses that are looked at have it.

    Raises
    ------
    InvalidRequest
        If it is not the number of a change.
    """
    said = request.args.get("known_at", "").strip()
    if not said or request.method not in ("GET", "HEAD"):
        return None
    if not (said.isascii() and said.isdecimal() and len(said) <= 12 and int(said) > 0):
        what = _("%(said)s is not the number of a change; the page of data lists them.", said=repr(said)[:40])
        raise InvalidRequest([("known_at", what)])
    return int(said)


def site_view(slug: str) -> SiteView:
    """The site at the day, and as known at the change, that was asked for.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not see it.
    InvalidRequest
        If ``?as_of=`` is not a day, or ``?known_at=`` no change.
    """
    view = view_of(store(), slug, actor(), asked_day(), asked_change())
    g.units, g.country = view.terms.units, view.terms.country
    return view
