"""What the value of a tag of OpenStreetMap says of a size: one, a range, a bound, about, several trunks.

References
----------
OpenStreetMap wiki: Map features/Units (a unit follows its number; feet and inches as ``16'3"``); Semi-colon
value separator (several values of one key). That several sizes of one tree are those of its trunks is common
practice, no source.
"""

import re
from dataclasses import replace
from functools import lru_cache

from service.intake import cells
from service.intake.cells import MAX_STEMS, NOTHING, SizeCell

_ABOUT = re.compile(r"(?:~|≈|ca\.?|circa|approx\.?|about)\s*(?=[0-9.])", re.IGNORECASE)
_RANGE = re.compile(r"([0-9][^-–;]*?)\s*(?:-|–|\.\.)\s*([0-9][^-–;]*)")
_LONGEST = 200  # signs of a value that is read; the map allows 255


@lru_cache(maxsize=65_536)
def tag_size(cell: str, *, comma: bool = False) -> SizeCell:
    """Return what a value says of a size; ranges and bounds are classes, and like ``~`` they are doubtful."""
    text = cell.strip()
    if len(text) > _LONGEST:
        return SizeCell(odd=True)
    if ";" not in text:
        return _one(text, comma=comma)
    parts = [_one(part.strip(), comma=comma) for part in text.split(";") if part.strip()]
    sizes = [part for part in parts if not part.missing]
    if not sizes:
        return NOTHING
    values = tuple(value for part in sizes for value in part.values)
    units = {part.unit for part in sizes}
    if len(units) > 1 or len(values) > MAX_STEMS or any(not part.values for part in sizes):
        return SizeCell(odd=True)
    doubt = next((part.doubt for part in sizes if part.doubt), None)
    return SizeCell(values, units.pop(), doubt=doubt)


def _one(text: str, *, comma: bool) -> SizeCell:
    about = _ABOUT.match(text)
    if about:
        size = _one(text[about.end() :], comma=comma)
        return replace(size, doubt="it is marked as about that size") if size.values else size
    between = _RANGE.fullmatch(text)
    if between:
        return _range(*(cells.size_cell(bound, comma=comma) for bound in between.groups()))
    size = cells.size_cell(text, comma=comma)
    if size.class_from is not None:
        return replace(size, doubt="it is a bound, no size; it was taken as a size class")
    return size


def _range(low: SizeCell, high: SizeCell) -> SizeCell:
    units = {bound.unit for bound in (low, high) if bound.unit}
    if len(low.values) != 1 or len(high.values) != 1 or len(units) > 1 or low.values >= high.values:
        return SizeCell(odd=True)
    doubt = "it is a range, no size; it was taken as a size class"
    unit = units.pop() if units else None
    return SizeCell(class_from=low.values[0], class_to=high.values[0], unit=unit, doubt=doubt)
