"""The size columns of a file, settled: quantity and unit, doubles left out, nameless ones asked for."""

from dataclasses import replace

import numpy as np

from service.errors import Ask, InvalidRequest
from service.intake import cells, guess_size, size_rows
from service.intake.column_samples import is_number, sample
from service.intake.guess_columns import Columns, NumberColumn
from service.intake.prepared import Guess, ImportOptions
from service.intake.source_table import SourceTable
from service.intake.words import roles_of, speaks_metric

_SAME = 0.02  # a diameter within 2 % of girth / pi was computed from it, or the other way round (assumption)


def settle(
    table: SourceTable,
    columns: Columns,
    options: ImportOptions,
    american: bool | None,
    guesses: list[Guess],
) -> None:
    """Settle quantity and unit of the size columns.

    Raises
    ------
    Ask
        If two readings of the values are about equally likely, or a nameless column may be the size.
    InvalidRequest
        If the option --size cannot be.
    """
    said = guess_size.said_size(options.size)
    if not columns.sizes:
        if said is not None:
            raise _no_size(table, columns, said)
        _require_no_size_hidden(table, columns)
        return
    sizes = [replace(c, unit=said.unit) if said and c.what == "class" else c for c in columns.sizes]
    values = {c.header: size_rows.numbers(table, c) for c in sizes if c.what != "class"}
    metric = speaks_metric(table.headers)
    sizes = guess_size.settled(sizes, values, said, american, guesses, metric_words=metric)
    columns.sizes = [_class_unit(table, c, american, guesses) if c.what == "class" else c for c in sizes]
    _leave_out_computed(table, columns)


def _no_size(table: SourceTable, columns: Columns, said: guess_size.Said) -> InvalidRequest:
    """Return the error for a size that was said of a file in which no column is known to hold sizes."""
    numbers = []
    for header, column in zip(table.headers, table.columns, strict=True):
        filled = sample(column)
        if header not in columns.used() and filled and all(map(is_number, filled)):
            numbers.append(header)
    told = f"--size says {said.quantity} in {said.unit}, and no column of the file is named as one."
    if not numbers:
        return InvalidRequest([("--size", f"{told} Name the column with --columns {said.quantity}=...")])
    return Ask("--columns", [f"{said.quantity}={header}" for header in numbers[:6]], told)


def _class_unit(
    table: SourceTable, column: NumberColumn, american: bool | None, guesses: list[Guess]
) -> NumberColumn:
    """Return a class column with its unit: of the header, of the cells, else by where the trees stand."""
    bounds = [cells.range_bounds(cell) for cell in set(table.column(column.header)) if cell]
    in_cells = next((b[2] for b in bounds if b is not None and b[2]), None)
    unit = column.unit or in_cells
    why = "The header says so." if column.unit else "The classes say so."
    if unit is None:
        unit = "in" if american else "cm"
        why = f"No unit is said; the trees stand {'in' if american else 'outside'} North America."
        if american is None:
            why = "No unit is said; centimetres are usual."
    words = {"in": "inches", "ft": "feet"}.get(unit, unit)
    guesses.append(Guess("size", f"class in {words}", why, 0.95 if column.unit or in_cells else 0.7))
    return replace(column, unit=unit)


def _leave_out_computed(table: SourceTable, columns: Columns) -> None:
    """Leave out a diameter column that is a girth column divided by pi, or the other way round."""
    plain = [c for c in columns.sizes if c.what in ("girth", "diameter") and not c.said]
    pairs = [
        (a, b)
        for a in plain
        for b in plain
        if a.what == "girth" and b.what == "diameter" and (a.year, a.stem) == (b.year, b.stem)
    ]
    for girth, diameter in pairs:
        ours = [_girths(table, girth), _girths(table, diameter)]
        both = np.isfinite(ours[0]) & np.isfinite(ours[1])
        if both.sum() < 5 or np.mean(np.abs(ours[1][both] / ours[0][both] - 1) < _SAME) < 0.95:
            continue
        broken = [guess_size.step_shares(size_rows.numbers(table, c))[0] for c in (girth, diameter)]
        made, of = (girth, diameter) if broken[0] > broken[1] else (diameter, girth)
        if np.isfinite(_girths(table, of)).sum() < np.isfinite(_girths(table, made)).sum():
            continue
        columns.sizes.remove(made)
        columns.left_out[made.header] = f"computed from {of.header}: girth is pi times diameter in its rows"


def _girths(table: SourceTable, column: NumberColumn) -> np.ndarray:
    said = table.column(column.header)
    comma = cells.decimal_comma(said, by_default=table.decimal_comma)
    factor = guess_size.girth_cm(1.0, str(column.what), str(column.unit))
    values = [cells.number(cell, comma=comma) for cell in said]
    return np.array([np.nan if not v else v * factor for v in values], dtype=float)


def _require_no_size_hidden(table: SourceTable, columns: Columns) -> None:
    """Ask where the file has no size but exactly one nameless column of numbers that could be sizes."""
    hidden = []
    for header, column in zip(table.headers, table.columns, strict=True):
        if header in columns.used() or roles_of(header):
            continue
        said = sample(column)
        values = size_rows.numbers(table, NumberColumn(header, None))
        broken, _ = guess_size.step_shares(values)
        if len(said) > 20 and len(values) > 0.9 * len(said) and broken > 0.3 and values.max() < 4_500:
            hidden.append(header)
    if len(hidden) == 1:
        raise Ask(
            "--columns",
            [f"{word}={hidden[0]}" for word in ("diameter", "girth", "kept")],
            f"No column is named as a size, but the numbers in {hidden[0]!r} could be sizes.",
        )
