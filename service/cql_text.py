"""Filters in words: CQL2 text (OGC 21-065r2, the grammar of Annex B) into the same filter as JSON.

Every sign is looked at once, so that no text, however nested or wrong, takes long.
"""

import re
from collections.abc import Callable
from typing import Any, NamedTuple, NoReturn

import numpy as np
import orjson
import shapely

from service.errors import InvalidRequest
from service.intake.bounded_shapes import from_wkt

MAX_DEPTH = 50
TOO_DEEP = f"The filter is nested more than {MAX_DEPTH} deep; write it flatter."

_SHAPES = ("POINT", "LINESTRING", "POLYGON", "MULTIPOINT", "MULTILINESTRING", "MULTIPOLYGON")
_TOKENS = re.compile(
    r"""
      (?P<space>\s+)
    | (?P<number>[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?(?![\w.]))
    | (?P<text>'(?:[^'\\]|''|\\.)*')
    | (?P<quoted>"(?:[^"]|"")*")
    | (?P<word>[^\W\d][\w.:]*|:[\w.:]+)
    | (?P<sign><>|!=|<=|>=|[=<>(),])
    """,
    re.VERBOSE | re.DOTALL,
)
_COMPARISONS = {"=": "=", "<>": "<>", "!=": "<>", "<": "<", "<=": "<=", ">": ">", ">=": ">="}
_KEYWORDS = {"AND", "OR", "NOT", "LIKE", "ILIKE", "BETWEEN", "IN", "IS", "NULL", "TRUE", "FALSE"}


class _Token(NamedTuple):
    kind: str
    text: str
    place: int

    @property
    def upper(self) -> str:
        """The text of a word or sign in capitals, nothing for quoted names and texts."""
        return self.text.upper() if self.kind in ("word", "sign") else ""


def from_text(text: str, ilike: bool = False) -> Any:
    """Return a filter in words as the plain data of its JSON form.

    Parameters
    ----------
    text : str
        The filter.
    ilike : bool
        Whether ILIKE is understood too: LIKE without regard to case.

    Raises
    ------
    InvalidRequest
        If it is not written by the grammar; the sentence says where.
    """
    return _Reader(text, ilike).read()


class _Reader:
    """Reads one filter, a token at a time."""

    def __init__(self, text: str, ilike: bool) -> None:
        self.text = text
        self.ilike = ilike
        self.tokens = _tokens(text)
        self.next = 0
        self.depth = 0

    def read(self) -> Any:
        said = self._either()
        if self._now.kind != "end":
            self._fault("nothing more, or AND or OR")
        return said

    @property
    def _now(self) -> _Token:
        return self.tokens[self.next]

    def _fault(self, wanted: str) -> NoReturn:
        raise _fault(self.text, self._now.place, f"{wanted} was expected there")

    def _take(self, *words: str) -> bool:
        """Go past a keyword or sign if it comes next."""
        if self._now.upper in words:
            self.next += 1
            return True
        return False

    def _need(self, word: str) -> None:
        if not self._take(word):
            self._fault(word)

    def _deeper(self, read: Callable[[], Any]) -> Any:
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise InvalidRequest([("filter", TOO_DEEP)])
        said = read()
        self.depth -= 1
        return said

    def _either(self) -> Any:
        terms = [self._both()]
        while self._take("OR"):
            terms.append(self._both())
        return terms[0] if len(terms) == 1 else {"op": "or", "args": terms}

    def _both(self) -> Any:
        terms = [self._factor()]
        while self._take("AND"):
            terms.append(self._factor())
        return terms[0] if len(terms) == 1 else {"op": "and", "args": terms}

    def _factor(self) -> Any:
        if self._take("NOT"):
            return _not(self._deeper(self._factor))
        return self._predicate(self._value())

    def _predicate(self, value: Any) -> Any:
        """Read what is said of a value; a value alone may be a truth value."""
        sign = _COMPARISONS.get(self._now.text) if self._now.kind == "sign" else None
        if sign:
            self.next += 1
            return {"op": sign, "args": [value, self._value()]}
        if self._take("IS"):
            turned = self._take("NOT")
            self._need("NULL")
            return _not({"op": "isNull", "args": [value]}, turned)
        turned = self._take("NOT")
        if self._take("LIKE"):
            return _not({"op": "like", "args": [value, self._value()]}, turned)
        if self.ilike and self._take("ILIKE"):
            sides = [{"op": "casei", "args": [side]} for side in (value, self._value())]
            return _not({"op": "like", "args": sides}, turned)
        if self._take("BETWEEN"):
            low = self._value()
            self._need("AND")
            return _not({"op": "between", "args": [value, low, self._value()]}, turned)
        if self._take("IN"):
            self._need("(")
            return _not({"op": "in", "args": [value, self._listed(self._value)]}, turned)
        if turned:
            self._fault("LIKE, BETWEEN or IN")
        return value

    def _listed(self, read: Callable[[], Any]) -> list[Any]:
        """Read what stands between commas up to the closing parenthesis."""
        items = [read()]
        while self._take(","):
            items.append(read())
        self._need(")")
        return items

    def _value(self) -> Any:
        token = self._now
        if token.text == "(" and token.kind == "sign":
            self.next += 1
            said = self._deeper(self._either)
            self._need(")")
            return said
        if token.kind in _WRITTEN:
            self.next += 1
            return _WRITTEN[token.kind](token.text)
        if token.kind != "word" or (token.upper in _KEYWORDS - {"TRUE", "FALSE"}):
            self._fault("a property, a value or (")
        return self._named()

    def _named(self) -> Any:
        """Read a property, a truth value, a function or a shape."""
        token = self._now
        self.next += 1
        if token.upper in ("TRUE", "FALSE"):
            return token.upper == "TRUE"
        if token.upper in _SHAPES and self._now.upper in ("(", "Z", "EMPTY"):
            return self._shape(token)
        if not self._take("("):
            return {"property": token.text}
        args = self._deeper(lambda: self._listed(self._either))
        if token.upper in ("DATE", "TIMESTAMP") and len(args) == 1:
            return {token.text.lower(): args[0]}
        if token.upper == "INTERVAL":
            return {"interval": args}
        if token.upper == "BBOX":
            return {"bbox": args}
        return {"op": token.text.lower(), "args": args}

    def _shape(self, start: _Token) -> Any:
        """Read a geometry in words (WKT) as one of GeoJSON."""
        self._take("Z")
        if self._now.text != "(":
            self._fault("the coordinates in parentheses")
        end = _closing(self.text, self._now.place)
        with np.errstate(over="ignore"):  # endless numbers are refused after they were read
            shape, fault, _ = from_wkt(self.text[start.place : end])
        if fault is not None or shape is None:
            raise InvalidRequest([("filter", fault or "A shape without any point meets nothing.")])
        while self._now.place < end and self._now.kind != "end":
            self.next += 1
        return orjson.loads(shapely.to_geojson(shape))


def _not(said: Any, turned: bool = True) -> Any:
    return {"op": "not", "args": [said]} if turned else said


def _number(text: str) -> int | float:
    try:
        return int(text)
    except ValueError:
        return float(text)


def _plain(text: str) -> str:
    return re.sub(r"''|\\'", "'", text[1:-1])


_WRITTEN: dict[str, Callable[[str], Any]] = {
    "number": _number,
    "text": _plain,
    "quoted": lambda text: {"property": text[1:-1].replace('""', '"')},
}


def _tokens(text: str) -> list[_Token]:
    tokens, place = [], 0
    while place < len(text):
        found = _TOKENS.match(text, place)
        if found is None:
            raise _fault(text, place, _why(text[place]))
        if found.lastgroup != "space":
            tokens.append(_Token(str(found.lastgroup), found.group(), place))
        place = found.end()
    return [*tokens, _Token("end", "", len(text))]


def _why(sign: str) -> str:
    if sign in "'\"":
        return f"the closing {sign} is missing"
    if sign in "+-*/^%":
        return "arithmetic is not offered"
    return "that sign means nothing in CQL2"


def _closing(text: str, place: int) -> int:
    """Return the place after the parenthesis that closes the one at ``place``, or the end."""
    depth = 0
    for at in range(place, len(text)):
        depth += {"(": 1, ")": -1}.get(text[at], 0)
        if depth == 0:
            return at + 1
    return len(text)


def _fault(text: str, place: int, why: str) -> InvalidRequest:
    there = text[place : place + 20]
    where = f"before {there!r} (character {place + 1})" if there else "at the end"
    return InvalidRequest([("filter", f"The filter cannot be read {where}: {why}.")])
