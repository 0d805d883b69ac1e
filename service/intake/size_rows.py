"""Readings, heights and crowns of rows: cells of number columns become what was said, with its questions."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from service.intake import cells, day_cells, guess_size, status_cells
from service.intake.guess_columns import NumberColumn
from service.intake.guess_size import GIRTH_QUESTIONED_CM, GIRTH_REFUSED_CM, girth_cm
from service.intake.prepared import (
    Guess,
    PreparedObservation,
    PreparedReading,
    PreparedRow,
    PreparedStatus,
    Question,
)
from service.intake.source_table import SourceTable
from service.intake.tag_cells import tag_size
from service.intake.words import folded

Day = tuple[str | None, str]
SMALL_GIRTH_CM = 3.0  # below it a tag is questioned: its unit may be missing (assumption)
_GIRTH_WORDS = ("girth", "umfang", "circonf", "circumf", "circunf", "perimet", "omtrek")
_HIGHEST = {"height": ("height", 130.0), "crown": ("crown diameter", 80.0)}  # [m], as in the nomenclature


@dataclass
class SizeRule:
    """How the size cells of a column are read."""

    column: NumberColumn
    comma: bool
    apart_cm: float = GIRTH_QUESTIONED_CM


@dataclass
class _Marks:
    """What the size cells of a row said besides sizes."""

    hard: list[str] = field(default_factory=list)  # why cells cannot be
    states: list[tuple[int, int, str, str, bool]] = field(
        default_factory=list
    )  # year, stem, status, cell, sized


def _size(column: NumberColumn, cell: str, *, comma: bool) -> cells.SizeCell:
    """Return what a cell of a column says, read as a tag where the column is one."""
    return tag_size(cell, comma=comma) if column.usual else cells.size_cell(cell, comma=comma)


def numbers(table: SourceTable, column: NumberColumn) -> np.ndarray:
    """Return the positive numbers of a size column that name no unit of their own."""
    cells_ = table.column(column.header)
    comma = cells.decimal_comma(cells_, by_default=table.decimal_comma)
    out: list[float] = []
    for cell, count in Counter(cells_).items():
        size = _size(column, cell, comma=comma)
        if size.unit is None and size.quantity in (None, column.what):
            out += [v for v in size.values if v > 0] * count
    return np.array(out, dtype=float)


def rules(table: SourceTable, columns: Sequence[NumberColumn]) -> list[SizeRule]:
    """Return how each settled size column is read, oldest year first."""
    out = []
    pooled: dict[str | None, list[np.ndarray]] = {}
    for column in sorted(columns, key=lambda c: (c.year or 0, c.stem or 1)):
        comma = cells.decimal_comma(table.column(column.header), by_default=table.decimal_comma)
        out.append(SizeRule(column, comma))
        if column.what != "class" and column.what and column.unit:
            girths = numbers(table, column) * girth_cm(1.0, column.what, column.unit)
            pooled.setdefault(column.what, []).append(girths[girths <= GIRTH_REFUSED_CM])
    for rule in out:
        if rule.column.what in pooled:
            rule.apart_cm = guess_size.apart_above_cm(np.concatenate(pooled[rule.column.what]))
    return out


def apply_sizes(
    rows: Sequence[PreparedRow],
    table: SourceTable,
    size_rules: Sequence[SizeRule],
    days: Sequence[Day],
    heights: Sequence[float | None],
) -> None:
    """Add the readings, statuses and questions of the size columns to the rows.

    ``days`` and ``heights`` are the rows' days and heights [m] of measurement; a year or height in the header
    goes before them.
    """
    marks: dict[int, _Marks] = {}
    for rule in size_rules:
        header, year = rule.column.header, rule.column.year
        dated: Day | None = (day_cells.middle(year), "year") if year else None
        is_class = rule.column.what == "class"
        for place, cell in enumerate(table.column(header)):
            row = rows[place]
            if not cell or row.refused or row.place_kind:
                continue
            size = _class_cell(cell) if is_class else _size(rule.column, cell, comma=rule.comma)
            if size.missing:
                continue
            height = rule.column.height_m if rule.column.height_m is not None else heights[place]
            if size.odd:
                size = _odd(row, rule, cell, marks.setdefault(place, _Marks()))
            if size.class_from is not None:
                _add_class(row, rule, cell, size, dated or days[place], height)
            elif size.values:
                _add_sizes(row, rule, cell, size, dated or days[place], height, marks, place)
    for place, mark in marks.items():
        _settle(rows[place], mark)


def _class_cell(cell: str) -> cells.SizeCell:
    bounds = cells.range_bounds(cell)
    if bounds is None:
        return cells.NOTHING if cells.is_missing(cell) else cells.SizeCell(odd=True)
    return cells.SizeCell(class_from=bounds[0], class_to=bounds[1], unit=bounds[2])


def _odd(row: PreparedRow, rule: SizeRule, cell: str, mark: _Marks) -> cells.SizeCell:
    """Return the size that a cell of words and a size holds, if any; note its status or question it."""
    header = rule.column.header
    state = status_cells.status_in_size(cell)
    if state is None:
        row.kept |= {header: cell} if rule.column.usual else {}
        words = "says why there is no size" if status_cells.says_no_size(cell) else "is no size"
        row.questions.append(
            Question("size", f"{header}: {cell.strip()[:60]!r} {words}; no size was taken from it.", header)
        )
        return cells.NOTHING
    size = cells.size_cell(state[1], comma=rule.comma) if state[1] else cells.NOTHING
    mark.states.append((rule.column.year or 0, rule.column.stem or 0, state[0], cell.strip(), False))
    if not size.values:
        return cells.NOTHING
    row.questions.append(
        Question(
            "size",
            f"{header}: {cell.strip()[:60]!r} was taken as the size of a stem that is {state[0]}.",
            header,
        )
    )
    return size


def _add_sizes(
    row: PreparedRow,
    rule: SizeRule,
    cell: str,
    size: cells.SizeCell,
    day: Day,
    height: float | None,
    marks: dict[int, _Marks],
    place: int,
) -> None:
    column = rule.column
    quantity, unit = size.quantity or column.what or "diameter", size.unit or column.unit or "cm"
    factor = girth_cm(1.0, quantity, unit)
    girths = [value * factor for value in size.values if value != 0]
    if min(girths) < 0 or max(girths) > GIRTH_REFUSED_CM:
        marks.setdefault(place, _Marks()).hard.append(_impossible(column.header, cell, girths))
        return
    if max(girths) > rule.apart_cm:
        row.questions.append(Question("large_size", _large(column.header, cell, girths, rule), column.header))
    if column.usual and min(girths) < SMALL_GIRTH_CM:
        row.questions.append(Question("size", _small(column.header, cell, girths), column.header))
    doubt = size.doubt
    if size.quantity and size.quantity != column.what:
        doubt = f"it says that it is a {size.quantity}, among sizes of the other kind; it was taken as that"
    if doubt:
        _doubt(row, column.header, cell, doubt)
    first = column.stem or 1
    several = len(size.values) > 1
    plain = cells.number(cell, comma=rule.comma) is not None
    for step, value in enumerate(size.values):
        if value == 0:
            continue
        row.readings.append(
            PreparedReading(
                column=column.header,
                stem_number=first + step,
                quantity=quantity,
                unit=unit,
                value=value,
                height_m=height,
                measured_on=day[0],
                date_precision=day[1],
                note=None if plain else cell.strip(),
            )
        )
    row.stems = max(row.stems, first + len(size.values) - 1) if several or first > 1 else row.stems
    if column.year and place in marks and status_cells.status_in_size(cell) is None:
        marks[place].states.append((column.year, column.stem or 0, "living", cell.strip(), True))


def _impossible(header: str, cell: str, girths: Sequence[float]) -> str:
    if min(girths) < 0:
        return f"{header}: {cell.strip()[:40]!r} is below 0; no trunk has that size."
    return (
        f"{header}: {cell.strip()[:40]!r} would be {max(girths):,.0f} cm round the trunk, more than "
        f"{GIRTH_REFUSED_CM:,.0f} cm; check the number and its unit."
    )


def _doubt(row: PreparedRow, header: str, cell: str, why: str) -> None:
    row.questions.append(Question("size", f"{header}: {cell.strip()[:60]!r}: {why}.", header))


def _small(header: str, cell: str, girths: Sequence[float]) -> str:
    return (
        f"{header}: {cell.strip()[:40]!r} would be only {min(girths):.2g} cm round the trunk; check the "
        "number and its unit."
    )


def _large(header: str, cell: str, girths: Sequence[float], rule: SizeRule) -> str:
    text = f"{header}: {cell.strip()[:40]!r} would be {max(girths):,.0f} cm round the trunk"
    if max(girths) > GIRTH_QUESTIONED_CM:
        return f"{text}, more than {GIRTH_QUESTIONED_CM:,.0f} cm; please check."
    return f"{text}, far above the rest of the file (99 of 100 stay below {rule.apart_cm / 1.6:,.0f} cm)."


def _add_class(
    row: PreparedRow,
    rule: SizeRule,
    cell: str,
    size: cells.SizeCell,
    day: Day,
    height: float | None,
) -> None:
    column = rule.column
    factor = cells.CM_PER[size.unit or column.unit or "cm"]
    if any(word in folded(column.header).replace(" ", "") for word in _GIRTH_WORDS):
        factor /= np.pi
    if size.doubt:
        _doubt(row, column.header, cell, size.doubt)
    low = size.class_from if size.class_from is not None else 0.0
    row.readings.append(
        PreparedReading(
            column=column.header,
            stem_number=column.stem or 1,
            quantity="class",
            unit="cm",
            class_from_cm=round(low * factor, 6),
            class_to_cm=None if size.class_to is None else round(size.class_to * factor, 6),
            height_m=height,
            measured_on=day[0],
            date_precision=day[1],
            note=cell.strip(),
        )
    )


def _settle(row: PreparedRow, mark: _Marks) -> None:
    """Refuse a row that has no good size beside an impossible one; turn states of years into statuses."""
    if mark.hard and not row.readings:
        row.refused = mark.hard[0]
        return
    row.questions += [
        Question("size", f"{detail} The other sizes of the row were taken.") for detail in mark.hard
    ]
    former: dict[int, str] = {}
    for year, stem, status, cell, sized in sorted(mark.states, key=lambda state: state[:2]):
        if not year:
            row.status, row.status_as_said = status, cell
            continue
        before = former.get(stem, "living")
        former[stem] = status
        if status == before:
            continue
        if sized:
            detail = f"It was written {before} before, and has the size {cell} in {year}."
            row.questions.append(Question("status", detail))
        row.statuses.append(PreparedStatus(status, cell, stem, day_cells.middle(year), "year"))


def measure_unit(
    table: SourceTable, column: NumberColumn, *, inches: bool, guesses: list[Guess]
) -> tuple[str, bool]:
    """Return unit of a height or crown column, m or ft, and whether it has a decimal comma."""
    cells_ = table.column(column.header)
    comma = cells.decimal_comma(cells_, by_default=table.decimal_comma)
    if column.unit:
        return column.unit, comma
    if column.usual:
        why = "The tag counts in metres where no unit is written."
        guesses.append(Guess(str(column.what), f"{column.header} in {column.usual}", why, 0.95))
        return column.usual, comma
    values = [v for cell in cells_ if (v := cells.number(cell, comma=comma)) is not None and v > 0]
    top = float(np.quantile(values, 0.95)) if values else 0.0
    unit = "ft" if inches or top > 60 else "m"
    why = f"95 of 100 values stay below {top:g}" + (", and the sizes are in inches." if inches else ".")
    guesses.append(Guess(str(column.what), f"{column.header} in {unit}", why, 0.75 if inches else 0.85))
    return unit, comma


def apply_measures(
    rows: Sequence[PreparedRow],
    table: SourceTable,
    column: NumberColumn,
    unit: str,
    comma: bool,
    days: Sequence[Day],
) -> None:
    """Add the heights or crowns [m] of a column to the rows as observations; zero is missing."""
    what, highest = _HIGHEST[str(column.what)]
    dated: Day | None = (day_cells.middle(column.year), "year") if column.year else None
    for place, cell in enumerate(table.column(column.header)):
        row = rows[place]
        if not cell or row.refused or row.place_kind:
            continue
        size = _size(column, cell, comma=comma)
        if size.missing:
            continue
        metres = size.values[0] * cells.CM_PER[size.unit or unit] / 100.0 if len(size.values) == 1 else None
        if metres is None or not 0 < metres <= highest:
            detail = f"{column.header}: {cell.strip()[:40]!r} cannot be a {what}; it was not taken."
            row.questions.append(Question("size", detail, column.header))
            row.kept |= {column.header: cell} if column.usual else {}
            continue
        if column.usual and size.doubt:
            _doubt(row, column.header, cell, size.doubt)
        day = dated or days[place]
        row.observations.append(
            PreparedObservation(column.header, what, round(metres, 6), "m", None, day[0], day[1])
        )
