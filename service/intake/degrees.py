"""Coordinates as people write them: with letters of the hemispheres, in degrees, minutes and seconds.

``51°30'12"N``, ``51 30 12 N``, ``51°30.2'``, ``51.503 N`` and ``-0° 7' 39"`` are read. An O is not, which is
east in one language and west in another; nor are references of grids with letters, such as ``TQ 123 456``.
"""

import re
from dataclasses import dataclass

_SIGNS = (
    (re.compile(r"[\"″”“]|''|’’|′′|´´|\bsec\b\.?"), '"'),
    (re.compile(r"['′’‘´`]|\bmin\b\.?"), "'"),
    (re.compile(r"[°º˚]|\bdeg\b\.?"), "°"),
    (re.compile("[−–]"), "-"),
)
_LETTERED = re.compile(r"(?P<before>[NSEW])?(?P<rest>.*?)(?P<after>[NSEW])?", re.IGNORECASE | re.DOTALL)
_WHOLE, _BROKEN = r"([0-9]{1,3})", r"([0-9]{1,3}(?:[.,][0-9]{1,15})?)"
_DEGREES = rf"{_BROKEN}\s*(?:°)?"
_WITH_MINUTES = rf"{_WHOLE}(?:\s*[°:]\s*|\s+){_BROKEN}\s*(?:')?"
_WITH_SECONDS = rf"{_WHOLE}(?:\s*[°:]\s*|\s+)([0-9]{{1,2}})(?:\s*[':]\s*|\s+){_BROKEN}\s*(?:\")?"
_ANGLES = tuple(re.compile(rf"([-+])?\s*{form}") for form in (_DEGREES, _WITH_MINUTES, _WITH_SECONDS))
_PAIR = re.compile(r"(.*?[NSEW])\s*[,;/]?\s*(.*[NSEW])", re.IGNORECASE | re.DOTALL)
_LETTERED_FIRST = re.compile(r"([NSEW].*?)\s*[,;/]?\s*([NSEW].*[^NSEW])", re.IGNORECASE | re.DOTALL)
_LONGEST = 60
_GRID = re.compile(
    r"(?:[0-9]{1,2}\s?[C-HJ-NP-X]\s?)?[A-HJ-Z]{2}\s?(?:[0-9]{2,5}\s[0-9]{2,5}|(?:[0-9]{2}){2,5})|"
    r"[0-9]{1,2}\s?[C-HJ-NP-X]\s+[0-9]{6}(?:\.[0-9]+)?\s+[0-9]{6,7}(?:\.[0-9]+)?",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Angle:
    """A coordinate [deg], and ``lat`` or ``lon`` where its letter says which of the two it is."""

    value: float
    axis: str | None


def angle(cell: str) -> Angle | None:
    """Return the coordinate that a cell writes with letters, minutes or seconds; None where it is none."""
    text = cell.strip()
    if len(text) > _LONGEST:
        return None
    for sign, plain in _SIGNS:
        text = sign.sub(plain, text)
    lettered = _LETTERED.fullmatch(text)
    if lettered is None or (lettered["before"] and lettered["after"]):
        return None
    letter = (lettered["before"] or lettered["after"] or "").upper()
    rest = lettered["rest"].strip()
    for form in _ANGLES:
        found = form.fullmatch(rest)
        if found is not None:
            return _angle(found.groups(), letter, marked="°" in rest)
    return None


def _angle(parts: tuple[str | None, ...], letter: str, *, marked: bool) -> Angle | None:
    sign, *said = parts
    numbers = [float(str(number).replace(",", ".")) for number in said]
    if any(number >= 60 for number in numbers[1:]) or (sign and letter):
        return None
    if not letter and not marked and len(numbers) < 3:
        return None  # a plain number, or two that may be anything
    value = sum(number / 60**place for place, number in enumerate(numbers))
    value = -value if sign == "-" or letter in ("S", "W") else value
    axis = None if not letter else "lat" if letter in "NS" else "lon"
    return Angle(value, axis)


def pair(cell: str) -> tuple[float, float] | None:
    """Return longitude and latitude [deg] of a cell that holds both with their letters; None where not."""
    for form in (_PAIR, _LETTERED_FIRST):
        found = form.fullmatch(cell.strip()) if len(cell) <= 2 * _LONGEST else None
        angles = [angle(part) for part in found.groups()] if found else []
        by_axis = {each.axis: each.value for each in angles if each is not None}
        if by_axis.keys() == {"lat", "lon"}:
            return by_axis["lon"], by_axis["lat"]
    return None


def is_grid_reference(cell: str) -> bool:
    """Return whether a cell looks like a place in a grid with letters: ``TQ 123 456``, ``33U VP 123 456``."""
    return bool(_GRID.fullmatch(cell.strip()))
