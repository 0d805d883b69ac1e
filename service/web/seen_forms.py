"""The form of what was seen of a tree: sights, height and crown, and whether it is still there."""

from typing import Any

from flask import Blueprint, flash, request
from flask_babel import gettext as _

from layers.canopy import HELPERS
from layers.sights import NONE_SEEN, SIGHTS
from service.danger import enter_seen
from service.danger_records import DangerIn
from service.entry import Answer, enter_statuses
from service.records import ObservationIn, StatusIn, parsed
from service.view import SiteView
from service.web import choices, current, danger_fields, form, frame, lengths, teams, tree_facts

bp = Blueprint("seen_forms", __name__)

NAMES = {"observed_on": "seen_on", "happened_on": "seen_on"}
MEASURED = (("height_m", "height"), ("crown_diameter_m", "crown diameter"))


@bp.route("/sites/<slug>/trees/<tree_id>/note", methods=["GET", "POST"])
def note(slug: str, tree_id: str) -> Any:
    """What was seen of a tree, its height and crown, and whether it still stands."""
    view = current.site_view(slug)
    tree = tree_facts.tree_row(view, tree_id)
    if request.method == "GET":
        return _page(view, tree, form.blank(seen_on=view.as_of), [])
    sent = form.typed()
    seen = [word for word in request.form.getlist("seen") if word in SIGHTS]
    teams.require_code(view, sent)
    stops = [word for word in seen if SIGHTS[word].danger]
    reports = danger_fields.reports_of(sent, view.terms.time_zone, stops, {"tree_id": tree_id})
    items, events = _observations(sent, tree_id, seen, view.terms.units), _events(sent, tree_id)
    if not reports and not items and not events:
        sent.faults.setdefault("", _("Tick what was seen, or type a height, a crown or a note."))
    answers = form.tried(sent, lambda: _enter(slug, reports, items, events), NAMES)
    if answers is None or form.refused(sent, answers):
        return _page(view, tree, sent, seen)
    form.told(answers, _("What was seen is kept."))
    if reports:
        flash(str(danger_fields.DANGER_KEPT))
    return form.away(f"/sites/{slug}/trees/{tree_id}")


def _enter(
    slug: str, reports: list[dict[str, Any]], items: list[dict[str, Any]], events: list[dict[str, Any]]
) -> list[Answer]:
    """Take all that was seen as one change, and what became of the tree as another."""
    dangers = [parsed(DangerIn, report) for report in reports]
    observed = [parsed(ObservationIn, item) for item in items]
    became = [parsed(StatusIn, event) for event in events]
    answers: list[Answer] = []
    if dangers or observed:
        answers += enter_seen(current.store(), slug, current.actor(), dangers, observed)
    if became:
        answers += enter_statuses(current.store(), slug, current.actor(), became)
    return answers


def _observations(sent: form.Form, tree_id: str, seen: list[str], units: str) -> list[dict[str, Any]]:
    text = sent.text("text")
    if NONE_SEEN in seen and len(seen) > 1:
        sent.faults[""] = _("Something was ticked, and so was that none was seen. Leave one of them away.")
    items: list[dict[str, Any]] = [{"what": word, "text": text} for word in seen if not SIGHTS[word].danger]
    for name, what in MEASURED:
        metres = lengths.typed(sent, name, units)
        if metres is not None and metres <= 0:
            sent.faults[name] = _("Type a length above 0, or leave it empty.")
        elif metres is not None:
            items.append(
                {"what": what, **_as_typed(sent, name, metres, units), "method": sent.text("method")}
            )
    if text and not seen:
        items.append({"what": "note", "text": text})
    return [{**_shared(sent), "tree_id": tree_id, **item} for item in items]


def _as_typed(sent: form.Form, name: str, metres: float, units: str) -> dict[str, Any]:
    """A length in the unit that it was said in: how finely it was read says how well it is known."""
    if units == "us" and form.Form.is_number(sent.text(name) or ""):
        return {"value": sent.number(name), "unit": "ft"}
    return {"value": metres, "unit": "m"}


def _shared(sent: form.Form) -> dict[str, Any]:
    day = sent.text("seen_on")
    return {"observed_on": day, "date_precision": _precision(day), **sent.texts("crew_kind", "crew")}


def _precision(day: str | None) -> str:
    return "day" if day else "unknown"


def _events(sent: form.Form, tree_id: str) -> list[dict[str, Any]]:
    """What became of the tree: said by a helper it stays in doubt, else it is settled (definitions R6)."""
    said = sent.text("status")
    if said is None:
        return []
    in_doubt = said in choices.DOUBTED
    if not in_doubt and sent.text("crew_kind") in HELPERS:
        sent.faults["status"] = _(
            "Helpers say: not found, looks dead, or only a stump here. "
            "Whoever looks after the ground settles it."
        )
    return [
        {
            "subject_id": tree_id,
            "status": choices.DOUBTED.get(said, said),
            "happened_on": sent.text("seen_on"),
            "date_precision": _precision(sent.text("seen_on")),
            "as_said": said,
            "in_doubt": in_doubt,
        }
    ]


def _page(view: SiteView, tree: Any, sent: form.Form, seen: list[str]) -> Any:
    page = frame.site_page(
        "note_form.html",
        view,
        "trees",
        tree=tree,
        form=sent,
        sights=list(SIGHTS.values()),
        seen=set(seen),
        choices=choices,
        teams=teams.known(view),
        **danger_fields.words(view.terms),
    )
    return page, (422 if sent.faults else 200)
