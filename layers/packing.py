"""What a phone needs of trunks to ask about readings on its own: expectations and how each was measured last.

Sizes never leave as such: an expectation is numbers of a check, and the last size goes only to trained staff.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from layers import columns
from layers.corrections import LIVE
from layers.expectation import expected_of, packed
from layers.hands import UNIT_OF
from layers.history import live_readings
from layers.inputs import Records, SiteTerms
from layers.questioned import Settled
from layers.reading_check import Expectation

_DIGITS = 6  # that a phone needs of a number
WIDTHS = frozenset({"diameter tape", "caliper", "sighting", "eye"})  # instruments that read a width


@dataclass(frozen=True)
class Measuring:
    """How trunks are going to be measured: instrument, unit, height [m], by whom, on which day (ISO)."""

    instrument: str
    unit: str
    height_m: float | None
    crew: str
    crew_kind: str
    round_id: str
    day: str


def expectations(
    records: Records, terms: SiteTerms, how: Measuring, stem_ids: Iterable[str]
) -> dict[str, Expectation]:
    """Return what is to be expected of a reading of each trunk, by its id; those without any are left out.

    Parameters
    ----------
    records, terms
        Of the site.
    how : Measuring
        How they are going to be measured.
    stem_ids : iterable of str
        Trunks, each once.
    """
    stems = list(dict.fromkeys(stem_ids))
    if not stems:
        return {}
    expected = expected_of(records, terms, Settled.of(records).fitting(), _to_come(how, stems))
    ids = expected.of.readings["stem_id"].to_numpy(dtype=object)[expected.rows].tolist()
    return dict(zip(ids, packed(expected, range(len(ids))), strict=True))


def _to_come(how: Measuring, stems: Sequence[str]) -> pd.DataFrame:
    """A reading yet to come of each trunk; its value stands for any."""
    same = {
        "quantity": "diameter" if how.instrument in WIDTHS else "girth",
        "unit": UNIT_OF.get(how.instrument, how.unit),
        "instrument": how.instrument,
        "height_m": how.height_m,
        "measured_on": how.day,
        "date_precision": "day",
        "crew": how.crew,
        "crew_kind": how.crew_kind,
        "round_id": how.round_id,
        "value": 100.0,
        "void": False,
    }
    rows = pd.DataFrame([{**same, "stem_id": stem, "reading_id": f"to come {stem}"} for stem in stems])
    return columns.shaped("reading_record", rows)


def plain(expectation: Expectation) -> dict[str, Any]:
    """Return an expectation as plain data, its numbers with as many digits as a check needs."""
    rounded: dict[str, Any] = _rounded(asdict(expectation))
    return rounded


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    if isinstance(value, Mapping):
        return {name: _rounded(part) for name, part in value.items()}
    return [_rounded(part) for part in value] if isinstance(value, list | tuple) else value


def last_readings(readings: pd.DataFrame) -> dict[str, Any]:
    """Return the last reading of each trunk that holds and has a size, by the trunk's id, as a row.

    Parameters
    ----------
    readings : DataFrame
        Columns of READING_RECORD.
    """
    known = live_readings(readings)
    known = known[(known["state"] == LIVE).to_numpy(dtype=bool) & known["value"].notna().to_numpy()]
    order = known.sort_values(["measured_on", "received_at"], kind="stable", na_position="first")
    return {row.stem_id: row for row in order.itertuples(index=False)}


def how_last(last: Any) -> dict[str, Any]:
    """Return how a trunk was measured last, without what was read: height [m], side, what is awkward."""
    if last is None:
        return {"height_m": None, "side": None, "awkward": []}
    said = last.awkward if isinstance(last.awkward, str) else ""
    return {
        "height_m": None if last.height_m != last.height_m else round(float(last.height_m), 4),
        "side": last.side if isinstance(last.side, str) else None,
        "awkward": [part.strip() for part in said.split(",") if part.strip()],
    }


def size_last(last: Any) -> dict[str, Any] | None:
    """Return what was read of a trunk last, as it was said; None where nothing was."""
    if last is None:
        return None
    return {
        "value": _rounded(float(last.value)),
        "quantity": last.quantity,
        "unit": last.unit,
        "height_m": how_last(last)["height_m"],
        "on": last.measured_on if isinstance(last.measured_on, str) else None,
    }
