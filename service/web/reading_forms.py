"""Forms of measurements: a new one of a trunk, and the correction of one."""

from typing import Any

from flask import Blueprint, request
from flask_babel import gettext as _

from layers.hands import UNIT_OF
from layers.history import live_readings
from service.entry import Answer, enter_readings
from service.errors import NotFound
from service.records import ReadingIn, parsed
from service.store import changes
from service.view import SiteView
from service.web import (
    awkward_fields,
    choices,
    current,
    display,
    form,
    frame,
    lengths,
    reading_answers,
    teams,
    tree_facts,
)

bp = Blueprint("reading_forms", __name__)

TEXTS = ("stem_id", "quantity", "unit", "instrument", "measured_on", "crew", "crew_kind", "note", "parts")
NUMBERS = ("value", "first_guess", "resolution")
AWKWARD = ("awkward", "side", "rule", "tilt_deg")
KEPT = (
    *("quantity", "unit", "value", "value_2", "parts", "instrument", "calibration_id", "height_m"),
    *("resolution", "measured_on", "date_precision", "crew", "crew_kind", "round_id", "tilt_deg", "side"),
    *("rule", "awkward", "first_guess", "first_entry", "note", "class_from_cm", "class_to_cm"),
)


@bp.route("/sites/<slug>/trees/<tree_id>/measure", methods=["GET", "POST"])
def measure(slug: str, tree_id: str) -> Any:
    """A measurement of one trunk: guess first, then what was read, with what and at which height."""
    view = current.site_view(slug)
    tree = tree_facts.tree_row(view, tree_id)
    stems = _stems(view, tree_id)
    if request.method == "GET":
        return _measure_page(view, tree, stems, form.blank(**_usual(view), **_last_used(view, stems)))
    sent = form.typed()
    values = _values(view, sent, _heights(view, stems))
    if values.get("stem_id") is None and stems:
        values["stem_id"] = stems[0][0]
    count_in_hands(sent, values)
    if "value" not in values and "parts" not in values:
        sent.faults.setdefault("value", _("Type what was read; or leave the page if nothing was measured."))
    answers = form.tried(sent, lambda: _enter(slug, values))
    if answers is None or form.refused(sent, answers):
        return _measure_page(view, tree, stems, sent)
    form.told(answers, _("The measurement is kept."))
    reading_answers.tell(current.site_view(slug), [answer.id for answer in answers])
    return form.away(f"/sites/{slug}/trees/{tree_id}")


def _enter(slug: str, values: dict[str, Any]) -> list[Answer]:
    return enter_readings(current.store(), slug, current.actor(), [parsed(ReadingIn, values)])


def _values(
    view: SiteView, sent: form.Form, heights: list[float], known: str | None = None
) -> dict[str, Any]:
    values: dict[str, Any] = {**sent.texts(*TEXTS), **{name: sent.number(name) for name in NUMBERS}}
    units = view.terms.units
    values["height_m"] = lengths.typed(sent, "height_m", units, *heights, kind="measuring")
    if values["value"] == 0:
        sent.faults["value"] = _("Zero is not a size. Leave the page when nothing was measured.")
    values |= awkward_fields.typed(sent, values["height_m"])
    teams.require_code(view, sent, known)
    values["date_precision"] = "day" if values["measured_on"] else "unknown"
    return {name: value for name, value in values.items() if value is not None}


def count_in_hands(sent: form.Form, values: dict[str, Any]) -> None:
    """A new reading with hands is a count; a length would be taken for a trunk as thin as a hand."""
    unit = UNIT_OF.get(values.get("instrument", ""))
    if unit and values.get("unit") not in (unit, None):
        words = dict(choices.READING_UNITS)[unit]
        sent.faults["unit"] = _("Hands are counted: choose %(unit)s as the unit.", unit=words)


def _measure_page(view: SiteView, tree: Any, stems: list[tuple[str, int]], sent: form.Form) -> Any:
    page = frame.site_page(
        "measure_form.html",
        view,
        "trees",
        tree=tree,
        stems=stems,
        form=sent,
        choices=choices,
        awkward=awkward_fields,
        teams=teams.known(view),
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


def _last_used(view: SiteView, stems: list[tuple[str, int]]) -> dict[str, Any]:
    """What makes a reading comparable: the height of the last one, never its size."""
    said = live_readings(_readings_of(view, stems)).dropna(subset=["height_m"])
    if not len(said):
        return {}
    last = said.sort_values("measured_on", kind="stable", na_position="first").iloc[-1]
    return {"height_m": lengths.shown(last["height_m"], view.terms.units, "measuring")}


def _heights(view: SiteView, stems: list[tuple[str, int]]) -> list[float]:
    """The heights at which the trunks of a tree were measured [m]."""
    heights = _readings_of(view, stems)["height_m"]
    return list(dict.fromkeys(float(height) for height in heights.dropna()))


def _readings_of(view: SiteView, stems: list[tuple[str, int]]) -> Any:
    readings = view.records.readings
    return readings[readings["stem_id"].isin([stem for stem, _number in stems])]


@bp.route("/sites/<slug>/readings/<reading_id>/correct", methods=["GET", "POST"])
def correct(slug: str, reading_id: str) -> Any:
    """Correct a measurement or cross it out; what was said before stays in the history."""
    view = current.site_view(slug)
    reading, tree_id = _reading(view, reading_id)
    if request.method == "GET":
        values = {name: reading[name] for name in (*TEXTS, *NUMBERS)}
        values["height_m"] = lengths.shown(reading["height_m"], view.terms.units, "measuring")
        values |= awkward_fields.shown(reading)
        return _correct_page(view, reading, tree_id, form.blank(**values))
    sent = form.typed()
    crossing_out = sent.text("act") == "cross out"
    values = _correction(view, reading, sent, crossing_out)
    answers = form.tried(sent, lambda: _enter(slug, values))
    if answers is None or form.refused(sent, answers):
        return _correct_page(view, reading, tree_id, sent)
    kept = _("The measurement was crossed out.") if crossing_out else _("The measurement was corrected.")
    still = _("What was said before is kept in the history.")
    form.told(answers, f"{kept} {still}")
    if not crossing_out:
        reading_answers.tell(current.site_view(slug), [answer.id for answer in answers])
    return form.away(f"/sites/{slug}/trees/{tree_id}")


def _reading(view: SiteView, reading_id: str) -> tuple[Any, str]:
    found = view.records.readings
    found = found[found["reading_id"] == reading_id]
    if not len(found):
        raise NotFound(_("measurement on this ground"), reading_id)
    reading = found.iloc[0]
    stems = view.records.stems
    return reading, str(stems.loc[stems["stem_id"] == reading["stem_id"], "tree_id"].iloc[0])


def _correction(view: SiteView, reading: Any, sent: form.Form, crossing_out: bool) -> dict[str, Any]:
    values = {name: reading[name] for name in KEPT}
    if not crossing_out:
        typed = _values(view, sent, [reading["height_m"]], reading["crew"])
        shown = [name for name in (*TEXTS, *NUMBERS, "height_m") if name in sent.values]
        shown += AWKWARD if awkward_fields.OPENED in sent.values else ()
        values |= {name: typed.get(name) for name in shown}
        _without_old_goes(reading, values)
        if values["quantity"] != "diameter":
            values["value_2"] = None  # only a diameter has a second axis
        day = typed.get("measured_on")
        if day != reading["measured_on"]:
            values["date_precision"] = typed["date_precision"]
        if day is None:
            values["measured_on"] = None
        values["first_entry"] = _first_entry(view, reading)
    if sent.text("reason") is None:
        sent.faults["reason"] = _("Say in a few words why; it is kept with the correction.")
    own = {"stem_id": reading["stem_id"], "supersedes": reading["reading_id"], "void": crossing_out}
    own["recorded_at"] = changes.now()  # of two corrections of one reading the later one is used
    said = {name: value for name, value in values.items() if value is not None and value == value}
    return {**said, **own, "reason": sent.text("reason")}


def _first_entry(view: SiteView, reading: Any) -> Any:
    """What was typed first stays beside what it was changed to after a question: it was no second look."""
    if (
        display.is_missing(reading["first_entry"])
        and (view.questioned["reading_id"] == reading["reading_id"]).any()
    ):
        return reading["value"]
    return reading["first_entry"]


def _without_old_goes(reading: Any, values: dict[str, Any]) -> None:
    """Goes that were left as they were do not hold a corrected size back, nor the other way round."""
    if values.get("parts") is None:
        return
    if values["parts"] != reading["parts"] and values.get("value") == reading["value"]:
        values["value"] = None
    elif values["parts"] == reading["parts"] and values.get("value") != reading["value"]:
        values["parts"] = None


def _correct_page(view: SiteView, reading: Any, tree_id: str, sent: form.Form) -> Any:
    page = frame.site_page(
        "correct_form.html",
        view,
        "trees",
        tree=tree_facts.tree_row(view, tree_id),
        reading=reading,
        said=tree_facts.as_said(reading, display.Units(view.terms.units)),
        form=sent,
        choices=choices,
        awkward=awkward_fields,
        teams=teams.known(view),
    )
    return page, (422 if sent.faults else 200)
