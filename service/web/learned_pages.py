"""What measuring days taught, and what a slack or slanted tape does: a page to look at and to print."""

from collections.abc import Callable
from typing import Any

import pandas as pd
from flask import Blueprint, Response, request
from flask_babel import gettext as _

from layers import taper
from layers.chart_learning import (
    LEARNING_CHART_WORDS,
    apart_chart,
    grown_chart,
    guesses_chart,
    hands_chart,
)
from layers.class_learning import LEAST, change_words
from layers.growth_words import SAYS_NOTHING
from layers.tape_geometry import Trunk, tape_shows_cm
from layers.units import CM_PER_IN, M_PER_FT
from service.errors import NotFound
from service.view import SiteView
from service.web import chart_routes, current, display, frame
from service.web.learned_facts import Learned, grown_words, learned_of

bp = Blueprint("learned_pages", __name__)

_TILTS_DEG = (5.0, 10.0, 20.0, 30.0)
# By how much a tape is off the trunk [cm], and too high [m], in round numbers of the units of the ground.
_GAPS_CM = {"metric": (1.0, 2.0, 5.0), "us": (0.5 * CM_PER_IN, CM_PER_IN, 2.0 * CM_PER_IN)}
_AWAY_M = {"metric": (-0.5, -0.2, 0.2), "us": (-1.5 * M_PER_FT, -0.5 * M_PER_FT, 0.5 * M_PER_FT)}


@bp.get("/sites/<slug>/rounds/<round_id>/learned")
def learned_page(slug: str, round_id: str) -> str:
    """What a round taught; for one team with ``?team=``, which then sees no other team's code."""
    view = current.site_view(slug)
    of = learned_of(view, round_id, _team())
    units = display.Units(view.terms.units)
    trunk = _trunk(view)
    return frame.site_page(
        "learned.html",
        view,
        "sheets",
        of=of,
        guess_rows=of.with_teams(of.guesses.rows).to_dict("records"),
        pair_rows=of.agreement.pairs.to_dict("records"),
        hand_rows=of.with_teams(of.hands.rows).to_dict("records"),
        grown=[_grown(group, units) for group in of.groups],
        says_nothing=str(_(SAYS_NOTHING)),
        least=LEAST,
        tags=dict(zip(view.records.trees["tree_id"], view.records.trees["tag"], strict=True)),
        tape=_tape(view, trunk),
        trunk=trunk,
        per_unit=CM_PER_IN if units.system == "us" else 1.0,
        highest_m=taper.HIGHEST_M,
        team_query=_team_query(),
    )


def _team() -> str | None:
    return request.args.get("team", "").strip() or None


def _team_query() -> str:
    """What an address of a picture of the same page ends with."""
    asked = request.query_string.decode("utf-8", "replace")
    return f"?{asked}" if asked else ""


def _grown(group: Any, units: display.Units) -> dict[str, Any]:
    value, half = grown_words(group, units)
    return {
        "name": group.name,
        "stems": group.stems,
        "value": value,
        "half": half,
        "words": change_words(group),
    }


def _trunk(view: SiteView) -> Trunk:
    """The trunk to try a tape on: 100 cm or 40 in round."""
    girth = 40 * CM_PER_IN if view.terms.units == "us" else 100.0
    return Trunk(girth, view.terms.breast_height_m)


def _tape(view: SiteView, trunk: Trunk) -> list[dict[str, Any]]:
    """What a tape shows round a trunk that is put on in several ways: words, what it shows, too much [cm]."""
    units = display.Units(view.terms.units)
    height = trunk.height_m
    ways = [(_("level and tight, at the right height"), (0.0, 0.0, height))]
    ways += [(_("slanted by %(deg)s°", deg=display.number(deg)), (deg, 0.0, height)) for deg in _TILTS_DEG]
    ways += [
        (_("off the trunk at one place by %(gap)s", gap=units.with_unit(gap, "round")), (0.0, gap, height))
        for gap in _GAPS_CM[view.terms.units]
    ]
    ways += [
        (_("round the trunk at %(height)s", height=units.height(height + away)), (0.0, 0.0, height + away))
        for away in _AWAY_M[view.terms.units]
        if taper.is_convertible(height + away)
    ]
    shown = [(words, float(tape_shows_cm(trunk, *way))) for words, way in ways]
    return [{"words": words, "shows": shows, "more": shows - trunk.girth_cm} for words, shows in shown]


def _words() -> dict[str, str]:
    return {key: str(_(text)) for key, text in LEARNING_CHART_WORDS.items()}


def _guesses(of: Learned, view: SiteView, narrow: bool) -> str:
    rows = _some(of.with_teams(of.guesses.rows))
    return guesses_chart(rows, view.terms, _words(), narrow, of.team)


def _hands(of: Learned, view: SiteView, narrow: bool) -> str:
    rows = _some(of.with_teams(of.hands.rows))
    return hands_chart(rows, view.terms, _words(), narrow, of.team)


def _teams(of: Learned, view: SiteView, narrow: bool) -> str:
    pairs = _some(of.agreement.pairs)
    apart = pairs["apart_cm"].to_numpy(dtype=float)
    return apart_chart(apart, of.agreement.apart, view.terms, _words(), narrow)


def _trees(of: Learned, view: SiteView, narrow: bool) -> str:
    if not of.groups:
        raise NotFound(_("chart"), "trees")
    return grown_chart(of.groups, view.terms, _words(), narrow)


def _some(rows: pd.DataFrame) -> pd.DataFrame:
    if not len(rows):
        raise NotFound(_("chart"), request.path.rsplit("/", 1)[-1])
    return rows


_CHARTS: dict[str, Callable[[Learned, SiteView, bool], str]] = {
    "guesses": _guesses,
    "hands": _hands,
    "teams": _teams,
    "trees": _trees,
}


@bp.get("/sites/<slug>/rounds/<round_id>/learned/<name>.svg")
def learned_picture(slug: str, round_id: str, name: str) -> Response:
    """A picture of the page; with ``-narrow`` for a phone, with ``?team=`` as that team sees it.

    Raises
    ------
    NotFound
        If there is no such picture, or nothing to draw.
    """
    view = current.site_view(slug)
    plain = name.removesuffix(chart_routes.NARROW)
    if plain not in _CHARTS:
        raise NotFound(_("chart"), name)
    of = learned_of(view, round_id, _team())
    label = f"learned {round_id} {of.team} {name}"
    return chart_routes.picture(view, label, lambda: _CHARTS[plain](of, view, plain != name))
