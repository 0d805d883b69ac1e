"""What a list without a position says of where its trees stand that is not read here: never silence."""

from service.intake import cells, degrees
from service.intake.column_samples import is_coordinate, sample, share
from service.intake.guess_columns import Columns
from service.intake.prepared import Guess
from service.intake.source_table import SourceTable
from service.intake.words import folded, roles_of, word_set

_AXES = {"lon": "longitude", "lat": "latitude"}
_GRID_WORDS = word_set("grid gitter ngr mgrs utm osgr bng position coordinates coord lat lon")
_GRID_SHARE = 0.8  # of the cells of a column that look like references of a grid (assumption)


def told(table: SourceTable, columns: Columns) -> list[Guess]:
    """Return a sentence for each column that names a position which could not be taken from it."""
    out = []
    taken = set(columns.single.values()) - {columns.single.get(word) for word in ("point", "geometry")}
    for header in table.headers:
        said = sample(table.column(header))
        if not said or header in taken or header in columns.left_out:
            continue
        why = _why(header, said, folded(header))
        if why:
            out.append(Guess("position", f"not taken from {header!r}", why, 0.9))
    return out


def _why(header: str, said: list[str], words: str) -> str | None:
    grid = share(said, degrees.is_grid_reference) >= _GRID_SHARE
    parted = share(said, lambda cell: " " in cell.strip()) >= _GRID_SHARE
    roles = roles_of(header)
    named = bool(_GRID_WORDS & set(words.split())) or bool({"x", "y", "point", *_AXES} & roles.keys())
    if grid and (named or parted):
        return (
            f"Its cells, such as {said[0][:40]!r}, look like references of a grid with letters, which are "
            "not read here: give longitude and latitude, or easting and northing as numbers."
        )
    axis = next((name for role, name in _AXES.items() if role in roles), None)
    if axis is None:
        return None
    if share(said, is_coordinate) >= 0.5:
        return f"It may be the {axis}, but no column is there that could be the other of the two."
    odd = next(cell for cell in said if not is_coordinate(cell) and not cells.is_missing(cell))
    return (
        f"It may be the {axis}, but {odd[:40]!r} and others in it are no coordinates that are read here; "
        "write them as 51.5033 or 51°30'12\"N."
    )
