"""How broad a team's hand is: ten laid one after the other, five times, before trunks are counted in it."""

from typing import Any

from flask import Blueprint, request
from flask_babel import gettext as _

from layers.hands import FEWEST_TIMES, INSTRUMENT_OF, LAID, TIMES, UNIT_OF, USUAL_CM
from layers.units import CM_PER_UNIT
from service.entry import enter_calibrations
from service.records import CalibrationIn, parsed
from service.view import SiteView
from service.web import choices, current, form, frame, teams

bp = Blueprint("hand_pages", __name__)

TOTALS = tuple(f"total_{n}" for n in range(1, TIMES + 1))


@bp.route("/sites/<slug>/hands", methods=["GET", "POST"])
def site_hands(slug: str) -> Any:
    """The hands that teams measured, and a form for one more."""
    view = current.site_view(slug)
    if request.method == "GET":
        usual = {"unit": "in" if view.terms.units == "us" else "cm", "calibrated_on": view.as_of}
        return _page(view, form.blank(**usual, instrument=INSTRUMENT_OF["hands"], crew_kind="pupils"))
    sent = form.typed()
    values = _values(view, sent)
    answers = form.tried(
        sent,
        lambda: enter_calibrations(current.store(), slug, current.actor(), [parsed(CalibrationIn, values)]),
    )
    if answers is None or form.refused(sent, answers):
        return _page(view, sent)
    form.told(answers, _("The hand is kept. Trunks of this team can be counted in it from that day on."))
    return form.away(f"/sites/{slug}/hands")


def _values(view: SiteView, sent: form.Form) -> dict[str, Any]:
    values: dict[str, Any] = sent.texts("crew", "crew_kind", "instrument", "calibrated_on")
    per_unit = CM_PER_UNIT["in" if sent.text("unit") == "in" else "cm"]
    said = [sent.number(name) for name in TOTALS]
    values["totals_cm"] = [round(total * per_unit, 4) for total in said if total is not None]
    if len(values["totals_cm"]) < FEWEST_TIMES and not sent.faults:
        missing = next(name for name, total in zip(TOTALS, said, strict=True) if total is None)
        sent.faults[missing] = _("Lay the hands at least three times; five are better.")
    if values["crew"] is None:
        sent.faults["crew"] = _("Give the code of the team, such as 5b; the hand goes with it.")
    if values["calibrated_on"] is None:
        sent.faults["calibrated_on"] = _("Give the day; hands of children grow.")
    teams.require_code(view, sent)
    return {name: value for name, value in values.items() if value is not None}


def _page(view: SiteView, sent: form.Form) -> Any:
    page = frame.site_page(
        "hands.html",
        view,
        "sheets",
        form=sent,
        choices=choices,
        teams=teams.known(view),
        hands=sorted(view.terms.hands, key=lambda hand: (hand.calibrated_on, hand.crew), reverse=True),
        hand_words=dict(choices.HAND_INSTRUMENTS),
        totals=TOTALS,
        laid=LAID,
        usual_cm={instrument: USUAL_CM[unit] for instrument, unit in UNIT_OF.items()},
    )
    return page, (422 if sent.faults else 200)
