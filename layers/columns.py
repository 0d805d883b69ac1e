"""The nomenclature: every frame's columns with type, unit, meaning and range, once.

CSV headers, JSON keys, frame columns and exported attributes are these words.
"""

from collections.abc import Iterable
from functools import lru_cache

import pandas as pd

from layers.column_kinds import Column, Kind
from layers.errors import ColumnMissing
from layers.outlet_columns import FIGURES, FLAGS, OSM_TREES, TREES
from layers.record_columns import (
    AREA_RECORD,
    INSPECTION_RECORD,
    OBSERVATION_RECORD,
    READING_RECORD,
    STATUS_EVENT,
    STEM_RECORD,
    TARGET_RECORD,
    TREE_RECORD,
)
from layers.state_columns import CAUSES, MEMBERSHIP, STEM_PARTS, STEM_STATE

_DTYPES: dict[Kind, str] = {
    "text": "object",
    "float": "float64",
    "int": "Int64",
    "flag": "bool",
    "date": "object",
    "time": "object",
    "list": "object",
    "object": "object",
    "geometry": "object",
}


FRAMES: dict[str, tuple[Column, ...]] = {
    "tree_record": TREE_RECORD,
    "stem_record": STEM_RECORD,
    "reading_record": READING_RECORD,
    "observation_record": OBSERVATION_RECORD,
    "status_event": STATUS_EVENT,
    "area_record": AREA_RECORD,
    "target_record": TARGET_RECORD,
    "inspection_record": INSPECTION_RECORD,
    "stem_state": STEM_STATE,
    "stem_parts": STEM_PARTS,
    "causes": CAUSES,
    "membership": MEMBERSHIP,
    "figures": FIGURES,
    "trees": TREES,
    "flags": FLAGS,
    "osm_trees": OSM_TREES,
}


def names(frame: str) -> list[str]:
    """Return the column names of a frame, in order.

    Raises
    ------
    KeyError
        If there is no such frame.
    """
    return [column.name for column in FRAMES[frame]]


def empty(frame: str) -> pd.DataFrame:
    """Return the frame with its columns and types and no rows.

    Raises
    ------
    KeyError
        If there is no such frame.
    """
    return _blank(frame).copy()


@lru_cache
def _blank(frame: str) -> pd.DataFrame:
    return pd.DataFrame({c.name: pd.Series(dtype=_DTYPES[c.kind]) for c in FRAMES[frame]})


def shaped(frame: str, rows: pd.DataFrame) -> pd.DataFrame:
    """Return ``rows`` with exactly the columns of ``frame``, absent ones empty, types set.

    Missing text is ``None``, missing numbers NaN (or NA for whole numbers), missing flags False.

    Raises
    ------
    KeyError
        If there is no such frame.
    """
    out = {}
    for column in FRAMES[frame]:
        series = rows[column.name] if column.name in rows else pd.Series([None] * len(rows), index=rows.index)
        if column.kind == "flag":
            out[column.name] = series.map(lambda v: v is not None and v == v and bool(v)).astype(bool)
        elif column.kind in ("float", "int"):
            out[column.name] = pd.to_numeric(series).astype(_DTYPES[column.kind])
        else:
            series = series.astype(object)
            out[column.name] = series.where(series.notna(), None)
    return pd.DataFrame(out, index=rows.index)


def require(rows: pd.DataFrame, frame: str, needed: Iterable[str]) -> None:
    """Check that a frame has the columns a function needs.

    Raises
    ------
    ColumnMissing
        If one is absent.
    """
    absent = [name for name in needed if name not in rows.columns]
    if absent:
        raise ColumnMissing(frame, absent)
