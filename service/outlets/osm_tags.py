"""Trees as tags of OpenStreetMap: what was measured and is sure, in the units that the tags have.

Living trees with a position leave, without signs and without anything that nobody measured. ``circumference``
[m] is pi times the standard diameter at the breast height of the site, to the centimetre; where that is not
the 1.3 m of the tag's documentation it is not converted. Several trunks are written with ``;`` between them,
in the order of their numbers, if every one of them has a size (common practice, no source).

References
----------
OpenStreetMap wiki: Tag:natural=tree, Key:circumference, Key:height, Key:diameter_crown (metres), Key:species,
Key:genus, Date specification (YYYY, YYYY-MM, YYYY-MM-DD), Item:Q1159 check_date (day of the latest review).
"""

import math
import re
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely

from layers import columns
from layers.standing import COUNTED
from service.errors import InvalidRequest
from service.outlets.layer_rows import LayerRows, Viewed

OSM_TREES = "osm_trees"
KEPT_TAGS = ("leaf_type", "leaf_cycle", "denotation")  # as a file brought them
_CULTIVAR = re.compile(r"\s['‘’\"]([^'‘’\"]+)['‘’\"]\s*")
_MIDDLES = re.compile(r"(\d{4})-(?:07-02|((?!02)\d\d)-15|(02)-14)")  # days that may stand for a year or month


def osm_trees(view: Viewed) -> LayerRows:
    """Return the living trees with a position as tags.

    Raises
    ------
    InvalidRequest
        If the site has no place on earth.
    """
    if view.terms.frame == "local":
        raise InvalidRequest(
            "This ground has no place on earth, so its trees cannot leave as tags of a map of the world; "
            "export the layer trees instead."
        )
    trees = view.trees
    placed = np.isfinite(trees[["lon_deg", "lat_deg"]].to_numpy(dtype=float)).all(axis=1)
    trees = trees[placed & trees["status"].isin(COUNTED).to_numpy()].reset_index(drop=True)
    rows = columns.shaped(OSM_TREES, _tags(view, trees))
    return LayerRows(
        name=OSM_TREES,
        rows=rows,
        shapes=shapely.points(rows[["lon_deg", "lat_deg"]].to_numpy(dtype=float)),
        local=False,
        shape_kind="Point",
        as_of=view.as_of,
        known_at=view.known_at,
        site=view.terms.slug,
        ids=trees["fid"].to_numpy(dtype=np.int64),
        sparse=True,
    )


def _tags(view: Viewed, trees: pd.DataFrame) -> pd.DataFrame:
    records = view.records.trees.set_index("tree_id").reindex(trees["tree_id"])
    sizes, days = _girths(view), _days(view)
    sure = (records["name_sure"] == "sure").tolist()
    names = [name if known else None for name, known in zip(trees["scientific_name"], sure, strict=True)]
    written = records["name_as_written"].tolist()
    tags: dict[str, Any] = {
        "tree_id": trees["tree_id"],
        "natural": "tree",
        "ref": trees["tag"],
        "species": [None if _is_genus(name) else name for name in names],
        "genus": [g if known else None for g, known in zip(trees["genus"], sure, strict=True)],
        "taxon:cultivar": [
            _cultivar(text) if known else None for text, known in zip(written, sure, strict=True)
        ],
        "circumference": [sizes.get(tree_id) for tree_id in trees["tree_id"]],
        "height": [_metres(value) for value in trees["height_m"]],
        "diameter_crown": [_metres(value) for value in trees["crown_diameter_m"]],
        "start_date": [_coarse(day) for day in trees["planted_on"]],
        "check_date:circumference": [
            days.get(tree_id) if tree_id in sizes else None for tree_id in trees["tree_id"]
        ],
        "lon_deg": trees["lon_deg"],
        "lat_deg": trees["lat_deg"],
    }
    kept = [cells if isinstance(cells, Mapping) else {} for cells in records["kept"]]
    tags |= {tag: [cells.get(tag) for cells in kept] for tag in KEPT_TAGS}
    return pd.DataFrame(tags, index=trees.index)


def _is_genus(name: str | None) -> bool:
    return name is None or name.endswith(" spp.")


def _cultivar(written: object) -> str | None:
    found = _CULTIVAR.search(written) if isinstance(written, str) else None
    return found[1] if found else None


def _girths(view: Viewed) -> dict[str, str]:
    """Return the girths [m] of the living trunks of each tree that has a size for all of them."""
    numbers = dict(zip(view.records.stems["stem_id"], view.records.stems["number"], strict=True))
    stems = view.state.stem_state
    stems = stems[stems["stem_id"].notna() & stems["status"].isin(COUNTED)]
    found: dict[str, list[tuple[int, float]]] = {}
    for tree_id, stem_id, dbh in zip(stems["tree_id"], stems["stem_id"], stems["dbh_cm"], strict=True):
        found.setdefault(tree_id, []).append((numbers.get(stem_id, 0), dbh))
    return {
        tree_id: ";".join(_girth(dbh) for _, dbh in sorted(of_tree))
        for tree_id, of_tree in found.items()
        if all(math.isfinite(dbh) for _, dbh in of_tree)
    }


def _girth(dbh_cm: float) -> str:
    """Return a girth [m] to the centimetre, that of a sapling to the millimetre."""
    girth = math.pi * dbh_cm / 100.0
    return f"{round(girth, 2 if girth >= 0.1 else 3):g}"


def _metres(value: float) -> str | None:
    return f"{round(value, 1):g}" if math.isfinite(value) else None


def _days(view: Viewed) -> dict[str, str]:
    """Return the last day on which a trunk of each tree was measured, as exactly as it was said."""
    readings = view.records.readings
    precisions = dict(zip(readings["reading_id"], readings["date_precision"], strict=True))
    stems = view.state.stem_state
    out: dict[str, str] = {}
    rows: Iterable[Any] = zip(stems["tree_id"], stems["measured_on"], stems["reading"], strict=True)
    for tree_id, day, reading in rows:
        if isinstance(day, str):
            length = {"year": 4, "month": 7}.get(precisions.get(reading, "day"), 10)
            out[tree_id] = max(out.get(tree_id, ""), day[:length])
    return out


def _coarse(day: object) -> str | None:
    """Return a day of planting, or the year or month that its middle day may stand for."""
    if not isinstance(day, str):
        return None
    found = _MIDDLES.fullmatch(day)
    return day if found is None else "-".join(filter(None, found.groups()))
