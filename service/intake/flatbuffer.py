"""Tables of a FlatBuffer, read in place; every place is checked against the ends of the bytes.

References
----------
FlatBuffers internals, "Encoding": tables, vtables, vectors and strings, little-endian.
"""

import struct
from typing import Any

_U16, _U32, _I32 = struct.Struct("<H"), struct.Struct("<I"), struct.Struct("<i")


class OutOfBytes(Exception):
    """An offset or a length points outside the bytes."""


class FlatTable:
    """One table: its fields by their number, those that are not there by what is said instead."""

    __slots__ = ("_data", "_fields", "_place")

    def __init__(self, data: memoryview, place: int) -> None:
        self._data = data
        self._place = place
        below = place - self._number(_I32, place)
        size = self._number(_U16, below)
        self._fields = data[below + 4 : below + size]

    @classmethod
    def root(cls, data: memoryview) -> "FlatTable":
        """Return the table that a buffer is.

        Raises
        ------
        OutOfBytes
            If the bytes are cut off or point outside themselves.
        """
        if len(data) < 8:
            raise OutOfBytes
        return cls(data, _U32.unpack_from(data)[0])

    def _number(self, kind: struct.Struct, place: int) -> Any:
        if place < 0 or place + kind.size > len(self._data):
            raise OutOfBytes
        return kind.unpack_from(self._data, place)[0]

    def _at(self, field: int) -> int | None:
        if 2 * field + 2 > len(self._fields):
            return None
        offset = _U16.unpack_from(self._fields, 2 * field)[0]
        return self._place + offset if offset else None

    def number(self, field: int, kind: struct.Struct, instead: Any) -> Any:
        """Return a number, or what stands instead where it is not written."""
        place = self._at(field)
        return instead if place is None else self._number(kind, place)

    def _vector(self, field: int, size: int) -> tuple[int, int] | None:
        """Return the place and number of the elements of a vector."""
        place = self._at(field)
        if place is None:
            return None
        place += self._number(_U32, place)
        count = self._number(_U32, place)
        if place + 4 + count * size > len(self._data):
            raise OutOfBytes
        return place + 4, count

    def raw(self, field: int) -> memoryview:
        """Return a vector of bytes or a string."""
        found = self._vector(field, 1)
        return self._data[found[0] : found[0] + found[1]] if found else self._data[:0]

    def text(self, field: int) -> str:
        """Return a string; what is no UTF-8 in it is marked as such."""
        return bytes(self.raw(field)).decode("utf-8", "replace")

    def numbers(self, field: int, code: str) -> tuple[Any, ...]:
        """Return a vector of numbers: ``code`` is d for doubles, I for counts."""
        found = self._vector(field, struct.calcsize(f"<{code}"))
        return struct.unpack_from(f"<{found[1]}{code}", self._data, found[0]) if found else ()

    def table(self, field: int) -> "FlatTable | None":
        """Return a table within this one."""
        place = self._at(field)
        return None if place is None else FlatTable(self._data, place + self._number(_U32, place))

    def tables(self, field: int) -> list["FlatTable"]:
        """Return a vector of tables."""
        found = self._vector(field, 4)
        if found is None:
            return []
        places = range(found[0], found[0] + 4 * found[1], 4)
        return [FlatTable(self._data, place + self._number(_U32, place)) for place in places]
