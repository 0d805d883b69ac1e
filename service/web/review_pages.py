"""The review page: readings, crews and rows of lists that ask for a second look, settled one by one.

By keyboard: j and k go on and back, a accepts, s corrects, v crosses out.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from flask import Blueprint, flash, request
from flask_babel import gettext as _

from layers.corrections import LIVE
from layers.questioned import UNLIKE
from service.errors import InvalidRequest
from service.records import parsed
from service.settling import SettlingIn, settle
from service.view import SiteView
from service.web import choices, current, display, form, frame, lengths, open_questions, tree_facts
from service.web import question_words as words

bp = Blueprint("review_pages", __name__)

ITEMS_A_PAGE = 20
LIST_ROWS = 50
LEAST_SHARE = 0.02
WIDE, HIGH, EDGE = 240.0, 90.0, 8.0


@dataclass(frozen=True)
class Mark:
    """A reading of the trunk in the picture, and whether it is the questioned one."""

    x: float
    y: float
    is_asked: bool


@dataclass(frozen=True)
class Picture:
    """The history of a trunk: its readings by day and width, what was to be expected, in words."""

    marks: list[Mark]
    low: float | None
    high: float | None
    words: str


@dataclass(frozen=True)
class Item:
    """One questioned reading."""

    reading_id: str
    what: str
    tree_id: str
    tree: str
    kind: str | None
    said: str
    day: str | None
    explanations: list[tuple[str, float, str]]
    otherwise: words.Otherwise
    suggests: bool
    height: str
    picture: Picture | None


@bp.get("/sites/<slug>/check")
def review(slug: str) -> Any:
    """What is to check, the readings with their history and what would explain them."""
    return _page(current.site_view(slug), form.blank(), 200)


@bp.post("/sites/<slug>/check")
def settle_one(slug: str) -> Any:
    """Take a person's answer to one question, and go on to the next."""
    sent = form.typed()
    at = sent.text("at") or "0"
    units = current.site_view(slug).terms.units
    answered = form.tried(sent, lambda: settle(current.store(), slug, current.actor(), _answer(sent, units)))
    if answered is None:
        return _page(current.site_view(slug), sent, 422)
    flash(_said(sent.text("answer") or "", answered))
    where = form.query(page=request.args.get("page"))
    return form.away(f"/sites/{slug}/check{'?' + where if where else ''}#item-{at if at.isdecimal() else 0}")


def _answer(sent: form.Form, units: str) -> SettlingIn:
    """The answer as it was sent; numbers only count where something is to be corrected.

    Raises
    ------
    InvalidRequest
        If it is no answer.
    """
    values: dict[str, Any] = sent.texts("subject", "subject_id", "what", "answer", "reason")
    if values["answer"] == "supersede":
        values |= {"value": sent.number("value"), "factor": _factor(sent)}
        values |= sent.texts("unit", "quantity")
        values["height_m"] = lengths.typed(sent, "height_m", units, kind="measuring")
        if sent.faults:
            raise InvalidRequest([("value", next(iter(sent.faults.values())))])
        if values["value"] is not None and values["value"] <= 0:
            raise InvalidRequest([("value", _("Zero is no size. Cross it out when nothing was measured."))])
    return parsed(SettlingIn, {name: value for name, value in values.items() if value is not None})


def _factor(sent: form.Form) -> float | None:
    said = sent.text("factor")
    return float(said) if said and form.Form.is_number(said) else None


def _said(answer: str, readings: int) -> str:
    if answer == "void":
        return str(_("The measurement was crossed out."))
    if answer == "supersede" and readings > 1:
        return str(_("%(number)s measurements were corrected.", number=readings))
    if answer == "supersede":
        return str(_("The measurement was corrected."))
    return str(_("It stays as it is, and is not asked again."))


def _page(view: SiteView, sent: form.Form, status: int) -> Any:
    found = view.questioned.iloc[::-1]
    pages = max(1, -(-len(found) // ITEMS_A_PAGE))
    said = request.args.get("page", "1")
    page = min(int(said), pages) if said.isdecimal() and len(said) < 6 and int(said) > 0 else 1
    shown = found.iloc[(page - 1) * ITEMS_A_PAGE : page * ITEMS_A_PAGE]
    lists = open_questions.lists_with_trees(view)
    page_of = frame.site_page(
        "review.html",
        view,
        "data",
        items=_items(view, shown),
        found=len(found),
        page_no=page,
        pages=pages,
        crews=[
            (row, open_questions.crew_sentence(view, row), words.crew_otherwise(row))
            for row in view.questioned_crews.itertuples()
        ],
        lists=list(lists.iloc[:LIST_ROWS].itertuples()),
        in_lists=len(lists),
        form=sent,
        choices=choices,
    )
    return page_of, status


def _items(view: SiteView, shown: pd.DataFrame) -> list[Item]:
    if not len(shown):
        return []
    readings = view.records.readings.set_index("reading_id", drop=False)
    stems = view.records.stems[view.records.stems["stem_id"].isin(shown["stem_id"])]
    sized = tree_facts.sized_readings(view, stems)
    sized = sized[(sized["state"] == LIVE) & sized["dbh_cm"].notna() & sized["measured_on"].notna()]
    kinds = view.records.trees.set_index("tree_id")[["scientific_name", "name_as_written"]]
    names, units = words.Names(view), display.Units(view.terms.units)
    return [
        _item(
            row,
            readings.loc[row.reading_id],
            sized[sized["stem_id"] == row.stem_id],
            kinds.loc[row.tree_id],
            names,
            units,
        )
        for row in shown.itertuples()
    ]


def _item(
    row: Any, reading: Any, history: pd.DataFrame, kind: Any, names: words.Names, units: display.Units
) -> Item:
    found = row.verdict.explanations if row.what == UNLIKE else ()
    explanations = [
        (str(words.KINDS[one.kind]), one.share, words.question(one, names, units))
        for one in found
        if one.share >= LEAST_SHARE
    ]
    otherwise = words.otherwise(found[0] if found else None, reading)
    return Item(
        row.reading_id,
        row.what,
        row.tree_id,
        names.tree(row.tree_id),
        kind["scientific_name"] or kind["name_as_written"],
        words.sentence(row, reading, names, units),
        row.measured_on,
        explanations,
        otherwise,
        otherwise != words.otherwise(None, reading),
        lengths.shown(otherwise.height_m, units.system, "measuring"),
        _picture(row, reading, history, units),
    )


def _picture(row: Any, reading: Any, history: pd.DataFrame, units: display.Units) -> Picture | None:
    """The readings of the trunk over the years; None where the questioned one has no place among them."""
    if row.reading_id not in set(history["reading_id"]):
        return None
    days = history["measured_on"].map(lambda text: np.datetime64(text[:10], "D").astype(float)).to_numpy()
    size = history["dbh_cm"].to_numpy(dtype=float)
    asked = (history["reading_id"] == row.reading_id).to_numpy()
    ends: list[float] = []
    if row.what == UNLIKE:
        middle = (reading.value + reading.value_2) / 2 if reading.value_2 > 0 else reading.value
        per_typed = float(size[asked][0]) / middle
        ends = [row.verdict.low * per_typed, row.verdict.high * per_typed]
    top = 1.08 * max([*size.tolist(), *ends])
    across = max(days.max() - days.min(), 1.0)
    x = EDGE + (WIDE - 2 * EDGE) * (days - days.min()) / across
    y = HIGH - EDGE - (HIGH - 2 * EDGE) * size / top
    marks = [Mark(*one) for one in zip(x.round(1).tolist(), y.round(1).tolist(), asked.tolist(), strict=True)]
    low, high = (
        (round(HIGH - EDGE - (HIGH - 2 * EDGE) * end / top, 1) for end in ends) if ends else (None, None)
    )
    told = "; ".join(
        f"{display.day(day, 'short')}: {units.with_unit(cm, 'width')}"
        for day, cm in zip(history["measured_on"], size.tolist(), strict=True)
    )
    return Picture(marks, low, high, str(_("Widths of the trunk: %(told)s", told=told)))
