"""The command line as a person runs it, in this process: words in, exit code and text out."""

import io
import json
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from typing import Any

from service.cli.main import main


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """What it printed, as JSON without NaN or infinity."""
        return json.loads(self.out, parse_constant=_no_constant)


def boleward(*words: object, store: object = None) -> Ran:
    """Run ``boleward`` with these words, on the store at this path or address."""
    given = [*(["--store", str(store)] if store is not None else []), *map(str, words)]
    out, err = (
        io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors=errors, newline="")
        for errors in ("strict", "backslashreplace")  # as Python opens them
    )
    with redirect_stdout(out), redirect_stderr(err):
        try:
            main(given)
            code = 0
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 1
    return Ran(code, *(_text(stream) for stream in (out, err)))


def done(*words: object, store: object = None) -> Ran:
    """Run a command that has to end well."""
    ran = boleward(*words, store=store)
    assert ran.code == 0, f"{words} ended with {ran.code}: {ran.err}{ran.out[:2000]}"
    return ran


def figure(store: object, site: str, *more: object) -> dict[str, Any]:
    """The one row of figures that a command prints; of the whole site when nothing more is said."""
    rows = done("figures", "--site", site, *more, "--json", store=store).json
    if not {"--area", "--polygon"} & set(more):
        return rows[0]
    assert len(rows) == 1
    return rows[0]


def _text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    return stream.buffer.getvalue().decode("utf-8")


def _no_constant(word: str) -> None:
    raise AssertionError(f"{word} is no JSON")
