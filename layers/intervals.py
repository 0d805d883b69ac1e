"""How many standard errors reach to either end of a 95 % interval, from where its variance comes from."""

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from layers.error_model import Z95, Array, SharedParts, Whole
from layers.girth import Standardised
from layers.history import StandState
from layers.site_model import SiteModel, quantile95
from layers.standing import COUNTED


def degrees_of_freedom(variances: Mapping[str, float], model: SiteModel) -> float:
    """Return the degrees of freedom of a sum of variances [-]; infinite where all are taken as known.

    Parameters
    ----------
    variances : mapping
        Variance by kind of cause, in any unit (shares do as well). A stem's departure from the profile counts
        with what else is its own.
    model : SiteModel
        The model that the variances are of.
    """
    kinds = dict(variances)
    kinds["own"] = kinds.get("own", 0.0) + kinds.pop("departure", 0.0)
    return float(model.degrees_of_freedom(kinds, list(kinds.values())))


def quantile_of(variances: Mapping[str, float], model: SiteModel) -> float:
    """Return how many standard errors reach to either end of a 95 % interval [-].

    The normal value where the variances are taken as known, Student's t where they were estimated.
    """
    df = degrees_of_freedom(variances, model)
    return Z95 if math.isinf(df) else float(quantile95(df))


def is_estimated(model: SiteModel) -> bool:
    """Return whether any variance of the model is an estimate, so that intervals reach farther."""
    return not all(math.isinf(model.df_of(kind)) for kind in ("own", "crew"))


def reach_of_trees(state: StandState, model: SiteModel) -> pd.Series:
    """Return how many standard errors the interval of each tree's diameter reaches [-], by ``tree_id``.

    The stems that count are those of the table of trees: living ones of a living tree, all of another.
    """
    stems = state.stem_state
    tree, tree_ids = pd.factorize(stems["tree_id"].to_numpy(dtype=object))
    if not is_estimated(model):
        return pd.Series(Z95, index=tree_ids, dtype=float)
    dbh = stems["dbh_cm"].to_numpy(dtype=float)
    living = stems["status"].isin(COUNTED) | ~stems["tree_status"].isin(COUNTED)
    rows = np.flatnonzero(living.to_numpy() & stems["stem_id"].notna().to_numpy() & np.isfinite(dbh))
    own = stems["own_var_cm2"].to_numpy(dtype=float)[rows]
    alone = np.bincount(tree[rows], weights=dbh[rows] ** 2 * own, minlength=len(tree_ids))
    parts = SharedParts.of(pd.Index(stems["stem_id"].iloc[rows]), state.stem_parts, state.causes)
    shared = parts.grouped(tree[rows], np.arange(len(rows)), dbh[rows], len(tree_ids))
    reach = _reach(("own", *parts.kinds), np.column_stack([alone, shared]), model)
    return pd.Series(reach, index=tree_ids)


def reach_of_readings(sizes: Standardised, model: SiteModel) -> Array:
    """Return how many standard errors the interval of each reading's diameter reaches [-]."""
    readings, number = sizes.readings, len(sizes.readings)
    if not is_estimated(model):
        return np.full(number, Z95)
    own = (
        readings["own_var_cm2"].to_numpy(dtype=float) + readings["departure_se_cm"].to_numpy(dtype=float) ** 2
    )
    at = pd.Index(sizes.causes["cause"]).get_indexer(sizes.parts["cause"])
    kind, kinds = pd.factorize(sizes.causes["kind"].to_numpy(dtype=object))
    variance = sizes.causes["variance"].to_numpy(dtype=float)[at]
    size = sizes.parts["sensitivity_cm"].to_numpy(dtype=float) ** 2 * variance
    code: Whole = sizes.parts["row"].to_numpy(dtype=np.int64) * max(len(kinds), 1) + kind[at]
    shared = np.bincount(code, weights=size, minlength=number * max(len(kinds), 1)).reshape(number, -1)
    return _reach(("own", *kinds), np.column_stack([own, shared[:, : len(kinds)]]), model)


def _reach(kinds: Sequence[str], variances: Array, model: SiteModel) -> Array:
    df = model.degrees_of_freedom(kinds, variances)
    return np.asarray(np.where(np.isinf(df) | np.isnan(df), Z95, quantile95(df)))
