"""The token of the page that follows: where it begins and nothing else, so that others may edit meanwhile."""

import base64
import binascii
import re
from dataclasses import dataclass

import orjson

from layers.column_kinds import Kind
from service.cql_filter import storable
from service.errors import InvalidRequest

Cell = str | int | float | None
_TYPES: dict[Kind, tuple[type, ...]] = {
    "text": (str,),
    "date": (str,),
    "float": (int, float),
    "int": (int,),
    "flag": (int,),
    "time": (int,),
}


@dataclass(frozen=True)
class Place:
    """The last feature of a page: its site, its number, and the values it was sorted by."""

    site: str
    fid: int
    values: tuple[Cell, ...] = ()


def token_of(place: Place) -> str:
    """Return a place as a token."""
    said = orjson.dumps([place.site, place.fid, *place.values])
    return base64.urlsafe_b64encode(said).rstrip(b"=").decode()


def place_of(token: str, kinds: list[Kind]) -> Place:
    """Return the place of a token; ``kinds`` are those of the columns that are sorted by.

    Raises
    ------
    InvalidRequest
        If it is no token of such a page.
    """
    try:
        if not re.fullmatch(r"[A-Za-z0-9_-]+", token):
            raise ValueError(token)
        said = orjson.loads(base64.urlsafe_b64decode(token + "=" * (-len(token) % 4)))
    except (ValueError, binascii.Error) as error:
        raise _mangled() from error
    if not isinstance(said, list) or len(said) != 2 + len(kinds):
        raise _mangled()
    shapes: list[tuple[type, ...]] = [(str,), (int,), *((*_TYPES[kind], type(None)) for kind in kinds)]
    for value, types in zip(said, shapes, strict=True):
        fits = type(value) in types and (not isinstance(value, str) or storable(value))
        if not fits or (isinstance(value, int) and abs(value) >= 2**63):
            raise _mangled()
    return Place(said[0], said[1], tuple(said[2:]))


def _mangled() -> InvalidRequest:
    said = "This is not the mark of a page of this list; follow the link of the page before as it is."
    return InvalidRequest([("token", said)])
