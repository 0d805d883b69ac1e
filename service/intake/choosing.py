"""Which of several tables of a file is meant: the one that is named as the layer, or whose shapes fit it."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.errors import Ask, InvalidRequest

LAYERS = ("trees", "areas", "targets")
_FITTING = {
    "trees": ("POINT", "MULTIPOINT"),
    "areas": ("POLYGON", "MULTIPOLYGON"),
    "targets": ("LINESTRING", "MULTILINESTRING"),
}


@dataclass(frozen=True)
class TableOfFile:
    """A table of a file: its name, and the kind of its shapes where it has some."""

    name: str
    shapes: str | None = None


def chosen(tables: Sequence[TableOfFile], layer: str | None, file_name: str) -> int:
    """Return the place of the table that is meant.

    Raises
    ------
    Ask
        If there are several, and the layer tells which is meant.
    InvalidRequest
        If there are several and none of them is told.
    """
    with_shapes = [place for place, table in enumerate(tables) if table.shapes is not None]
    if len(tables) == 1:
        return 0
    if layer is None and len(with_shapes) == 1:
        return with_shapes[0]
    fitting = {word: _fitting(tables, word) for word in LAYERS}
    found = fitting.get(layer or "")
    if found is not None:
        return found
    names = ", ".join(table.name for table in tables[:10])
    holds = f"{file_name} holds several tables ({names})"
    choices = [word for word, table in fitting.items() if table is not None]
    if layer is None and choices:
        raise Ask("--layer", choices, f"{holds}.")
    raise InvalidRequest(
        [("--layer", f"{holds}, and none of them alone is one of {layer or 'trees, areas or targets'}; "
          "export the one that is meant to a file of its own.")]
    )  # fmt: skip


def _fitting(tables: Sequence[TableOfFile], layer: str) -> int | None:
    """Return the one table that is named as a layer, or the only one whose shapes are those of the layer."""
    named = [place for place, table in enumerate(tables) if table.name == layer]
    shaped = [
        place
        for place, table in enumerate(tables)
        if table.name not in LAYERS and str(table.shapes).upper() in _FITTING[layer]
    ]
    return next((found[0] for found in (named, shaped) if len(found) == 1), None)
