"""Rows in memory as a layer in parts: what an edition is filled from, and small layers are written from."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import orjson
import pandas as pd
import shapely

from layers.column_kinds import Column, Kind
from layers.columns import FRAMES
from service.layer_parts import LayerColumn, LayerFacts, LayerPart, columns_named
from service.outlets.layer_rows import LayerRows

_FRAMES_OF = {  # where a column of a layer is looked up first
    "trees": ("trees",),
    "stems": ("stem_state", "stem_record", "tree_record"),
    "readings": ("reading_record", "stem_record", "tree_record"),
    "areas": ("area_record", "figures"),
    "places": ("tree_record",),
    "targets": ("target_record",),
    "flags": ("flags",),
    "inspections": ("inspection_record",),
    "figures": ("figures",),
    "osm_trees": ("osm_trees",),
}
_SHAPED: dict[Kind, re.Pattern[str]] = {  # a column in which a cell is shaped otherwise leaves as text
    "date": re.compile(r"[1-9]\d{3}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])", re.ASCII),
    "time": re.compile(r"[1-9]\d{3}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?Z", re.ASCII),
}


@dataclass(frozen=True)
class HeldLayer:
    """A layer whose rows are in memory."""

    held: LayerRows

    @cached_property
    def facts(self) -> LayerFacts:
        """What the layer is."""
        held = self.held
        return LayerFacts(
            layer=held.name,
            site=held.site,
            as_of=held.as_of,
            known_at=held.known_at,
            local=held.local,
            shape_kind=held.shape_kind,
            columns=tuple(_column(held.name, name, held.rows[name]) for name in held.rows),
            rows=len(held.rows),
            box=_box(held),
            caution=held.caution,
            by_number=bool((np.diff(held.ids) > 0).all()),
            unplaced=int(shapely.is_missing(held.shapes).sum()),
            sparse=held.sparse,
        )

    def parts(self, size: int = 1000, names: Sequence[str] | None = None) -> Iterator[LayerPart]:
        """Return the rows in order, at most ``size`` at a time; cells of the named columns only."""
        columns = columns_named(self.facts, names)
        ids, rows, shapes = self.held.ids, self.held.rows, self.held.shapes
        for start in range(0, len(rows), size):
            piece = slice(start, start + size)
            yield self._part(columns, ids[piece], rows.iloc[piece], shapes[piece])

    def _part(
        self, columns: Sequence[LayerColumn], ids: np.ndarray, rows: pd.DataFrame, shapes: np.ndarray
    ) -> LayerPart:
        written = [plain_cells(rows[column.name], column.kind) for column in columns]
        cells = list(zip(*written, strict=True)) if written else [()] * len(rows)
        if not self.facts.points:
            return LayerPart(ids.tolist(), cells, [], [], shapes)
        lon, lat = (_floats(axis(shapes)) for axis in (shapely.get_x, shapely.get_y))
        return LayerPart(ids.tolist(), cells, lon, lat, None)


def plain_cells(cells: pd.Series, kind: Kind) -> list[Any]:
    """Return the cells of a column as plain values of its kind (see ``LayerPart``), missing ones as None."""
    if kind == "float":
        return _floats(pd.to_numeric(cells).to_numpy(dtype=float, na_value=np.nan))
    missing = cells.isna().tolist()
    values = cells.tolist()
    if kind in ("int", "flag"):
        return [None if gone else int(value) for value, gone in zip(values, missing, strict=True)]
    if kind in ("list", "object"):
        return [None if v is None or v is pd.NA else _json(v) for v in values]
    return [None if gone else str(value) for value, gone in zip(values, missing, strict=True)]


def _floats(values: np.ndarray) -> list[float | None]:
    finite = np.isfinite(values)
    out: list[float | None] = values.tolist()
    if not finite.all():
        out = [value if there else None for value, there in zip(out, finite.tolist(), strict=True)]
    return out


def _json(value: Any) -> str:
    return orjson.dumps(value, option=orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS).decode()


def _column(layer: str, name: str, cells: pd.Series) -> LayerColumn:
    found = _word(layer, name)
    if found is not None and found.kind != "geometry":
        shaped = _SHAPED.get(found.kind)
        odd = shaped is not None and not all(shaped.fullmatch(str(cell)) for cell in cells.dropna())
        return LayerColumn(name, "text" if odd else found.kind, found.unit, found.meaning)
    return LayerColumn(name, _kind_of(cells), "", "as the file wrote it", own=False)


def _word(layer: str, name: str) -> Column | None:
    frames = (*_FRAMES_OF.get(layer, ()), *FRAMES)
    return next((column for frame in frames for column in FRAMES[frame] if column.name == name), None)


def _kind_of(cells: pd.Series) -> Kind:
    if pd.api.types.is_bool_dtype(cells):
        return "flag"
    if pd.api.types.is_integer_dtype(cells):
        return "int"
    return "float" if pd.api.types.is_float_dtype(cells) else "text"


def _box(held: LayerRows) -> tuple[float, float, float, float] | None:
    if held.local or not len(held.shapes):
        return None
    west, south, east, north = (float(side) for side in shapely.total_bounds(held.shapes))
    return (west, south, east, north) if np.isfinite(west) else None
