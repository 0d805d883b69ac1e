"""The boxes of a measuring sheet when it is typed back: what helpers ticked beside a trunk."""

import uuid
from collections.abc import Sequence
from typing import Any

from flask import flash
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from service.entry import Answer, enter_observations, enter_statuses
from service.records import ObservationIn, StatusIn, parsed
from service.web import choices, current, display, form

BOXES = (
    ("ivy", _l("ivy")),
    ("two", _l("two trunks")),
    ("gone", _l("not found")),
    ("dead", _l("looks dead")),
    ("saw", _l("saw something")),
)
NOTES = {  # kept in English, as all words of the data are
    "ivy": "ivy, ticked on the sheet",
    "two": "two trunks, ticked on the sheet",
    "saw": "something was seen: the foot of the sheet says what",
}
NAMES = {"observed_on": "measured_on", "happened_on": "measured_on"}
DOUBTS = {"gone": "not found", "dead": "looks dead: no leaves"}

Boxes = list[tuple[str, str, ObservationIn | StatusIn]]  # box, number on the tree, record


def note_of(sent: form.Form, field: str) -> str | None:
    """What was ticked in a row and belongs to its measurement."""
    found = [NOTES[box] for box in ("ivy", "two") if sent.text(f"{box}-{field}")]
    return "; ".join(found) or None


def ticked(sent: form.Form, rows: Sequence[dict[str, Any]], batch: uuid.UUID) -> Boxes:
    """Return the records that ticked boxes make; sent twice they are the same.

    Ivy and two trunks go with a measurement where there is one. Not found and looks dead stay in doubt until
    whoever looks after the ground settles it.
    """
    found: Boxes = []
    for row in rows:
        field = row["field"]
        is_measured = any(sent.text(f"{reading}-{field}") for reading in ("r1", "r2"))
        for box, _words in BOXES:
            goes_along = box in ("ivy", "two") and is_measured
            if sent.text(f"{box}-{field}") and not goes_along:
                id = str(uuid.uuid5(batch, f"{box}-{field}"))
                found.append((box, str(row["tag"] or ""), _record(sent, box, row["tree_id"], id)))
    return found


def _record(sent: form.Form, box: str, tree_id: str, id: str) -> ObservationIn | StatusIn:
    day = sent.text("measured_on")
    precision = "day" if day else "unknown"
    if box in DOUBTS:
        said = DOUBTS[box]
        status = {"status": choices.DOUBTED[said], "as_said": said, "in_doubt": True}
        dated = {"happened_on": day, "date_precision": precision, "source": "typed from a sheet"}
        return parsed(StatusIn, {"id": id, "subject_id": tree_id, **status, **dated})
    seen = {"id": id, "tree_id": tree_id, "what": "note", "text": NOTES[box], "source": "typed from a sheet"}
    who = {name: said for name, said in sent.texts("crew", "crew_kind").items() if said}
    return parsed(ObservationIn, {**seen, **who, "observed_on": day, "date_precision": precision})


def entered(slug: str, boxes: Boxes) -> list[Answer]:
    """Take in what was ticked."""
    seen = [record for _box, _tag, record in boxes if isinstance(record, ObservationIn)]
    became = [record for _box, _tag, record in boxes if isinstance(record, StatusIn)]
    answers: list[Answer] = []
    if seen:
        answers += enter_observations(current.store(), slug, current.actor(), seen)
    if became:
        answers += enter_statuses(current.store(), slug, current.actor(), became)
    for answer in answers:
        if answer.outcome == "refused":
            flash(display.say(answer.why or ""))
    return answers


def tell(boxes: Boxes) -> None:
    """Ask for what stands at the foot of the sheet; two trunks are put into the facts of the tree."""
    saw = [tag or "–" for box, tag, _record in boxes if box == "saw"]
    if saw:
        flash(
            _(
                "Something was seen at tree %(trees)s. Read the foot of the sheet and write it down on the "
                "page of the tree now.",
                trees=", ".join(saw),
            )
        )
