"""Measuring days: the list of them, and how well each could be repeated."""

from dataclasses import dataclass
from typing import Any

import pandas as pd
from flask import Blueprint
from flask_babel import gettext as _

from layers.corrections import LIVE
from layers.history import live_readings
from layers.repeatability import Component, repeatability
from service.errors import NotFound
from service.view import SiteView
from service.web import current, display, frame, round_facts

bp = Blueprint("round_pages", __name__)

TRUNKS_SHOWN = 60


@dataclass(frozen=True)
class RoundLine:
    """Measuring days in the list: how many trunks were measured, how many of them more than once."""

    id: str
    name: str
    from_on: str | None
    to_on: str | None
    stems: int
    readings: int
    repeated: int
    teams: int
    status: str | None = None


@bp.get("/sites/<slug>/rounds")
def site_rounds(slug: str) -> str:
    """Every round of a ground, the latest first."""
    view = current.site_view(slug)
    held = live_of(view)
    lines = [_line(row, held[held["round_id"] == row.id]) for row in view.records.rounds.itertuples()]
    lines.sort(key=lambda line: (line.from_on or "", line.name), reverse=True)
    without = int(held["round_id"].isna().sum())
    return frame.site_page("rounds.html", view, "sheets", rounds=lines, without_round=without)


def live_of(view: SiteView) -> pd.DataFrame:
    """The measurements that hold."""
    known = live_readings(view.records.readings)
    return known[(known["state"] == LIVE).to_numpy(dtype=bool)]


def _line(row: Any, mine: pd.DataFrame) -> RoundLine:
    each = mine["stem_id"].value_counts()
    repeated, teams = int((each > 1).sum()), int(mine["crew"].nunique())
    status = str(round_facts.STATUS[row.status]) if row.status else None
    return RoundLine(row.id, row.name, row.from_on, row.to_on, len(each), len(mine), repeated, teams, status)


@bp.get("/sites/<slug>/rounds/<round_id>")
def site_round(slug: str, round_id: str) -> str:
    """How well a round could be repeated.

    Raises
    ------
    NotFound
        If the ground has no such round.
    """
    view = current.site_view(slug)
    rounds = view.records.rounds
    found = rounds[rounds["id"] == round_id] if len(rounds) else rounds
    if not len(found):
        raise NotFound(_("measuring days"), round_id)
    of = repeatability(view.records, view.terms, round_id)
    units = display.Units(view.terms.units)
    return frame.site_page(
        "round.html",
        view,
        "sheets",
        round=next(found.itertuples()),
        of=of,
        own=of and deviation(of.own, units),
        crew=of and deviation(of.crew, units),
        biases=of.biases.to_dict("records") if of else [],
        guesses=of.guesses.to_dict("records") if of else [],
        trunks=of.trunks.head(TRUNKS_SHOWN).to_dict("records") if of else [],
        tags=dict(zip(view.records.trees["tree_id"], view.records.trees["tag"], strict=True)),
        signed=lambda value: signed(value, units),
    )


@dataclass(frozen=True)
class Deviation:
    """A deviation in display units: as shown, its interval in words, and whether it was measured here."""

    shown: str
    interval: str | None
    measured: bool


def deviation(one: Component, units: display.Units) -> Deviation:
    """Return a component of the error in words."""
    shown = units.with_unit(one.sd_cm, "width", 2)
    if one.df is None:
        return Deviation(shown, None, False)
    if one.low_cm is None:
        said = _("cannot be told from none: too little was measured twice")
        return Deviation(shown, str(said), True)
    low, high = (units.shown(end, "width", 2) for end in (one.low_cm, one.high_cm))
    said = _(
        "19 times in 20 between %(low)s and %(high)s %(unit)s", low=low, high=high, unit=units.unit("width")
    )
    return Deviation(shown, str(said), True)


def signed(value_cm: float, units: display.Units) -> str:
    """Return a difference with its sign, without unit."""
    if display.is_missing(value_cm):
        return display.NONE
    shown = units.shown(value_cm, "width", 2)
    return f"+{shown}" if value_cm > 0 and any(digit in shown for digit in "123456789") else shown
