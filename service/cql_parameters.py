"""Properties as parameters of an address: ``name=value`` is the condition that the property equals it."""

import re
import sys
from collections.abc import Callable, Mapping

from layers.column_kinds import Kind
from service.cql_filter import moment_of, storable
from service.cql_nodes import Compare, Moment, Node, Property, Written
from service.errors import InvalidRequest
from service.feature_kinds import queryable
from service.layer_parts import LayerColumn

_WHOLE = re.compile(r"[-+]?[0-9]{1,300}")
_NUMBER = re.compile(r"[-+]?(?:[0-9]{1,400}\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")


def equal(columns: tuple[LayerColumn, ...], name: str, text: str) -> Node:
    """Return the condition that a property equals what was sent for it.

    Raises
    ------
    InvalidRequest
        If there is no such property or the text is nothing that it can be.
    """
    column = next((column for column in columns if column.name == name), None)
    if column is None or not queryable(column):
        raise InvalidRequest([(name, "There is no property of that name that can be asked for.")])
    wanted, read = _READ[column.kind]
    value = read(text)
    if value is None:
        raise InvalidRequest([(name, f"{text[:40]!r} is not {wanted}.")])
    return Compare("=", Property(name), value)


def _whole(text: str) -> Written | None:
    return Written(int(text)) if _WHOLE.fullmatch(text) else None


def _number(text: str) -> Written | None:
    if not _NUMBER.fullmatch(text):
        return None
    number = int(text) if _WHOLE.fullmatch(text) else float(text)
    return Written(number) if abs(number) <= sys.float_info.max else None


def _text(text: str) -> Written | None:
    return Written(text) if storable(text) else None


def _truth(text: str) -> Written | None:
    return Written(text == "true") if text in ("true", "false") else None


def _time(text: str) -> Moment | None:
    try:
        return moment_of(text)
    except InvalidRequest:
        return None


_Read = tuple[str, Callable[[str], Written | Moment | None]]
_MOMENT: _Read = ("a day (YYYY-MM-DD) or an instant (2026-05-14T10:30:00Z)", _time)
_READ: Mapping[Kind, _Read] = {
    "int": ("a whole number", _whole),
    "float": ("a number", _number),
    "text": ("a text that can be kept", _text),
    "flag": ("true or false", _truth),
    "date": _MOMENT,
    "time": _MOMENT,
}
