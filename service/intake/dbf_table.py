"""The table of a shapefile (dBASE): cells as they are written, decoded by what says so or by their letters.

References
----------
dBASE III+ and IV table file structure: header, field descriptors, records with a mark of deletion, language
driver at byte 29. The side file .cpg holds the name of a code page.
"""

import codecs
import re
import struct

from service.errors import Unreadable
from service.intake.decode import decoded
from service.intake.plain_table import BINARY, PlainTable, cell_text, require_size
from service.intake.prepared import Guess

_DAMAGED = "The table (.dbf) in {file} is cut off or damaged; export the layer again."
_FIELD = struct.Struct("<11sc4xBB14x")
_END_OF_FIELDS, _DELETED = 0x0D, ord("*")
_DAY = re.compile(r"[0-9]{8}")
_LANGUAGES = {  # byte 29 of the header: code page
    0x01: "cp437", 0x02: "cp850", 0x03: "cp1252", 0x57: "cp1252", 0x58: "cp1252", 0x64: "cp852",
    0x65: "cp866", 0x66: "cp865", 0x6A: "cp737", 0x6B: "cp857", 0xC8: "cp1250", 0xC9: "cp1251",
    0xCA: "cp1254", 0xCB: "cp1253",
}  # fmt: skip
_KINDS = b"CNFDL"  # text, numbers, days, yes or no; all others point to other files or are no text


def read_dbf(data: bytes, page_said: bytes, out: PlainTable) -> list[bool]:
    """Put the columns of a table into ``out``; return for each record whether it stands (is not deleted).

    Raises
    ------
    Unreadable
        If it is cut off or damaged.
    """
    if len(data) < 33:
        raise Unreadable(_DAMAGED)
    count, head, width = struct.unpack_from("<IHH", data, 4)
    fields = _fields(data[:head])
    if width < 1 + sum(size for _, _, size in fields) or len(data) < head + count * width:
        raise Unreadable(_DAMAGED)
    require_size(count, len(fields))
    stands = [data[head + row * width] != _DELETED for row in range(count)]
    starts = [head + row * width for row in range(count) if stands[row]]
    place = 1
    cells = []
    for name, kind, size in fields:
        if kind in _KINDS:
            cells.append((name, kind, [data[start + place : start + place + size] for start in starts]))
        else:
            out.left_out[name.decode("ascii", "replace")] = BINARY
        place += size
    page = _page(cells, page_said, data[29], out)
    for name, kind, column in cells:
        out.headers.append(name.decode(page, "replace").strip())
        out.columns.append([_text(cell, kind, page) for cell in column])
    return stands


def _fields(head: bytes) -> list[tuple[bytes, bytes, int]]:
    """Return (name, kind, size) of the fields of a header."""
    out = []
    for place in range(32, len(head) - _FIELD.size + 1, _FIELD.size):
        if head[place] == _END_OF_FIELDS:
            break
        name, kind, size, decimals = _FIELD.unpack_from(head, place)
        if kind == b"C":
            size += decimals << 8  # long text, as some programs write it
        out.append((name.partition(b"\0")[0], kind, size))
    return out


def _page(cells: list[tuple[bytes, bytes, list[bytes]]], said: bytes, language: int, out: PlainTable) -> str:
    """Return the code page: as .cpg names it, UTF-8 where all fits, as the header says, else guessed."""
    named = _named(said.decode("ascii", "replace").strip())
    if named is not None:
        out.guesses.append(("encoding", named.upper(), f"The file names it: {named.upper()}.", 1.0))
        return named
    texts = [cell for _, kind, column in cells if kind == b"C" for cell in column]
    every = b" " + b" ".join([name for name, _, _ in cells] + texts).replace(b"\0", b" ")
    known = _LANGUAGES.get(language)
    if known is not None and not _fits_utf8(every):
        out.guesses.append(("encoding", known.upper(), f"The file names it: {known.upper()}.", 0.9))
        return known
    guesses: list[Guess] = []
    decoded(every, "{file}", guesses)
    out.guesses += [(guess.what, guess.value, guess.why, guess.sure) for guess in guesses]
    return guesses[-1].value.casefold()


def _fits_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _named(said: str) -> str | None:
    """Return the code page of a .cpg file, or None where it names none that is known here."""
    plain = said.casefold().removeprefix("ansi").removeprefix("oem").strip(" -_")
    number = re.fullmatch(r"(?:cp|windows-?)?([0-9]{3,5})", plain)
    tries = [plain]
    if number is not None:
        digits = number.group(1)
        tries = ["utf-8"] if digits == "65001" else [f"cp{digits}"]
        tries += [f"iso8859-{digits[4:]}"] if digits.startswith("8859") else []
    for name in tries:
        try:
            return codecs.lookup(name).name if name else None
        except (LookupError, UnicodeError, OSError):  # files of further code pages cannot be opened
            continue
    return None


def _text(cell: bytes, kind: bytes, page: str) -> str:
    if kind == b"C":
        return cell.rstrip(b" \0").decode(page, "replace")
    text = cell.partition(b"\0")[0].decode("ascii", "replace").strip(" *")
    if kind == b"D":
        return (
            f"{text[:4]}-{text[4:6]}-{text[6:]}" if _DAY.fullmatch(text) and int(text) else text.strip("0 ")
        )
    if kind == b"L":
        return "true" if text in ("T", "t", "Y", "y") else "false" if text in ("F", "f", "N", "n") else ""
    return _number(text)


def _number(text: str) -> str:
    """Return a number without the noughts that only fill its width; what is none stays as written."""
    if "." not in text and "e" not in text.casefold():
        return text
    try:
        return cell_text(float(text))
    except ValueError:
        return text
