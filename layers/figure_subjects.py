"""What figures are given for: the whole site, its places and its areas, and which trees belong to each."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from layers import ground
from layers.error_model import Array, Whole
from layers.figure_sums import Stand
from layers.inputs import SiteTerms

SITE, WITHIN_BOUNDARY, OTHERS = 0, 1, 2  # the order of the rows
BOUNDARY = "boundary"
PLACES, PLACE, PART = "places", "place", "part"


@dataclass(frozen=True)
class Subject:
    """One row of figures; ``has_trees`` is false for an area of which nobody can say what stands in it."""

    area_id: str | None
    layer: str | None
    name: str | None
    kind: str | None
    area_ha: float = float("nan")
    area_se_ha: float = float("nan")
    counting_limit_cm: float = float("nan")
    has_trees: bool = True
    has_outline: bool = False
    is_place: bool = False


@dataclass(frozen=True)
class Subjects:
    """All rows of figures, the whole site first, then the trees within its boundary, then the others sorted.

    ``group`` and ``tree`` are the pairs of a row and a tree that belongs to it.
    """

    rows: list[Subject]
    group: Whole
    tree: Whole


def subjects_of(
    stand: Stand,
    membership: pd.DataFrame,
    trees: pd.DataFrame,
    areas: pd.DataFrame,
    places: pd.DataFrame | None,
    terms: SiteTerms,
) -> Subjects:
    """Return what figures are given for, with its trees."""
    inside = _inside(stand, membership)
    of_place = _places_of_trees(stand, trees, places)
    found = [*_place_subjects(of_place, places, areas, terms), *_area_subjects(areas)]
    found.sort(key=lambda one: (one.layer or "", one.name or "", one.area_id or ""))
    within = _within_boundary(areas, terms)
    site = Subject(None, None, terms.name, None, counting_limit_cm=within.counting_limit_cm)
    rows = [site, within, *found]

    place_of_area = {
        a: p for a, p in zip(areas["area_id"], areas["place_id"], strict=True) if p is not None and p == p
    }
    everyone = np.arange(len(stand.tree_id))
    members: list[Whole] = [everyone, _trees_within_boundary(areas, inside, everyone)]
    nobody = np.zeros(0, dtype=np.int64)
    for one in found:
        by_place = one.is_place or not one.has_outline
        key = one.area_id if one.is_place else place_of_area.get(one.area_id)
        members.append(of_place.get(key, nobody) if by_place else inside.get(one.area_id, nobody))
    group = np.repeat(np.arange(len(rows)), [len(each) for each in members])
    return Subjects(rows, group, np.concatenate(members))


def _inside(stand: Stand, membership: pd.DataFrame) -> dict[Any, Whole]:
    """The trees of the stand inside each area."""
    tree = stand.tree_id.get_indexer(membership["tree_id"])
    return _grouped(membership["area_id"].to_numpy(dtype=object)[tree >= 0], tree[tree >= 0])


def _grouped(keys: np.ndarray, tree: Whole) -> dict[Any, Whole]:
    code, names = pd.factorize(keys)
    tree = tree[code >= 0]
    code = code[code >= 0]
    order = np.argsort(code, kind="stable")
    if not len(names):
        return {}
    ends = np.cumsum(np.bincount(code, minlength=len(names)))
    return dict(zip(names, np.split(tree[order], ends[:-1]), strict=True))


def _places_of_trees(stand: Stand, trees: pd.DataFrame, places: pd.DataFrame | None) -> dict[Any, Whole]:
    """The trees of the stand of each place, by its id; by name where trees carry no id of their place."""
    tree = stand.tree_id.get_indexer(trees["tree_id"])
    if "place_id" in trees:
        keys = trees["place_id"].to_numpy(dtype=object)
    elif places is not None and len(places) and "place" in trees:
        parts = places[(places["kind"] == PART).to_numpy(dtype=bool)]
        ids = dict(zip(parts["name"], parts["id"], strict=True))
        keys = np.array([ids.get(name) for name in trees["place"]] or [None], dtype=object)[: len(trees)]
    else:
        return {}
    return _grouped(keys[tree >= 0], tree[tree >= 0])


def _place_subjects(
    of_place: dict[Any, Whole], places: pd.DataFrame | None, areas: pd.DataFrame, terms: SiteTerms
) -> list[Subject]:
    names: dict[Any, Any] = dict.fromkeys(of_place)
    if places is not None and len(places):
        is_part = places["kind"] == PART
        names |= dict(zip(places["id"][is_part], places["name"][is_part], strict=True))
        named = dict(zip(places["id"], places["name"], strict=True))
        names = {place: name or named.get(place) for place, name in names.items()}
    drawn = dict(list(areas[areas["place_id"].notna()].groupby("place_id", sort=False)))
    return [
        Subject(
            place,
            PLACES,
            name,
            PLACE,
            *_size(drawn.get(place), terms),
            _limit(drawn.get(place)),
            has_outline=place in drawn,
            is_place=True,
        )
        for place, name in names.items()
    ]


def _size(areas: pd.DataFrame | None, terms: SiteTerms) -> tuple[float, float]:
    """The ground under some areas [ha] and its standard error, NaN where it is not known.

    Beside an outline a typed size is no ground of its own.
    """
    if areas is None or not len(areas):
        return float("nan"), float("nan")
    if _has_outline(areas):
        areas = areas[areas["geometry"].notna()]
    errors = areas["area_se_ha"].to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(errors)
    se = float(np.sqrt(np.sum(errors[known] ** 2))) if known.any() else float("nan")
    return (float(areas["area_ha"].iloc[0]) if len(areas) == 1 else ground.union_ha(areas, terms)), se


def _limit(areas: pd.DataFrame | None) -> float:
    """The largest counting limit of some areas [cm], NaN where none is known."""
    if areas is None or areas["counting_limit_cm"].isna().all():
        return float("nan")
    return float(areas["counting_limit_cm"].max())


def _area_subjects(areas: pd.DataFrame) -> list[Subject]:
    return [
        Subject(
            row.area_id,
            row.layer,
            row.name_,
            row.kind,
            float(row.area_ha),
            _number(row.area_se_ha),
            _number(row.counting_limit_cm),
            has_trees=row.geometry is not None or (row.place_id is not None and row.place_id == row.place_id),
            has_outline=row.geometry is not None,
        )
        for row in areas.rename(columns={"name": "name_"}).itertuples(index=False)
    ]


def _number(value: Any) -> float:
    return float("nan") if value is None or pd.isna(value) else float(value)


def _within_boundary(areas: pd.DataFrame, terms: SiteTerms) -> Subject:
    boundary = areas[(areas["kind"] == BOUNDARY).to_numpy(dtype=bool)]
    size, se = _size(boundary, terms)
    limit = _limit(boundary)
    return Subject(None, None, terms.name, None, size, se, limit, has_outline=_has_outline(boundary))


def _has_outline(boundary: pd.DataFrame) -> bool:
    return any(shape is not None for shape in boundary["geometry"])


def _trees_within_boundary(areas: pd.DataFrame, inside: dict[Any, Whole], everyone: Whole) -> Whole:
    """Trees in any boundary; all where the boundary is only a typed size; none without a boundary."""
    boundary = areas[(areas["kind"] == BOUNDARY).to_numpy(dtype=bool)]
    if len(boundary) and not _has_outline(boundary):
        return everyone
    found = [inside[area_id] for area_id in boundary["area_id"] if area_id in inside]
    return np.unique(np.concatenate(found)) if found else np.zeros(0, dtype=np.int64)


def near_edge(stand: Stand, membership: pd.DataFrame, areas: list[Subject]) -> Array:
    """Return how many living trees are closer to the edge of each area than their position is known."""
    tree = stand.tree_id.get_indexer(membership["tree_id"])
    near = membership["near_edge"].to_numpy(dtype=bool) & (tree >= 0)
    near[near] = stand.living[tree[near]]
    counts = membership["area_id"][near].value_counts()
    return np.array(
        [counts.get(one.area_id, 0) if one.has_outline and not one.is_place else np.nan for one in areas],
        dtype=float,
    )
