"""Rows that carry the UUID of one of our readings: the same, or a correction of it (definitions R2)."""

from collections.abc import Mapping
from typing import Any

from service.intake.content import IDENTIFYING, as_text, from_text
from service.intake.decisions import Decision, Here, New
from service.intake.prepared import PreparedRow

HEADS = "heads"  # UUIDs of the readings that superseded what the key said first

_COMPARED = (
    "quantity", "unit", "value", "value_2", "parts", "class_from_cm", "class_to_cm", "instrument", "height_m",
    "resolution", "measured_on", "date_precision", "note",
)  # fmt: skip


def compare_reading(
    decision: Decision, row: PreparedRow, record: Mapping[str, Any], known_text: str | None, here: Here
) -> None:
    """Decide on a row that carries a reading's UUID: another value is a reading that supersedes it."""
    assert decision.content is not None
    said, known = from_text(decision.content), from_text(known_text or "{}")
    decision.content = None
    if not row.readings:
        return
    reading = row.readings[0]
    width = IDENTIFYING["readings"]
    if known.get("readings"):
        changed = said["readings"][0][width:] != known["readings"][0][width:]
    else:
        changed = any(_differs(getattr(reading, word), record[word]) for word in _COMPARED)
    if not changed:
        return
    first = decision.keyed.record_id
    old = known.get(HEADS, {}).get(first, first)
    new = here.name(old, as_text({"said": said["readings"][0][width:]}))
    decision.readings = [New(reading, new, old)]
    decision.stem_ids = {reading.stem_number: record["stem_id"]}
    decision.questions = list(row.questions)
    decision.content = as_text({**said, HEADS: {first: new}})
    decision.outcome = "questioned" if decision.questions else "taken"


def _differs(said: Any, known: Any) -> bool:
    """Whether a file says something else; what it leaves empty it does not change."""
    return said not in (None, "unknown") and said != known
