"""What a cell says: numbers, sizes of one or several stems, size classes, missing.

Numbers are matched by a strict pattern before ``float`` sees them, which takes '1_000', 'nan' and digits of
other scripts. The decimal sign is settled per column.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from service.intake.words import UNIT_OF, word_set

CM_PER = {"mm": 0.1, "cm": 1.0, "m": 100.0, "in": 2.54, "ft": 30.48}
MAX_STEMS = 60

MISSING = word_set(
    """-|--|---|.|?|??|???|/|na|n/a|n.a.|nan|null|none|nil|unknown|unk|not known|not measured|nd|n.d.|
    n/d|#n/a|#na|#null!|#value!|(null)|<null>|k.a.|k. a.|keine angabe|unbekannt|nicht bekannt|desconocido|
    desconocida|s/d|sin dato|sin datos|inconnu|inconnue|non connu|nc|n.c.|nr|n.r.|sconosciuto|sconosciuta|
    non noto|onbekend|niet bekend|desconhecido|desconhecida|sem dados|blank|no data|not recorded|
    not available|not assessed|not applicable|not specified|n.k.|n/k|ohne angabe|o.a.|nicht erfasst|
    nicht gemessen|nicht vorhanden|n. b.|n.b.|sin medir|no medido|no aplica|no registrado|non mesuré|
    non renseigné|non renseignée|n.m.|non rilevato|non rilevata|non misurato|non disponibile|n.p.|
    niet gemeten|niet ingevuld|nvt|n.v.t.|não medido|sem informação|s/i|""",
    "|",
)

_SAYS_COMMA = re.compile(r"[0-9],[0-9](?![0-9]{2}(?![0-9]))")
_SAYS_DOT = re.compile(r"[0-9]\.[0-9](?![0-9]{2}(?![0-9]))")
_LONGEST_MISSING = 30  # with blanks round it
_DOT = re.compile(r"[-+]?(?:[0-9]{1,15}|[0-9]{1,3}(?:,[0-9]{3})+)(?:\.[0-9]{0,17})?(?:[eE][-+]?[0-9]{1,2})?")
_BARE_DOT = re.compile(r"[-+]?\.[0-9]{1,17}")
_COMMA = re.compile(
    r"[-+]?(?:[0-9]{1,15}|[0-9]{1,3}(?:[. '’][0-9]{3})+)(?:,[0-9]{0,17})?(?:[eE][-+]?[0-9]{1,2})?"
)
_MINUS = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " "})
_UNIT_SIGNS = {"''": "in", '"': "in", "″": "in", "”": "in", "'": "ft", "′": "ft", "’": "ft"}
_SIGNS = "|".join(sorted(map(re.escape, _UNIT_SIGNS), key=len, reverse=True))
_WITH_UNIT = re.compile(rf"(.*?[0-9.,])\s*({_SIGNS}|[A-Za-z]+)\.?", re.DOTALL)
_LEADING = re.compile(r"(?:ca\.?|approx\.?|c\.|~|≈|circa|env\.?|etwa)\s*", re.IGNORECASE)
_QUANTITY = re.compile(
    r"(?:(?P<diameter>[ø⌀∅]|d\s*=|(?:dbh|bhd|dap|dhp|diam(?:\.|eter)?)\s*[:=]?)|"
    r"(?:u\s*[:=]?|(?:stu|gbh|cbh|girth|umfang|circ\.?)\s*[:=]?))\s*(?=[0-9~<>≤≥]|ca)",
    re.IGNORECASE,
)
_FRACTIONS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_LONE_FRACTION = re.compile(rf"(?<![0-9])(?<![0-9][ -])[{''.join(_FRACTIONS)}]")
_FRACTION = re.compile(r"(?:([0-9]{1,3})[ -]\s*)?(1/2|[13]/4|[1357]/8|[0-9]{1,2}/16)(?![0-9/])")
_STEM_WORDS = (
    "stems?|trunks?|st(?:ä|ae)mme|stamm|troncs?|tiges?|brins?|fusti|tronchi|troncos?|tallos?|stammen"
)
_COUNTED = re.compile(rf"([0-9]{{1,2}})\s*(?:{_STEM_WORDS})\s*[:,(-]?\s*(.*?)\)?", re.IGNORECASE)
_TIMES = re.compile(r"([0-9]{1,3})\s*[x×*]\s*(.+)", re.IGNORECASE)
_BETWEEN_STEMS = re.compile(
    r"\s*[/+&;]\s*|\s+-\s*|(?<=[0-9])\s*-\s*(?=[0-9])|\s+(?:and|und|et|y|e|en)\s+", re.I
)
_OUTLINE_NUMBER = re.compile(r"^\s*\(?[0-9a-zA-Z]{1,2}[).:]\s+(?=\S)")


def is_missing(cell: str) -> bool:
    """Return whether a cell says nothing: empty, a dash, a question mark or a word for not known."""
    return len(cell) <= _LONGEST_MISSING and cell.strip().casefold() in MISSING


def number(cell: str, *, comma: bool = False) -> float | None:
    """Return the number that a cell is, or None where it is none; strict, of ASCII digits only."""
    text = cell.strip().translate(_MINUS)
    if comma and "," not in text and re.fullmatch(r"[-+]?[0-9]+\.[0-9]+", text):
        comma = bool(re.fullmatch(r"[-+]?[0-9]{1,3}\.[0-9]{3}", text))
    if comma:
        if not _COMMA.fullmatch(text):
            return None
        return float(re.sub(r"[. '’]", "", text).replace(",", "."))
    if _BARE_DOT.fullmatch(text):
        return float(text)
    return float(text.replace(",", "")) if _DOT.fullmatch(text) else None


def decimal_comma(cells: Iterable[str], *, by_default: bool) -> bool:
    """Return whether the numbers of a column are written with a decimal comma.

    A cell such as '12,5' or '1.234,5' says so, '12.5' says the opposite; '1,234' alone says neither.
    """
    text = "\n".join(cells)
    if "," not in text:
        return False if "." in text else by_default
    votes = len(_SAYS_COMMA.findall(text)) - len(_SAYS_DOT.findall(text))
    return votes > 0 if votes else by_default


@dataclass(frozen=True)
class SizeCell:
    """What a cell of a size column says; exactly one of values, class bounds, ``missing`` or ``odd``.

    ``unit`` and ``quantity`` (girth, diameter) are those of the cell itself, if it names them. ``doubt`` is
    why a person should look at it.
    """

    values: tuple[float, ...] = ()
    unit: str | None = None
    class_from: float | None = None
    class_to: float | None = None
    missing: bool = False
    odd: bool = False
    doubt: str | None = None
    quantity: str | None = None


NOTHING = SizeCell(missing=True)


@lru_cache(maxsize=65_536)
def size_cell(cell: str, *, comma: bool = False) -> SizeCell:
    """Return what a size cell says: one size, sizes of several stems, a class, nothing, or something odd.

    ``240 - 184``, ``107/122`` and ``30+25`` are stems, ``3x10`` three stems of 10; zero is missing.
    """
    text = cell.strip().translate(_MINUS)
    if text.casefold() in MISSING:
        return NOTHING
    value = number(text, comma=comma)
    if value is not None:
        return NOTHING if value == 0 else SizeCell((value,))
    named = _QUANTITY.match(text)
    if named:
        quantity = "diameter" if named.group("diameter") else "girth"
        return replace(_in_words(text[named.end() :], comma=comma), quantity=quantity)
    return _in_words(text, comma=comma)


def _in_words(text: str, *, comma: bool) -> SizeCell:
    """Return what a size cell says that is no plain number."""
    klass = class_bounds(text, comma=comma)
    if klass is not None:
        return SizeCell(class_from=klass[0], class_to=klass[1], unit=klass[2])
    text = _LEADING.sub("", text, count=1) if _LEADING.match(text) else text
    counted = _COUNTED.fullmatch(text)
    found = _stems(_fractions_as_decimals(counted.group(2) if counted else text, comma=comma), comma=comma)
    if counted and len(found.values) != int(counted.group(1)):
        return SizeCell(odd=True)
    return found


def _fractions_as_decimals(text: str, *, comma: bool) -> str:
    """Return a text with fractions of an inch such as ``12 1/2``, ``9½`` or ``¾`` as decimals.

    A bare ``1/2`` stays: it may be two stems. Halves to sixteenths only, in lowest terms but for sixteenths.
    """
    text = re.sub(r"\s+", " ", text)
    text = _LONE_FRACTION.sub(lambda sign: f"0 {_FRACTIONS[sign.group()]}", text)
    for sign, written in _FRACTIONS.items():
        text = text.replace(sign, f" {written}")

    def decimal(found: re.Match[str]) -> str:
        if found.group(1) is None:
            return found.group(0)
        above, below = map(int, found.group(2).split("/"))
        if above >= below:
            return found.group(0)
        value = f"{int(found.group(1)) + above / below:g}"
        return value.replace(".", ",") if comma else value

    return _FRACTION.sub(decimal, text.strip())


def _with_unit(text: str, *, comma: bool) -> tuple[float, str | None] | None:
    value = number(text, comma=comma)
    if value is not None:
        return value, None
    feet = re.fullmatch(r"([0-9]+)\s*['′’]\s*([0-9.]+)\s*(?:[\"″”]|'')?", text)
    if feet:
        inches = number(feet.group(2))
        return None if inches is None else (12 * float(feet.group(1)) + inches, "in")
    found = _WITH_UNIT.fullmatch(text)
    if found is None:
        return None
    unit = _UNIT_SIGNS.get(found.group(2)) or UNIT_OF.get(found.group(2).casefold())
    value = number(found.group(1), comma=comma)
    return None if unit is None or value is None else (value, unit)


def _part(text: str, *, comma: bool) -> tuple[list[float], str | None, str | None] | None:
    """Return the sizes of a part between stem signs, its unit, and a doubt."""
    single = _with_unit(text, comma=comma)
    if single is not None:
        return [single[0]], single[1], None
    times = _TIMES.fullmatch(text)
    each = _with_unit(times.group(2), comma=comma) if times else None
    if times is None or each is None:
        return None
    count, size = int(times.group(1)), each[0]
    if count > 20 and size == int(size) and 1 < size <= 20:
        count, size = int(size), float(count)
        return [size] * count, each[1], f"it was read as {count} stems of {size:g}"
    return ([size] * count, each[1], None) if 0 < count <= MAX_STEMS else None


def _stems(text: str, *, comma: bool) -> SizeCell:
    texts = [p for p in _BETWEEN_STEMS.split(text) if p]
    if not comma and len(texts) == 1 and re.search(r",\s", text):
        texts = re.split(r",\s+", text)
    values: list[float] = []
    unit = doubt = None
    for text_part in texts:
        part = _part(text_part.strip(), comma=comma)
        if part is None:
            return SizeCell(odd=True)
        values += part[0]
        unit, doubt = part[1] or unit, part[2] or doubt
    if not values or len(values) > MAX_STEMS:
        return SizeCell(odd=True)
    if all(value == 0 for value in values):
        return NOTHING
    if any(value == 0 for value in values):
        doubt = "a stem of size 0 was left without a size"
    return SizeCell(tuple(values), unit, doubt=doubt)


_BOUND = r"([0-9]+(?:[.,][0-9]+)?)\s*(mm|cm|m|in|inch|inches|ft|\"|″)?"
_LOW_SIGN = r"(?:>=?|≥|from|ab|von|da|de|desde|vanaf|über|ueber|over|more than|oltre|mehr als|plus de|mas de)"
_UP_SIGN = (
    r"(?:<=?|≤|to|bis|up to|under|unter|fino a|hasta|jusqu'a|tot|ate|less than|below|moins de|menos de)"
)
_CLASSES = (
    (re.compile(rf"{_BOUND}\s*<=?\s*(?:&|and|e|und|et|y)?\s*<=?\s*{_BOUND}", re.I), "both"),
    (re.compile(rf"{_LOW_SIGN}\s*{_BOUND}\s*(?:&|and|e|und|et|y|,)?\s*{_UP_SIGN}\s*{_BOUND}", re.I), "both"),
    (re.compile(rf"{_UP_SIGN}\s*{_BOUND}", re.I), "below"),
    (re.compile(rf"{_LOW_SIGN}\s*{_BOUND}", re.I), "above"),
    (
        re.compile(rf"{_BOUND}\s*(?:\+|<|and more|und mehr|und mehr|o mas|et plus|e oltre|en meer)", re.I),
        "above",
    ),
)


@lru_cache(maxsize=4096)
def class_bounds(cell: str, *, comma: bool = False) -> tuple[float, float | None, str | None] | None:
    """Return the bounds and unit of a size class such as ``2) 20cm< & <=50cm``, ``<= 20`` or ``> 100 cm``.

    A bare range such as ``20-30`` is none: in a size column it is two stems, see ``range_bounds``.
    """
    text = _OUTLINE_NUMBER.sub("", cell.strip())
    for pattern, sort in _CLASSES:
        found = pattern.fullmatch(text)
        if found is None:
            continue
        first = number(found.group(1), comma="," in found.group(1))
        unit = next((u for u in found.groups()[1::2] if u), None)
        if first is None:
            return None
        if sort == "both":
            second = number(found.group(3), comma="," in found.group(3))
            return None if second is None or second <= first else (first, second, _unit_word(unit))
        return (0.0, first, _unit_word(unit)) if sort == "below" else (first, None, _unit_word(unit))
    return None


def _unit_word(unit: str | None) -> str | None:
    return None if unit is None else _UNIT_SIGNS.get(unit) or UNIT_OF.get(unit.casefold())


_RANGE = re.compile(rf"{_BOUND}\s*(?:-|–|to|bis|a|à|tot|bis unter|/)\s*(?:<\s*)?{_BOUND}", re.I)


@lru_cache(maxsize=4096)
def range_bounds(cell: str) -> tuple[float, float | None, str | None] | None:
    """Return the bounds of a class, bare ranges such as ``20-30 cm`` included, for columns of classes."""
    known = class_bounds(cell)
    if known is not None:
        return known
    found = _RANGE.fullmatch(_OUTLINE_NUMBER.sub("", cell.strip().translate(_MINUS)))
    if found is None:
        return None
    low, high = (number(found.group(i), comma="," in found.group(i)) for i in (1, 3))
    if low is None or high is None or high <= low:
        return None
    return low, high, _unit_word(found.group(4) or found.group(2))


def are_ranges(cells: Iterable[str]) -> bool:
    """Return whether a column holds size classes: few different ranges that touch each other."""
    said = [cell for cell in cells if not is_missing(cell)]
    bounds = {cell: range_bounds(cell) for cell in set(said)}
    known = {b[:2] for b in bounds.values() if b is not None}
    if not known or sum(bounds[cell] is not None for cell in said) < 0.8 * len(said):
        return False
    if all(class_bounds(cell) is not None for cell in bounds if bounds[cell] is not None):
        return True
    lows = {low for low, _ in known}
    touching = sum(1 for _, high in known if high in lows or high is None or high + 1 in lows)
    return len(known) <= 40 and len(said) > len(known) and touching >= len(known) - 1
