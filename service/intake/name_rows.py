"""Names of the rows of a table of trees: as written, and matched to the species table."""

from collections import Counter
from collections.abc import Sequence

from service.intake import cells, status_cells
from service.intake.guess_columns import Columns
from service.intake.name_matching import Matched, matched_names
from service.intake.prepared import Guess, PreparedRow
from service.intake.source_table import SourceTable


def _said(table: SourceTable, columns: Columns, role: str) -> list[str]:
    """Return what the rows say for one of our words, gaps of its column filled from others."""
    out = [""] * len(table.rows)
    for header in (*filter(None, [columns.single.get(role)]), *columns.fills.get(role, ())):
        for place, cell in enumerate(table.column(header)):
            if not out[place] and not cells.is_missing(cell) and cell.strip() != "0":
                out[place] = cell.strip()
    return out


def _as_written(table: SourceTable, columns: Columns, common: Sequence[str]) -> list[str | None]:
    """Return the names of the rows: a column, or of genus, species and cultivar, or else the common name."""
    if "species" in columns.single:
        plain = _said(table, columns, "species")
    else:
        genera, epithets = _said(table, columns, "genus"), _said(table, columns, "epithet")
        plain = [f"{genus} {epithet}".strip() for genus, epithet in zip(genera, epithets, strict=True)]
    out: list[str | None] = []
    for name, cultivar, other in zip(plain, _said(table, columns, "cultivar"), common, strict=True):
        if name and cultivar and cultivar.casefold().strip("'\"") not in name.casefold():
            bare = cultivar.strip("'\"")
            name = f"{name} '{bare}'"
        out.append(name or other or None)
    return out


def apply_names(
    rows: Sequence[PreparedRow], table: SourceTable, columns: Columns, guesses: list[Guess]
) -> None:
    """Set the names of the rows, matched to the species table once for each name as written.

    Rows whose name is a word for a stump or a vacant place are places; ``dead`` is no name but a status.
    """
    common = _said(table, columns, "common_name")
    written = _as_written(table, columns, common)
    matches: dict[str, Matched] = matched_names(sorted({name for name in written if name}))
    places: Counter[str] = Counter()
    for row, name, other in zip(rows, written, common, strict=True):
        row.common_name = other or None
        if name is None:
            continue
        match = matches[name]
        row.name_as_written = name
        if match.scientific_name is None and row.place_kind is None:
            row.place_kind = status_cells.kind_in_name(name)
            row.status = status_cells.status_in_name(name) or row.status
            places.update(filter(None, [row.place_kind]))
        row.scientific_name, row.genus, row.name_sure = match.scientific_name, match.genus, match.name_sure
        row.common_name = row.common_name or match.common_name
    if places:
        said = ", ".join(f"{count:,} {kind}" for kind, count in places.most_common())
        header = columns.single.get("species") or columns.single.get("common_name")
        guesses.append(Guess("places", said, f"The column {header!r} says that no tree stands there.", 0.9))
    trees = Counter(row.name_as_written for row in rows if row.name_as_written and not row.place_kind)
    _tell_names(trees, matches, guesses)


def _tell_names(counts: Counter[str], matches: dict[str, Matched], guesses: list[Guess]) -> None:
    """Say which names were matched doubtfully, and which are not in the species table."""
    doubtful = [name for name, _ in counts.most_common() if matches[name].name_sure == "doubtful"]
    unknown = [name for name, _ in counts.most_common() if matches[name].scientific_name is None]
    if not doubtful and not unknown:
        return
    parts = []
    if doubtful:
        read = ", ".join(f"{name[:40]!r} = {matches[name].scientific_name}" for name in doubtful[:5])
        parts.append(f"Read {read}{' ...' if len(doubtful) > 5 else ''}.")
    if unknown:
        known = ", ".join(repr(name[:40]) for name in unknown[:5])
        parts.append(f"Not in the species table: {known}{' ...' if len(unknown) > 5 else ''}.")
    said = f"{len(doubtful):,} doubtful, {len(unknown):,} not known, of {len(counts):,} names"
    guesses.append(Guess("names", said, " ".join(parts), 0.6))
