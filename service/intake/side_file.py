"""The side file of an import: every refused and questioned row with its sentence."""

import csv
import os
import re
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from platformdirs import user_data_path

from service.errors import StoreUnavailable
from service.intake.deciding import proposal_question
from service.intake.decisions import Decision
from service.intake.prepared import PreparedRow, PreparedShape
from service.store.engine import Store

HEADERS = ("row", "outcome", "key", "tag_or_name", "place", "name_as_written", "what", "column", "sentence")
_RUNS = re.compile(r"^\s*[=+@\t\r-]")
_NUMBER = re.compile(r"^\s*[+-]?\d[\d.,]*\s*$")


def write_side_file(store: Store, file_name: str, decisions: Iterable[Decision]) -> Path | None:
    """Write the rows that need a look to a file beside the store; None when there are none.

    Raises
    ------
    StoreUnavailable
        If the file cannot be written.
    """
    lines = list(_lines(decisions))
    if not lines:
        return None
    folder = (store.folder or user_data_path("boleward", appauthor=False)) / "imports"
    stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S-%f")
    path = folder / f"{Path(file_name).stem}-{stamp}.csv"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write_safely(path, lines)
    except OSError as error:
        raise StoreUnavailable(
            f"The list of rows to look at cannot be written to {folder} ({error.strerror}). Free some "
            "space or check who owns the folder, then give the same command again; nothing was lost."
        ) from error
    return path


def _write_safely(path: Path, lines: list[tuple[str, ...]]) -> None:
    unfinished = path.with_suffix(".unfinished")
    with unfinished.open("w", encoding="utf-8-sig", newline="", errors="backslashreplace") as out:
        writer = csv.writer(out)
        writer.writerow(HEADERS)
        writer.writerows(tuple(_as_text(cell) for cell in line) for line in lines)
        out.flush()
        os.fsync(out.fileno())
    unfinished.replace(path)


def _lines(decisions: Iterable[Decision]) -> Iterator[tuple[str, ...]]:
    for decision in decisions:
        if decision.outcome not in ("refused", "questioned"):
            continue
        row = decision.keyed.row
        head = (str(row.row), decision.outcome, decision.keyed.key, *_marks(row))
        if row.refused is not None:
            yield (*head, "refused", "", row.refused)
        questions = list(decision.questions)
        if decision.proposed:
            questions.append(proposal_question(decision.proposed))
        for question in questions:
            yield (*head, question.what, question.column or "", question.detail)


def _marks(row: PreparedRow | PreparedShape) -> tuple[str, str, str]:
    if isinstance(row, PreparedShape):
        return row.name, "", ""
    return row.tag or "", row.place or "", row.name_as_written or ""


def _as_text(cell: str) -> str:
    """Keep a spreadsheet from running a cell as a formula."""
    return f"'{cell}" if _RUNS.match(cell) and not _NUMBER.match(cell) else cell
