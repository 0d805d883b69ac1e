"""Rows of tables from decisions: what is written while an import is under way."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any

import numpy as np

from layers.ground import cell
from service.intake.decisions import Decision, Here, New
from service.intake.prepared import PreparedRow, PreparedShape, Question
from service.intake.shape_deciding import shape_row
from service.store import schema
from service.store.rows import Table

_TREE = (
    "tag", "scientific_name", "name_as_written", "name_sure", "common_name", "genus", "status",
    "status_as_said", "lon_deg", "lat_deg", "x_m", "y_m", "position_source", "position_accuracy_m", "keeper",
    "planted_on", "external_id",
)  # fmt: skip
_PLACE = ("name_as_written", "lon_deg", "lat_deg", "x_m", "y_m", "position_source", "external_id")
_READING = (
    "quantity", "value", "value_2", "parts", "class_from_cm", "class_to_cm", "unit", "instrument", "height_m",
    "resolution", "measured_on", "date_precision", "note",
)  # fmt: skip
_EXTRA = (
    "recorded_at", "crew", "crew_kind", "round_id", "tilt_deg", "side", "rule", "first_guess", "first_entry",
    "calibration_id", "awkward",
)  # fmt: skip
_OBSERVATION = ("what", "value", "unit", "text", "observed_on", "date_precision")
_STATUS = ("status", "happened_on", "date_precision", "as_said")

_tree, _place, _reading = attrgetter(*_TREE), attrgetter(*_PLACE), attrgetter(*_READING)
_observation, _status = attrgetter(*_OBSERVATION), attrgetter(*_STATUS)
_no_extra = (None,) * len(_EXTRA)

_WRITTEN = ("id", "site_id", "change_id")
_APPENDED = (*_WRITTEN, "supersedes", "void", "received_at", "actor")

COLUMNS: dict[Table, tuple[str, ...]] = {
    schema.place: (*_WRITTEN, "version", "void", "name", "kind", *_PLACE, "cell", "kept"),
    schema.tree: (*_WRITTEN, "version", "void", "place_id", *_TREE, "cell", "kept"),
    schema.stem: (*_WRITTEN, "version", "void", "tree_id", "number", "status"),
    schema.reading: (*_APPENDED, "stem_id", *_READING, *_EXTRA, "source"),
    schema.observation: (*_APPENDED, "tree_id", *_OBSERVATION, "source"),
    schema.status_event: (*_APPENDED, "subject", "subject_id", "in_doubt", *_STATUS, "source"),
    schema.area: (
        *_WRITTEN, "version", "void", "layer", "name", "kind", "use", "place_id", "keeper", "wkb",
        "typed_area_ha", "area_source", "external_id", "kept",
    ),
    schema.target: (
        *_WRITTEN, "version", "void", "layer", "name", "kind", "use", "wkb", "external_id", "kept"
    ),
    schema.question: (
        "site_id", "change_id", "subject", "subject_id", "what", "detail", "row", "proposal"
    ),
    schema.source_key: ("site_id", "change_id", "layer", "place", "key", "record_id", "content"),
}  # fmt: skip


@dataclass
class Writer:
    """Who writes and when: the same for all records of an import."""

    site_fid: int
    change_fid: int
    actor: str
    at: str
    file_name: str
    layer_name: str
    subject: str  # tree, area or target


@dataclass
class Rows:
    """Rows to be inserted, by table, as tuples in the order of `COLUMNS`."""

    by_table: dict[Table, list[tuple[Any, ...]]] = field(default_factory=lambda: {t: [] for t in COLUMNS})

    def __iter__(self) -> Any:
        return iter(self.by_table.items())


def build(decisions: Sequence[Decision], here: Here, writer: Writer, made_places: set[str]) -> Rows:
    """Return the rows of some decisions; named parts of the site not yet there are made once.

    ``made_places`` are the UUIDs of those already made, and is added to.
    """
    rows = Rows()
    cells = iter(_cells(decisions))
    head = (writer.site_fid, writer.change_fid)
    for decision in decisions:
        row, at_cell = decision.keyed.row, next(cells)
        if isinstance(row, PreparedShape):
            if decision.is_new:
                table, shape = shape_row(row, here, writer.layer_name)
                rows.by_table[table].append((decision.keyed.record_id, *head, 1, 0, *shape))
                if here.place:
                    _build_part(here.place, here, head, made_places, rows)
        else:
            _build_tree(decision, row, at_cell, here, writer, made_places, rows)
        _build_questions(decision, writer, rows)
        if decision.content is not None:
            keyed = decision.keyed
            rows.by_table[schema.source_key].append(
                (*head, here.layer, here.place, keyed.key, keyed.record_id, decision.content)
            )
    return rows


def kept_text(kept: dict[str, str]) -> str | None:
    """Return columns kept as written, as they are stored."""
    return json.dumps(kept, ensure_ascii=False) if kept else None


def _build_tree(
    decision: Decision,
    row: PreparedRow,
    at_cell: int | None,
    here: Here,
    writer: Writer,
    made_places: set[str],
    rows: Rows,
) -> None:
    keyed = decision.keyed
    head = (writer.site_fid, writer.change_fid)
    changes_place = decision.revision is not None and "place" in decision.revision.changed
    if row.place is not None and row.place_kind is None and (decision.is_new or changes_place):
        _build_part(row.place, here, head, made_places, rows)
    if decision.is_new and row.place_kind is not None:
        name = row.tag or row.name_as_written or row.place_kind
        rows.by_table[schema.place].append(
            (keyed.record_id, *head, 1, 0, name, row.place_kind, *_place(row), at_cell, kept_text(row.kept))
        )
    elif decision.is_new:
        place_id = here.place_id(row.place)
        rows.by_table[schema.tree].append(
            (keyed.record_id, *head, 1, 0, place_id, *_tree(row), at_cell, kept_text(row.kept))
        )
    rows.by_table[schema.stem].extend(
        (id, *head, 1, 0, keyed.record_id, number, "unknown") for number, id in decision.stems
    )
    _build_said(decision, row, writer, rows)


def _build_said(decision: Decision, row: PreparedRow, writer: Writer, rows: Rows) -> None:
    by, record_id = rows.by_table, decision.keyed.record_id
    if decision.keyed.own == "stem_id":
        record_id = row.own_ids.get("tree_id", record_id)
    source = f"{writer.file_name}, row {row.row}"
    for new in decision.readings:
        extra = new.said.extra
        more = tuple(map(extra.get, _EXTRA)) if extra else _no_extra
        stem_id = decision.stem_ids[new.said.stem_number]
        by[schema.reading].append(
            (*_appended(new, writer), stem_id, *_reading(new.said), *more, f"{source}, {new.said.column}")
        )
    for new in decision.observations:
        by[schema.observation].append(
            (*_appended(new, writer), record_id, *_observation(new.said), f"{source}, {new.said.column}")
        )
    for new in decision.statuses:
        number = new.said.stem_number
        subject = ("stem", decision.stem_ids[number]) if number in decision.stem_ids else ("tree", record_id)
        by[schema.status_event].append((*_appended(new, writer), *subject, 0, *_status(new.said), source))


def _appended(new: New, writer: Writer) -> tuple[Any, ...]:
    return (new.id, writer.site_fid, writer.change_fid, new.supersedes, 0, writer.at, writer.actor)


def _build_part(name: str, here: Here, head: tuple[int, int], made: set[str], rows: Rows) -> None:
    id = here.place_id(name)
    if name in here.places or id is None or id in made:
        return
    made.add(id)
    blank = (None,) * (len(_PLACE) + 2)
    rows.by_table[schema.place].append((id, *head, 1, 0, name, "part", *blank))


def _build_questions(decision: Decision, writer: Writer, rows: Rows) -> None:
    if not decision.questions:
        return
    proposal = json.dumps(decision.proposal, ensure_ascii=False) if decision.proposal else None
    rows.by_table[schema.question].extend(
        question_row(decision, question, writer, proposal) for question in decision.questions
    )


def question_row(
    decision: Decision, question: Question, writer: Writer, proposal: str | None
) -> tuple[Any, ...]:
    """Return a question as a row of its table: about the reading of the column it names, else the record."""
    keyed = decision.keyed
    subject, subject_id = writer.subject, keyed.record_id
    if isinstance(keyed.row, PreparedRow) and keyed.row.place_kind is not None:
        subject = "place"
    if question.column is not None:
        reading = next((r for r in decision.readings if r.said.column == question.column), None)
        if reading is not None:
            subject, subject_id = "reading", reading.id
    head = (writer.site_fid, writer.change_fid)
    return (*head, subject, subject_id, question.what, question.detail, keyed.row.row, proposal)


def _cells(decisions: Iterable[Decision]) -> list[int | None]:
    rows = [d.keyed.row for d in decisions]
    lon, lat = (
        np.array([getattr(row, word, None) for row in rows], dtype=float) for word in ("lon_deg", "lat_deg")
    )
    found: list[int | None] = cell(lon, lat).tolist()
    return found
