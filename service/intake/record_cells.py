"""The cells of records from a snapshot, checked as anything that comes from outside.

What a column is, is said by the store; words and ranges are those of what people send and of the
nomenclature. What is wrong is said with its table, row and column.
"""

import datetime as dt
import json
import math
import uuid
from collections.abc import Callable, Sequence
from typing import Any, get_args

from layers.columns import FRAMES
from layers.errors import LayerError
from layers.plan_image import from_dict
from layers.questioned import ACCEPT, ASK_AGAIN, SUPERSEDE, VOID
from layers.site_model import SiteModel
from service import records
from service.errors import Unreadable
from service.intake.bounded_shapes import from_wkb
from service.intake.kept_rounds import KEPT_OF_ROUNDS, require_kept
from service.store import record_log

Check = Callable[[Any], str | None]  # what is wrong with a cell that is there; None for nothing

MOST_CHARACTERS = 20_000
MOST_MONTHS = 1200  # between two looks
HIGHEST = 2**53 - 1  # that every reader of JSON keeps
HIGHEST_ROW = 2**40  # leaves room for all that is numbered after it
_STATUS = get_args(records.Status)
_UNITS = ("cm", "mm", "m", "in", "ft", "hands", "spans")
_WORDS: dict[tuple[str, str], Sequence[str]] = {
    **{(name, "status"): _STATUS for name in ("tree", "stem", "status_event")},
    **{(name, "date_precision"): get_args(records.Precision) for name in ("reading", "observation")},
    ("status_event", "date_precision"): get_args(records.Precision),
    ("status_event", "subject"): ("tree", "stem"),
    ("reading", "quantity"): ("girth", "diameter", "class"),
    ("reading", "unit"): _UNITS,
    ("round", "unit"): _UNITS,
    ("reading", "instrument"): get_args(records.Instrument),
    ("round", "instrument"): get_args(records.Instrument),
    ("calibration", "instrument"): ("hand breadths", "hand spans"),
    ("inspection", "level"): ("walk-over", "formal", "detailed"),
    ("inspection", "leaf_on"): ("leaf on", "leaf off", "not said"),
    ("inspection_answer", "answer"): ("nothing recorded", "recorded", "not reached"),
    ("settling", "answer"): (ACCEPT, SUPERSEDE, VOID, ASK_AGAIN, "decline"),
    ("crew", "kind"): get_args(records.CrewKind),
    ("photo", "subject"): ("reading", "tree", "danger", "observation"),
    ("photo", "kind"): ("tape", "leaf", "tree", "danger", "other"),
    ("picture", "media_type"): ("image/jpeg",),
    ("set_aside", "settled"): ("taken", "dropped"),
    ("change", "kind"): ("init", "import", "entry", "edit", "terms", "model", "undo"),
    ("site", "units"): ("metric", "us"),
    ("site", "frame"): ("earth", "local"),
}
_FRAME_OF = {
    **{name: f"{name}_record" for name in ("tree", "stem", "reading", "observation", "area", "target")},
    "place": "tree_record",
    "status_event": "status_event",
}
_FLAGS = ("void", "in_doubt", "qualified", "invented", "barrier")
_LISTS = ("totals_cm", "size_class_breaks_cm", "leader_did")
_DAYS = ("valid_from", "valid_to", "next_look_by", "look_again_by")
_UUIDS = ("id", "tree_id", "stem_id", "place_id", "area_id", "inspection_id", "round_id", "calibration_id")
_RECORDS = ("supersedes", "record_id", "report_id", "closure_id", "photo_id", "became")
_HASHES = (("plan_image", "file_hash"), ("picture", "file_hash"), ("picture", "sent_hash"))
_FORMER = "former_version"
_VERSIONED = (
    "site",
    *(n for n in record_log.TABLES if "version" in record_log.columns_of(n) and n != _FORMER),
)


class RowCheck:
    """Checks the rows of one kind of record."""

    def __init__(self, name: str, columns: Sequence[str], last: int) -> None:
        self.name = name
        self.columns = columns
        self._checks = [self._of(column, last) for column in columns]
        self._needed = [record_log.is_needed(name, column) for column in columns]
        self._contents: dict[str, RowCheck] = {}
        self._last = last

    def __call__(self, row: Sequence[Any]) -> None:
        """Check a row.

        Raises
        ------
        Unreadable
            If a cell cannot be what its column says.
        """
        for column, value, check, needed in zip(self.columns, row, self._checks, self._needed, strict=True):
            fault = ("is missing" if needed else None) if value is None else check(value)
            if fault is not None:
                self.refuse(row[0], column, fault)
        if self.name == _FORMER:
            self._check_content(dict(zip(self.columns, row, strict=True)))

    def _check_content(self, row: dict[str, Any]) -> None:
        """Check what a former version kept as the record that it was."""
        name, kept = row["table_name"], json.loads(row["content"])
        check = self._contents.get(name)
        if check is None:
            columns = [c for c in record_log.columns_of(name) if c not in ("fid", "change_no")]
            check = self._contents[name] = RowCheck(name, columns, self._last)
        strange = set(kept) - {*check.columns, "change_no"}
        if strange or kept.get("id") != row["record_id"]:
            self.refuse(row["fid"], "content", "is not the record that it says")
        check([_from_hex(name, column, kept.get(column)) for column in check.columns])

    def refuse(self, number: Any, column: str, fault: str) -> None:
        """Say what is wrong with a cell.

        Raises
        ------
        Unreadable
            Always.
        """
        raise Unreadable(
            f"The snapshot cannot be taken: in {self.name} {str(number)[:40]} the column {column} {fault}. "
            "Write the snapshot again where it came from; nothing was taken."
        )

    def _of(self, column: str, last: int) -> Check:
        """Return the check of a column: its kind first, then what the cells of its name have to be."""
        kind = record_log.kind_of(self.name, column)
        if column in ("change_no", "ended_by"):
            return _whole(1, last)
        if kind == "bytes":
            return _shape_fault
        if kind == "real":
            return _number(*self._ends(column))
        if kind == "whole":
            return self._whole(column)
        return self._text(column)

    def _whole(self, column: str) -> Check:
        if column in _FLAGS:
            return _whole(0, 1)
        low = 1 if column in ("fid", "version", "counts", "width_px", "height_px") else 0
        return _whole(low, HIGHEST_ROW if column == "fid" else HIGHEST)

    def _text(self, column: str) -> Check:
        words = _WORDS.get((self.name, column))
        if words is not None:
            return lambda value: _text_fault(value) or (None if value in words else "holds another word")
        if column in record_log.JSON_TEXT:
            return _json(self.name, column)
        if column == "table_name":
            return lambda value: None if value in _VERSIONED and value != _FORMER else "names no table"
        if column in _UUIDS or column in _RECORDS:
            return _uuid_fault
        if (self.name, column) in _HASHES:
            return lambda value: None if _is_hash(value) else "is no hash of a file"
        if column.endswith("_on") or column in _DAYS:
            return _read_by(dt.date.fromisoformat, "is no day")
        if column == "at" or column.endswith("_at"):
            return _read_by(dt.datetime.fromisoformat, "is no time")
        return _text_fault

    def _ends(self, column: str) -> tuple[float, float]:
        found = [c for c in FRAMES.get(_FRAME_OF.get(self.name, ""), ()) if c.name == column]
        low, high = (found[0].low, found[0].high) if found else (None, None)
        return (-math.inf if low is None else low, math.inf if high is None else high)


def _from_hex(name: str, column: str, value: Any) -> Any:
    if record_log.kind_of(name, column) != "bytes" or type(value) is not str:
        return value
    try:
        return bytes.fromhex(value)
    except ValueError:
        return value


def _whole(low: int, high: int) -> Check:
    def check(value: Any) -> str | None:
        if type(value) is not int:
            return "is no whole number"
        return None if low <= value <= high else f"is not from {low} to {high}"

    return check


def _number(low: float, high: float) -> Check:
    def check(value: Any) -> str | None:
        if type(value) not in (int, float) or not math.isfinite(value):
            return "is no number"
        return None if low <= value <= high else f"is not from {low:g} to {high:g}"

    return check


def _text_fault(value: Any, most: int = MOST_CHARACTERS) -> str | None:
    if type(value) is not str:
        return "is no text"
    if "\0" in value:
        return "holds a NUL character"
    return None if len(value) <= most else f"has more than {most:,} characters"


def _uuid_fault(value: Any) -> str | None:
    try:
        return None if str(uuid.UUID(value)) == value else "is no UUID"
    except (ValueError, AttributeError, TypeError):
        return "is no UUID"


def _is_hash(value: Any) -> bool:
    return type(value) is str and len(value) == 64 and set(value) <= set("0123456789abcdef")


def _read_by(read: Callable[[str], object], fault: str) -> Check:
    def check(value: Any) -> str | None:
        try:
            read(value)
        except (ValueError, TypeError):
            return fault
        return None

    return check


def _shape_fault(value: Any) -> str | None:
    if type(value) is not bytes:
        return "is no geometry"
    shape, fault = from_wkb(value)
    return "is no geometry that can be taken" if fault is not None or shape is None else None


def _json(name: str, column: str) -> Check:
    kind = list if column in _LISTS else dict

    def check(value: Any) -> str | None:
        if type(value) is not str or "\0" in value:
            return "is no text"
        try:
            said = json.loads(value, parse_constant=_refused)
            _understand(name, column, value, said)
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError, LayerError):
            return "is no JSON that can be taken"
        return None if isinstance(said, kind) else "is no JSON that can be taken"

    return check


def _refused(said: str) -> None:
    raise ValueError(said)


def _require(holds: bool) -> None:
    if not holds:
        raise ValueError


def _understand(name: str, column: str, text: str, said: Any) -> None:
    """Read what the program reads of structured text; an error says that it could not."""
    if name == "site_model":
        model = SiteModel.from_json(text)
        numbers = [
            each for factor in (model.own, model.crew, model.departure) for each in (factor.value, factor.df)
        ]
        numbers += [each for effect in model.effects.values() for each in (effect.mean, effect.variance)]
        sum(0.0 * min(number, 0.0) for number in numbers)
    elif column == "placement":
        from_dict(said)
    elif column in ("totals_cm", "size_class_breaks_cm"):
        sum(float(number) for number in said)
    elif column == "kept":
        "".join(said.values())
    elif column == "leader_did":
        "".join(said)
    elif name == "round" and column in KEPT_OF_ROUNDS:
        require_kept(column, said)
    elif column == "inspection_months":
        _require(all(type(months) is int and 1 <= months <= MOST_MONTHS for months in said.values()))
