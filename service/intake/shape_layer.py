"""Whether a file is a list of trees, areas or targets: by its shapes, its headers and its words."""

from collections import Counter
from typing import Any

import numpy as np
import shapely

from service.errors import Ask, InvalidRequest
from service.intake.bounded_shapes import from_wkt
from service.intake.column_samples import is_wkt, sample
from service.intake.prepared import Guess, ImportOptions
from service.intake.shape_words import ONLY_TARGETS, shape_kind
from service.intake.source_table import SourceTable
from service.intake.words import folded, roles_of

LAYERS = ("trees", "areas", "targets")
_OF_TREES = ("species", "genus", "girth", "diameter", "class", "height", "crown", "common_name")
_POINTS, _LINES = (0, 4), (1, 5)
_WORDS = {0: "points", 1: "lines", 3: "polygons", 4: "points", 5: "lines", 6: "polygons"}


def layer_of(table: SourceTable, options: ImportOptions, guesses: list[Guess]) -> str:
    """Return whether a file is one of trees, areas or targets: as said, else by its shapes and words.

    Raises
    ------
    Ask
        If it has points beside polygons, and neither its headers nor its words tell what they are.
    InvalidRequest
        If the option is no layer.
    """
    if options.layer is not None:
        if options.layer not in LAYERS:
            raise InvalidRequest(
                [("--layer", f"{options.layer!r} is no layer; say trees, areas or targets.")]
            )
        return options.layer
    kinds = Counter(int(k) for k in shapely.get_type_id(_some_shapes(table)).tolist() if k >= 0)
    treeish = any(role in _OF_TREES for header in table.headers for role in roles_of(header))
    if not kinds:
        return "trees" if treeish else _of_words(table, guesses)
    said = {folded(cell) for column in table.columns for cell in sample(column)[:200]}
    as_targets = bool(said & ONLY_TARGETS)
    layer = _of_shapes(kinds, table.path.name, treeish=treeish, as_targets=as_targets)
    shapes = " and ".join(sorted({_WORDS[k] for k in kinds if k in _WORDS}))
    why = f"Its shapes are {shapes}" + (", and its words are those of targets." if as_targets else ".")
    if layer == "trees" and len(kinds) > 1:
        why = f"Most of its shapes are points, and its headers are those of trees ({shapes})."
    guesses.append(Guess("layer", layer, why, 0.9 if layer != "targets" else 0.8))
    return layer


def _of_shapes(kinds: Counter[int], file_name: str, *, treeish: bool, as_targets: bool) -> str:
    points = sum(kinds[kind] for kind in _POINTS)
    others = kinds.total() - points
    if points and not others:
        return "targets" if as_targets and not treeish else "trees"
    if treeish and points > others:
        return "trees"
    if as_targets or any(kinds[kind] for kind in _LINES):
        return "targets"
    if points:
        raise Ask(
            "--layer",
            ["targets", "areas", "trees"] if not treeish else ["trees", "areas", "targets"],
            f"{file_name} has {points:,} points and {others:,} polygons; an area is a polygon, a tree stands "
            "at a point, a target may be either.",
        )
    return "areas"


def _of_words(table: SourceTable, guesses: list[Guess]) -> str:
    """Return targets where a column of kinds says so, in a list without shapes or headers of trees."""
    for header, column in zip(table.headers, table.columns, strict=True):
        said = sample(column)
        known = sum(shape_kind(cell, "targets") is not None for cell in said)
        if said and "record_kind" in roles_of(header) and known >= 0.8 * len(said):
            why = f"The words of {header!r} are those of targets, and no header is one of trees."
            guesses.append(Guess("layer", "targets", why, 0.8))
            return "targets"
    return "trees"


def _some_shapes(table: SourceTable) -> Any:
    """Return the shapes of a file, or the first of a column of geometry in words."""
    if table.geometry is not None:
        return np.array(table.geometry, dtype=object)
    for column in table.columns:
        said = sample(column)
        if said and sum(map(is_wkt, said)) >= 0.8 * len(said):
            return np.array([from_wkt(cell)[0] for cell in said[:100]], dtype=object)
    return np.array([], dtype=object)
