"""Typing measured sheets back: a row a trunk, by keyboard. All rows are kept, or none and nothing is lost."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
from flask import Blueprint, flash, request
from flask_babel import gettext as _

from layers.goes import goes_of
from service.entry import Answer, enter_readings
from service.errors import InvalidRequest
from service.outlets.round_sheets import FoundSheet, round_sheet_with
from service.outlets.sheet_rows import WIDTH_INSTRUMENTS, Sector
from service.outlets.sheets import sheet_with
from service.records import ReadingIn, parsed
from service.view import SiteView
from service.web import (
    choices,
    current,
    display,
    form,
    frame,
    grid_boxes,
    lengths,
    reading_answers,
    sheet_pages,
    teams,
)
from service.web.reading_forms import count_in_hands

bp = Blueprint("grid_pages", __name__)

SHARED = ("quantity", "unit", "instrument", "measured_on", "crew", "crew_kind")
ROWS_A_PART = 300
Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class _Asked:
    """The rows that are typed, whether of one sheet, and of which round that one is."""

    rows: Rows
    is_sheet: bool
    of_round: FoundSheet | None

    def part(self) -> Rows:
        """The rows of the part that was asked for."""
        first = (_part() - 1) * ROWS_A_PART
        return self.rows[first : first + ROWS_A_PART]


@bp.route("/sites/<slug>/grid", methods=["GET", "POST"])
def grid(slug: str) -> Any:
    """The rows of an area, a place or the whole ground, in parts where they are many."""
    view = current.site_view(slug)
    asked = _asked(view)
    if request.method == "GET":
        usual = {**_usual(view), **_of_round(view, asked.of_round)}
        return _page(view, asked, form.blank(**usual, batch=uuid.uuid4()))
    sent = form.typed()
    teams.require_code(view, sent)
    rows = asked.part()
    items = _items(view, sent, rows, asked.of_round)
    ticked = form.tried(sent, lambda: grid_boxes.ticked(sent, rows, _batch(sent)), grid_boxes.NAMES)
    boxes = ticked or []
    if not items and not boxes and not sent.faults:
        sent.faults.setdefault("", _("No row has a number yet."))
    said = list(items.values())
    answers = form.tried(sent, lambda: enter_readings(current.store(), slug, current.actor(), said))
    for field, answer in zip(items, answers or (), strict=False):
        if answer.outcome == "refused":
            sent.faults[field] = _refusal(answer)
    if answers is None or sent.faults:
        return _page(view, asked, sent)
    answers += grid_boxes.entered(slug, boxes)
    new = [answer.id for answer in answers if answer.outcome in ("taken", "questioned")]
    if new:
        form.told(answers, _("Kept: %(what)s.", what=form.counted(len(new))))
    before = sum(answer.outcome == "already there" for answer in answers)
    if before:
        flash(_("%(what)s had been kept before.", what=form.counted(before)))
    grid_boxes.tell(boxes)
    reading_answers.tell(current.site_view(slug), new)
    return form.away(f"/sites/{slug}/grid?{_query()}")


def _refusal(answer: Answer) -> str:
    if answer.known is None:
        return display.say(answer.why or "")
    value, unit = answer.known["value"], answer.known["unit"]
    said = _(
        "This row was kept before, as %(value)s %(unit)s. Correct it on the tree's page.",
        value=value,
        unit=unit,
    )
    return str(said)


def _query() -> str:
    return form.query(**{name: request.args.get(name) for name in ("zone", "part", "sheet")})


def _usual(view: SiteView) -> dict[str, Any]:
    return {
        "quantity": "girth",
        "unit": "in" if view.terms.units == "us" else "cm",
        "instrument": "girth tape",
        "measured_on": view.as_of,
        "crew_kind": "pupils",
        "height_m": lengths.shown(view.terms.breast_height_m, view.terms.units, "measuring"),
    }


def _of_round(view: SiteView, found: FoundSheet | None) -> dict[str, Any]:
    """How the team of a round's sheet measures."""
    if found is None:
        return {}
    now = found.now
    return {
        "quantity": "diameter" if now.instrument in WIDTH_INSTRUMENTS else "girth",
        "unit": now.unit,
        "instrument": now.instrument,
        "measured_on": min(view.as_of, now.to_on or now.from_on),
        "crew": now.codes.get(found.crew_id),
        "crew_kind": now.kinds.get(found.crew_id),
        "height_m": lengths.shown(now.height_m, view.terms.units, "measuring"),
    }


def _part() -> int:
    said = request.args.get("part", "1")
    return int(said) if said.isdecimal() and len(said) < 6 and int(said) > 0 else 1


def _asked(view: SiteView) -> _Asked:
    """The rows of the sheet that was asked for, in its order; else those of an area by their numbers."""
    code = _code()
    of_round = round_sheet_with(view, code) if code else None
    sheet = of_round.sector if of_round is not None else _sheet(view, code)
    if sheet is None:
        return _Asked(_rows_of(view, request.args.get("zone", "")), False, None)
    return _Asked(_rows_on(view, sheet), True, of_round)


def _code() -> str:
    return (request.args.get("sheet") or "").strip()


def _sheet(view: SiteView, code: str) -> Sector | None:
    """The sheet of an area or place with a code."""
    if not code:
        return None
    found = sheet_with(view, [area_id for area_id, _name in sheet_pages.zones_of(view)], code)
    return None if found is None else found[1]


def _rows_on(view: SiteView, sheet: Sector) -> Rows:
    by_stem = {row["stem_id"]: row for row in _rows_of(view, "")}
    found: Rows = []
    fields: set[str] = set()
    for row in sheet.rows:
        if row.stem_id in by_stem:  # one team alone measures some trunks again at its end
            field = row.stem_id if row.stem_id not in fields else f"{row.stem_id}-again"
            fields.add(field)
            found.append({**by_stem[row.stem_id], "on_map": row.number, "field": field})
    return found


def _rows_of(view: SiteView, zone: str) -> Rows:
    trees = view.trees[view.trees["status"].isin(["living", "unknown"])]
    if zone:
        place_of = dict(zip(view.records.trees["tree_id"], view.records.trees["place_id"], strict=True))
        members = view.membership
        inside = set(members.loc[members["area_id"] == zone, "tree_id"])
        trees = trees[[id in inside or place_of.get(id) == zone for id in trees["tree_id"]]]
    stems = view.records.stems[["stem_id", "tree_id", "number"]]
    named = ["tree_id", "tag", "scientific_name", "name_as_written", "place"]
    merged = stems.merge(trees[named], on="tree_id")
    merged["many"] = merged.groupby("tree_id")["stem_id"].transform("size") > 1
    merged["field"] = merged["stem_id"]
    merged["order"] = merged["tag"].map(_tag_order)
    rows: Rows = merged.sort_values(["order", "number"]).to_dict("records")
    return rows


def _tag_order(tag: Any) -> str:
    """Numbers in tags by their size: 2 before 10."""
    text = "" if tag is None or pd.isna(tag) else str(tag)
    return text.zfill(12) if text.isdigit() else f"~{text}" if text else "~~"


def _items(
    view: SiteView, sent: form.Form, rows: Rows, of_round: FoundSheet | None
) -> dict[str, dict[str, Any]]:
    """Return the readings by the field that holds them; a field of a batch is always the same reading."""
    units, usual = view.terms.units, view.terms.breast_height_m
    height = lengths.typed(sent, "height_m", units, usual, kind="measuring")
    shared: dict[str, Any] = {**sent.texts(*SHARED), "height_m": height}
    shared["date_precision"] = "day" if shared["measured_on"] else "unknown"
    shared = {name: value for name, value in shared.items() if value is not None}
    count_in_hands(sent, shared)
    batch = _batch(sent)
    if of_round is not None:
        shared["round_id"] = of_round.now.id
    items = {}
    for row in rows:
        guess = sent.number(f"guess-{row['field']}")
        other = lengths.typed(sent, f"height-{row['field']}", units, kind="measuring")
        note = grid_boxes.note_of(sent, row["field"])
        for field in (f"r1-{row['field']}", f"r2-{row['field']}"):
            laid = goes_of(sent.text(field) or "")
            parts = sent.text(field) if laid and laid.number > 1 else None
            value = sent.number(field) if parts is None else laid and laid.total
            if value is None:
                continue
            own = {"id": str(uuid.uuid5(batch, field)), "stem_id": row["stem_id"], "value": value}
            own |= {"parts": parts} if parts else {}
            own |= {"height_m": other} if other is not None else {}
            own |= {"note": note} if note else {}
            said = {**shared, **own, "source": "typed from a sheet"}
            items[field] = {**said, "first_guess": guess} if guess is not None else said
            _note_fault(sent, field, items[field])
    return items


def _batch(sent: form.Form) -> uuid.UUID:
    try:
        return uuid.UUID(sent.text("batch") or "")
    except ValueError:
        return uuid.uuid4()


def _note_fault(sent: form.Form, field: str, item: Mapping[str, Any]) -> None:
    if item["value"] == 0:
        sent.faults[field] = _("Zero is not a size. Leave it empty when nothing was measured.")
        return
    try:
        parsed(ReadingIn, item)
    except InvalidRequest as error:
        for where, message in error.faults:
            name = where.strip("/")
            sent.faults.setdefault(name if name in (*SHARED, "height_m") else field, display.say(message))


def _page(view: SiteView, asked: _Asked, sent: form.Form) -> Any:
    zone = request.args.get("zone", "")
    zones = sheet_pages.zones_of(view)
    page = frame.site_page(
        "grid.html",
        view,
        "sheets",
        form=sent,
        rows=asked.part(),
        pages=max(1, -(-len(asked.rows) // ROWS_A_PART)),
        code=_code()[:20],
        is_sheet=asked.is_sheet,
        boxes=grid_boxes.BOXES,
        page_no=_part(),
        here_query=_query(),
        zone=zone,
        zone_name=dict(zones).get(zone),
        choices=choices,
        teams=teams.known(view),
    )
    return page, (422 if sent.faults else 200)
