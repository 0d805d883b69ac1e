"""Forms of looking: an inspection of a zone or of trees, and a qualified person's answer to a question."""

from typing import Any

import pandas as pd
from flask import Blueprint, flash, request
from flask_babel import gettext as _
from flask_babel import ngettext

from layers.findings import NOT_QUALIFIED
from layers.sights import SIGHTS
from service.danger import enter_finding
from service.danger_records import DangerAnswerIn
from service.entry import Answer, enter_inspections
from service.errors import NotFound
from service.records import FindingIn, InspectionIn, parsed
from service.view import SiteView
from service.web import choices, current, form, frame

bp = Blueprint("look_forms", __name__)

MOST_ROWS = 500

TEXTS = (
    "inspected_on",
    "level",
    "organisation",
    "qualification",
    "leaf_on",
    "not_seen",
    "next_look_by",
    "note",
)


@bp.route("/sites/<slug>/inspections/new", methods=["GET", "POST"])
def new_inspection(slug: str) -> Any:
    """Somebody walked a zone or looked at trees: who, at which level, and what at each tree."""
    view = current.site_view(slug)
    zone = request.args.get("zone", "")
    trees = _trees_of(view, zone)
    if request.method == "GET":
        usual = form.blank(inspected_on=view.as_of, level="formal", leaf_on="not said")
        return _inspection_page(view, zone, trees, usual)
    sent = form.typed()
    values = _inspection(view, zone, trees, sent)
    answers = form.tried(sent, lambda: _enter_look(slug, values))
    if answers is None or form.refused(sent, answers):
        return _inspection_page(view, zone, trees, sent)
    count = len(values["answers"])
    kept = ngettext(
        "The look is kept, with an answer for %(num)s tree.",
        "The look is kept, with an answer for %(num)s trees.",
        count,
    )
    form.told(answers, kept if count else _("The look is kept, for the zone as a whole."))
    if not values["qualified"]:
        flash(
            _("It is not entered as qualified for its level, so it moves no day of the last qualified look.")
        )
    return form.away(f"/sites/{slug}/flags")


def _enter_look(slug: str, values: dict[str, Any]) -> list[Answer]:
    return enter_inspections(current.store(), slug, current.actor(), [parsed(InspectionIn, values)])


def _enter_answer(slug: str, view: SiteView, rule: str, values: dict[str, Any]) -> list[Answer]:
    """Keep the finding; the dangers that it is about are answered by it and leave the top of the pages."""
    finding = parsed(FindingIn, values)
    answered = {
        "did": finding.found,
        "organisation": finding.capacity,
        "answered_on": finding.looked_on,
    }
    told = view.dangers[~view.dangers["answered"] & (view.dangers["tree_id"] == finding.tree_id)]
    reports = [
        parsed(DangerAnswerIn, {**answered, "report_id": danger.danger_id})
        for danger in told.itertuples()
        if SIGHTS[danger.sight].rule == rule and finding.capacity.strip().casefold() not in NOT_QUALIFIED
    ]
    return enter_finding(current.store(), slug, current.actor(), finding, reports)


def _inspection(view: SiteView, zone: str, trees: pd.DataFrame, sent: form.Form) -> dict[str, Any]:
    values: dict[str, Any] = {**sent.texts(*TEXTS), "qualified": sent.text("qualified") == "yes"}
    if not values["inspected_on"]:
        sent.faults["inspected_on"] = _("Say on which day it was looked at.")
    if not values["organisation"]:
        sent.faults["organisation"] = _(
            "Say who looked: an organisation or a role, a person only if they agree."
        )
    if values["qualified"] and not values["qualification"]:
        sent.faults["qualification"] = _("Say what qualifies them for this level.")
    answers = _answers(trees, sent)
    if not answers and not zone:
        sent.faults[""] = _("Say what was found at one tree at least, or choose a zone.")
    if zone in set(view.areas["area_id"]):
        values["area_id"] = zone
    return {**{name: value for name, value in values.items() if value is not None}, "answers": answers}


def _answers(trees: pd.DataFrame, sent: form.Form) -> dict[str, dict[str, Any]]:
    """What was found at each tree: its own answer, else that of the rest; something seen is recorded."""
    said, notes = form.chosen(sent.values, "answer-"), form.chosen(sent.values, "note-")
    rest = sent.text("rest")
    answers = {}
    for tree_id in trees["tree_id"]:
        note = notes.get(tree_id)
        answer = said.get(tree_id) or ("recorded" if note else rest)
        if answer:
            answers[tree_id] = {"answer": answer, "note": note}
    return answers


def _trees_of(view: SiteView, zone: str) -> pd.DataFrame:
    trees = view.trees[view.trees["status"] != "removed"]
    if zone in set(view.areas["area_id"]):
        members = view.membership
        inside = set(members.loc[members["area_id"] == zone, "tree_id"])
        return trees[[tree_id in inside for tree_id in trees["tree_id"]]]
    if zone:
        return trees[trees["place"] == zone]
    return trees


def zones_of(view: SiteView) -> list[tuple[str, str]]:
    """Return what a zone can be: areas by id, then places by name."""
    areas = [(id, name) for id, name in zip(view.areas["area_id"], view.areas["name"], strict=True)]
    places = sorted({place for place in view.trees["place"] if place})
    drawn = {name for _id, name in areas}
    named = [
        (place, _("%(place)s (named part)", place=place) if place in drawn else place) for place in places
    ]
    return [*sorted(areas, key=lambda area: area[1]), *named]


def _inspection_page(view: SiteView, zone: str, trees: pd.DataFrame, sent: form.Form) -> Any:
    page = frame.site_page(
        "inspection_form.html",
        view,
        "flags",
        form=sent,
        choices=choices,
        zones=zones_of(view),
        zone=zone,
        trees=[] if len(trees) > MOST_ROWS else list(trees.itertuples()),
        many=len(trees) if len(trees) > MOST_ROWS else 0,
    )
    return page, (422 if sent.faults else 200)


@bp.route("/sites/<slug>/flags/answer", methods=["GET", "POST"])
def answer_flag(slug: str) -> Any:
    """What a qualified person found on one question. One look may answer several, each by name."""
    view = current.site_view(slug)
    key = request.values.get("key", "")
    found = view.flags[view.flags["flag_key"] == key]
    if not len(found):
        raise NotFound(_("question on this ground"), key[:80])
    flag = found.iloc[0]
    if request.method == "GET":
        return _answer_page(view, flag, form.blank(looked_on=view.as_of))
    sent = form.typed()
    values = {
        **sent.texts("found", "to_do", "looked_on", "look_again_by", "capacity"),
        "flag_key": key,
        "rule_version": int(flag["rule_version"]),
        "tree_id": flag["tree_id"],
        "evidence": flag["evidence"],
    }
    for name, why in (
        ("found", _("Say what was seen; a question is not answered by a tick.")),
        ("capacity", _("Say in what capacity: who that is and what qualifies them.")),
        ("looked_on", _("Say on which day it was looked at.")),
    ):
        if not values[name]:
            sent.faults[name] = why
    answers = form.tried(sent, lambda: _enter_answer(slug, view, flag["rule"], values))
    if answers is None or form.refused(sent, answers):
        return _answer_page(view, flag, sent)
    flash(_("The answer is kept. The tree's other questions stay open."))
    return form.away(f"/sites/{slug}/trees/{flag['tree_id']}")


def _answer_page(view: SiteView, flag: Any, sent: form.Form) -> Any:
    page = frame.site_page("finding_form.html", view, "flags", flag=flag, form=sent)
    return page, (422 if sent.faults else 200)
