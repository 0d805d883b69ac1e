"""What a map shows, as one JSON document: data only, drawn in the browser with text as text.

The document (``format`` "boleward map 1") holds, all positions as (x, y) = (longitude, latitude) [deg] or
(east, north) [m] on a local ground:

``title, lang, as_of, frame, units, breast_height_m, attribution``
    what the map is of; ``as_of`` is the day.
``half_width``
    of a 95 % interval, in standard errors: what "give or take" says.
``messages``
    every word that the map shows by itself (keys of `layers.map_words.MAP_WORDS` and ``caution``).
``classes``
    size classes from small to large: ``label, fill, radius_px, trees``.
``signs``
    how dead and unmeasured trees, places, targets and things to be looked at are drawn.
``trees``
    columns of equal length. Text columns are coded: ``{"values": [...], "codes": [...]}``, code -1 is empty.
    ``size_class`` is the number of the class, -1 without a size; ``x`` and ``y`` are null without a position.
    Removed trees are left out; the largest comes first, so that small ones are drawn on top.
``flags``
    coded columns ``kind, words, evidence`` and ``tree``, the number of the tree in ``trees``; open ones only.
``areas``
    ``area_id, layer, name, kind, use, geometry`` (GeoJSON), some figures, and ``step``: {quantity: number of
    the step or -1}; the largest comes first.
``shadings``
    {quantity: {breaks, fills}}, breaks in the display unit.
``targets, places``
    targets with geometry; places without a tree (stump, gap, vacant) with ``x, y``.
``hazards, closures``
    what endangers people who work here: ``kind, note, ask, geometry``; what is closed, drawn topmost:
    ``name, from_on, why, how_marked, who_may_reopen, trees`` (numbers of trees in it), ``geometry``.
``bounds``
    west, south, east, north of what should be seen first, or null.
``plan_image, basemap, tree_url``
    a picture ``{url, bounds}`` turned north up; ``{url, attribution, attribution_url}``; the address of a
    tree's page with ``{tree_id}`` in it. Each may be null.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely

from layers import columns, size_classes, symbology
from layers.caution import caution
from layers.error_model import Z95
from layers.inputs import SiteTerms
from layers.map_words import MAP_WORDS
from layers.symbology import DrawnClass, Shading
from layers.telling import LAYERS, Voice
from layers.units import FT2_PER_ACRE_PER_M2_PER_HA, HA_PER_ACRE

FORMAT = "boleward map 1"
POSITION_DIGITS = {"earth": 7, "local": 3}  # about a centimetre; a millimetre

_TEXTS = (
    "tag",
    "place",
    "common_name",
    "scientific_name",
    "name_as_written",
    "status",
    "measured_as",
    "height_source",
    "crown_source",
    "growth_words",
    "last_measured_on",
    "last_inspected_on",
    "keeper",
)
_SENTENCES = ("measured_as", "height_source", "crown_source", "growth_words")
_NUMBERS = {"dbh_cm": 3, "dbh_se_cm": 4, "height_m": 3, "crown_diameter_m": 3}
_COUNTS = ("stems", "questions_not_askable")
_AREA_FIGURES = (
    "trees",
    "stems",
    "area_ha",
    "stems_per_ha",
    "basal_area_m2_per_ha",
    "basal_area_se_m2_per_ha",
    "to_be_looked_at",
)
_SHADED = {
    "basal_area": ("basal_area_m2_per_ha", FT2_PER_ACRE_PER_M2_PER_HA),
    "stems": ("stems_per_ha", HA_PER_ACRE),
}
_UNPLANTED = ("stump", "gap", "vacant", "other")
_EDGE_SHARE = 0.002  # of the positions at either end that a crowded first view may leave outside
_CROWD = 1000


def areas_with_figures(areas: pd.DataFrame, figures: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """Return the areas with the figures that a map shows beside them.

    Parameters
    ----------
    areas : DataFrame
        Columns of ``area_record``; the index is not kept.
    figures : iterable of dict
        Figures with the keys of the nomenclature; those of the site and of places are passed over.
    """
    by_id = {row["area_id"]: row for row in figures if row.get("layer") != "places"}
    out = areas.reset_index(drop=True)
    found = [by_id.get(area_id, {}) for area_id in out["area_id"]]
    for name in _AREA_FIGURES:
        values = [row.get(name) for row in found]
        out[name] = pd.to_numeric(pd.Series(values, index=out.index, dtype=object)).astype(float)
    return out


def map_document(
    trees: pd.DataFrame,
    areas: pd.DataFrame,
    targets: pd.DataFrame,
    places: pd.DataFrame,
    flags: pd.DataFrame,
    terms: SiteTerms,
    as_of: str,
    *,
    messages: Mapping[str, str] = MAP_WORDS,
    lang: str = "en-GB",
    plan_image: Mapping[str, Any] | None = None,
    basemap: Mapping[str, str] | None = None,
    tree_url: str | None = None,
    attribution: str | None = None,
    voice: Voice | None = None,
    hazards: Sequence[Mapping[str, Any]] = (),
    closures: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """Return the document of a map (see the module), ready for ``json.dumps``.

    Parameters
    ----------
    trees, flags : DataFrame
        Columns of ``trees`` and ``flags``.
    areas : DataFrame
        What `areas_with_figures` gives.
    targets : DataFrame
        Columns of ``target_record``.
    places : DataFrame
        Columns ``name, kind, lon_deg, lat_deg, x_m, y_m``; may be empty.
    terms : SiteTerms
        Frame, units, breaks, breast height and whom to call.
    as_of : str
        The day the map holds for.
    messages : mapping
        Words of the map, translated; English ones stand in for what is absent.
    voice : Voice, optional
        How sentences that data made are said; in English and in the units of the ground by default.
    hazards, closures : sequences of mappings
        As in the module's description, ``geometry`` a shape or None, ``trees`` ids; ``ask`` is what a hazard
        asks of people, in words.
    plan_image, basemap, tree_url, attribution
        As in the module's description.

    Raises
    ------
    ColumnMissing
        If a frame lacks columns.
    """
    columns.require(trees, "trees", ("tree_id", "status", "dbh_cm", *_TEXTS, *_xy_names(terms)))
    columns.require(flags, "flags", ("tree_id", "kind", "words", "evidence", "answered"))
    words = {**MAP_WORDS, **messages}
    words["caution"] = caution(terms.phone, words["caution"], words["no_phone"])
    shown = trees[trees["status"] != "removed"]
    shown = shown.sort_values("dbh_cm", ascending=False, na_position="first", kind="stable")
    classes = symbology.drawn_classes(terms, words)
    numbers = _class_numbers(shown, terms)
    shapes, shadings = _areas(areas, terms)
    voice = voice or Voice(terms.units)
    return {
        "format": FORMAT,
        "title": terms.name,
        "lang": lang,
        "as_of": as_of,
        "frame": terms.frame,
        "units": terms.units,
        "breast_height_m": terms.breast_height_m,
        "half_width": Z95,
        "attribution": attribution,
        "messages": words,
        "classes": _legend(classes, numbers[(shown["status"] != "dead").to_numpy()]),
        "signs": symbology.SIGNS,
        "trees": _trees(shown, numbers, terms, voice),
        "flags": _flags(flags, shown["tree_id"], voice),
        "areas": shapes,
        "shadings": shadings,
        "targets": _targets(targets, terms),
        "places": _places(places, terms),
        "hazards": _hazards(hazards, terms, voice),
        "closures": _closures(closures, shown["tree_id"], terms),
        "bounds": _bounds(shown, shapes, plan_image, terms),
        "plan_image": dict(plan_image) if plan_image else None,
        "basemap": dict(basemap) if basemap and terms.frame == "earth" else None,
        "tree_url": tree_url,
    }


def _xy_names(terms: SiteTerms) -> tuple[str, str]:
    return ("x_m", "y_m") if terms.frame == "local" else ("lon_deg", "lat_deg")


def _rounded(values: pd.Series, digits: int) -> list[float | None]:
    numbers = np.round(pd.to_numeric(values).to_numpy(dtype=float, na_value=np.nan), digits)
    return [float(v) if np.isfinite(v) else None for v in numbers]


def _coded(values: Sequence[Any] | pd.Series) -> dict[str, list[Any]]:
    codes, uniques = pd.factorize(pd.Series(values, dtype=object))
    return {"values": [str(value) for value in uniques], "codes": codes.tolist()}


def _class_numbers(trees: pd.DataFrame, terms: SiteTerms) -> np.ndarray:
    """The class of each tree by its diameter, else by the label of a class reading if it is one of ours."""
    numbers = size_classes.class_of(trees["dbh_cm"], terms.breaks_cm)
    if "size_class" not in trees:
        return numbers
    ours = {label: i for i, label in enumerate(size_classes.labels(terms))}
    said = trees["size_class"].map(ours).fillna(size_classes.NO_CLASS).to_numpy(dtype=np.int64)
    return np.where(numbers == size_classes.NO_CLASS, said, numbers)


def _legend(classes: list[DrawnClass], numbers: np.ndarray) -> list[dict[str, Any]]:
    return [
        {"label": c.label, "fill": c.fill, "radius_px": c.radius_px, "trees": int((numbers == i).sum())}
        for i, c in enumerate(classes)
    ]


def _told(coded: dict[str, list[Any]], voice: Voice) -> dict[str, list[Any]]:
    """A coded column of sentences as a page says them."""
    return coded | {"values": [LAYERS.told(value, voice) for value in coded["values"]]}


def _trees(trees: pd.DataFrame, numbers: np.ndarray, terms: SiteTerms, voice: Voice) -> dict[str, Any]:
    x, y = _xy_names(terms)
    digits = POSITION_DIGITS[terms.frame]
    out: dict[str, Any] = {
        "tree_id": [str(tree_id) for tree_id in trees["tree_id"]],
        "x": _rounded(trees[x].where(trees[y].notna()), digits),
        "y": _rounded(trees[y].where(trees[x].notna()), digits),
        "size_class": numbers.tolist(),
        "class_said": _coded(trees["size_class"]) if "size_class" in trees else _coded([None] * len(trees)),
    }
    out |= {name: _coded(trees[name]) for name in _TEXTS}
    out |= {name: _told(out[name], voice) for name in (*_SENTENCES, "class_said")}
    out |= {name: _rounded(trees[name], digits) for name, digits in _NUMBERS.items() if name in trees}
    out |= {name: [int(v) for v in trees[name].fillna(0)] for name in _COUNTS if name in trees}
    return out


def _flags(flags: pd.DataFrame, tree_ids: pd.Series, voice: Voice) -> dict[str, Any]:
    at = {tree_id: i for i, tree_id in enumerate(tree_ids)}
    still_open = flags[flags["answered"].isna() & flags["tree_id"].isin(at)]
    out: dict[str, Any] = {"tree": [at[tree_id] for tree_id in still_open["tree_id"]]}
    told = {name: _told(_coded(still_open[name]), voice) for name in ("words", "evidence")}
    return out | {"kind": _coded(still_open["kind"]), **told}


def _geometry(shape: shapely.Geometry, terms: SiteTerms) -> dict[str, Any]:
    """GeoJSON of a shape with rounded coordinates, for drawing only."""
    digits = POSITION_DIGITS[terms.frame]
    flat = shapely.force_2d(shape)
    rounded = shapely.transform(flat, lambda xy: np.round(xy, digits))
    return dict(json.loads(shapely.to_geojson(rounded)))


def _drawn(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows that have a geometry to draw."""
    if "geometry" not in rows:
        return rows.iloc[:0]
    drawn = [shape is not None and not shape.is_empty for shape in rows["geometry"]]
    return rows[np.array(drawn, dtype=bool)]


def _areas(areas: pd.DataFrame, terms: SiteTerms) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    drawn = _drawn(areas)
    order = sorted(range(len(drawn)), key=lambda i: -drawn["geometry"].iloc[i].area)
    drawn = drawn.iloc[order]
    shadings, steps = {}, {}
    for quantity, (column, us_factor) in _SHADED.items():
        values = drawn[column].to_numpy(dtype=float) * (us_factor if terms.units == "us" else 1.0)
        shade: Shading = symbology.shading(np.where(_is_ground(drawn), values, np.nan))
        steps[quantity] = symbology.shade_index(values, shade).tolist()
        shadings[quantity] = {"breaks": list(shade.breaks), "fills": list(shade.fills)}
    figures = {name: _rounded(drawn[name], 4) for name in _AREA_FIGURES}
    shapes = [
        {
            **{key: _text(row[key]) for key in ("area_id", "layer", "name", "kind", "use")},
            **{name: values[i] for name, values in figures.items()},
            "step": {quantity: numbers[i] for quantity, numbers in steps.items()},
            "geometry": _geometry(row["geometry"], terms),
        }
        for i, (_, row) in enumerate(drawn.iterrows())
    ]
    return shapes, shadings


def _is_ground(areas: pd.DataFrame) -> np.ndarray:
    """Whether an area is shaded: all but boundaries, which everything lies in."""
    return np.asarray(areas["kind"] != "boundary", dtype=bool)


def _text(value: Any) -> str | None:
    return None if value is None or value != value else str(value)


def _targets(targets: pd.DataFrame, terms: SiteTerms) -> list[dict[str, Any]]:
    return [
        {key: _text(row[key]) for key in ("target_id", "layer", "name", "kind", "use")}
        | {"geometry": _geometry(row["geometry"], terms)}
        for _, row in _drawn(targets).iterrows()
    ]


def _hazards(rows: Sequence[Mapping[str, Any]], terms: SiteTerms, voice: Voice) -> list[dict[str, Any]]:
    return [
        {
            "kind": row["kind"],
            "note": _text(row["note"]),
            "ask": LAYERS.told(row["ask"], voice) if row["ask"] else None,
            "geometry": _geometry(row["geometry"], terms),
        }
        for row in rows
    ]


def _closures(
    rows: Sequence[Mapping[str, Any]], tree_ids: pd.Series, terms: SiteTerms
) -> list[dict[str, Any]]:
    """What is closed; a place that is known in words only is told of on the cards of its trees."""
    at = {tree_id: i for i, tree_id in enumerate(tree_ids)}
    names = ("name", "from_on", "why", "how_marked", "who_may_reopen")
    return [
        {name: _text(row.get(name)) for name in names}
        | {
            "trees": [at[tree_id] for tree_id in row["trees"] if tree_id in at],
            "geometry": None if row["geometry"] is None else _geometry(row["geometry"], terms),
        }
        for row in rows
    ]


def _places(places: pd.DataFrame, terms: SiteTerms) -> list[dict[str, Any]]:
    if not len(places):
        return []
    x, y = _xy_names(terms)
    digits = POSITION_DIGITS[terms.frame]
    bare = places[places["kind"].isin(_UNPLANTED) & places[x].notna() & places[y].notna()]
    return [
        {"name": _text(name), "kind": _text(kind), "x": px, "y": py}
        for name, kind, px, py in zip(
            bare["name"], bare["kind"], _rounded(bare[x], digits), _rounded(bare[y], digits), strict=True
        )
    ]


def _bounds(
    trees: pd.DataFrame,
    shapes: list[dict[str, Any]],
    plan_image: Mapping[str, Any] | None,
    terms: SiteTerms,
) -> list[float] | None:
    """West, south, east, north of areas and plan, and of the trees (a crowd without its outermost few)."""
    boxes = [list(shapely.geometry.shape(shape["geometry"]).bounds) for shape in shapes]
    if plan_image:
        boxes.append(list(plan_image["bounds"]))
    positions = trees[list(_xy_names(terms))].dropna().to_numpy(dtype=float)
    if len(positions):
        share = _EDGE_SHARE if len(positions) >= _CROWD else 0.0
        low, high = np.quantile(positions, [share, 1 - share], axis=0)
        boxes.append([*low.tolist(), *high.tolist()])
    if not boxes:
        return None
    corners = np.array(boxes)
    return [*corners[:, :2].min(axis=0).tolist(), *corners[:, 2:].max(axis=0).tolist()]
