"""Writing an import: short transactions into an open change, then one that shows it all (definitions R3)."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import orjson

from service.intake import revising
from service.intake.building import COLUMNS, Writer, build
from service.intake.decisions import Decision
from service.intake.planning import Plan
from service.store import changes, import_rows, rows, site_rows
from service.store.changes import Change, OpenImport
from service.store.engine import Store

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
        at, size, total = 0, changes.FIRST_ROWS, len(self.plan.decisions)
        while at < len(to_write):
            part = to_write[at : at + size]
            took = self._write(part, places)
            at += len(part)
            size = changes.next_size(size, took)
            if progress is not None:
                progress(total - len(to_write) + at, total)

    def close(self, frame: str | None, summary_of: Callable[[], dict[str, Any]]) -> Change:
        """Apply new versions of what is here, and show the import to everybody, in one transaction.

        New versions are drafted before it, so that it is short; again in it if the site has changed since.
        ``frame`` is that of the site where the import sets it; ``summary_of`` gives the report once all is
        decided.

        Raises
        ------
        ImportRunning
            If another process has taken the import over.
        """
        with self.store.read() as conn:
            drafted, summary = revising.draft(conn, self.plan, self.writer), orjson.dumps(summary_of())
        with self.store.write() as conn:
            changes.hold(conn, self.writer.site_fid)
            if changes.last_number(conn, self.writer.site_fid) != drafted.change_no:
                drafted, summary = revising.draft(conn, self.plan, self.writer), orjson.dumps(summary_of())
            revising.write(conn, drafted)
            if frame is not None:
                site_rows.set_frame(conn, self.writer.site_fid, frame)
            return changes.close_import(conn, self.mine, summary.decode())

    def _write(self, part: list[Decision], places: set[str]) -> float:
        """Write some decisions in one transaction and return how long it took [s]."""
        built = build(part, self.plan.here, self.writer, places)
        with self.store.write() as conn:
            start = time.perf_counter()
            self.mine = changes.beat(conn, self.mine)
            for table, tuples in built:
                rows.insert_rows(conn, table, COLUMNS[table], tuples)
        return time.perf_counter() - start
