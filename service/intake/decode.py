"""CSV: bytes to a table of text. Encoding, delimiter and header row are guessed and said, never silently.

The file is looked over in blocks before it is read, so that an endless line or a file that is no text is
refused without being held in memory.
"""

import csv
import io
import re
from collections import Counter
from pathlib import Path

from service.errors import Unreadable
from service.intake.prepared import Guess
from service.intake.source_table import SourceTable, told_apart
from service.intake.spare_lines import first_filled, totals_below, units_below
from service.intake.words import roles_of

BLOCK = 1 << 20
MAX_LINE_BYTES = 1 << 20
MAX_FILE_BYTES = 1 << 30
MAX_CELL_CHARS = 131_072
MAX_CELL_LINES = 30
MAX_COLUMNS = 2_000
UNDER_A_FULL_LINE = 2.0  # words that a header must have more, if a line above it is as full (assumption)
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_OLD_CODE_PAGES = ("cp1252", "cp850", "mac_roman")
_IN_A_ROW = 0.2  # share of special bytes four in a row, above which they are not western (assumption)
_LETTERS = frozenset("äöüÄÖÜßéèêëáàâãåíìîïóòôõøúùûñçæœÉÈÀÁÂÃÅÍÓÔÕÚÑÇØÆŒ°²³×½¼’–")


def read_csv(path: Path) -> SourceTable:
    """Return the table of a CSV file.

    Raises
    ------
    Unreadable
        If the file is no text of rows and columns; the sentence says where and what to do.
    """
    data = bounded_bytes(path)
    guesses: list[Guess] = []
    text = decoded(data, path.name, guesses)
    if not text.strip():
        raise Unreadable(f"{path.name} holds no rows; choose the file that holds the list.")
    delimiter = _delimiter(text, path.name, guesses)
    records = _records(text, delimiter, path.name)
    head, headers, guess = _header_row(records, path.name)
    guesses.append(guess)
    units_line = first_filled(records, head + 1)
    units = units_below(headers, records[units_line]) if units_line is not None else {}
    if units and units_line is not None:
        head = units_line
        why = f"Line {head + 1} has only units under the headers."
        guesses.append(Guess("units", ", ".join(f"{h}: {u}" for h, u in units.items()), why, 0.95))
    rows, columns, faults = _columns(records, head, len(headers), ends_open=not text.endswith(("\n", "\r")))
    totals = totals_below(columns)
    if not rows:
        raise Unreadable(f"{path.name} has a header but no rows; there is nothing to take in.")
    return SourceTable(
        path,
        "csv",
        path.stem,
        told_apart(headers),
        columns,
        rows,
        faults={**totals, **faults},
        guesses=guesses,
        units=units,
        decimal_comma=delimiter == ";",
    )


def bounded_bytes(path: Path) -> bytes:
    """Return the bytes of a text file, refusing endless lines and files that are no text before reading all.

    Raises
    ------
    Unreadable
        If the file is empty, too big, holds NUL characters or a line longer than can be a row.
    """
    size = path.stat().st_size
    if size == 0:
        raise Unreadable(f"{path.name} is empty; choose the file that holds the list.")
    if size > MAX_FILE_BYTES:
        raise Unreadable(
            f"{path.name} is larger than {MAX_FILE_BYTES >> 20} MB; split it and import the parts."
        )
    blocks: list[bytes] = []
    since_break, wide = 0, False
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            if not blocks:
                wide = block.startswith((b"\xff\xfe", b"\xfe\xff"))
            if not wide and b"\0" in block:
                place = sum(len(earlier) for earlier in blocks) + block.index(b"\0")
                raise Unreadable(
                    f"{path.name} is not a text file: it has a NUL character at byte {place + 1}. "
                    "Save the list as CSV (UTF-8) and import that."
                )
            since_break = _longest_line(block, since_break, path.name)
            blocks.append(block)
    return b"".join(blocks)


def _longest_line(block: bytes, since_break: int, name: str) -> int:
    breaks = (block.find(b"\n"), block.find(b"\r"))
    first = min((place for place in breaks if place >= 0), default=len(block))
    if since_break + first > MAX_LINE_BYTES:
        raise Unreadable(
            f"{name} has a line longer than {MAX_LINE_BYTES >> 20} MB, which cannot be a row of a list. "
            "Check that the right file was chosen and that it was exported with line breaks."
        )
    last = max(block.rfind(b"\n"), block.rfind(b"\r"))
    return len(block) - last - 1 if last >= 0 else since_break + len(block)


def decoded(data: bytes, name: str, guesses: list[Guess]) -> str:
    """Return bytes as text: by their mark, as UTF-8 where they fit it, else by the letters they make.

    Raises
    ------
    Unreadable
        If they are no text in an encoding that is known here.
    """
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            guesses.append(
                Guess("encoding", encoding.upper(), "The file starts with the mark of this encoding.", 1.0)
            )
            return _strict(data, encoding, name)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as wrong:
        return _old_code_page(data, wrong, name, guesses)
    why = "Plain ASCII reads the same in all." if text.isascii() else "Every byte of the file fits UTF-8."
    guesses.append(Guess("encoding", "UTF-8", why, 0.99))
    return text


def _strict(data: bytes, encoding: str, name: str) -> str:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as wrong:
        raise Unreadable(_broken(data, wrong, name)) from wrong
    if "\0" in text:
        raise Unreadable(f"{name} has a NUL character; save the list as CSV (UTF-8) and import that.")
    return text


def _broken(data: bytes, wrong: UnicodeDecodeError, name: str) -> str:
    line = data.count(b"\n", 0, wrong.start) + 1
    half = " (half of a paired code)" if re.match(rb"\xed[\xa0-\xbf]", data[wrong.start :]) else ""
    return (
        f"{name} has a damaged character{half} in line {line}: it is {wrong.encoding.upper()} but for that. "
        "Correct the line, or save the list again as CSV (UTF-8)."
    )


def _old_code_page(data: bytes, wrong: UnicodeDecodeError, name: str, guesses: list[Guess]) -> str:
    """Return text of a file that is not UTF-8: the code page that yields the most letters."""
    sound = len(re.findall(rb"[\xc3-\xdf][\x80-\xbf]|[\xe1-\xef][\x80-\xbf]{2}", data))
    damaged = data.decode("utf-8", "replace").count("\ufffd")
    if sound > 4 * damaged or re.search(rb"\xed[\xa0-\xbf][\x80-\xbf]", data):
        raise Unreadable(_broken(data, wrong, name))
    if _of_another_script(data):
        raise Unreadable(
            f"The letters of {name} cannot be told: it is not UTF-8, and they stand as those of Japanese, "
            "Chinese, Korean, Cyrillic or Greek do in encodings of their own. Save the list as CSV (UTF-8) "
            "and import that."
        )
    foreign = Counter(re.findall(rb"[\x80-\xff]", data))
    scores: dict[str, float] = {}
    for page in _OLD_CODE_PAGES:
        letters = {byte: byte.decode(page, "replace") for byte in foreign}
        scores[page] = sum(
            foreign[byte] * (0.5 if letter.isupper() else 1.0)
            for byte, letter in letters.items()
            if letter in _LETTERS
        )
    best = max(_OLD_CODE_PAGES, key=lambda page: scores[page])
    share = scores[best] / foreign.total()
    if share < 0.5:
        raise Unreadable(
            f"{name} is not a text file in an encoding that is known here; "
            "save the list as CSV (UTF-8) and import that."
        )
    guesses.append(
        Guess(
            "encoding",
            best,
            f"The file is not UTF-8, and read as {best} {share:.0%} of its special characters are letters.",
            round(0.9 * share, 2),
        )
    )
    return data.decode(best, "replace")


def _of_another_script(data: bytes) -> bool:
    """Return whether special bytes follow each other as in no western language, one letter or two each."""
    special = len(re.findall(rb"[\x80-\xff]", data))
    in_a_row = sum(map(len, re.findall(rb"[\x80-\xff]{4,}", data)))
    if in_a_row > _IN_A_ROW * special:
        return True
    try:  # its second bytes may be those of plain letters
        text = data.decode("cp932")
    except UnicodeDecodeError:
        return False
    wide = sum(not letter.isascii() for letter in text)
    return sum(map(len, re.findall("[\u3040-\u30ff\u4e00-\u9fff]{2,}", text))) > 0.5 * wide


def _delimiter(text: str, name: str, guesses: list[Guess]) -> str:
    """Return the delimiter that cuts the first lines into the most columns of one number."""
    sample = re.split(r"\r\n|\n|\r", text[:65_536])[:60]
    if len(text) > 65_536 and len(sample) < 60:
        sample = sample[:-1]
    scores: dict[str, tuple[float, int]] = {}
    known: dict[str, int] = {}
    for delimiter in DELIMITERS:
        try:
            rows = [row for row in csv.reader(sample, delimiter=delimiter) if row]
        except csv.Error:
            continue
        if rows:
            widths = [len(row) for row in rows]
            known[delimiter] = max(sum(1 for c in row if len(c) < 80 and roles_of(c)) for row in rows[:20])
            width, often = Counter(widths).most_common(1)[0]
            scores[delimiter] = (often / len(widths) * (width > 1), width)
    best = max(
        scores,
        key=lambda d: (known[d] > 1, scores[d][0] >= 0.8, known[d], scores[d][1] > 1, scores[d]),
        default="",
    )
    if not best or scores[best][1] < 2:
        return _single_column(sample, name, guesses)
    agree, width = scores[best]
    why = f"It cuts {agree:.0%} of the first lines into {width} columns."
    guesses.append(Guess("delimiter", DELIMITERS[best], why, round(0.5 + 0.5 * agree, 2)))
    return best


def _single_column(sample: list[str], name: str, guesses: list[Guess]) -> str:
    if not sample or not roles_of(sample[0]):
        raise Unreadable(
            f"{name} is not a list of rows and columns: no comma, semicolon, tab or bar cuts its lines into "
            "columns. Export the list as CSV and import that."
        )
    guesses.append(Guess("delimiter", "none", "The file has a single column.", 0.9))
    return ","


def _records(text: str, delimiter: str, name: str) -> list[list[str]]:
    """Return the records of the text, empty lines too.

    Raises
    ------
    Unreadable
        If a quote is never closed or a cell is longer than can be meant.
    """
    former = csv.field_size_limit(MAX_CELL_CHARS)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=False)
    records: list[list[str]] = []
    begun = 1
    try:
        for record in reader:
            records.append(record)
            if reader.line_num - begun > MAX_CELL_LINES:
                raise Unreadable(_unclosed(name, begun))
            begun = reader.line_num + 1
    except csv.Error as wrong:
        raise Unreadable(_unclosed(name, begun)) from wrong
    finally:
        csv.field_size_limit(former)
    if text.count('"') % 2:
        _require_closed(text, delimiter, name, len(records))
    return records


def _require_closed(text: str, delimiter: str, name: str, count: int) -> None:
    """Raise if the last record ends inside a quote; a stray inch sign elsewhere is no quote."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=False)
    for _ in range(count - 1):
        next(reader)
    lines = io.StringIO(text, newline="").readlines()[reader.line_num :]
    try:
        list(csv.reader(lines, delimiter=delimiter, strict=True))
    except csv.Error as wrong:
        if "end of data" in str(wrong):
            raise Unreadable(_unclosed(name, reader.line_num + 1)) from wrong


def _unclosed(name: str, line: int) -> str:
    return (
        f"{name} opens a quote in line {line} that is not closed, so the rows after it cannot be told apart. "
        "The file may be cut off: export it again, or close the quote."
    )


def _looks_like_value(cell: str) -> bool:
    return bool(re.fullmatch(r"\s*[-+]?\d+([.,]\d+)*\s*", cell)) or not cell.strip()


def _header_row(records: list[list[str]], name: str) -> tuple[int, list[str], Guess]:
    """Return the place of the header among the records, the headers and how that was found out."""
    filled = [sum(1 for cell in record if cell.strip()) for record in records[:2_000]]
    if not any(filled):
        raise Unreadable(f"{name} holds no rows; choose the file that holds the list.")
    width = Counter(len(r) for r, f in zip(records[:2_000], filled, strict=True) if f).most_common(1)[0][0]
    if max(len(record) for record in records) > MAX_COLUMNS:
        raise Unreadable(f"{name} has a row of more than {MAX_COLUMNS} columns; that cannot be a list.")
    best, best_score = 0, -1.0
    for place, record in enumerate(records[:20]):
        if not filled[place] or len(record) < width:
            continue
        words = sum(1 for cell in record if len(cell) < 80 and roles_of(cell))
        values = sum(1 for cell in record if _looks_like_value(cell))
        score = words + 0.5 * (1 - values / len(record)) - 0.01 * place
        if place and max(filled[:place]) >= filled[place]:
            score -= UNDER_A_FULL_LINE
        if score > best_score:
            best, best_score = place, score
    header = records[best]
    if best_score < 0.5 and sum(_looks_like_value(cell) for cell in header) > len(header) / 2:
        first = next(place for place, count in enumerate(filled) if count)
        why = (
            "No line of the first 20 holds words that name columns; they are numbered column 1, column 2 ..."
        )
        return first - 1, [""] * width, Guess("header row", "none", why, 0.7)
    known = int(best_score)
    why = f"{known} of its {len(header)} cells are words that name columns."
    title = " ".join(cell.strip() for record in records[:best] for cell in record if cell.strip())
    if title:
        why += f" What stands above it is no row of the list: {title[:80]!r}."
    return best, header, Guess("header row", str(best + 1), why, 0.99 if known else 0.7)


def _columns(
    records: list[list[str]], head: int, width: int, *, ends_open: bool
) -> tuple[list[int], list[list[str]], dict[int, str]]:
    """Return row numbers, columns and faults; rows are padded, rows with too many cells are faults."""
    faults: dict[int, str] = {}
    rows: list[int] = []
    kept: list[list[str]] = []
    short_before = False
    last = len(records) - 1
    for place in range(head + 1, len(records)):
        record = records[place]
        cells = len(record)
        if not any(record) or not any(cell.strip() for cell in record):
            continue
        if cells != width:
            if cells > width and any(cell.strip() for cell in record[width:]):
                faults[len(rows)] = (
                    f"The row has {cells} cells, the header {width}: they cannot be told apart. "
                    "Put quotes round the cell that holds the delimiter."
                )
            elif place == last and ends_open and len(rows) > 1 and not short_before:
                faults[len(rows)] = (
                    f"The file ends in the middle of this row, after {cells} of {width} cells. "
                    "It may be cut off: export it again."
                )
            short_before = short_before or cells < width
            record = (record + [""] * width)[:width]
        rows.append(place + 1)
        kept.append(record)
    columns = [list(column) for column in zip(*kept, strict=True)] if kept else [[] for _ in range(width)]
    return rows, columns, faults
