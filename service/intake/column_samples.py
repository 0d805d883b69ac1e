"""What most cells of a column look like: numbers, sizes, names, days, words of our lists."""

import re
from collections.abc import Callable, Sequence

from service.intake import cells, day_cells, degrees, status_cells

SAMPLE = 600


def sample(column: Sequence[str]) -> list[str]:
    """Return up to ``SAMPLE`` cells that say something, from all over the column."""
    filled = [cell for cell in column if cell]
    some = filled[:: max(1, len(filled) // SAMPLE)]
    said = [cell for cell in some if not cells.is_missing(cell)]
    if len(said) < SAMPLE // 10 and len(some) < len(filled):
        said = [cell for cell in filled if not cells.is_missing(cell)][:SAMPLE]
    return said


def share(said: Sequence[str], fits: Callable[[str], bool]) -> float:
    """Return the share [-] of cells that fit."""
    return sum(map(fits, said)) / len(said) if said else 0.0


def is_number(cell: str) -> bool:
    """Return whether a cell is a number with either decimal sign."""
    return cells.number(cell) is not None or cells.number(cell, comma=True) is not None


def is_coordinate(cell: str) -> bool:
    """Return whether a cell is one coordinate: a number, or degrees with letters, minutes or seconds."""
    return is_number(cell) or degrees.angle(cell) is not None


def is_size(cell: str) -> bool:
    """Return whether a cell is a size, or says why there is none."""
    if is_number(cell) or status_cells.status_in_size(cell) or cells.class_bounds(cell):
        return True
    if status_cells.says_no_size(cell):
        return True
    return bool(cells.size_cell(cell, comma="," in cell).values)


def _is_measure(cell: str) -> bool:
    return is_number(cell) or bool(re.fullmatch(r"[0-9.,]+\s*(?:m|ft|cm|'|′)\.?", cell.strip()))


def _is_measuring_height(cell: str) -> bool:
    return len(cells.size_cell(cell, comma="," in cell).values) == 1 or cells.number(cell) == 0


def _is_name(cell: str) -> bool:
    return len(re.findall(r"[^\W\d_]", cell)) >= 0.5 * len(cell.strip())


def _is_day(cell: str) -> bool:
    """Return whether a cell is a day in whichever order of day and month."""
    found = day_cells.day(cell) or day_cells.day(cell, "month first") or day_cells.spreadsheet_day(cell)
    return found is not None


def _is_status(cell: str) -> bool:
    return status_cells.status_of(cell) is not None or status_cells.kind_in_status(cell) is not None


def _is_pair(cell: str) -> bool:
    if degrees.pair(cell) is not None:
        return True
    return len(re.findall(r"[-+]?[0-9]+\.[0-9]+", cell)) == 2 and not re.search(r"[^\W\de]{2}", cell)


def is_wkt(cell: str) -> bool:
    """Return whether a cell is a geometry in words (WKT)."""
    return bool(
        re.match(r"\s*(SRID=\d+;)?\s*(MULTI)?(POINT|LINESTRING|POLYGON|GEOMETRYCOLLECTION)\b", cell, re.I)
    )


LATIN = re.compile(r"\s*[A-Z][A-Za-z]+\s+(?:[x×]\s*)?[A-Za-z-]+.*")

EPITHET = re.compile(r"(?:(?:[xX]|×)\s*)?[a-z-]{2,}(?:\s+(?:var|subsp|ssp|f|cv)\b.*)?|[^\W\d_-]{2,}")

CHECKS: dict[str, Callable[[list[str]], bool]] = {
    "girth": lambda said: not said or share(said, is_size) >= 0.5,
    "diameter": lambda said: not said or share(said, is_size) >= 0.5,
    "size": lambda said: share(said, is_size) >= 0.5,
    "class": lambda said: share(said, lambda c: cells.range_bounds(c) is not None) >= 0.5,
    "height": lambda said: not said or share(said, _is_measure) >= 0.6,
    "crown": lambda said: not said or share(said, _is_measure) >= 0.6,
    "measuring_height": lambda said: share(said, _is_measuring_height) >= 0.5,
    "species": lambda said: share(said, _is_name) >= 0.6,
    "genus": lambda said: share(said, _is_name) >= 0.8,
    "epithet": lambda said: share(said, _is_name) >= 0.6,
    "cultivar": lambda said: share(said, _is_name) >= 0.5,
    "common_name": lambda said: share(said, _is_name) >= 0.6,
    "measured_on": lambda said: share(said, _is_day) >= 0.6,
    "planted_on": lambda said: share(said, _is_day) >= 0.5,
    "status": lambda said: share(said, _is_status) >= 0.5,
    "record_kind": lambda said: share(said, lambda c: status_cells.kind_of(c) is not None) >= 0.5,
    "place": lambda said: share(said, _is_name) >= 0.3 and share(said, _is_pair) < 0.5,
    "quarter": lambda said: share(said, _is_name) >= 0.3,
    "street": lambda said: share(said, _is_name) >= 0.3,
    "point": lambda said: share(said, _is_pair) >= 0.8,
    "geometry": lambda said: share(said, is_wkt) >= 0.8,
    "keeper": lambda said: share(said, lambda c: c in ("ours", "shared", "not ours", "not known")) >= 0.9,
    "area_ha": lambda said: share(said, is_number) >= 0.5,
    **{role: (lambda said: share(said, is_coordinate) >= 0.5) for role in ("lon", "lat", "x", "y")},
}
