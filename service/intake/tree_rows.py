"""Rows of a table of trees: tags, keys, names, places, statuses, days and what is kept as written."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from service.intake import cells, day_cells, status_cells
from service.intake.guess_columns import Columns
from service.intake.prepared import Guess, ImportOptions, PreparedRow, Question, SiteFacts
from service.intake.row_positions import Positions
from service.intake.size_rows import Day
from service.intake.source_table import SourceTable
from service.intake.words import folded, roles_of, taken_apart, word_set

_KEY_TOKENS = word_set("id nr no code key uuid nummer number")
_NO_KEYS = word_set("x y lon lat species girth diameter height crown measured_on planted_on")


@dataclass
class Days:
    """Days of measurement of the rows, and rows that are refused or questioned for theirs."""

    of_rows: list[Day]
    refused: dict[int, str]
    questions: dict[int, Question]


def _clean_numbers(column: list[str]) -> list[str]:
    """Return ids without the '.0' that a spreadsheet or frame gave all of them."""
    said = [cell for cell in column if cell]
    if said and all(re.fullmatch(r"[0-9]+\.0", cell) for cell in said):
        return [cell.removesuffix(".0") for cell in column]
    return [cell.strip() for cell in column]


def key_column(table: SourceTable, columns: Columns) -> str | None:
    """Return the header of the column that is unique in the file and calls the rows, if there is one."""
    taken = {header: role for role, header in columns.single.items()}
    best, best_score = None, 0.0
    for header, column in zip(table.headers, table.columns, strict=True):
        if (
            header in columns.left_out
            or taken.get(header) in _NO_KEYS
            or any(header == c.header for c in (*columns.sizes, *columns.measures))
        ):
            continue
        fits = roles_of(header)
        named = bool(_KEY_TOKENS & set(folded(header).split()))
        score = max(
            (3.0 + fits.get("external_id", 0.0)) * (taken.get(header) == "external_id"),
            2.0 * (taken.get(header) == "tag"),
            1.5 * ("external_id" in fits),
            1.0 * (named and header not in taken),
            0.5 * ("row_id" in fits),
        )
        if score > best_score and _is_unique(column):
            best, best_score = header, score
    return best


def _is_unique(column: list[str]) -> bool:
    return len(set(column)) == len(column) and not any(map(cells.is_missing, column))


def started(table: SourceTable, positions: Positions) -> list[PreparedRow]:
    """Return a row for each row of the table, with its position and what is wrong with it."""
    rows = [PreparedRow(row=number) for number in table.rows]
    for place, reason in table.faults.items():
        rows[place].refused = reason
    for place, question in positions.questions.items():
        rows[place].questions.append(question)
    first, second = positions.first.tolist(), positions.second.tolist()
    for row, a, b in zip(rows, first, second, strict=True):
        if a != a or b != b:
            continue
        row.position_source = positions.source
        if positions.local:
            row.x_m, row.y_m = a, b
        else:
            row.lon_deg, row.lat_deg = a, b
    return rows


def apply_keys(
    rows: Sequence[PreparedRow], table: SourceTable, columns: Columns, guesses: list[Guess]
) -> str:
    """Set tag, external id and source key of the rows; return how they are told apart, in words."""
    key = key_column(table, columns)
    external = columns.single.get("external_id") or key
    if external:
        for row, cell in zip(rows, _clean_numbers(table.column(external)), strict=True):
            row.external_id = cell or None
    if key:
        for row, cell in zip(rows, _clean_numbers(table.column(key)), strict=True):
            row.source_key = cell
    if "tag" in columns.single:
        _apply_tags(rows, _clean_numbers(table.column(columns.single["tag"])), guesses)
    if key:
        guesses.append(Guess("key", key, f"Every row has its own {key!r}; it tells the rows apart.", 0.95))
        return f"column {key}"
    rule = "tag and place" if any(row.tag for row in rows) else "position to 0.1 m and species as written"
    guesses.append(
        Guess("key", rule, "No column of numbers or names is there in which every row differs.", 0.8)
    )
    return rule


def _apply_tags(rows: Sequence[PreparedRow], tags: list[str], guesses: list[Guess]) -> None:
    zeros = tags.count("0")
    for row, tag in zip(rows, tags, strict=True):
        if tag and not cells.is_missing(tag) and not (tag == "0" and zeros > 1):
            row.tag = tag
    if zeros > 1:
        guesses.append(
            Guess("tag", f"missing in {zeros:,} rows", "The tag 0 repeats: it stands for no tag.", 0.9)
        )


def apply_place(
    rows: Sequence[PreparedRow], table: SourceTable, columns: Columns, options: ImportOptions
) -> None:
    """Set the place of the rows: the column that is one, else the name that the person gave."""
    header = columns.single.get("place")
    if header is None:
        for row in rows:
            row.place = options.place
        return
    for row, cell in zip(rows, table.column(header), strict=True):
        row.place = None if cells.is_missing(cell) else cell.strip()


def apply_status(
    rows: Sequence[PreparedRow], table: SourceTable, columns: Columns, guesses: list[Guess]
) -> None:
    """Set the status of the rows as the file says it; a word that is not known leaves it unknown.

    Rows whose status is a word for a stump, a gap or a vacant place are places.
    """
    if "status" not in columns.single:
        return
    places: Counter[str] = Counter()
    strange: Counter[str] = Counter()
    for row, cell in zip(rows, table.column(columns.single["status"]), strict=True):
        if cells.is_missing(cell):
            continue
        status, kind = status_cells.status_of(cell), status_cells.kind_in_status(cell)
        row.status_as_said = cell.strip()
        row.status = status or "unknown"
        if kind is not None and row.place_kind is None:
            row.place_kind = kind
            places[kind] += 1
        elif status is None and kind is None:
            strange[cell.strip()[:40]] += 1
    _tell_status(columns.single["status"], places, strange, guesses)


def _tell_status(header: str, places: Counter[str], strange: Counter[str], guesses: list[Guess]) -> None:
    if places:
        said = ", ".join(f"{count:,} {kind}" for kind, count in places.most_common())
        guesses.append(Guess("places", said, f"The column {header!r} says that no tree stands there.", 0.9))
    if strange:
        words = ", ".join(f"{word!r} ({count:,})" for word, count in strange.most_common(5))
        said = f"unknown in {strange.total():,} rows"
        why = f"Words of {header!r} that are not known here: {words}. These trees count as living."
        guesses.append(Guess("status", said, why, 0.5))


def apply_keeper(rows: Sequence[PreparedRow], table: SourceTable, columns: Columns) -> None:
    """Set whose trees they are, where a column says it in our words."""
    if "keeper" in columns.single:
        for row, cell in zip(rows, table.column(columns.single["keeper"]), strict=True):
            row.keeper = cell.strip() or None


def measuring_heights(
    rows: Sequence[PreparedRow],
    table: SourceTable,
    columns: Columns,
    options: ImportOptions,
    guesses: list[Guess],
) -> list[float | None]:
    """Return at which height [m] each row was measured: as the person said, else its own column."""
    header = columns.single.get("measuring_height")
    if header is None or options.height_m is not None:
        return [options.height_m] * len(rows)
    column = table.column(header)
    comma = cells.decimal_comma(column, by_default=table.decimal_comma)
    said = taken_apart(header).unit or table.units.get(header)
    inches = any(size.unit == "in" for size in columns.sizes)
    if said is None:
        _tell_measuring_heights(header, [cells.number(cell, comma=comma) for cell in column], inches, guesses)
    out: list[float | None] = []
    for row, cell in zip(rows, column, strict=True):
        size = cells.size_cell(cell, comma=comma)
        value = size.values[0] if len(size.values) == 1 else None
        unit = size.unit or said or _unit_of_height(value or 0.0, inches)
        height = None if value is None else value * cells.CM_PER[unit] / 100
        if not size.missing and (height is None or not 0 <= height <= 10):
            detail = f"{header}: {cell[:40]!r} is no height to measure a trunk at."
            row.questions.append(Question("size", detail, header))
            height = None
        out.append(height)
    return out


def _unit_of_height(value: float, inches: bool) -> str:
    """Return the unit of a height to measure at that has none: nobody reaches 10 m, or 10 ft (assumption)."""
    if value > 10:
        return "in" if inches else "cm"
    return "ft" if inches and value > 2 else "m"


def _tell_measuring_heights(
    header: str, values: Sequence[float | None], inches: bool, guesses: list[Guess]
) -> None:
    numbers = [value for value in values if value]
    if numbers:
        top = float(np.quantile(numbers, 0.95))
        why = f"95 of 100 values stay below {top:g}" + (", and the sizes are in inches." if inches else ".")
        guesses.append(Guess("height of measuring", f"{header} in {_unit_of_height(top, inches)}", why, 0.85))


def apply_kinds(
    rows: Sequence[PreparedRow], table: SourceTable, columns: Columns, guesses: list[Guess]
) -> None:
    """Make rows of stumps, gaps and vacant places places, by the column that tells them from trees."""
    header = columns.single.get("record_kind")
    if header is None:
        return
    counts: Counter[str] = Counter()
    for row, cell in zip(rows, table.column(header), strict=True):
        kind = status_cells.kind_of(cell)
        if kind is None and not cells.is_missing(cell) and row.refused is None:
            row.questions.append(
                Question("kind", f"{header}: {cell.strip()[:40]!r} is not known; taken as a tree.", header)
            )
        elif kind not in (None, "tree"):
            row.place_kind = kind
            counts[str(kind)] += 1
    if counts:
        said = ", ".join(f"{count:,} {kind}" for kind, count in counts.most_common())
        why = f"The column {header!r} tells them from trees."
        guesses.append(Guess("places", said, why, 0.95))


def days(
    table: SourceTable, columns: Columns, options: ImportOptions, site: SiteFacts, order: day_cells.Order
) -> Days:
    """Return the days of measurement of the rows: the day that was given, else the column's, else none."""
    count = len(table.rows)
    header = columns.single.get("measured_on")
    out = Days([(None, "unknown")] * count, {}, {})
    if options.measured_on and header != options.measured_on:
        given = day_cells.day(options.measured_on)
        if given:
            for place in range(count):
                _place_day(out, place, given, "--measured-on", options.measured_on, site.today)
        return out
    if header is None:
        return out
    for place, cell in enumerate(table.column(header)):
        if cells.is_missing(cell) or cell == "0":
            continue
        found = day_cells.day(cell, order) or day_cells.spreadsheet_day(cell)
        if found is None:
            out.questions[place] = Question("date", f"{header}: {cell[:40]!r} is no day.", header)
        else:
            _place_day(out, place, found, header, cell, site.today)
    return out


def _place_day(out: Days, place: int, found: tuple[str, str], header: str, cell: str, today: str) -> None:
    starts = day_cells.first_of(found)
    if day_cells.later(starts, today, 366):
        out.refused[place] = f"{header}: {cell[:40]!r} lies more than a year in the future."
        return
    if day_cells.later(starts, today, 1):
        out.questions[place] = Question("date", f"{header}: {cell[:40]!r} lies in the future.", header)
    out.of_rows[place] = found


def apply_planted(
    rows: Sequence[PreparedRow], table: SourceTable, columns: Columns, site: SiteFacts, order: day_cells.Order
) -> dict[int, tuple[str, str]]:
    """Set the days of planting and return them with their precision; years stand for their middle day.

    A day that cannot be, or lies more than a year in the future, is kept as written and questioned.
    """
    header = columns.single.get("planted_on")
    planted: dict[int, tuple[str, str]] = {}
    if header is None:
        return planted
    for place, (row, cell) in enumerate(zip(rows, table.column(header), strict=True)):
        if cells.is_missing(cell) or cell == "0":
            continue
        found = day_cells.day(cell, order) or day_cells.spreadsheet_day(cell)
        fault = None if found else "is no day"
        if found and day_cells.later(day_cells.first_of(found), site.today, 366):
            fault = "lies more than a year in the future"
        if found is None or fault:
            row.questions.append(
                Question("date", f"{header}: {cell[:40]!r} {fault}; it was not taken.", header)
            )
            row.kept[header] = cell
            continue
        row.planted_on = found[0]
        planted[place] = found
        if day_cells.later(day_cells.first_of(found), site.today, 1):
            row.questions.append(Question("date", f"{header}: {cell[:40]!r} lies in the future.", header))
    return planted


def question_planted(
    rows: Sequence[PreparedRow], columns: Columns, planted: Mapping[int, tuple[str, str]]
) -> None:
    """Question trees that were measured before they were planted."""
    header = columns.single.get("planted_on")
    for place, found in planted.items():
        row = rows[place]
        said = [(r.measured_on, r.date_precision) for r in row.readings if r.measured_on]
        if said and day_cells.first_of(found) > (measured := min(map(day_cells.last_of, said))):
            detail = (
                f"{header}: the tree would have been planted ({day_cells.as_said(found)}) after it was "
                f"measured ({measured}); check both days."
            )
            row.questions.append(Question("date", detail, header))


def refuse_empty(rows: Sequence[PreparedRow], columns: Columns) -> None:
    """Refuse rows in which nothing that was understood says anything of a tree."""
    placed = "place" in columns.single
    for row in rows:
        told = (row.tag, row.external_id, row.name_as_written, row.status_as_said, row.planted_on)
        where = (row.lon_deg, row.x_m, row.place if placed else None, row.place_kind)
        unplaced = all(word is None for word in where)
        told_nothing = unplaced and not any((*told, row.readings, row.observations, row.statuses))
        if row.refused is None and told_nothing and not any(q.what == "position" for q in row.questions):
            row.refused = "The row says nothing of a tree: no tag, name, position, place, status or size."


def apply_kept(rows: Sequence[PreparedRow], table: SourceTable, headers: Sequence[str]) -> None:
    """Keep the cells of columns as written; empty ones say nothing."""
    for header in headers:
        for row, cell in zip(rows, table.column(header), strict=True):
            if cell:
                row.kept[header] = cell


def keep_of_places(rows: Sequence[PreparedRow], table: SourceTable, headers: Sequence[str]) -> None:
    """Keep what a place, which has no sizes, says in columns of sizes, days and statuses."""
    apply = [place for place, row in enumerate(rows) if row.place_kind and not row.refused]
    for header in headers:
        column = table.column(header)
        for place in apply:
            if column[place]:
                rows[place].kept[header] = column[place]
