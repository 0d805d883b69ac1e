"""The size of a trunk at the height that a law or rule names, and whether it reaches its limit there."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from layers import error_model, taper
from layers.errors import OutsideDomain
from layers.history import StandState, state_at
from layers.inputs import Records, SiteTerms
from layers.intervals import quantile_of
from layers.translating import N_

REACHES = N_("it reaches the limit")
BELOW = N_("it stays below the limit")
CANNOT_BE_TOLD = N_("cannot be told from here: measure at that height")
SENTENCES = (REACHES, BELOW, CANNOT_BE_TOLD)


@dataclass(frozen=True)
class SizeAtHeight:
    """One trunk at a height [m]: its diameter with both ends of the 95 % interval [cm], and how it came.

    Without a size the numbers are NaN and ``why`` says why.
    """

    stem_id: str
    height_m: float
    diameter_cm: float
    low_cm: float
    high_cm: float
    why: str

    def verdict(self, limit_cm: float, quantity: str = "diameter") -> str:
        """Return whether the trunk reaches a limit of its diameter or girth [cm].

        REACHES or BELOW where the whole interval lies on one side, else CANNOT_BE_TOLD.
        """
        limit = limit_cm / (np.pi if quantity == "girth" else 1.0)
        if self.low_cm >= limit:
            return REACHES
        return BELOW if self.high_cm < limit else CANNOT_BE_TOLD


def state_there(records: Records, terms: SiteTerms, as_of: str, tree_id: str, height_m: float) -> StandState:
    """Return the stems of one tree as if the ground compared them at the height that a rule names.

    Parameters
    ----------
    records, terms, as_of
        As for ``history.state_at``.
    tree_id : str
        The tree.
    height_m : float
        The height of the rule [m].

    Raises
    ------
    OutsideDomain
        If the height is not in the range in which sizes are converted.

    Notes
    -----
    A reading within 2 cm of that height is not converted; another is, from the height where it was made, with
    the errors that this adds. A height that was not said counts as the site's, with the deviation that this
    has there.
    """
    if not taper.is_convertible(height_m):
        raise OutsideDomain("height_m", height_m, taper.LOWEST_M, taper.HIGHEST_M)
    mine = _of_tree(records, tree_id)
    not_said = mine.readings.loc[mine.readings["height_m"].isna(), "reading_id"]
    said = mine.readings["height_m"].fillna(terms.breast_height_m)
    mine = replace(mine, readings=mine.readings.assign(height_m=said))
    state = state_at(mine, replace(terms, breast_height_m=height_m), as_of)
    stems = state.stem_state[state.stem_state["stem_id"].notna()].reset_index(drop=True)
    of_height = error_model.HEIGHT_NOT_SAID_SHARE * stems["dbh_cm"] * stems["reading"].isin(not_said)
    number = dict(zip(mine.stems["stem_id"], mine.stems["number"], strict=True))
    stems = stems.assign(own_var_cm2=stems["own_var_cm2"] + of_height**2)
    stems = stems.iloc[np.argsort(stems["stem_id"].map(number).to_numpy(dtype=float), kind="stable")]
    return replace(state, stem_state=stems.reset_index(drop=True))


def sizes_at(
    records: Records, terms: SiteTerms, as_of: str, tree_id: str, height_m: float
) -> list[SizeAtHeight]:
    """Return every trunk of a tree at a height that a rule names, by stem number.

    Parameters
    ----------
    records, terms, as_of, tree_id, height_m
        As for ``state_there``.

    Raises
    ------
    OutsideDomain
        If the height is not in the range in which sizes are converted.
    """
    state = state_there(records, terms, as_of, tree_id, height_m)
    parts = state.stem_parts.merge(state.causes, on="cause")
    return [
        _size(stem, parts[parts["stem_id"] == stem.stem_id], terms, height_m)
        for stem in state.stem_state.itertuples()
    ]


def _size(stem: Any, parts: pd.DataFrame, terms: SiteTerms, height_m: float) -> SizeAtHeight:
    diameter = float(stem.dbh_cm)
    variances = {"own": float(stem.own_var_cm2)}
    of_parts = parts["sensitivity_cm"] ** 2 * parts["variance"]
    variances |= {str(kind): float(size) for kind, size in of_parts.groupby(parts["kind"]).sum().items()}
    half = float(np.sqrt(sum(variances.values())))
    half = half * quantile_of(variances, terms.model) if np.isfinite(half) else np.nan
    why = str(stem.dbh_source)
    return SizeAtHeight(str(stem.stem_id), height_m, diameter, diameter - half, diameter + half, why)


def _of_tree(records: Records, tree_id: str) -> Records:
    """What was said of one tree."""
    stems = records.stems[records.stems["tree_id"] == tree_id]
    events = records.status_events
    subjects = {tree_id, *stems["stem_id"]}
    return replace(
        records,
        trees=records.trees[records.trees["tree_id"] == tree_id].reset_index(drop=True),
        stems=stems.reset_index(drop=True),
        readings=records.readings[records.readings["stem_id"].isin(stems["stem_id"])].reset_index(drop=True),
        observations=records.observations[records.observations["tree_id"] == tree_id].reset_index(drop=True),
        status_events=events[events["subject_id"].isin(subjects)].reset_index(drop=True),
    )
