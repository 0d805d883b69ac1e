"""What forms of dangers share: the words that stop everybody, and what was done at once."""

import datetime as dt
import re
from typing import Any
from zoneinfo import ZoneInfo

from flask import request
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers import stop_card
from layers.inputs import SiteTerms
from service.view import today_in
from service.web.form import Form

DANGER_KEPT = _l("Danger was seen. Keep people away from it and call now. Nobody needs to decide first.")

_CLOCK = re.compile(r"([01]?\d|2[0-3])[:.]([0-5]\d)")


def words(terms: SiteTerms) -> dict[str, Any]:
    """Return the words of the stop card in the language of the page, and what was ticked as done."""
    return {
        "stop_words": _(stop_card.STOP),
        "when_words": _(stop_card.WHEN),
        "call_words": stop_card.call(terms.phone, _(stop_card.CALL), _("the site's number")),
        "doings": [(word, _(said)) for word, said in stop_card.LEADER_DID.items()],
        "done": request.form.getlist("leader_did"),
    }


def reports_of(sent: Form, time_zone: str, sights: list[str], where: dict[str, Any]) -> list[dict[str, Any]]:
    """Return a danger report for each sight, with what the form says of team, day, and what was done."""
    shared = {
        **where,
        **sent.texts("text", "seen_on", "crew", "crew_kind", "leader_called"),
        "leader_did": [word for word in request.form.getlist("leader_did") if word in stop_card.LEADER_DID],
        "leader_at": _moment(sent, time_zone),
    }
    if shared["leader_called"] and stop_card.CALLED not in shared["leader_did"]:
        shared["leader_did"].append(stop_card.CALLED)
    return [{"sight": sight, **shared} for sight in sights]


def _moment(sent: Form, time_zone: str) -> str | None:
    """The time of day that was typed, on the day that was said (today where none was), as ISO."""
    clock = sent.text("leader_clock")
    if clock is None:
        return None
    found = _CLOCK.fullmatch(clock)
    if found is None:
        sent.faults["leader_clock"] = _("Type the time as 10:30, or leave it empty.")
        return None
    try:
        day = dt.date.fromisoformat(sent.text("seen_on") or today_in(time_zone))
    except ValueError:
        return None  # the day itself is the fault
    at = dt.time(int(found[1]), int(found[2]), tzinfo=ZoneInfo(time_zone))
    return dt.datetime.combine(day, at).isoformat()
