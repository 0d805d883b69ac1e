"""Points and their attributes as a layer of a vector tile, packed many at a time.

References
----------
.. [1] Mapbox Vector Tile Specification 2.1 (github.com/mapbox/vector-tile-spec), sections 4.1 to 4.4.
.. [2] Protocol Buffers, Encoding (protobuf.dev): varints, lengths, field numbers.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layers.error_model import Whole
from layers.errors import OutsideDomain

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint64]
Field = tuple[Words, Whole]  # up to eight bytes of each feature as a word, and how many of them count

EXTENT = 4096
BUFFER = 64
MISSING = -1
MOST_ID = 1 << 49  # so that a number and the byte before it are eight bytes

_WIDE = 8
_SHORT = 126  # bytes of a text, so that its field is told in one byte

# Field numbers and wire types of [1]_, as the one byte that opens a field.
_LAYER, _VERSION, _NAME, _FEATURE, _KEY, _VALUE, _EXTENT = 0x1A, 0x78, 0x0A, 0x12, 0x1A, 0x22, 0x28
_ID, _TAGS, _TYPE, _GEOMETRY = 0x08, 0x12, 0x18, 0x22
_TEXT, _DOUBLE, _WHOLE = 0x0A, 0x19, 0x28
_POINT, _MOVE_TO_ONE = 1, 9


@dataclass(frozen=True)
class Coded:
    """Attributes of features as places in one pool of values.

    ``codes`` has a row a feature and a column a name, ``MISSING`` where nothing is said; value ``i`` of the
    pool is ``pool[starts[i]:starts[i + 1]]``, ready for a tile. No two values of the pool are the same.
    """

    names: tuple[str, ...]
    codes: NDArray[np.int32]
    pool: Bytes
    starts: Whole

    def values(self) -> list[bytes]:
        """Return the values of the pool as they stand in a tile."""
        pool = self.pool.tobytes()
        return [pool[a:b] for a, b in zip(self.starts[:-1], self.starts[1:], strict=True)]


def coded(columns: Mapping[str, ArrayLike], whole: Collection[str] = ()) -> Coded:
    """Return attributes ready for tiles, each value once.

    Parameters
    ----------
    columns : mapping of str to array
        Numbers (NaN: missing), or text (None: missing); all of one length.
    whole : collection of str
        The columns whose numbers are whole and not negative.
    """
    arrays = {name: np.asarray(column) for name, column in columns.items()}
    numbers = {name for name, array in arrays.items() if array.dtype.kind in "fiu"}
    codes = np.full((max(map(len, arrays.values()), default=0), len(arrays)), MISSING, dtype=np.int32)
    values: list[bytes] = []
    for encode, chosen in (
        (_doubles, numbers - set(whole)),
        (_wholes, numbers & set(whole)),
        (_texts, set(arrays) - numbers),
    ):
        places = [place for place, name in enumerate(arrays) if name in chosen]
        if not places:
            continue
        kind: type = object if encode is _texts else float
        cells = np.concatenate([array.astype(kind) for name, array in arrays.items() if name in chosen])
        found, uniques = pd.factorize(cells)
        codes[:, places] = np.where(found >= 0, found + len(values), MISSING).reshape(len(places), -1).T
        values += encode(uniques)
    lengths = np.fromiter(map(len, values), dtype=np.int64, count=len(values))
    starts = np.concatenate([[0], np.cumsum(lengths)])
    return Coded(tuple(arrays), codes, np.frombuffer(b"".join(values), dtype=np.uint8), starts)


def points_layer(name: str, ids: ArrayLike, x: ArrayLike, y: ArrayLike, said: Coded) -> bytes:
    """Return a layer of points, as a tile that holds it alone; no bytes for no point.

    Parameters
    ----------
    name : str
        Name of the layer.
    ids : array_like of int
        Feature numbers, not negative.
    x, y : array_like of int
        Places in the tile, from its left and top edge [1/4096 of its side].
    said : Coded
        Attributes, a row a point.

    Raises
    ------
    OutsideDomain
        If a feature number is 2^49 or more.
    """
    number = np.asarray(ids, dtype=np.uint64)
    if not len(number):
        return b""
    if number.max() >= MOST_ID:
        raise OutsideDomain("fid", float(number.max()), 0, MOST_ID - 1)
    used, local = _used(said)
    wanted = ~(local == MISSING).all(axis=0)
    keys = [key for key, is_wanted in zip(said.names, wanted, strict=True) if is_wanted]
    layer = b"".join(
        (
            bytes((_VERSION, 2)),
            _named(_NAME, name.encode()),
            _features(number, np.asarray(x), np.asarray(y), local[:, wanted]),
            *(_named(_KEY, key.encode()) for key in keys),
            _slices(said, used),
            bytes((_EXTENT,)) + _varint(EXTENT),
        )
    )
    return _named(_LAYER, layer)


def _used(said: Coded) -> tuple[Whole, NDArray[np.int32]]:
    """The values of the pool that are used, and the codes counted among these alone.

    What is written twice to one place keeps the last: so each value used is found once, without sorting.
    Those found last come first, as common ones are among them and low numbers take fewer bytes.
    """
    flat = said.codes.ravel()
    there = np.flatnonzero(flat != MISSING)
    code = flat[there]
    place = np.empty(len(said.starts) - 1, dtype=np.int32)
    turn = np.arange(len(code), dtype=np.int32)
    place[code] = turn
    used = code[place[code] == turn][::-1]
    place[used] = np.arange(len(used), dtype=np.int32)
    local = np.full(len(flat), MISSING, dtype=np.int32)
    local[there] = place[code]
    return used.astype(np.int64), local.reshape(said.codes.shape)


def _features(ids: Words, x: Whole, y: Whole, local: NDArray[np.int32]) -> bytes:
    """All features, one after the other.

    Every field is laid for all features at once. A field of one to eight bytes is laid as eight; what is too
    much is overlaid by the fields after it: the last ones, of seven bytes or more, are laid byte for byte.
    """
    number, pairs = _varints(ids), _pairs(local)
    dx, dy = _varints(_zigzag(x)), _varints(_zigzag(y))
    tags = sum((lengths for _, lengths in pairs), start=np.zeros(len(ids), dtype=np.int64))
    geometry = [
        _constant(_TYPE, _POINT, _GEOMETRY),
        _varints(1 + dx[1] + dy[1]),
        _constant(_MOVE_TO_ONE),
        dx,
        dy,
    ]
    fields = [_opened(_ID, number), _where(tags > 0, _opened(_TAGS, _varints(tags))), *pairs]
    inside = sum((lengths for _, lengths in [*fields, *geometry]), start=np.zeros(len(ids), dtype=np.int64))
    fields.insert(0, _opened(_FEATURE, _varints(inside)))
    ends = np.cumsum(fields[0][1] + inside)
    at = np.concatenate([[0], ends[:-1]])
    out = np.empty(int(ends[-1]) + _WIDE, dtype=np.uint8)
    wide = np.ndarray(len(out) - _WIDE + 1, dtype="<u8", buffer=out, strides=(1,))
    for words, lengths in fields:
        there = lengths > 0
        wide[at[there]] = words[there]
        at += lengths
    for words, lengths in geometry:
        for place in range(int(lengths.max())):
            _lay_bytes(out, at + place, words >> np.uint64(8 * place), lengths > place)
        at += lengths
    return out[: ends[-1]].tobytes()


def _lay_bytes(out: Bytes, at: Whole, words: Words, there: NDArray[np.bool_]) -> None:
    """Lay the lowest byte of words, where there is one."""
    if there.all():
        out[at] = words.astype(np.uint8)
    else:
        out[at[there]] = words[there].astype(np.uint8)


def _pairs(local: NDArray[np.int32]) -> list[Field]:
    """Each key with its value, where something is said."""
    return [
        _where(column != MISSING, _opened(key, _varints(np.maximum(column, 0))))
        for key, column in enumerate(local.T)
    ]


def _where(said: NDArray[np.bool_], field: Field) -> Field:
    """A field that some features do not have."""
    return field[0], np.where(said, field[1], 0)


def _opened(first: int, field: Field) -> Field:
    """A field behind the byte that opens it."""
    words, lengths = field
    return (words << np.uint64(8)) | np.uint64(first), lengths + 1


def _constant(*said: int) -> Field:
    return np.array([int.from_bytes(bytes(said), "little")], dtype=np.uint64), np.array([len(said)])


def _varints(numbers: ArrayLike) -> Field:
    """Numbers from 0 on, seven bits a byte, the lowest first [2]_: as words, and their lengths."""
    number = np.asarray(numbers).astype(np.uint64)
    words, lengths = number & np.uint64(0x7F), np.ones(len(number), dtype=np.int64)
    for place in range(1, -(-int(number.max(initial=0)).bit_length() // 7)):
        rest = number >> np.uint64(7 * place)
        follows = rest > 0
        words |= ((rest & np.uint64(0x7F)) << np.uint64(8 * place)) | (
            follows.astype(np.uint64) << np.uint64(8 * place - 1)
        )
        lengths += follows
    return words, lengths


def _zigzag(number: Whole) -> Whole:
    return np.asarray((number << 1) ^ (number >> 63), dtype=np.int64)


def _slices(said: Coded, used: Whole) -> bytes:
    """The bytes of the values that are used, one after the other."""
    first = said.starts[used]
    lengths = said.starts[used + 1] - first
    moved = np.repeat(first - (np.cumsum(lengths) - lengths), lengths)
    return said.pool[moved + np.arange(len(moved))].tobytes()


def _named(field: int, content: bytes) -> bytes:
    return bytes((field,)) + _varint(len(content)) + content


def _varint(number: int) -> bytes:
    out = bytearray()
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)
    return bytes(out)


def _doubles(values: ArrayLike) -> list[bytes]:
    head = bytes((_VALUE, 9, _DOUBLE))
    said = np.asarray(values, dtype="<f8").tobytes()
    return [head + said[place : place + 8] for place in range(0, len(said), 8)]


def _wholes(values: ArrayLike) -> list[bytes]:
    return [_named(_VALUE, bytes((_WHOLE,)) + _varint(int(value))) for value in np.asarray(values)]


def _texts(values: ArrayLike) -> list[bytes]:
    heads = [bytes((_VALUE, length + 2, _TEXT, length)) for length in range(_SHORT)]
    texts = (str(value).encode() for value in np.asarray(values))
    return [
        heads[len(text)] + text if len(text) < _SHORT else _named(_VALUE, _named(_TEXT, text))
        for text in texts
    ]
