"""A long table, a page of it at a time: found, sorted and counted on the server, by the address alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import pandas as pd

PAGE_ROWS = 100


@dataclass(frozen=True)
class Listing:
    """One page of a table and how it was asked for; addresses keep what was asked besides."""

    rows: pd.DataFrame
    found: int
    total: int
    page: int
    pages: int
    sort: str
    descending: bool
    asked: Mapping[str, str]

    def _address(self, **changes: str) -> str:
        said = {name: value for name, value in {**self.asked, **changes}.items() if value}
        return "?" + urlencode(said)

    def sorted_by(self, column: str) -> str:
        """Address of this table sorted by a column; the other way round when it is sorted by it already."""
        turned = self.sort == column and not self.descending
        return self._address(sort=f"-{column}" if turned else column, page="")

    def at(self, page: int) -> str:
        """Address of another page of this table."""
        return self._address(page=str(page))


def listing(
    frame: pd.DataFrame,
    asked: Mapping[str, str],
    *,
    searched: Sequence[str],
    exact: Sequence[str] = (),
    default_sort: str,
) -> Listing:
    """Return the page of ``frame`` that was asked for.

    Parameters
    ----------
    frame : DataFrame
        The whole table.
    asked : mapping
        ``q`` (every word has to occur in one of ``searched``), any of ``exact`` (equal), ``sort`` (a column,
        with ``-`` in front the other way round) and ``page``, as they stand in the address. Columns that are
        not there and pages beyond the last are passed over.
    """
    rows = found_rows(frame, asked, searched=searched, exact=exact)
    said = asked.get("sort", "")
    column = said.removeprefix("-")
    if column not in frame.columns:
        said = column = default_sort
    descending = said.startswith("-")
    rows = rows.sort_values(
        column, ascending=not descending, na_position="last", kind="stable", key=_sort_key
    )
    pages = max(1, -(-len(rows) // PAGE_ROWS))
    page = min(_page_number(asked.get("page", "")), pages)
    shown = rows.iloc[(page - 1) * PAGE_ROWS : page * PAGE_ROWS]
    kept = {name: asked[name] for name in ("q", "sort", "as_of", *exact) if asked.get(name)}
    return Listing(shown, len(rows), len(frame), page, pages, column, descending, kept)


def found_rows(
    frame: pd.DataFrame, asked: Mapping[str, str], *, searched: Sequence[str], exact: Sequence[str] = ()
) -> pd.DataFrame:
    """Return the rows in which every word of ``q`` occurs and the exact columns are equal."""
    rows = frame
    for name in exact:
        if asked.get(name):
            rows = rows[rows[name].astype(object).map(str) == asked[name]]
    words = asked.get("q", "").casefold().split()
    if words and len(rows):
        text = rows[searched[0]].map(_searchable)
        for name in searched[1:]:
            text = text + "\n" + rows[name].map(_searchable)
        for word in words:
            rows = rows[text.loc[rows.index].str.contains(word, regex=False)]
    return rows


def _page_number(said: str) -> int:
    return max(1, int(said)) if said.isascii() and said.isdigit() and len(said) < 8 else 1


def _searchable(value: object) -> str:
    return "" if value is None or value is pd.NA or value != value else str(value).casefold()


def _sort_key(values: pd.Series) -> pd.Series:
    if pd.api.types.is_numeric_dtype(values.dtype):
        return values
    return values.astype(object).map(natural)


_DIGITS = 12


def natural(value: object) -> str | None:
    """Return text in the order that people expect: case apart, numbers in it by their size."""
    if isinstance(value, list):
        return "\n".join(str(part) for part in value) or None
    if value is None or value != value:
        return None
    out, digits = [], ""
    for character in str(value).casefold() + "\0":
        if character in "0123456789":
            digits += character
            continue
        out.append(digits.rjust(_DIGITS, "0") if digits else "")
        digits = ""
        out.append(character)
    return "".join(out)
