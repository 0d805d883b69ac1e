"""Pages of dangers: all that were reported, one at a place without a tree, and what a manager had done."""

import math
import uuid
from typing import Any

from flask import Blueprint, flash, request
from flask_babel import gettext as _

from layers.danger_state import answers_to
from layers.sights import DANGERS
from service import closures
from service.danger import answer_dangers, enter_dangers
from service.danger_records import ClosureIn, DangerAnswerIn, DangerIn
from service.errors import NotFound
from service.records import parsed
from service.view import SiteView
from service.web import choices, closed, current, danger_fields, dangers, form, frame, lengths, teams

bp = Blueprint("danger_pages", __name__)

POSITION = ("lon_deg", "lat_deg")
LENGTHS = ("x_m", "y_m")
ANSWERED = ("did", "organisation", "qualification", "answered_on")


@bp.get("/sites/<slug>/dangers")
def site_dangers(slug: str) -> str:
    """Every danger that was reported and holds, with what was done about it."""
    view = current.site_view(slug)
    rows = view.dangers.to_dict("records")
    is_open = {row["danger_id"] for row in rows if not row["answered"]}
    return frame.site_page(
        "dangers.html",
        view,
        "today",
        waiting=dangers.spots_of(view, [row for row in rows if row["danger_id"] in is_open]),
        answered=dangers.spots_of(view, [row for row in rows if row["danger_id"] not in is_open]),
        answers=answers_to(view.records.danger_answers),
        closures=closed.closed_now(view),
        **danger_fields.words(view.terms),
    )


@bp.route("/sites/<slug>/dangers/new", methods=["GET", "POST"])
def new_danger(slug: str) -> Any:
    """A danger at a place of which no tree is known: named in words, or tapped on the map."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _new_page(view, form.blank(seen_on=view.as_of))
    sent = form.typed()
    teams.require_code(view, sent)
    where: dict[str, Any] = {"place": sent.text("place")}
    where |= {name: sent.number(name) for name in POSITION}
    where |= {name: lengths.typed(sent, name, view.terms.units) for name in LENGTHS}
    known = {sight.word for sight in DANGERS}
    sights = [word for word in request.form.getlist("seen") if word in known]
    if not sights:
        sent.faults[""] = _("Tick what was seen.")
    reports = danger_fields.reports_of(sent, view.terms.time_zone, sights, where)
    answers = form.tried(
        sent,
        lambda: enter_dangers(
            current.store(), slug, current.actor(), [parsed(DangerIn, report) for report in reports]
        ),
    )
    if answers is None or form.refused(sent, answers):
        return _new_page(view, sent)
    form.told(answers, str(danger_fields.DANGER_KEPT))
    return form.away(f"/sites/{slug}/dangers")


def _new_page(view: SiteView, sent: form.Form) -> Any:
    page = frame.site_page(
        "danger_form.html",
        view,
        "today",
        form=sent,
        sights=DANGERS,
        seen=set(request.form.getlist("seen")),
        choices=choices,
        teams=teams.known(view),
        shell=frame.map_of(view),
        per_unit=lengths.per_unit(view.terms.units),
        **danger_fields.words(view.terms),
    )
    return page, (422 if sent.faults else 200)


@bp.route("/sites/<slug>/dangers/<id>/answer", methods=["GET", "POST"])
def answer_danger(slug: str, id: str) -> Any:
    """What was done about a danger; first of all: keeping people away."""
    view = current.site_view(slug)
    rows = dangers.same_spot(view, id)
    if not rows:
        raise NotFound(_("danger on this ground"), id[:80])
    if request.method == "GET":
        return _answer_page(view, rows, _usual(view, rows))
    sent = form.typed()
    chosen = [word for word in request.form.getlist("report") if word in {row["danger_id"] for row in rows}]
    if not chosen:
        sent.faults[""] = _("Tick which of these is answered.")
    for name, why in (
        ("did", _("Say what was done; a danger is not answered by a tick.")),
        ("organisation", _("Say who had it done: an organisation or a role, a person only if they agree.")),
        ("answered_on", _("Say on which day that was.")),
    ):
        if not sent.text(name):
            sent.faults[name] = why
    closing = _closing(view, rows[0], sent) if sent.text("close") == "yes" else None
    if form.tried(sent, lambda: _enter(slug, sent, chosen, closing)) is None:
        return _answer_page(view, rows, sent)
    flash(_("The answer is kept, and the danger is off the top of the pages."))
    if closing is not None:
        flash(_("The place is closed; it is hatched on every map. Mark it on the ground as well."))
    return form.away(f"/sites/{slug}/dangers")


def _enter(slug: str, sent: form.Form, chosen: list[str], closing: dict[str, Any] | None) -> list[Any]:
    """Close the place, then keep the answers that name the closure."""
    said = {**sent.texts(*ANSWERED), "closure_id": None if closing is None else closing["id"]}
    answers = [parsed(DangerAnswerIn, {**said, "report_id": id}) for id in chosen]
    if closing is not None:
        made = parsed(ClosureIn, closing)
        closures.add_closures(current.store(), slug, current.actor(), [made])
    return answer_dangers(current.store(), slug, current.actor(), answers)


def _closing(view: SiteView, row: dict[Any, Any], sent: form.Form) -> dict[str, Any]:
    """What the form closes: a circle round the tree or the place on the map, else the place in words."""
    values: dict[str, Any] = {
        "id": str(uuid.uuid4()),
        "name": _spot_words(view, row),
        "from_on": sent.text("closed_from") or view.as_of,
        **sent.texts("why", "how_marked", "who_may_reopen"),
    }
    for name, why in (
        ("why", _("Say why it is closed.")),
        ("who_may_reopen", _("Say who may reopen it.")),
    ):
        if not values[name]:
            sent.faults[name] = why
    if _is_round(view, row):
        values["radius_m"] = lengths.typed(sent, "radius_m", view.terms.units)
        if values["radius_m"] is None and "radius_m" not in sent.faults:
            sent.faults["radius_m"] = _("Say how far from it people are kept out.")
    of_tree = _is_tree(view, row)
    return values | ({"tree_id": row["tree_id"]} if of_tree else {"geometry": _point(view, row)})


def _is_tree(view: SiteView, row: dict[Any, Any]) -> bool:
    return row["tree_id"] in set(view.records.trees["tree_id"])


def _is_round(view: SiteView, row: dict[Any, Any]) -> bool:
    return _is_tree(view, row) or _point(view, row) is not None


def _point(view: SiteView, row: dict[Any, Any]) -> dict[str, Any] | None:
    """Where a report without a tree was, in the coordinates of the ground."""
    x, y = (row[name] for name in (LENGTHS if view.terms.frame == "local" else POSITION))
    return None if x is None or y is None else {"type": "Point", "coordinates": [float(x), float(y)]}


def _spot_words(view: SiteView, row: dict[Any, Any]) -> str:
    (spot,) = dangers.spots_of(view, [row])
    if spot.tree_id:
        return str(_("round tree %(tag)s", tag=spot.tag or _("without a number")))[:200]
    return (spot.place or str(_("a place on the map")))[:200]


def _usual(view: SiteView, rows: list[dict[Any, Any]]) -> form.Form:
    reach = view.reach_m(rows[0]["tree_id"]) if rows[0]["tree_id"] else None
    per_unit = lengths.per_unit(view.terms.units)
    spot = dangers.spots_of(view, rows[:1])[0]
    return form.blank(
        answered_on=view.as_of,
        closed_from=view.as_of,
        close="no" if closed.closures_of_tree(view, rows[0]["tree_id"] or "") else "yes",
        radius_m=None if reach is None else math.ceil(reach / per_unit),
        why=spot.dangers[0].sight,
        who_may_reopen=view.terms.qualified,
    )


def _answer_page(view: SiteView, rows: list[dict[Any, Any]], sent: form.Form) -> Any:
    row = rows[0]
    page = frame.site_page(
        "danger_answer.html",
        view,
        "today",
        form=sent,
        spot=dangers.spots_of(view, rows)[0],
        chosen=set(request.form.getlist("report") or [each["danger_id"] for each in rows]),
        is_round=_is_round(view, row),
        reach=view.reach_m(row["tree_id"]) if row["tree_id"] else None,
        already=closed.closures_of_tree(view, row["tree_id"] or ""),
        answers=answers_to(view.records.danger_answers).get(row["danger_id"], []),
    )
    return page, (422 if sent.faults else 200)
