"""Which column is what: from header words in several languages, checked against the values."""

import difflib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from service.errors import InvalidRequest
from service.intake import cells, status_cells
from service.intake.column_samples import CHECKS, EPITHET, LATIN, is_size, sample, share
from service.intake.prepared import Guess, ImportOptions
from service.intake.source_table import SourceTable
from service.intake.words import UNIT_OF, roles_of, taken_apart

SIZES = ("girth", "diameter", "class")
ACCEPTED_WORDS = (
    *("tag", "species", *SIZES, "height", "crown", "place", "measured_on", "status", "lon", "lat", "x", "y"),
    *("genus", "epithet", "cultivar", "common_name", "planted_on", "external_id", "record_kind", "geometry"),
    *("name", "kind", "use", "keeper", "area_ha", "kept"),
)
_MANY = (*SIZES, "height", "crown")
_PAIRS = (("lon", "lat"), ("x", "y"))
_PLACES = ("place", "quarter", "street")
_NOT_OF_TREES = ("name", "use", "area_ha", "row_id")


@dataclass(frozen=True)
class NumberColumn:
    """A column of sizes, heights or crowns: what is measured, its unit [-], and what the header adds."""

    header: str
    what: str | None  # girth, diameter, class, height, crown; None: a size of a kind that is not said
    unit: str | None = None
    year: int | None = None
    stem: int | None = None
    height_m: float | None = None
    said: bool = False
    usual: str | None = None  # unit of numbers without one, by the standard that the file follows


@dataclass
class Columns:
    """What each column was taken for."""

    single: dict[str, str] = field(default_factory=dict)  # our word -> header
    sizes: list[NumberColumn] = field(default_factory=list)
    measures: list[NumberColumn] = field(default_factory=list)  # heights and crowns
    fills: dict[str, list[str]] = field(default_factory=dict)  # our word -> headers that fill its gaps
    kept: set[str] = field(default_factory=set)  # headers that the person wants kept as written
    left_out: dict[str, str] = field(default_factory=dict)
    guesses: list[Guess] = field(default_factory=list)

    def used(self) -> set[str]:
        """Return the headers that are taken for something."""
        many = {c.header for c in (*self.sizes, *self.measures)}
        return set(self.single.values()) | many | self.kept | set(self.left_out)


def _header(table: SourceTable, said: str, option: str) -> str:
    by_fold = {header.casefold(): header for header in table.headers}
    if said in table.headers:
        return said
    if said.strip().casefold() in by_fold:
        return by_fold[said.strip().casefold()]
    near = difflib.get_close_matches(said, table.headers, n=3, cutoff=0.5)
    hint = f" Did you mean {', '.join(near)}?" if near else f" It has {', '.join(table.headers[:20])}."
    raise InvalidRequest([(option, f"{table.path.name} has no column {said!r}.{hint}")])


def _explicit(table: SourceTable, options: ImportOptions, this_year: int, out: Columns) -> None:
    for word, said in options.columns.items():
        if word not in ACCEPTED_WORDS:
            raise InvalidRequest(
                [("--columns", f"{word!r} is no column of ours; use one of {', '.join(ACCEPTED_WORDS)}.")]
            )
        header = _header(table, said, "--columns")
        if header in out.used():
            raise InvalidRequest([("--columns", f"The column {header!r} is named twice.")])
        if word == "kept":
            out.kept.add(header)
        elif word in _MANY:
            (out.sizes if word in SIZES else out.measures).append(
                _number_column(table, header, word, this_year, said=True)
            )
        else:
            out.single[word] = header
    for word, said_or_none in (("place", options.place), ("measured_on", options.measured_on)):
        if said_or_none is not None and said_or_none in table.headers and word not in out.single:
            out.single[word] = said_or_none


def _number_column(
    table: SourceTable, header: str, what: str | None, this_year: int, *, said: bool = False
) -> NumberColumn:
    words = taken_apart(header, this_year)
    unit = words.unit or table.units.get(header)
    return NumberColumn(header, what, unit, words.year, words.index, words.height_m, said)


def assigned(
    table: SourceTable,
    options: ImportOptions,
    this_year: int,
    known: Mapping[str, str] = MappingProxyType({}),
) -> Columns:
    """Return what each column of a table of trees is taken for.

    ``known`` are headers whose meaning is sure before anything is guessed: header -> our word, or kept.

    Raises
    ------
    InvalidRequest
        If an option names a word or column that is not there.
    """
    out = Columns(left_out=dict(table.left_out))
    _explicit(table, options, this_year, out)
    explicit_sizes = bool(out.sizes)
    samples = {h: sample(column) for h, column in zip(table.headers, table.columns, strict=True)}
    for header, said in samples.items():
        if not said and not any(table.column(header)) and header not in out.used():
            out.left_out[header] = "The column is empty."
    _standing(table, known, this_year, out)
    barred = {*_NOT_OF_TREES, *(SIZES if explicit_sizes else ())}
    barred |= {*_PLACES} if options.place or "place" in out.single else set()
    barred |= {"measured_on"} if options.measured_on else set()
    candidates = []
    for place, header in enumerate(table.headers):
        if header in out.used():
            continue
        for role, fit in roles_of(header, this_year).items():
            if role in barred:
                continue
            if role not in CHECKS or CHECKS[role](samples[header]):
                candidates.append((-fit, place, role, header))
    _take(table, sorted(candidates), this_year, out)
    _wide_years(table, samples, options, this_year, out, explicit_sizes)
    _nameless(table, this_year, out)
    _classes(table, known, out)
    _names(samples, out)
    _kinds_by_values(samples, out)
    _one_of_pairs(out)
    _one_place(out)
    for columns in (out.sizes, out.measures):
        columns.sort(key=lambda column: table.headers.index(column.header))
    return out


def _standing(table: SourceTable, known: Mapping[str, str], this_year: int, out: Columns) -> None:
    """Take the columns that a standard names, where the person did not say otherwise."""
    sizes_said = bool(out.sizes)
    for header, role in known.items():
        if header in out.used() or role in out.single or (role in SIZES and sizes_said):
            continue
        if role == "kept":
            out.kept.add(header)
        elif role in _MANY:
            into = out.sizes if role in SIZES else out.measures
            into.append(_number_column(table, header, role, this_year))
        else:
            out.single[role] = header
        if role != "kept":
            out.guesses.append(
                Guess("column", f"{header} = {role}", "Its header is a tag of OpenStreetMap.", 0.99)
            )


def _tells(column: NumberColumn) -> tuple[object, ...]:
    """Return what tells a column of numbers from another of the same file."""
    return column.what, column.year, column.stem, column.height_m


def _take(
    table: SourceTable, candidates: list[tuple[float, int, str, str]], this_year: int, out: Columns
) -> None:
    for fit, _, role, header in candidates:
        if header in out.used():
            continue
        if role in _MANY:
            column = _number_column(table, header, role, this_year)
            into = out.sizes if role in SIZES else out.measures
            if any(_tells(c) == _tells(column) for c in into):
                continue
            into.append(column)
        elif role not in out.single:
            out.single[role] = header
        else:
            continue
        out.guesses.append(
            Guess("column", f"{header} = {role}", f"The header {header!r} is a word for it.", round(-fit, 2))
        )


def _wide_years(
    table: SourceTable,
    samples: dict[str, list[str]],
    options: ImportOptions,
    this_year: int,
    out: Columns,
    explicit_sizes: bool,
) -> None:
    """Take columns that are headed by a year or season alone as sizes of that year."""
    dated = [column for column in out.sizes if column.year]
    if explicit_sizes or (dated and len({column.what for column in dated}) != 1):
        return
    what = dated[0].what if dated else None
    wide = []
    for header in table.headers:
        words = taken_apart(header, this_year)
        unit = words.unit or UNIT_OF.get("".join(words.keys))  # "2018 (cm)" has no other word
        bare = not words.keys or words.season or unit in words.keys
        said = samples[header]
        if words.year and bare and header not in out.used() and said and share(said, is_size) >= 0.8:
            column = NumberColumn(header, what, unit, words.year, words.index, words.height_m)
            if not any((c.year, c.stem) == (column.year, column.stem) for c in dated):
                wide.append(column)
    if len(wide) >= 2 or (wide and dated) or (wide and options.size and not out.sizes):
        out.sizes += wide
        names = ", ".join(column.header for column in wide)
        out.guesses.append(
            Guess("yearly sizes", names, "Each of these columns is headed by a year and holds sizes.", 0.9)
        )


def _nameless(table: SourceTable, this_year: int, out: Columns) -> None:
    """Take a column headed "size" for sizes of a kind to be settled, where no header names girth or width."""
    header = out.single.get("size")
    if header is None:
        return
    if not out.sizes:
        out.sizes.append(_number_column(table, header, None, this_year))
        del out.single["size"]
    else:
        _retract(out, "size")


def _classes(table: SourceTable, known: Mapping[str, str], out: Columns) -> None:
    """Turn size columns whose cells are classes into class columns."""
    for place, column in enumerate(out.sizes):
        single = column.what in ("girth", "diameter") and column.header not in known
        if single and cells.are_ranges(table.column(column.header)):
            out.sizes[place] = NumberColumn(**{**column.__dict__, "what": "class"})
            why = "Its cells are size classes that touch each other, not single sizes."
            out.guesses.append(Guess("column", f"{column.header} = class", why, 0.9))


def _names(samples: dict[str, list[str]], out: Columns) -> None:
    """Tell a species column from an epithet, and find one by its values where no header says so."""
    species, genus = out.single.get("species"), out.single.get("genus")
    if species and genus and "epithet" not in out.single:
        epithets = share(samples[species], lambda c: bool(EPITHET.fullmatch(c.strip())))
        genera = {cell.strip().casefold() for cell in samples[genus]}
        repeats = share(samples[species], lambda c: c.split()[0].casefold() in genera)
        if epithets > 0.5 and repeats < 0.5:
            _rename(out, "species", "epithet")
        elif repeats >= 0.5:
            out.single["full_name_genus"] = out.single.pop("genus")
    if species or genus or "common_name" in out.single:
        return
    latin = {
        header: share(said, lambda c: bool(LATIN.fullmatch(c)))
        for header, said in samples.items()
        if header not in out.used() and len(said) > 2
    }
    best = max(latin, key=lambda header: latin[header], default="")
    if best and latin[best] >= 0.8:
        out.single["species"] = best
        why = f"{latin[best]:.0%} of its cells look like botanical names."
        out.guesses.append(Guess("column", f"{best} = species", why, 0.6))


def _kinds_by_values(samples: dict[str, list[str]], out: Columns) -> None:
    """Find the column that tells trees from stumps and gaps by its values."""
    if "record_kind" in out.single:
        return
    for header, said in samples.items():
        kinds = Counter(status_cells.kind_of(cell) for cell in said)
        known = sum(count for kind, count in kinds.items() if kind)
        if header not in out.used() and kinds.get("tree") and len(kinds) > 1 and known >= 0.9 * len(said):
            out.single["record_kind"] = header
            why = f"{known / len(said):.0%} of its cells are words for trees, stumps and gaps."
            out.guesses.append(Guess("column", f"{header} = record_kind", why, 0.8))
            return


def _one_of_pairs(out: Columns) -> None:
    """Keep one pair of coordinates: longitude and latitude before x and y; half a pair is none."""
    for first, second in _PAIRS:
        if (first in out.single) != (second in out.single):
            _retract(out, first if first in out.single else second)
    if "lon" in out.single:
        for role in ("x", "y"):
            _retract(out, role)


def _one_place(out: Columns) -> None:
    """Keep one place: a named ground before a quarter before a street; the others stay as written."""
    found = [role for role in _PLACES if role in out.single]
    for role in found[1:]:
        _retract(out, role)
    if found and found[0] != "place":
        _rename(out, found[0], "place")


def _retract(out: Columns, role: str) -> None:
    header = out.single.pop(role, None)
    out.guesses = [g for g in out.guesses if g.value != f"{header} = {role}"]


def _rename(out: Columns, role: str, other: str) -> None:
    header = out.single[other] = out.single.pop(role)
    for guess in out.guesses:
        if guess.value == f"{header} = {role}":
            guess.value = f"{header} = {other}"
