"""Files of other offices, read in a process of their own that can open nothing, and taken over with checks.

What comes back is data: lines of JSON that are checked here once more, and geometry that is bounded before
the geometry library sees it.
"""

import logging
import math
import signal
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import orjson
from pydantic import BaseModel, ConfigDict, TypeAdapter

from service.errors import Ask, InvalidRequest, Unreadable
from service.intake.bounded_shapes import from_geojson, from_wkb, set_points
from service.intake.closed_reading import NOT_SHUT_IN, TOO_LARGE
from service.intake.guess_crs import WGS84, WGS84_WORDS, code_of
from service.intake.plain_table import CHUNK
from service.intake.prepared import Guess
from service.intake.source_table import SourceTable, told_apart

FORMS = {  # ending of a file: form
    ".fgb": "flatgeobuf",
    ".zip": "shapefile",
    ".parquet": "geoparquet",
    ".geoparquet": "geoparquet",
    ".kml": "kml",
    ".kmz": "kmz",
}
_WORDS = {
    "flatgeobuf": "FlatGeobuf",
    "shapefile": "zipped shapefile",
    "geoparquet": "GeoParquet",
    "kml": "KML",
    "kmz": "KMZ",
}
_FILE = "{file}"  # stands for the name of the file in sentences of the process, which does not know it
_INSTEAD = "export it as GeoJSON, GeoPackage or CSV"
_SPARING = {"OPENBLAS_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system"}  # reserve no memory ahead
_TEXTS = TypeAdapter(list[str])
_at_once = threading.BoundedSemaphore(2)  # processes of this server
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Limits:
    """What reading one file may take."""

    file_mb: int = 200
    seconds: int = 120  # of computing; half as much again may pass by the clock
    memory_mb: int = 2_048
    output_mb: int = 400


LIMITS = Limits()


class _Head(BaseModel):
    """The first line: what the table is."""

    model_config = ConfigDict(extra="forbid", strict=True)
    form: str
    layer_name: str
    headers: list[str]
    rows: int
    has_shapes: bool
    crs: str | None
    crs_said: str | None
    left_out: dict[str, str]
    faults: list[tuple[int, str]]
    guesses: list[tuple[str, str, str, float]]


class _Refusal(BaseModel):
    """What there is instead of a table: a question, or what is wrong."""

    model_config = ConfigDict(extra="forbid")
    ask: tuple[str, list[str], str] | None = None
    invalid: list[tuple[str, str]] | None = None
    unreadable: str | None = None


def read_closed(path: Path, layer: str | None, limits: Limits = LIMITS) -> SourceTable:
    """Return the table of a file of one of the forms by its ending.

    Raises
    ------
    Unreadable
        If it is not of that form, damaged, or takes more memory, time or room than is given.
    Ask
        If it holds several tables, and the layer tells which is meant.
    InvalidRequest
        If it holds several tables and none of them is told.
    """
    form = FORMS[path.suffix.casefold()]
    size = path.stat().st_size
    if size == 0:
        raise Unreadable(f"{path.name} is empty; choose the file that holds the list.")
    if size > limits.file_mb << 20:
        raise Unreadable(f"{path.name} is larger than {limits.file_mb} MB; split it, or {_INSTEAD}.")
    with tempfile.TemporaryFile() as out:
        with _at_once:
            _run(path, form, layer, limits, out)
        if out.tell() > limits.output_mb << 20:
            raise Unreadable(_too_large(path, limits))
        out.seek(0)
        return _taken_over(out, path, form)


def _run(path: Path, form: str, layer: str | None, limits: Limits, out: IO[bytes]) -> None:
    numbers = map(str, (limits.seconds, limits.memory_mb, limits.output_mb))
    program = [sys.executable, "-I", "-B", "-m", "service.intake.closed_reading", form, layer or "", *numbers]
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryFile() as errors, path.open("rb") as file:
        # Without its variables Windows starts no program; elsewhere the process inherits none.
        bare = None if sys.platform == "win32" else {"HOME": folder, **_SPARING}
        process = subprocess.Popen(program, stdin=file, stdout=out, stderr=errors, cwd=folder, env=bare)
        try:
            code = process.wait(timeout=1.5 * limits.seconds)
        except subprocess.TimeoutExpired:
            code = None
        finally:
            process.kill()
            process.wait()
        if code != 0:
            errors.seek(max(0, errors.seek(0, 2) - 200))
            said = errors.read().decode("utf-8", "replace").strip().rpartition("\n")[2]
            _log.warning("Reading a file of the form %s ended with %s: %s", form, code, said)
            raise Unreadable(_why(path, form, limits, code))
    out.seek(0, 2)


def _why(path: Path, form: str, limits: Limits, code: int | None) -> str:
    if code == NOT_SHUT_IN:
        return (
            f"{path.name} was not read: this computer does not let a process be shut in, which "
            f"{_WORDS[form]} needs; {_INSTEAD}."
        )
    if code == TOO_LARGE:
        return _too_large(path, limits)
    if code is None or (sys.platform != "win32" and -code in (signal.SIGXCPU, signal.SIGKILL)):
        took = f"Reading {path.name} took longer than {limits.seconds} s; it was stopped."
        return f"{took} Split it, or {_INSTEAD}."
    if -code in (signal.SIGSEGV, signal.SIGABRT):  # how libraries end that get no more memory
        return (
            f"{path.name} is damaged, or needs more than the {limits.memory_mb:,} MB of memory that reading "
            f"one file may take; export it again, split it, or {_INSTEAD}."
        )
    return f"{path.name} is damaged, or no {_WORDS[form]}; export it again, or {_INSTEAD}."


def _too_large(path: Path, limits: Limits) -> str:
    return (
        f"{path.name} needs more than the {limits.memory_mb:,} MB of memory that reading one file may take; "
        f"split it, or {_INSTEAD}."
    )


def _taken_over(out: IO[bytes], path: Path, form: str) -> SourceTable:
    try:
        return _table(out, path)
    except (ValueError, TypeError) as wrong:
        raise Unreadable(f"{path.name} is damaged, or no {_WORDS[form]}; {_INSTEAD}.") from wrong


def _table(out: IO[bytes], path: Path) -> SourceTable:
    first = out.readline()
    if not first.startswith(b'{"form":'):
        _raise(_Refusal.model_validate_json(first), path.name)
    head = _Head.model_validate_json(first)
    parts = range(0, head.rows, CHUNK)
    columns = [
        [cell for _ in parts for cell in _TEXTS.validate_json(out.readline(), strict=True)]
        for _ in head.headers
    ]
    faults = {row: reason for row, reason in head.faults if 0 <= row < head.rows}
    shapes = _shapes([shape for line in out for shape in orjson.loads(line)], faults)
    if {len(column) for column in (*columns, *([shapes] if head.has_shapes else []))} != {head.rows}:
        raise ValueError("its columns are of different lengths")
    headers = told_apart(head.headers)
    _fault_nul(headers, columns, faults)
    table = SourceTable(
        path,
        head.form,
        head.layer_name.strip() or path.stem,
        headers,
        columns,
        list(range(1, head.rows + 1)),
        shapes if head.has_shapes else None,
        faults=faults,
        guesses=[
            Guess(what, value, why.replace(_FILE, path.name), sure) for what, value, why, sure in head.guesses
        ],
        left_out=dict(head.left_out),
    )
    _say_system(table, head)
    return table


def _raise(answer: _Refusal, name: str) -> None:
    if answer.ask is not None:
        option, choices, because = answer.ask
        raise Ask(option, choices, because.replace(_FILE, name))
    if answer.invalid is not None:
        raise InvalidRequest([(where, message.replace(_FILE, name)) for where, message in answer.invalid])
    raise Unreadable((answer.unreadable or "{file} was not read.").replace(_FILE, name))


def _fault_nul(headers: list[str], columns: list[list[str]], faults: dict[int, str]) -> None:
    for header, column in zip(headers, columns, strict=True):
        for row, cell in enumerate(column):
            if "\0" in cell:
                faults[row] = f"{header[:40]!r} holds a NUL character."


def _say_system(table: SourceTable, head: _Head) -> None:
    said = (head.crs_said or head.crs or "")[:60]
    if head.crs is None and not head.crs_said:
        return
    try:
        table.crs = None if head.crs is None else code_of(head.crs)
    except InvalidRequest:
        table.crs = None
    if table.crs is None:
        why = f"The file names {said!r}, which is not known here: it was not used."
        table.guesses.append(Guess("crs", "not as the file names it", why, 0.5))
    elif head.crs_said:
        words = WGS84_WORDS if table.crs == WGS84 else table.crs
        table.guesses.append(Guess("crs", words, f"The file names it: {said}.", 1.0))


def _shapes(said: list[Any], faults: dict[int, str]) -> list[Any]:
    """Return shapes, checked; why one is none goes to the faults of its row."""
    out: list[Any] = [None] * len(said)
    plain: dict[int, list[float]] = {}
    for row, shape in enumerate(said):
        fault = None
        if _is_pair(shape):
            plain[row] = shape
        elif isinstance(shape, str):
            out[row], fault = from_wkb(bytes.fromhex(shape))
        elif shape is not None:
            out[row], fault = from_geojson(
                shape if isinstance(shape, dict) else {"type": "Point", "coordinates": shape}
            )
        if fault is not None:
            faults.setdefault(row, fault)
    set_points(out, plain)
    return out


def _is_pair(shape: Any) -> bool:
    return (
        isinstance(shape, list)
        and len(shape) == 2
        and all(type(n) in (int, float) and math.isfinite(n) for n in shape)
    )
