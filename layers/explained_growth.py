"""How the growth of a tree or of an area came about: readings with their weights in it, and their errors."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.combining import at_mean_size, departure_variance
from layers.components import Changes, changes_between
from layers.error_model import Array, Whole
from layers.errors import NothingToCompute
from layers.explained_figures import FigureFrames, RowOfFigures
from layers.explaining import of_one_tree, own_source, said_and_steps
from layers.explanations import Errors, Explanation, errors_of, explained, one_after_the_other
from layers.girth import Standardised
from layers.growth import dated_sizes, growth, variance_between
from layers.history import Counted, StandState, counted_readings
from layers.inputs import Records, SiteTerms, with_hands
from layers.standing import COUNTED

GROWTH, INCREMENT = "growth_cm_per_yr", "increment"


def of_tree_growth(
    records: Records, state: StandState, terms: SiteTerms, as_of: str, row: Any
) -> Explanation:
    """Return how the growth of a tree came about.

    Parameters
    ----------
    records, terms, as_of
        As for ``growth_of``.
    state : StandState
        The stems on the day.
    row : namedtuple
        The tree in the table of trees.

    Returns
    -------
    Explanation
        Inputs are the readings of its living measured stems that have a weight [1/yr], with the errors that
        they would have at the mean size of their stem.

    Raises
    ------
    NothingToCompute
        If no growth of the tree is told.
    """
    if pd.isna(row.growth_cm_per_yr):
        raise NothingToCompute(f"the growth of the tree {row.tree_id}")
    terms, mine = with_hands(terms, records), of_one_tree(records, row.tree_id)
    sizes, when = dated_sizes(mine, terms, as_of)
    lines = growth(sizes, when, mine, terms)
    stems = state.stem_state
    stems = stems[(stems["tree_id"] == row.tree_id) & stems["status"].isin(COUNTED) & stems["dbh_cm"].notna()]
    d = stems["dbh_cm"].to_numpy(dtype=float)
    of_stem = dict(zip(stems["stem_id"], d / float(np.sqrt(np.sum(d**2))), strict=True))
    part = lines.stems["stem_id"].map(of_stem).fillna(0.0).to_numpy(dtype=float)
    at = lines.weights["stem"].to_numpy(dtype=np.int64)
    used = part[at] != 0
    rows, stem = lines.weights["row"].to_numpy(dtype=np.int64)[used], at[used]
    weight = lines.weights["weight"].to_numpy(dtype=float)[used] * part[stem]
    order = np.lexsort((when[rows], stem))
    rows, stem, weight = rows[order], stem[order], weight[order]
    alike = at_mean_size(sizes, rows, stem, mine, terms)
    errors = _errors(alike, stem, weight, terms)
    return explained(
        f"tree:{row.tree_id}:{GROWTH}",
        GROWTH,
        "cm/yr",
        float(row.growth_cm_per_yr),
        "growth",
        said_and_steps(sizes, rows, weight, alike.readings, mine, terms),
        errors,
        terms,
        se=float(row.growth_se_cm_per_yr),
        constants={"breast_height_m": terms.breast_height_m},
    )


def of_increment(
    row: Mapping[str, Any], since: str, records: Records, frames: FigureFrames, as_of: str
) -> Explanation:
    """Return how the mean growth of the stems of an area between two days came about.

    Parameters
    ----------
    row : mapping
        The row of figures with its ``increment`` since that day.
    since, as_of : str
        ISO dates.
    records : Records
        What was said.
    frames : FigureFrames
        What the figures of the later day were computed from.

    Returns
    -------
    Explanation
        Inputs are the readings of both days of the stems that were measured on both, with their weights.
    """
    of = f"figure:{row['area_id'] or 'site'}:{INCREMENT}:{since}"
    shown, terms = row[INCREMENT], with_hands(frames.terms, records)
    if shown is None:
        why = row["why"].get(INCREMENT)
        return explained(of, INCREMENT, "cm/yr", np.nan, "increment", pd.DataFrame(), None, terms, why=why)
    before, after = counted_readings(records, terms, since), counted_readings(records, terms, as_of)
    changes = changes_between(records, terms, since, as_of)
    mine = RowOfFigures.of(row, INCREMENT, frames)
    share, edge = _shares(changes, _stem_ids(after), mine)
    weight = np.zeros(len(after.sizes.readings))
    weight[after.rows] += after.weights * _of_rows(after, share)
    ids = before.sizes.readings["reading_id"].iloc[before.rows]
    at = pd.Index(after.sizes.readings["reading_id"]).get_indexer(ids)
    np.subtract.at(weight, at, before.weights * _of_rows(before, share))
    rows = np.flatnonzero(weight)
    used = _only_rows(after.sizes, rows)
    stem, _ = pd.factorize(used.readings["stem_id"])
    variance = edge["doubtful_stems"] * edge["variance_between"] / edge["stems"] ** 2
    return explained(
        of,
        INCREMENT,
        "cm/yr",
        float(shown["growth_cm_per_yr"]),
        "increment",
        said_and_steps(after.sizes, rows, weight[rows], used.readings, records, terms),
        _errors(used, np.asarray(stem), weight[rows], terms, variance),
        terms,
        se=float(shown["growth_se_cm_per_yr"]),
        constants={"breast_height_m": terms.breast_height_m, **edge},
    )


def _stem_ids(after: Counted) -> NDArray[np.object_]:
    """The stems in the order in which ``changes_between`` gives them."""
    order = np.argsort(after.stems["tree_id"].to_numpy(dtype=object).astype(str), kind="stable")
    ids = after.stems["stem_id"].to_numpy(dtype=object)[order]
    return np.asarray(ids[after.stems["stem_id"].notna().to_numpy()[order]], dtype=object)


def _shares(
    of: Changes, stem_ids: NDArray[np.object_], mine: RowOfFigures
) -> tuple[dict[Any, float], dict[str, float]]:
    """The share of a cm of each stem in the mean [1/yr], and what trees near the edge add to its error."""
    limit = np.nan_to_num(mine.subject.counting_limit_cm, nan=0.0)
    measured = np.isfinite(of.years) & np.isfinite(of.before_cm) & np.isfinite(of.after_cm)
    counts = measured & np.isin(of.tree_id, mine.trees["tree_id"].to_numpy(dtype=object))
    counts[counts] = (of.before_cm[counts] >= limit) & (of.after_cm[counts] >= limit)
    years, number = of.years[counts], int(counts.sum())
    rate = (of.after_cm[counts] - of.before_cm[counts]) / years
    one = np.zeros(number, dtype=np.int64)
    between = variance_between(one, rate, of.own_var_cm2[counts] / years**2, 1)[0]
    doubt = mine.frames.doubt
    here = doubt.row == mine.group
    stems = pd.Series(measured).groupby(of.tree_id).sum()
    near = stems.reindex(mine.frames.stand.tree_id[doubt.tree[here]]).fillna(0).to_numpy(dtype=float)
    doubtful = float(np.sum(doubt.likely[here] * near))
    share = dict(zip(stem_ids[counts], 1.0 / (number * years), strict=True))
    return share, {"stems": number, "doubtful_stems": doubtful, "variance_between": float(between)}


def _of_rows(counted: Counted, share: Mapping[Any, float]) -> Array:
    """The share of the stem of each reading that counts."""
    ids = counted.stems["stem_id"].to_numpy(dtype=object)[counted.stem[counted.rows]]
    return np.array([share.get(stem_id, 0.0) for stem_id in ids], dtype=float)


def _only_rows(sizes: Standardised, rows: Whole) -> Standardised:
    at = pd.Index(rows).get_indexer(sizes.parts["row"])
    parts = sizes.parts[at >= 0].assign(row=at[at >= 0]).reset_index(drop=True)
    return Standardised(sizes.readings.iloc[rows].reset_index(drop=True), parts, sizes.causes)


def _errors(
    alike: Standardised, stem: Whole, weight: Array, terms: SiteTerms, edge_variance: float = 0.0
) -> Errors:
    """The parts of the error of a sum of weighted readings."""
    readings, everything = alike.readings, np.arange(len(alike.readings))
    own = float(np.sum(weight**2 * readings["own_var_cm2"].to_numpy(dtype=float)))
    departure = departure_variance(readings, everything, stem, weight, int(stem.max(initial=-1)) + 1)
    shared = alike.parts[["row", "cause", "sensitivity_cm"]]
    source = one_after_the_other(own_source(row, terms) for row in readings.itertuples())
    alone = {"own": own, "departure": float(departure.sum())}
    return errors_of(weight, alone, shared, alike.causes, source, terms.model, edge_variance=edge_variance)
