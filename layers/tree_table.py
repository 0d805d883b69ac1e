"""The table of trees on a day: one row a tree, the columns that leave."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import canopy, columns, conversion, girth, screening, size_classes
from layers.error_model import Array, SharedParts, Whole
from layers.growth import Growth, growth_of
from layers.growth_of_trees import GROWTH_COLUMNS, trees_growth
from layers.history import StandState
from layers.inputs import Records, SiteTerms
from layers.standing import COUNTED

Texts = NDArray[np.object_]

_AS_WRITTEN = (
    *(
        "tree_id",
        "fid",
        "tag",
        "place",
        "scientific_name",
        "name_as_written",
        "common_name",
        "genus",
        "keeper",
    ),
    *("planted_on", "position_source", "position_accuracy_m", "external_id"),
    *("lon_deg", "lat_deg", "x_m", "y_m"),
)
_CANOPY = ("height_m", "height_source", "crown_diameter_m", "crown_source")


def tree_table(
    records: Records,
    state: StandState,
    terms: SiteTerms,
    as_of: str,
    flags: pd.DataFrame | None = None,
    tall: pd.DataFrame | None = None,
    growth: Growth | None = None,
) -> pd.DataFrame:
    """Return the trees that have stood on the day or before, columns of TREES.

    Parameters
    ----------
    records : Records
        What was said.
    state : StandState
        The stems on the same day.
    terms : SiteTerms
        Size classes and units of the site.
    as_of : str
        ISO date.
    flags : DataFrame, optional
        Columns of FLAGS; without it the columns of the screening are empty.
    tall : DataFrame, optional
        What :func:`layers.canopy.heights_and_crowns` gave for that day, where it is known already.
    growth : Growth, optional
        What :func:`layers.growth.growth_of` gave for that day, where it is known already.

    Returns
    -------
    DataFrame
        In the order of the trees, removed ones with that status. ``dbh_cm`` is sqrt(sum d_i^2) over the
        living stems of a living tree (over all stems of another) with its error by the delta method, shared
        parts included; so is that of ``basal_area_m2``. Growth is that of living trees whose
        trunks were all measured far enough apart.
    """
    stems = state.stem_state
    tree, tree_ids = pd.factorize(stems["tree_id"].to_numpy(dtype=object))
    known = records.trees.set_index("tree_id", drop=False).reindex(tree_ids)
    first = _first_rows(tree, len(tree_ids))
    status = stems["tree_status"].to_numpy(dtype=object)[first]
    living = np.isin(status, COUNTED)
    is_living = np.isin(stems["status"].to_numpy(dtype=object), COUNTED) & stems["stem_id"].notna().to_numpy()
    counts = is_living | ~living[tree]
    dbh, se = _diameters(stems, state, tree, counts, len(tree_ids))
    sized = np.flatnonzero(counts & np.isfinite(stems["dbh_cm"].to_numpy(dtype=float)))
    if tall is None:
        tall = canopy.heights_and_crowns(records.observations, as_of, terms.time_zone)
    tall = tall.reindex(tree_ids)
    grown = trees_growth(growth or growth_of(records, terms, as_of), stems, terms)
    grown = grown.set_index("tree_id").reindex(tree_ids)
    table = known[[name for name in _AS_WRITTEN if name in known]].reset_index(drop=True)
    table = table.assign(
        site=terms.slug,
        status=status,
        stems=np.bincount(tree, weights=is_living & living[tree], minlength=len(tree_ids)).astype(np.int64),
        dbh_cm=dbh,
        dbh_se_cm=se,
        dbh_source=_joined(tree, np.flatnonzero(counts), stems["dbh_source"], len(tree_ids)),
        measured_as=_measured_as(stems, tree, sized, records.readings, len(tree_ids)),
        basal_area_m2=girth.basal_area_m2(dbh),
        basal_area_se_m2=girth.basal_area_per_cm(dbh) * se,
        size_class=_size_class(stems, tree, dbh, terms),
        last_measured_on=_last(tree, stems["measured_on"], len(tree_ids)),
        **{name: tall[name].to_numpy() for name in _CANOPY},
        **{name: grown[name].to_numpy() for name in GROWTH_COLUMNS},
    )
    table = columns.shaped("trees", table)
    return table if flags is None else screening.with_flags(table, flags, records, terms, as_of)


def _first_rows(tree: Whole, trees: int) -> Whole:
    first = np.zeros(trees, dtype=np.int64)
    first[tree[::-1]] = np.arange(len(tree))[::-1]
    return first


def _diameters(
    stems: pd.DataFrame, state: StandState, tree: Whole, counts: NDArray[np.bool_], trees: int
) -> tuple[Array, Array]:
    """The diameter of every tree and its standard error [cm]: d_eq = sqrt(sum d^2), dd_eq/dd_i = d_i/d_eq."""
    dbh = stems["dbh_cm"].to_numpy(dtype=float)
    rows = np.flatnonzero(counts & np.isfinite(dbh))
    total = np.bincount(tree[rows], weights=dbh[rows] ** 2, minlength=trees)
    equal = np.sqrt(np.where(total > 0, total, np.nan))
    a = dbh[rows] / equal[tree[rows]]
    own = np.bincount(
        tree[rows], weights=a**2 * stems["own_var_cm2"].to_numpy(dtype=float)[rows], minlength=trees
    )
    parts = SharedParts.of(pd.Index(stems["stem_id"].iloc[rows]), state.stem_parts, state.causes)
    shared = parts.grouped(tree[rows], np.arange(len(rows)), a, trees).sum(axis=1)
    return equal, np.where(np.isnan(equal), np.nan, np.sqrt(own + shared))


def _measured_as(stems: pd.DataFrame, tree: Whole, rows: Whole, readings: pd.DataFrame, trees: int) -> Texts:
    """The readings as they were said: girth 123 cm, girth tape, at 1.30 m; one after the other for stems."""
    at = pd.Index(readings["reading_id"]).get_indexer(stems["reading"].iloc[rows])
    said = readings.iloc[at]
    names = ("quantity", "value", "value_2", "unit", "instrument", "height_m")
    words = [_words(*cells) for cells in zip(*(said[name].tolist() for name in names), strict=True)]
    return _joined(tree, rows, pd.Series(words, dtype=object, index=rows), trees)


def _words(
    quantity: str, value: float, value_2: float, unit: str, instrument: str | None, height_m: float
) -> str:
    size = f"{value:g}" if value_2 != value_2 else f"{value:g} and {value_2:g}"
    by = "instrument not said" if instrument in (None, "unknown") else instrument
    at = "height not said" if height_m != height_m else f"at {conversion.metres(height_m)}"
    return f"{quantity} {size} {unit}, {by}, {at}"


def _joined(tree: Whole, rows: Whole, words: pd.Series, trees: int) -> Texts:
    """The words of the stems of every tree, each once, in the order of its stems."""
    said: dict[int, dict[str, None]] = {}
    for of, text in zip(tree[rows].tolist(), words.loc[rows].tolist(), strict=True):
        said.setdefault(of, {})[text] = None
    out = np.full(trees, None, dtype=object)
    for of, texts in said.items():
        out[of] = "; ".join(texts)
    return out


def _size_class(stems: pd.DataFrame, tree: Whole, dbh: Array, terms: SiteTerms) -> Texts:
    """The class of the tree's diameter; without one, the diameter class that was said of a stem."""
    names = np.array([*size_classes.labels(terms), None], dtype=object)
    out = names[size_classes.class_of(dbh, terms.breaks_cm)]
    low, high = (stems[name].to_numpy(dtype=float) for name in ("class_from_cm", "class_to_cm"))
    said = np.flatnonzero((np.isfinite(low) | np.isfinite(high)) & np.isnan(dbh[tree]))[::-1]
    upper = np.where(np.isfinite(high[said]), high[said], np.inf)
    bounds = np.column_stack([np.nan_to_num(low[said]), upper])
    unique, which = np.unique(bounds, axis=0, return_inverse=True)
    words = np.array([size_classes.label(a, b, terms) for a, b in unique.tolist()], dtype=object)
    out[tree[said]] = words[which.reshape(-1)]
    return np.asarray(out)


def _last(tree: Whole, measured_on: pd.Series, trees: int) -> Texts:
    """The last day on which a stem of each tree was measured."""
    dates = measured_on.to_numpy(dtype=object)
    dated = np.flatnonzero(measured_on.notna().to_numpy())
    order = dated[np.argsort(dates[dated].astype(str), kind="stable")]
    out = np.full(trees, None, dtype=object)
    out[tree[order]] = dates[order]
    return out
