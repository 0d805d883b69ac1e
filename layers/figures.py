"""The figures of a site, its places and its areas on a day.

They rest on the three frames of ``history`` and never see a reading.
"""

from typing import Any

import numpy as np
import pandas as pd

from layers import columns, diversity, ground, screening
from layers.components import Changes, with_changes
from layers.edge_doubt import EdgeDoubt, edge_doubt, edge_variance_m4
from layers.error_model import Array
from layers.figure_errors import errors_of
from layers.figure_rows import Numbers, row_of
from layers.figure_species import species_of
from layers.figure_subjects import OTHERS, SITE, WITHIN_BOUNDARY, Subject, Subjects, near_edge, subjects_of
from layers.figure_sums import Stand, counted_stems, sums_of, with_edges
from layers.inputs import SiteTerms


def figures(
    stem_state: pd.DataFrame,
    stem_parts: pd.DataFrame,
    causes: pd.DataFrame,
    membership: pd.DataFrame,
    *,
    trees: pd.DataFrame,
    areas: pd.DataFrame,
    terms: SiteTerms,
    as_of: str,
    known_at: int,
    places: pd.DataFrame | None = None,
    flags: pd.DataFrame | None = None,
    since: Changes | None = None,
) -> list[dict[str, Any]]:
    """Return the figures of the whole site, then of places and areas by layer, name and id.

    Parameters
    ----------
    stem_state, stem_parts, causes, membership : DataFrame
        The stems on the day, and which tree is inside which area.
    trees : DataFrame
        Columns of TREE_RECORD, or of TREES as given by the screening: names, positions, places.
    areas : DataFrame
        Columns of AREA_RECORD, the areas that hold on the day; ``area_ha`` is worked out where it is absent.
    terms, as_of, known_at
        Of the site; the day, and the change number up to which records were used, are passed on.
    places : DataFrame, optional
        ``id``, ``name``, ``kind`` of the places; those of kind "part" have a row even without trees.
    flags : DataFrame, optional
        Columns of FLAGS; ``trees`` is then the table that the screening gives.
    since : Changes, optional
        What became of the stems since another day; without it nothing is said of increment and components.

    Returns
    -------
    list of dict
        Every key of FIGURES; ``why`` has a sentence for each that is None.

    Notes
    -----
    The first row counts all trees, per hectare those within the boundary. A place has the trees assigned to
    it. The 95 % interval of the basal area is centred on the plain sum minus pi/4 sum Var(d);
    its variance has a part of trees near the edge of an area (kind ``edge``).

    Raises
    ------
    ColumnMissing
        If a column that is needed is absent.
    """
    columns.require(stem_state, "stem_state", columns.names("stem_state"))
    columns.require(trees, "tree_record", ("tree_id", "scientific_name"))
    areas = areas if "area_ha" in areas else ground.areas_ha(areas, terms)
    stand = Stand.of(stem_state, stem_parts, causes)
    known = trees.set_index("tree_id").reindex(stand.tree_id)
    subjects = subjects_of(stand, membership, trees, areas, places, terms)
    plane = ground.plane_positions(known, _frame(trees, areas, terms), terms)
    screened = None if flags is None else _screening(stand, subjects, trees, flags)
    doubt = edge_doubt(known, areas, subjects.rows, terms)
    numbers = _numbers(stand, known, doubt, subjects, plane, membership, screened, terms)
    model = str(terms.model.version)
    day: dict[str, Any] = {"as_of": as_of, "known_at": known_at, "model": model}
    site = day | _beyond_boundary(stand, known, subjects, terms)
    first = row_of(numbers, subjects.rows, SITE, WITHIN_BOUNDARY, site)
    others = range(OTHERS, len(subjects.rows))
    rows = [first] + [row_of(numbers, subjects.rows, g, g, day) for g in others]
    if since is not None:
        with_changes(rows, subjects, (SITE, *others), stand.tree_id, since, doubt)
    return rows


def _numbers(
    stand: Stand,
    known: pd.DataFrame,
    doubt: EdgeDoubt,
    subjects: Subjects,
    plane: Array,
    membership: pd.DataFrame,
    screened: dict[int, dict[str, Any]] | None,
    terms: SiteTerms,
) -> Numbers:
    """Everything that is worked out for all rows at once."""
    groups, group, tree = len(subjects.rows), subjects.group, subjects.tree
    limits = np.array([one.counting_limit_cm for one in subjects.rows])
    counted = counted_stems(stand, group, tree, limits)
    edges = edge_variance_m4(stand, doubt, limits)
    return Numbers(
        with_edges(sums_of(stand, group, tree, counted, groups, terms.breaks_cm), edges),
        species_of(stand, known["scientific_name"], group, tree, counted, groups),
        _clark_evans(stand, plane, subjects),
        near_edge(stand, membership, subjects.rows),
        screened,
        terms.breaks_cm,
        errors_of(stand, counted, groups, terms.breaks_cm),
        terms.model,
    )


def _frame(trees: pd.DataFrame, areas: pd.DataFrame, terms: SiteTerms) -> ground.LocalFrame | None:
    middle = None if terms.frame == "local" else ground.centre(trees, areas, terms)
    return None if middle is None else ground.LocalFrame(*middle)


def _clark_evans(stand: Stand, plane: Array, subjects: Subjects) -> Array:
    """The index of every row that has an area."""
    bounds = np.searchsorted(subjects.group, np.arange(len(subjects.rows) + 1))
    out = np.full(len(subjects.rows), np.nan)
    for g, one in enumerate(subjects.rows):
        if np.isfinite(one.area_ha):
            tree = subjects.tree[bounds[g] : bounds[g + 1]]
            standing = plane[tree[stand.living[tree]]]
            out[g] = diversity.clark_evans(standing[:, 0], standing[:, 1], one.area_ha * ground.M2_PER_HA)
    return out


def _beyond_boundary(
    stand: Stand, known: pd.DataFrame, subjects: Subjects, terms: SiteTerms
) -> dict[str, int | None]:
    placed = np.isfinite(ground.positions(known, terms)).all(axis=1) & stand.living
    boundary: Subject = subjects.rows[WITHIN_BOUNDARY]
    outside = placed.copy()
    outside[subjects.tree[subjects.group == WITHIN_BOUNDARY]] = False
    return {
        "trees_without_position": int((stand.living & ~placed).sum()),
        "trees_outside_boundary": int(outside.sum()) if boundary.has_outline else None,
    }


def _screening(
    stand: Stand, subjects: Subjects, trees: pd.DataFrame, flags: pd.DataFrame
) -> dict[int, dict[str, Any]]:
    """What the screening counts in every row."""
    members = pd.DataFrame(
        {"area_id": subjects.group, "tree_id": stand.tree_id.to_numpy(dtype=object)[subjects.tree]}
    )
    counts = screening.per_area(members, trees, flags)
    return {int(group): row for group, row in zip(counts.index, counts.to_dict("records"), strict=True)}
