"""The report of an import, and its JSON (design: command line)."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from service.intake.decisions import Decision, Here
from service.intake.prepared import Guess, Prepared, PreparedRow

KINDS = ("trees", "stems", "readings", "observations", "places", "areas", "targets")
OUTCOMES = ("taken", "already_there", "questioned", "refused")
SHOWN_ROWS = 10


@dataclass
class ImportReport:
    """What became of a file; every row is in one of taken, already there, questioned, refused."""

    site: str
    file_name: str
    layer: str
    counts: dict[str, int]
    records: dict[str, dict[str, int]]
    columns: dict[str, Any]
    guesses: list[Guess]
    not_in_file: list[str]
    side_file: Path | None = None
    dry_run: bool = False
    change_no: int | None = None  # None when nothing was written
    first_rows: list[dict[str, Any]] = field(default_factory=list)

    @property
    def read(self) -> int:
        """Rows of the file."""
        return sum(self.counts.values())

    @property
    def taken(self) -> int:
        """Rows stored without a question."""
        return self.counts["taken"]

    @property
    def already_there(self) -> int:
        """Rows with nothing new in them."""
        return self.counts["already_there"]

    @property
    def questioned(self) -> int:
        """Rows stored and marked for a person to settle."""
        return self.counts["questioned"]

    @property
    def refused(self) -> int:
        """Rows of which nothing was stored."""
        return self.counts["refused"]

    def to_json(self) -> dict[str, Any]:
        """Return the report as JSON carries it."""
        out = {
            "read": self.read,
            **self.counts,
            "records": self.records,
            "columns": self.columns,
            "guesses": [asdict(guess) for guess in self.guesses],
            "not_in_file": self.not_in_file,
            "side_file": str(self.side_file) if self.side_file else None,
            "site": self.site,
            "layer": self.layer,
            "change_no": self.change_no,
            "dry_run": self.dry_run,
        }
        if self.dry_run:
            out["first_rows"] = self.first_rows
        return out


def counted(decisions: Iterable[Decision]) -> dict[str, int]:
    """Return how many rows ended in each of the four."""
    found: Counter[str] = Counter(decision.outcome for decision in decisions)
    return {outcome: found[outcome] for outcome in OUTCOMES}


def records_of(decisions: Iterable[Decision], here: Here) -> dict[str, dict[str, int]]:
    """Return how many records of each kind are new and how many changed."""
    new: Counter[str] = Counter()
    changed: Counter[str] = Counter()
    parts: set[str] = set()
    for decision in decisions:
        row = decision.keyed.row
        kind = here.layer
        if isinstance(row, PreparedRow) and row.place_kind is not None:
            kind = "places"
        new[kind] += decision.is_new
        changed[kind] += decision.revision is not None and decision.revision.is_taken
        new["stems"] += len(decision.stems)
        for said, listed in (("readings", decision.readings), ("observations", decision.observations)):
            corrections = sum(one.supersedes is not None for one in listed)
            changed[said] += corrections
            new[said] += len(listed) - corrections
        if decision.is_new and isinstance(row, PreparedRow) and row.place and row.place_kind is None:
            parts.add(row.place)
    new["places"] += len(parts - here.places.keys())
    return {kind: {"new": new[kind], "changed": changed[kind]} for kind in KINDS}


def columns_of(prepared: Prepared) -> dict[str, Any]:
    """Return what became of each column."""
    return {"understood": prepared.understood, "kept": prepared.kept, "left_out": prepared.left_out}


def first_rows(decisions: Iterable[Decision]) -> list[dict[str, Any]]:
    """Return the first rows as they were understood, for a look before anything is taken."""
    out: list[dict[str, Any]] = []
    for decision in decisions:
        if len(out) == SHOWN_ROWS:
            break
        row = decision.keyed.row
        shown: dict[str, Any] = {
            "row": row.row,
            "outcome": decision.outcome,
            "refused": row.refused,
            "questions": [question.detail for question in decision.questions],
        }
        if isinstance(row, PreparedRow):
            words = ("tag", "place", "name_as_written", "scientific_name", "common_name", "status")
            shown |= {word: getattr(row, word) for word in (*words, "lon_deg", "lat_deg", "x_m", "y_m")}
            shown["place_kind"] = row.place_kind
            shown["readings"] = [
                {"stem": r.stem_number, "quantity": r.quantity, "value": r.value, "unit": r.unit}
                for r in row.readings
            ]
        else:
            shown |= {word: getattr(row, word) for word in ("name", "kind", "use", "typed_area_ha")}
        out.append(shown)
    return out
