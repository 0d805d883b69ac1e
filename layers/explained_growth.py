"""How the growth of a tree came about: its readings, each with its weight in the slope, and their errors."""

from typing import Any

import numpy as np
import pandas as pd

from layers.combining import at_mean_size, departure_variance
from layers.error_model import Array, Whole
from layers.errors import NothingToCompute
from layers.explaining import of_one_tree, own_source, said_and_steps
from layers.explanations import Errors, Explanation, errors_of, explained, one_after_the_other
from layers.girth import Standardised
from layers.growth import dated_sizes, growth
from layers.history import StandState
from layers.inputs import Records, SiteTerms, with_hands
from layers.standing import COUNTED

GROWTH = "growth_cm_per_yr"


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


def _errors(alike: Standardised, stem: Whole, weight: Array, terms: SiteTerms) -> Errors:
    """The parts of the error of a sum of weighted readings."""
    readings, everything = alike.readings, np.arange(len(alike.readings))
    own = float(np.sum(weight**2 * readings["own_var_cm2"].to_numpy(dtype=float)))
    departure = departure_variance(readings, everything, stem, weight, int(stem.max(initial=-1)) + 1)
    shared = alike.parts[["row", "cause", "sensitivity_cm"]]
    source = one_after_the_other(own_source(row, terms) for row in readings.itertuples())
    alone = {"own": own, "departure": float(departure.sum())}
    return errors_of(weight, alone, shared, alike.causes, source, terms.model)
