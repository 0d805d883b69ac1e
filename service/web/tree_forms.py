"""Forms of one tree: a new one, its facts, a measurement, what was seen, a correction; and taking back."""

from typing import Any

from flask import Blueprint, flash, request
from flask_babel import gettext as _

from layers.sights import SIGHTS
from service.edit import add_trees, cross_out, edit_tree
from service.entry import enter_observations, enter_readings, enter_statuses
from service.errors import NotFound
from service.records import TreeIn, parsed
from service.undo import undo_last
from service.view import SiteView
from service.web import choices, current, form, frame, tree_facts

bp = Blueprint("tree_forms", __name__)

TREE_TEXTS = ("tag", "place", "name_as_written", "position_source", "keeper", "planted_on", "status")
TREE_NUMBERS = ("lon_deg", "lat_deg", "x_m", "y_m", "position_accuracy_m")
READING_TEXTS = ("stem_id", "quantity", "unit", "instrument", "measured_on", "crew", "crew_kind", "note")
READING_NUMBERS = ("value", "first_guess", "height_m")


def _tree_values(sent: form.Form) -> dict[str, Any]:
    values: dict[str, Any] = {**sent.texts(*TREE_TEXTS), **{name: sent.number(name) for name in TREE_NUMBERS}}
    values["status"] = values["status"] or "living"
    if values["lon_deg"] is None and values["x_m"] is None:
        values["position_source"] = values["position_accuracy_m"] = None
    return values


def _tree_page(view: SiteView, sent: form.Form, **given: Any) -> Any:
    places = sorted({place for place in view.trees["place"] if place})
    page = frame.site_page(
        "tree_form.html",
        view,
        "trees",
        form=sent,
        choices=choices,
        places=places,
        shell=frame.map_of(view),
        **given,
    )
    return page, (422 if sent.faults else 200)


@bp.route("/sites/<slug>/trees/new", methods=["GET", "POST"])
def new_tree(slug: str) -> Any:
    """A tree that is not in the list yet: tapped on the map, or without a position, by place."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _tree_page(view, form.blank(stems=1, status="living", place=request.args.get("place")))
    sent = form.typed()
    values = _tree_values(sent)
    stems = sent.number("stems")
    values["stems"] = int(stems) if stems is not None else 1

    def make() -> list[str]:
        return add_trees(current.store(), slug, current.actor(), [parsed(TreeIn, values)])

    made = form.tried(sent, make)
    if made is None:
        return _tree_page(view, sent)
    flash(_("The tree is in the list. Measure it, or add the next one."))
    if sent.text("again"):
        return form.away(f"/sites/{slug}/trees/new?place={sent.text('place') or ''}")
    return form.away(f"/sites/{slug}/trees/{made[0]}")


@bp.route("/sites/<slug>/trees/<tree_id>/edit", methods=["GET", "POST"])
def edit_one(slug: str, tree_id: str) -> Any:
    """The facts of a tree: number, place, kind, position, whose it is."""
    view = current.site_view(slug)
    record = tree_facts.record_of(view, tree_id)
    if request.method == "GET":
        names = (*TREE_TEXTS, *TREE_NUMBERS, "version")
        return _tree_page(view, form.blank(**{name: record[name] for name in names}), record=record)
    sent = form.typed()
    values, version = _tree_values(sent), sent.number("version")

    def change() -> int:
        return edit_tree(current.store(), slug, current.actor(), tree_id, int(version or 0), values)

    if form.tried(sent, change) is None:
        return _tree_page(view, sent, record=record)
    flash(_("The tree's facts were changed; the former ones are kept."))
    return form.away(f"/sites/{slug}/trees/{tree_id}")


@bp.post("/sites/<slug>/trees/<tree_id>/cross-out")
def cross_out_tree(slug: str, tree_id: str) -> Any:
    """A tree that was entered by mistake: it counts nowhere any more."""
    sent = form.typed()
    version = int(sent.number("version") or 0)
    cross_out(current.store(), slug, current.actor(), "tree", tree_id, version)
    flash(_("The tree was crossed out as entered by mistake. It can be taken back."))
    return form.away(f"/sites/{slug}/trees")


@bp.route("/sites/<slug>/trees/<tree_id>/measure", methods=["GET", "POST"])
def measure(slug: str, tree_id: str) -> Any:
    """A measurement of one trunk: guess first, then what was read, with what and at which height."""
    view = current.site_view(slug)
    tree = tree_facts.tree_row(view, tree_id)
    stems = _stems(view, tree_id)
    if request.method == "GET":
        return _measure_page(view, tree, stems, form.blank(**_usual(view), **_last_used(view, tree_id)))
    sent = form.typed()
    values = _reading_values(sent, stems)
    answers = form.tried(sent, lambda: enter_readings(current.store(), slug, current.actor(), [values]))
    if answers is None or form.refused(sent, answers):
        return _measure_page(view, tree, stems, sent)
    form.told(answers, _("The measurement is kept."))
    return form.away(f"/sites/{slug}/trees/{tree_id}")


def _reading_values(sent: form.Form, stems: list[tuple[str, int]]) -> dict[str, Any]:
    values: dict[str, Any] = {
        **sent.texts(*READING_TEXTS),
        **{name: sent.number(name) for name in READING_NUMBERS},
    }
    if values["stem_id"] is None and stems:
        values["stem_id"] = stems[0][0]
    if values["value"] is None:
        sent.faults.setdefault("value", _("Type what was read; or leave the page if nothing was measured."))
    values["date_precision"] = "day" if values["measured_on"] else "unknown"
    return {name: value for name, value in values.items() if value is not None}


def _measure_page(view: SiteView, tree: Any, stems: list[tuple[str, int]], sent: form.Form) -> Any:
    page = frame.site_page(
        "measure_form.html", view, "trees", tree=tree, stems=stems, form=sent, choices=choices
    )
    return page, (422 if sent.faults else 200)


def _stems(view: SiteView, tree_id: str) -> list[tuple[str, int]]:
    stems = view.records.stems
    mine = stems[stems["tree_id"] == tree_id].sort_values("number")
    return [(stem_id, int(number)) for stem_id, number in zip(mine["stem_id"], mine["number"], strict=True)]


def _usual(view: SiteView) -> dict[str, Any]:
    return {
        "quantity": "girth",
        "unit": "in" if view.terms.units == "us" else "cm",
        "instrument": "girth tape",
        "measured_on": view.as_of,
    }


def _last_used(view: SiteView, tree_id: str) -> dict[str, Any]:
    """What makes a reading comparable: the height of the last one, never its size."""
    stems = {stem_id for stem_id, _number in _stems(view, tree_id)}
    readings = view.records.readings
    mine = readings[[stem in stems for stem in readings["stem_id"]]]
    heights = mine["height_m"].dropna()
    return {"height_m": f"{heights.iloc[-1]:g}"} if len(heights) else {}


@bp.route("/sites/<slug>/trees/<tree_id>/note", methods=["GET", "POST"])
def note(slug: str, tree_id: str) -> Any:
    """What was seen of a tree, its height and crown, and whether it still stands."""
    view = current.site_view(slug)
    tree = tree_facts.tree_row(view, tree_id)
    if request.method == "GET":
        return _note_page(view, tree, form.blank(seen_on=view.as_of), ())
    sent = form.typed()
    seen = request.form.getlist("seen")
    items = _observations(sent, tree_id, seen)
    status = sent.text("status")
    if not items and not status:
        sent.faults[""] = _("Tick what was seen, or type a height, a crown or a note.")

    def take() -> Any:
        answers = enter_observations(current.store(), slug, current.actor(), items) if items else []
        return answers + (_new_status(slug, tree_id, status, sent) if status else [])

    answers = form.tried(sent, take)
    if answers is None or form.refused(sent, answers):
        return _note_page(view, tree, sent, seen)
    form.told(answers, _("What was seen is kept."))
    dangers = [SIGHTS[word] for word in seen if word in SIGHTS and SIGHTS[word].danger]
    if dangers:
        flash(
            _("Danger was seen. Keep people away from this tree and call now. Nobody needs to decide first.")
        )
    return form.away(f"/sites/{slug}/trees/{tree_id}")


def _new_status(slug: str, tree_id: str, status: str, sent: form.Form) -> Any:
    event = {"subject_id": tree_id, "status": status, "happened_on": sent.text("seen_on"), "as_said": status}
    return enter_statuses(current.store(), slug, current.actor(), [event])


def _observations(sent: form.Form, tree_id: str, seen: list[str]) -> list[dict[str, Any]]:
    shared = {"tree_id": tree_id, "observed_on": sent.text("seen_on"), "crew_kind": sent.text("crew_kind")}
    text = sent.text("text")
    items: list[dict[str, Any]] = [{"what": word, "text": text} for word in seen if word in SIGHTS]
    for name, what in (("height_m", "height"), ("crown_diameter_m", "crown diameter")):
        value = sent.number(name)
        if value is not None:
            items.append({"what": what, "value": value, "unit": "m", "method": sent.text("method")})
    if text and not seen:
        items.append({"what": "note", "text": text})
    return [{**shared, **item} for item in items]


def _note_page(view: SiteView, tree: Any, sent: form.Form, seen: Any) -> Any:
    page = frame.site_page(
        "note_form.html",
        view,
        "trees",
        tree=tree,
        form=sent,
        sights=SIGHTS.values(),
        seen=set(seen),
        choices=choices,
    )
    return page, (422 if sent.faults else 200)


@bp.route("/sites/<slug>/readings/<reading_id>/correct", methods=["GET", "POST"])
def correct(slug: str, reading_id: str) -> Any:
    """Correct a measurement or cross it out; what was said before stays in the history."""
    view = current.site_view(slug)
    reading, tree_id = _reading(view, reading_id)
    if request.method == "GET":
        values = {name: reading[name] for name in (*READING_TEXTS, *READING_NUMBERS)}
        return _correct_page(view, reading, tree_id, form.blank(**values))
    sent = form.typed()
    crossing_out = sent.text("act") == "cross out"
    values = _correction(reading, sent, crossing_out)
    answers = form.tried(sent, lambda: enter_readings(current.store(), slug, current.actor(), [values]))
    if answers is None or form.refused(sent, answers):
        return _correct_page(view, reading, tree_id, sent)
    kept = _("The measurement was crossed out.") if crossing_out else _("The measurement was corrected.")
    form.told(answers, f"{kept} {_('What was said before is kept in the history.')}")
    return form.away(f"/sites/{slug}/trees/{tree_id}")


def _reading(view: SiteView, reading_id: str) -> tuple[Any, str]:
    found = view.records.readings
    found = found[found["reading_id"] == reading_id]
    if not len(found):
        raise NotFound("reading", reading_id)
    reading = found.iloc[0]
    stems = view.records.stems
    return reading, str(stems.loc[stems["stem_id"] == reading["stem_id"], "tree_id"].iloc[0])


_KEPT_OF_A_READING = (
    "quantity",
    "unit",
    "value",
    "value_2",
    "parts",
    "instrument",
    "height_m",
    "resolution",
    "measured_on",
    "date_precision",
    "crew",
    "crew_kind",
    "round_id",
    "tilt_deg",
    "side",
    "rule",
    "class_from_cm",
    "class_to_cm",
)


def _correction(reading: Any, sent: form.Form, crossing_out: bool) -> dict[str, Any]:
    said = {name: reading[name] for name in _KEPT_OF_A_READING}
    values = {name: value for name, value in said.items() if value is not None and value == value}
    if not crossing_out:
        values |= _reading_values(sent, [(str(reading["stem_id"]), 1)])
    reason = sent.text("reason")
    if reason is None:
        sent.faults["reason"] = _("Say in a few words why; it is kept with the correction.")
    return {
        **values,
        "stem_id": reading["stem_id"],
        "supersedes": reading["reading_id"],
        "void": crossing_out,
        "reason": reason,
    }


def _correct_page(view: SiteView, reading: Any, tree_id: str, sent: form.Form) -> Any:
    tree = tree_facts.tree_row(view, tree_id)
    page = frame.site_page(
        "correct_form.html", view, "trees", tree=tree, reading=reading, form=sent, choices=choices
    )
    return page, (422 if sent.faults else 200)


@bp.post("/sites/<slug>/undo")
def take_back(slug: str) -> Any:
    """Take back the last thing that was entered by hand on this ground."""
    try:
        count = undo_last(current.store(), slug, current.actor())
    except NotFound:
        flash(_("There is nothing to take back."))
    else:
        flash(_("Taken back: %(what)s. It stays in the history.", what=form.counted(count)))
    return form.away(f"/sites/{slug}")
