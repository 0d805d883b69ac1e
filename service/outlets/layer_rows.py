"""The layers that leave: rows in the words of the nomenclature, each with its place on the ground."""

import datetime as dt
import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import shapely

from layers import columns
from layers.caution import caution
from layers.inputs import Records, SiteTerms
from service.errors import NotFound

POSITION = ("lon_deg", "lat_deg", "x_m", "y_m")
PLACE_COLUMNS = (
    *("place_id", "fid", "name", "kind", "name_as_written", *POSITION),
    *("position_source", "external_id", "version", "change_no"),
)
LOCAL_NOTE = "This ground has no place on earth yet, so nothing here has a position; its CSV has metres."
AS_WRITTEN = " (as written)"
_ID_BITS = 52  # every reader of JSON keeps such a number


class Stems(Protocol):
    """The state of the stems on a day."""

    @property
    def stem_state(self) -> pd.DataFrame:
        """One row per stem, columns of STEM_STATE."""


class Viewed(Protocol):
    """What is needed of a site at a day; ``service.view.SiteView`` is one."""

    terms: SiteTerms
    records: Records
    as_of: str
    known_at: int

    @property
    def state(self) -> Stems:
        """The stems on that day."""

    @property
    def trees(self) -> pd.DataFrame:
        """The table of trees, columns of TREES."""

    @property
    def areas(self) -> pd.DataFrame:
        """The areas that hold on that day, columns of AREA_RECORD and ``area_ha``."""

    @property
    def flags(self) -> pd.DataFrame:
        """The list to be looked at, columns of FLAGS."""

    @property
    def figures(self) -> list[dict[str, Any]]:
        """Figures of the site, its places and its areas."""


@dataclass(frozen=True)
class LayerRows:
    """A layer that leaves: its rows, and a shape or None for each."""

    name: str
    rows: pd.DataFrame
    shapes: np.ndarray
    local: bool  # shapes are in metres of a ground without a place on earth
    shape_kind: str  # Point, MultiPolygon or Unknown (mixed)
    as_of: str
    known_at: int
    site: str
    ids: np.ndarray  # the number that tells features apart, int64, kept across changes of the site
    caution: str | None = None  # goes with everything that holds flags, once
    sparse: bool = False  # in GeoJSON what is missing is left out, not null


def layer_rows(view: Viewed, layer: str) -> LayerRows:
    """Return a layer of a site at a day.

    Raises
    ------
    NotFound
        If there is no such layer.
    """
    if layer not in _LAYERS:
        raise NotFound("layer", layer)
    return _LAYERS[layer](view)


def figure_rows(view: Viewed, figures: list[dict[str, Any]]) -> LayerRows:
    """Return figures as a layer, each with the outline it is of; the whole site has none."""
    rows = pd.DataFrame(figures, columns=columns.names("figures"))
    outlines = _outlines(view.areas)
    shapes = [outlines.get(area_id) for area_id in rows["area_id"]]
    ids = _numbers(a if isinstance(a, str) else view.terms.site_id for a in rows["area_id"])
    return _made(view, "figures", rows, _shape_array(shapes), "MultiPolygon", ids=ids, cautioned=True)


def _trees(view: Viewed) -> LayerRows:
    rows = view.trees.reset_index(drop=True)
    kept = dict(zip(view.records.trees["tree_id"], view.records.trees["kept"], strict=True))
    rows = _with_kept(rows, [kept.get(tree_id) or {} for tree_id in rows["tree_id"]])
    return _made(view, "trees", rows, _points(view, rows), "Point", cautioned=True)


def _stems(view: Viewed) -> LayerRows:
    records = view.records.stems[["stem_id", "fid", "number"]]
    rows = view.state.stem_state.merge(records, on="stem_id", how="left", sort=False)
    rows = rows.merge(view.records.trees[["tree_id", "tag"]], on="tree_id", how="left", sort=False)
    order = ["stem_id", "fid", "tree_id", "tag", "number"]
    rows = rows[order + [name for name in rows if name not in order]]
    return _made(view, "stems", rows, _of_trees(view, rows), "Point")


def _readings(view: Viewed) -> LayerRows:
    stems = view.records.stems[["stem_id", "tree_id", "number"]]
    rows = view.records.readings.merge(stems, on="stem_id", how="left", sort=False)
    rows = rows.merge(view.records.trees[["tree_id", "tag"]], on="tree_id", how="left", sort=False)
    by_then = _known_by(view, rows["measured_on"], rows["received_at"])
    rows = rows[by_then].reset_index(drop=True)
    order = ["reading_id", "fid", "tree_id", "tag", "stem_id", "number"]
    rows = rows[order + [name for name in rows if name not in order]]
    return _made(view, "readings", rows, _of_trees(view, rows), "Point")


def _areas(view: Viewed) -> LayerRows:
    rows = view.areas.reset_index(drop=True)
    shapes = _shape_array(list(rows["geometry"]))
    return _made(view, "areas", rows.drop(columns="geometry"), shapes, "MultiPolygon")


def _places(view: Viewed) -> LayerRows:
    places = view.records.places.rename(columns={"id": "place_id"})
    rows = places.reindex(columns=list(PLACE_COLUMNS)).reset_index(drop=True)
    for name in POSITION:
        rows[name] = pd.to_numeric(rows[name]).astype(float)
    for name in ("fid", "version", "change_no"):
        rows[name] = pd.to_numeric(rows[name]).astype("Int64")
    kept = [json.loads(text) if text else {} for text in places["kept"]] if "kept" in places else []
    rows = _with_kept(rows, kept)
    return _made(view, "places", rows, _points(view, rows), "Point")


def _targets(view: Viewed) -> LayerRows:
    rows = view.records.targets.reset_index(drop=True)
    shapes = _shape_array(list(rows["geometry"]))
    return _made(view, "targets", rows.drop(columns="geometry"), shapes, "Unknown")


def _flags(view: Viewed) -> LayerRows:
    rows = view.flags.reset_index(drop=True)
    rows = rows.assign(fid=_numbers(rows["flag_key"]))
    return _made(view, "flags", rows, _of_trees(view, rows), "Point", cautioned=True)


def _inspections(view: Viewed) -> LayerRows:
    rows = view.records.inspections
    held = [
        not void and day <= view.as_of for void, day in zip(rows["void"], rows["inspected_on"], strict=True)
    ]
    rows = rows[np.array(held, dtype=bool)].drop(columns=["void", "fid"]).reset_index(drop=True)
    keys = zip(rows["inspection_id"], rows["tree_id"], strict=True)
    ids = _numbers(f"{inspection} {tree or ''}" for inspection, tree in keys)
    return _made(view, "inspections", rows, _of_trees(view, rows), "Point", ids=ids, cautioned=True)


def _figures(view: Viewed) -> LayerRows:
    return figure_rows(view, view.figures)


_LAYERS: dict[str, Callable[[Viewed], LayerRows]] = {
    "trees": _trees,
    "stems": _stems,
    "readings": _readings,
    "areas": _areas,
    "places": _places,
    "targets": _targets,
    "flags": _flags,
    "inspections": _inspections,
    "figures": _figures,
}
LAYERS = tuple(_LAYERS)


def _made(
    view: Viewed,
    name: str,
    rows: pd.DataFrame,
    shapes: np.ndarray,
    shape_kind: str,
    *,
    ids: np.ndarray | None = None,
    cautioned: bool = False,
) -> LayerRows:
    if "site" not in rows:
        rows = rows.assign(site=pd.Series(view.terms.slug, index=rows.index, dtype=object))
    return LayerRows(
        name=name,
        rows=rows,
        shapes=shapes,
        local=view.terms.frame == "local",
        shape_kind=shape_kind,
        as_of=view.as_of,
        known_at=view.known_at,
        site=view.terms.slug,
        ids=rows["fid"].to_numpy(dtype=np.int64) if ids is None else ids,
        caution=caution(view.terms.phone) if cautioned else None,
    )


def _numbers(keys: Iterable[str]) -> np.ndarray:
    """Return a number for each key, the same one whenever and wherever it is asked."""
    digests = (hashlib.blake2b(key.encode(), digest_size=8).digest() for key in keys)
    return np.array([int.from_bytes(digest, "big") >> (64 - _ID_BITS) for digest in digests], dtype=np.int64)


def _points(view: Viewed, rows: pd.DataFrame) -> np.ndarray:
    east, north = ("x_m", "y_m") if view.terms.frame == "local" else ("lon_deg", "lat_deg")
    return points_at(rows[[east, north]].to_numpy(dtype=float))


def points_at(places: np.ndarray) -> np.ndarray:
    """Return a point for each pair of coordinates, None where one is missing."""
    known = np.isfinite(places).all(axis=1)
    out = np.full(len(places), None, dtype=object)
    out[known] = shapely.points(places[known])
    return out


def _of_trees(view: Viewed, rows: pd.DataFrame) -> np.ndarray:
    trees = view.records.trees
    at = dict(zip(trees["tree_id"], _points(view, trees), strict=True))
    return _shape_array([at.get(tree_id) for tree_id in rows["tree_id"]])


def _shape_array(shapes: list[Any]) -> np.ndarray:
    out = np.full(len(shapes), None, dtype=object)
    out[:] = shapes
    return out


def _outlines(areas: pd.DataFrame) -> dict[str, Any]:
    drawn = areas[areas["geometry"].notna()]
    of_places = {
        place_id: shapely.union_all(list(group["geometry"])) for place_id, group in drawn.groupby("place_id")
    }
    return of_places | dict(zip(drawn["area_id"], drawn["geometry"], strict=True))


def _known_by(view: Viewed, said_on: pd.Series, received_at: pd.Series) -> np.ndarray:
    """Which records hold on the day: by their own day, else by the day they arrived at the site."""
    zone = ZoneInfo(view.terms.time_zone)
    days = [
        day if isinstance(day, str) else _local_day(arrived, zone)
        for day, arrived in zip(said_on, received_at, strict=True)
    ]
    return np.array([day <= view.as_of for day in days], dtype=bool)


def _local_day(moment: str, zone: ZoneInfo) -> str:
    return dt.datetime.fromisoformat(moment).astimezone(zone).date().isoformat()


def _with_kept(rows: pd.DataFrame, kept: list[dict[str, str]]) -> pd.DataFrame:
    """Put the columns that files had beside ours under their own headers, as they were written."""
    headers = dict.fromkeys(header for cells in kept for header in cells)
    taken = {name.casefold() for name in rows} | {"geom", "geometry", "bbox", "id", "site"}
    added = {}
    for header in headers:
        name = header
        while name.casefold() in taken:
            name += AS_WRITTEN
        taken.add(name.casefold())
        added[name] = pd.Series([cells.get(header) for cells in kept], index=rows.index, dtype=object)
    return pd.concat([rows, pd.DataFrame(added, index=rows.index)], axis=1) if added else rows
