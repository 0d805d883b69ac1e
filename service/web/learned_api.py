"""What a team's phone is told of what its measuring taught: its own guesses, in numbers and sentences.

No size of a tree is told, and nothing of other teams, so that nobody measures toward what others read; how
teams agree and how the trees grew is on the page that a manager prints or shows (`learned_pages`).
"""

import dataclasses
from typing import Any

from flask import Blueprint, Response, jsonify
from flask_babel import gettext as _
from flask_babel import ngettext

from layers.class_learning import Guesses, guesses_of, round_sizes
from service.actors import LOCAL_MANAGER
from service.crew_words import CrewPass
from service.view import SiteView, view_of
from service.web import current, display, frame

bp = Blueprint("learned_api", __name__, url_prefix="/field/api")


@bp.get("/learned")
def learned() -> Response:
    """What the team that asks has learned so far."""
    crew = current.crew()
    view = view_of(current.store(), crew.slug, LOCAL_MANAGER)
    tag = frame.etag(view, "learned", crew.crew_id)
    held = frame.unchanged(tag)
    if held is not None:
        return held
    said = jsonify(_told(view, crew))
    said.set_etag(tag)
    said.headers["Cache-Control"] = "private, no-cache"
    said.headers["Vary"] = "Authorization, Accept-Language, Cookie"
    return said


def _told(view: SiteView, crew: CrewPass) -> dict[str, Any]:
    sizes = round_sizes(view.records, view.terms, crew.round_id)
    mine = sizes[sizes["crew"] == crew.code]
    guesses, stems = guesses_of(mine), mine["stem_id"].nunique()
    measured = ngettext("Your team measured %(num)s trunk.", "Your team measured %(num)s trunks.", stems)
    return {
        "crew": crew.code,
        "trunks": stems,
        "readings": len(mine),
        "guesses": {
            "count": len(guesses.rows),
            "off": guesses.off and dataclasses.asdict(guesses.off),
            "ratio": guesses.ratio and dataclasses.asdict(guesses.ratio),
            "lean": guesses.sides.lean,
            "course": guesses.course,
        },
        "sentences": [measured, *_of_guesses(guesses)],
    }


def _of_guesses(guesses: Guesses) -> list[str]:
    if guesses.off is None:
        return []
    said = [
        _("Half of the guesses were off by less than %(share)s.", share=display.share(guesses.off.middle))
    ]
    sides, number = guesses.sides, len(guesses.rows)
    if sides.lean == "below":
        said.append(_("Most guesses were too small: %(some)s of %(all)s.", some=sides.below, all=number))
    elif sides.lean == "above":
        said.append(_("Most guesses were too big: %(some)s of %(all)s.", some=sides.above, all=number))
    return said
