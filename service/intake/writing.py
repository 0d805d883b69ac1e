"""Writing an import: short transactions into an open change, then one that shows it all (definitions R3)."""

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import orjson
from sqlalchemy import Table
from sqlalchemy.engine import Connection

from layers.ground import cell
from service.intake import deciding, shape_deciding
from service.intake.building import COLUMNS, Writer, build, kept_text, question_row
from service.intake.comparing import Groups
from service.intake.content import GROUPS
from service.intake.decisions import Decision, Here
from service.intake.planning import SHAPE_TABLES, Plan
from service.intake.prepared import PreparedRow, PreparedShape
from service.store import changes, import_rows, rows, schema, site_rows
from service.store.changes import Change, OpenImport
from service.store.engine import Store

FIRST_ROWS = 400
AIM_S = 0.1  # of the 0.2 s that a transaction may take
GROWTH = 2.0

Progress = Callable[[int, int], None]


@dataclass
class Batch:
    """An open import that is being written."""

    store: Store
    mine: OpenImport
    writer: Writer
    plan: Plan

    def write_all(self, progress: Progress | None) -> None:
        """Write what is not yet written of it, a bit at a time; nobody sees it.

        Raises
        ------
        ImportRunning
            If another process has taken the import over.
        StoreUnavailable
            If the store is full or locked; the same command goes on where this stopped.
        """
        with self.store.read() as conn:
            done = import_rows.written_keys(conn, self.mine.fid) if self.mine.resumed else set()
            places = import_rows.written_places(conn, self.mine.fid) if self.mine.resumed else set()
        to_write = [d for d in self.plan.decisions if d.content is not None and d.keyed.key not in done]
        at, size, total = 0, FIRST_ROWS, len(self.plan.decisions)
        while at < len(to_write):
            part = to_write[at : at + size]
            took = self._write(part, places)
            at += len(part)
            size = max(1, int(size * min(GROWTH, AIM_S / max(took, 1e-6))))
            if progress is not None:
                progress(total - len(to_write) + at, total)

    def close(self, frame: str | None, summary_of: Callable[[], dict[str, Any]]) -> Change:
        """Apply new versions of what is here, and show the import to everybody, in one transaction.

        ``frame`` is that of the site where the import sets it; ``summary_of`` gives the report once all is
        decided.

        Raises
        ------
        ImportRunning
            If another process has taken the import over.
        """
        with self.store.write() as conn:
            changes.hold(conn, self.writer.site_fid)
            for table, decisions in _revised(self.plan.decisions, self.plan.here).items():
                self._revise(conn, table, decisions)
            if frame is not None:
                site_rows.set_frame(conn, self.writer.site_fid, frame)
            return changes.close_import(conn, self.mine, orjson.dumps(summary_of()).decode())

    def _write(self, part: list[Decision], places: set[str]) -> float:
        """Write some decisions in one transaction and return how long it took [s]."""
        built = build(part, self.plan.here, self.writer, places)
        with self.store.write() as conn:
            start = time.perf_counter()
            self.mine = changes.beat(conn, self.mine)
            for table, tuples in built:
                rows.insert_rows(conn, table, COLUMNS[table], tuples)
        return time.perf_counter() - start

    def _revise(self, conn: Connection, table: Table, decisions: list[Decision]) -> None:
        found = rows.by_ids(
            conn, table, self.writer.site_fid, [decision.keyed.record_id for decision in decisions]
        )
        revisions, questions = [], []
        for decision in decisions:
            record = found[decision.keyed.record_id]
            taken, proposed = _merge(decision, dict(record._mapping), self.plan.here)
            if taken:
                revisions.append((record, _values(taken, decision, table, self.plan.here)))
            if proposed:
                decision.outcome = "questioned"
                asked = deciding.proposal_question(proposed)
                text = orjson.dumps(proposed).decode()
                questions.append(question_row(decision, asked, self.writer, text))
        rows.revise_many(conn, table, revisions, self.mine.fid)
        rows.insert_rows(conn, schema.question, COLUMNS[schema.question], questions)


def _revised(decisions: Iterable[Decision], here: Here) -> dict[Table, list[Decision]]:
    out: dict[Table, list[Decision]] = {}
    for decision in decisions:
        if decision.revision is not None:
            row = decision.keyed.row
            is_place = isinstance(row, PreparedRow) and row.place_kind is not None
            table = SHAPE_TABLES.get(here.layer, schema.place if is_place else schema.tree)
            out.setdefault(table, []).append(decision)
    return out


def _merge(decision: Decision, record: Mapping[str, Any], here: Here) -> tuple[Groups, Groups]:
    if isinstance(decision.keyed.row, PreparedShape):
        return shape_deciding.merge_shape(decision, record)
    return deciding.merge_with(decision, record, here)


def _values(taken: Groups, decision: Decision, table: Table, here: Here) -> dict[str, Any]:
    """Return the columns of a new version from the groups that are taken."""
    row = decision.keyed.row
    if isinstance(row, PreparedShape):
        return shape_deciding.shape_values(taken, row, table)
    values: dict[str, Any] = {}
    for group, value in taken.items():
        if group == "place":
            values["place_id"] = here.place_id(value)
        elif group == "kept":
            values["kept"] = kept_text(value)
        else:
            words = GROUPS[group]
            values.update(zip(words, value if len(words) > 1 else [value], strict=True))
    if "position" in taken:
        values["cell"] = cell(values["lon_deg"], values["lat_deg"])[0]
    return {name: value for name, value in values.items() if name in table.c}
