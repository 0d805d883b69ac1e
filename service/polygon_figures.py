"""Figures of polygons that are given on the fly, each judged alone (definitions N8)."""

from pathlib import Path
from typing import Any

import pandas as pd
import shapely

from layers import columns, ground
from layers.figures import figures
from service.errors import InvalidRequest
from service.intake.prepared import ImportOptions, PreparedShape, SiteFacts
from service.intake.understand import prepare
from service.view import SiteView


def figures_of_file(view: SiteView, path: Path, since: str | None = None) -> list[dict[str, Any]]:
    """Return the figures of every polygon of a file, in file order; with changes since a day, if named.

    Raises
    ------
    InvalidRequest
        If the file holds no usable polygon, or ``since`` is not a day before that of the view.
    """
    crs = "local" if view.terms.frame == "local" else None
    facts = SiteFacts(frame=view.terms.frame, today=view.as_of, breast_height_m=view.terms.breast_height_m)
    prepared = prepare(path, ImportOptions(layer="areas", crs=crs), facts)
    shapes = [shape for shape in prepared.shapes if shape.refused is None]
    if not shapes:
        reasons = "; ".join(shape.refused or "" for shape in prepared.shapes)
        raise InvalidRequest(f"{path.name} holds no usable polygon. {reasons}")
    return figures_of_shapes(view, shapes, since)


def figures_of_shapes(
    view: SiteView, shapes: list[PreparedShape], since: str | None = None
) -> list[dict[str, Any]]:
    """Return the figures of prepared polygons, in their order."""
    areas = columns.shaped("area_record", pd.DataFrame([_area(shape, n) for n, shape in enumerate(shapes)]))
    areas = ground.areas_ha(areas, view.terms)
    rows = figures(
        view.state.stem_state,
        view.state.stem_parts,
        view.state.causes,
        ground.membership(view.records.trees, areas, view.terms),
        trees=view.trees,
        areas=areas,
        terms=view.terms,
        as_of=view.as_of,
        known_at=view.known_at,
        flags=view.flags,
        since=view.changes_since(since) if since else None,
    )
    of = {row["area_id"]: row for row in rows}
    return [of[area_id] for area_id in areas["area_id"]]


def _area(shape: PreparedShape, n: int) -> dict[str, Any]:
    """An area in a layer of its own, so that no other polygon of the file takes a tree on its edge."""
    return {
        "area_id": f"polygon-{n + 1}",
        "layer": f"given polygon {n + 1}",
        "name": shape.name or f"polygon {n + 1}",
        "kind": shape.kind,
        "geometry": shapely.from_wkb(shape.wkb) if shape.wkb else None,
    }
