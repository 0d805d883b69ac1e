"""Planning measuring days: trees, teams, where all meet; then sectors, what is left out, words, paper."""

from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, flash, make_response, request
from flask_babel import gettext as _

from layers.day_page import CHECKED_WITHIN_DAYS, KIT, kit
from layers.hands import INSTRUMENT_OF, UNIT_OF
from layers.round_choice import KEEP_OFF_M, PRACTICE_TREES, REPEAT_SHARE
from layers.size_classes import bounds, label
from service.crew_words import make_words, words_until
from service.outlets.round_sheets import ROUND_WORDS, RoundPaper, round_pdf
from service.round_days import RoundNow, planned_round
from service.rounds import plan_again, plan_round, put_back
from service.view import SiteView
from service.web import choices, current, display, form, frame, lengths, round_facts
from service.web.join_slips import slips_of
from service.web.sheet_pages import pdf_answer, zones_of

bp = Blueprint("round_planning", __name__)

TEXTS = ("name", "from_on", "to_on", "instrument", "unit", "zone", "not_since", "meeting_words")
KINDS = ("pupils", "volunteers", "trained_staff")
DEGREES = ("lon_deg", "lat_deg")
METRES = ("x_m", "y_m")
DAY_TEXTS = ("permission_asked_on", "permission_given_on", "tree_check_on", "fall_back_on")


@bp.route("/sites/<slug>/rounds/new", methods=["GET", "POST"])
def new_round(slug: str) -> Any:
    """New measuring days."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _form_page(view, _usual(view))
    sent = form.typed()
    values = _values(view, sent)
    made = form.tried(sent, lambda: plan_round(current.store(), slug, current.actor(), values), _FIELDS)
    if made is None:
        return _form_page(view, sent)
    flash(_("The measuring days are planned. Look at the sectors, then fill in the day page."))
    return form.away(f"/sites/{slug}/rounds/{made}/plan")


@bp.route("/sites/<slug>/rounds/<round_id>/plan", methods=["GET", "POST"])
def round_plan(slug: str, round_id: str) -> Any:
    """The plan: sectors, teams, what is left out; asked for anew while the days have not begun."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    if request.method == "GET":
        return _plan_page(view, now, _known(view, now))
    sent = form.typed()
    values, version = _values(view, sent), sent.version()

    def again() -> int:
        return plan_again(current.store(), slug, current.actor(), round_id, version, values)

    if form.tried(sent, again, _FIELDS) is None:
        return _plan_page(view, now, sent)
    flash(_("The measuring days were planned anew; the former plan is kept."))
    return form.away(f"/sites/{slug}/rounds/{round_id}/plan")


@bp.post("/sites/<slug>/rounds/<round_id>/put-back")
def round_put_back(slug: str, round_id: str) -> Any:
    """Put a tree back on pupils' lists, with the reason."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    sent = form.typed()
    version = sent.version()
    said = {"tree_id": sent.text("tree_id") or "", "reason": sent.text("reason") or ""}

    def back() -> int:
        return put_back(current.store(), slug, current.actor(), round_id, version, said)

    if not said["reason"]:
        sent.faults[""] = _("Write the reason why this tree is put back; it is kept.")
    if form.tried(sent, back) is None:
        known = _known(view, now)
        known.faults.update(sent.faults)
        return _plan_page(view, now, known)
    flash(_("The tree is on a list again, with your reason."))
    return form.away(f"/sites/{slug}/rounds/{round_id}/plan")


@bp.post("/sites/<slug>/rounds/<round_id>/words")
def round_words(slug: str, round_id: str) -> Any:
    """Make the words by which the teams come in, and show them this once."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    sent = form.typed()
    made = form.tried(
        sent,
        lambda: make_words(current.store(), slug, current.actor(), round_id, sent.text("crew_id")),
    )
    if made is None:
        known = _known(view, now)
        known.faults.update(sent.faults)
        return _plan_page(view, now, known)
    teams = [(fact, made[fact.crew_id]) for fact in round_facts.teams_of(now) if fact.crew_id in made]
    page = frame.site_page("round_words.html", view, "sheets", now=now, slips=slips_of(teams))
    response = make_response(page)
    response.headers["Cache-Control"] = "no-store"
    return response


@bp.get("/sites/<slug>/rounds/<round_id>/sheets.pdf")
def round_sheets_pdf(slug: str, round_id: str) -> Response:
    """The day page and every team's sheets as PDF, for helpers or as the leader's copy."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    leader = request.args.get("leader") == "yes"
    words = {key: str(_(text)) for key, text in ROUND_WORDS.items()}
    paper = replace(_paper(view, now, leader), backs=request.args.get("backs") == "yes")
    body = round_pdf(view, now, paper, words)
    return pdf_answer(body, f"{slug}-{'leader' if leader else 'teams'}.pdf")


def _paper(view: SiteView, now: RoundNow, leader: bool) -> RoundPaper:
    lines = {"tree_check_days": CHECKED_WITHIN_DAYS} | {
        name: display.day(value) if name in DAY_TEXTS and value else value
        for name, value in now.day_page.items()
    }
    left_out = [(fact.tag, "; ".join(fact.why)) for fact in round_facts.left_out_of(view, now)]
    back = _("put back: %(why)s")
    left_out += [(one["tag"], back % {"why": one["reason"]}) for one in round_facts.put_back_of(view, now)]
    return RoundPaper(
        days=round_facts.days_of(now),
        meet=now.meeting.get("meeting_words"),
        lines=lines,
        kit=kit_of(now),
        left_out=left_out,
        speed=round_facts.speed(view),
        paper="Letter" if view.terms.units == "us" else "A4",
        leader=leader,
    )


def kit_of(now: RoundNow) -> list[tuple[str, int]]:
    """Return what is taken along: word of the kit and how many."""
    return kit([now.kinds[sheet["crew_id"]] for sheet in now.plan["sheets"]], now.instrument)


def kit_in_words(now: RoundNow) -> list[tuple[str, int]]:
    """Return what is taken along, in words."""
    return [(str(_(KIT[word])), count) for word, count in kit_of(now)]


_FIELDS = {"from_cm": "size", "to_cm": "size", "repeat_share": "repeat_pct"}


def _usual(view: SiteView) -> form.Form:
    return form.blank(
        name=_("Measuring days %(year)s", year=view.as_of[:4]),
        from_on=view.as_of,
        instrument="girth tape",
        unit="in" if view.terms.units == "us" else "cm",
        height_m=lengths.shown(view.terms.breast_height_m, view.terms.units, "measuring"),
        pupils=4,
        volunteers=0,
        trained_staff=0,
        practice=PRACTICE_TREES,
        repeat_pct=f"{100 * REPEAT_SHARE:g}",
        keep_off_m=lengths.shown(KEEP_OFF_M, view.terms.units),
        seed=1,
    )


def _known(view: SiteView, now: RoundNow) -> form.Form:
    """The form as the plan was asked for."""
    asked = now.plan["chosen_by"]
    units = view.terms.units
    said = {name: asked[name] for name in (*TEXTS, *KINDS, "practice", "seed", *DEGREES)}
    said |= {name: lengths.shown(asked[name], units) for name in (*METRES, "keep_off_m")}
    said["height_m"] = lengths.shown(asked["height_m"], units, "measuring")
    said["size"] = _size_key(asked["from_cm"], asked["to_cm"])
    said["repeat_pct"] = f"{100 * asked['repeat_share']:g}"
    return form.blank(version=now.version, **said)


def _size_key(low: float | None, high: float | None) -> str:
    return "" if low is None and high is None else f"{low or 0:g}-{'' if high is None else f'{high:g}'}"


def _sizes(view: SiteView) -> list[tuple[str, str]]:
    return [
        ("", _("all sizes")),
        *(
            (_size_key(low, high), display.say(label(low, high, view.terms)))
            for low, high in bounds(view.terms.breaks_cm)
        ),
    ]


def _values(view: SiteView, sent: form.Form) -> dict[str, Any]:
    units = view.terms.units
    values: dict[str, Any] = sent.texts(*TEXTS)
    values["height_m"] = lengths.typed(sent, "height_m", units, view.terms.breast_height_m, kind="measuring")
    if values["height_m"] is None:
        sent.faults.setdefault("height_m", _("Say at which height all teams measure."))
    values |= {name: _whole(sent, name) for name in (*KINDS, "practice", "seed")}
    percent = sent.number("repeat_pct")
    values["repeat_share"] = None if percent is None else percent / 100.0
    values["keep_off_m"] = lengths.typed(sent, "keep_off_m", units, KEEP_OFF_M)
    values |= {name: sent.number(name) for name in DEGREES}
    values |= {name: lengths.typed(sent, name, units) for name in METRES}
    values |= _size(sent)
    instrument = values["instrument"] or "girth tape"
    unit = values["unit"] or "cm"
    values["unit"] = UNIT_OF.get(instrument, "cm" if unit in INSTRUMENT_OF else unit)
    return {name: value for name, value in values.items() if value is not None}


def _size(sent: form.Form) -> dict[str, float | None]:
    low, _dash, high = (sent.text("size") or "-").partition("-")
    try:
        return {"from_cm": float(low) if float(low or 0) else None, "to_cm": float(high) if high else None}
    except ValueError:
        sent.faults["size"] = _("Choose a class of the list.")
        return {}


def _whole(sent: form.Form, name: str) -> int | float | None:
    number = sent.number(name)
    return int(number) if number is not None and number == int(number) else number


def _form_page(view: SiteView, sent: form.Form) -> Any:
    page = frame.site_page("round_new.html", view, "sheets", form=sent, **_given(view))
    return page, (422 if sent.faults else 200)


def _given(view: SiteView) -> dict[str, Any]:
    return {
        "choices": choices,
        "zones": [("", _("the whole ground")), *zones_of(view)],
        "sizes": _sizes(view),
        "shell": frame.map_of(view),
        "per_unit": lengths.per_unit(view.terms.units),
        "unseen": display.Units(view.terms.units).with_unit(view.terms.unseen_girth_cm, "round", 0),
    }


def _plan_page(view: SiteView, now: RoundNow, sent: form.Form) -> Any:
    page = frame.site_page(
        "round_plan.html",
        view,
        "sheets",
        form=sent,
        now=now,
        days=round_facts.days_of(now),
        status=round_facts.STATUS[now.status],
        teams=round_facts.teams_of(now),
        trees=round_facts.trees_of(now),
        twice=round_facts.twice_of(now),
        unlooked=round_facts.unlooked_of(view, now),
        uneven=round_facts.why_uneven(now),
        left_out=round_facts.left_out_of(view, now),
        returned=round_facts.put_back_of(view, now),
        picture=round_facts.picture(view, now),
        speed=round_facts.speed(view),
        until=words_until(current.store(), view.terms.slug, now.id),
        **_given(view),
    )
    return page, (422 if sent.faults else 200)
