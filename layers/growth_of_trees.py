"""Growth of trees, their stems taken together, and the mean growth of groups of stems."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.error_model import Array, Whole
from layers.growth import Growth, mean_growth
from layers.growth_words import verdicts
from layers.inputs import SiteTerms
from layers.site_model import quantile95
from layers.standing import COUNTED

GROWTH_COLUMNS = ("growth_cm_per_yr", "growth_se_cm_per_yr", "growth_words")


def trees_growth(of: Growth, stem_state: pd.DataFrame, terms: SiteTerms) -> pd.DataFrame:
    """Return the growth of every living tree whose growth can be told.

    Parameters
    ----------
    of : Growth
        Of the stems, on the same day.
    stem_state : DataFrame
        Columns of STEM_STATE.
    terms : SiteTerms
        Error model of the site.

    Returns
    -------
    DataFrame
        ``tree_id``, ``growth_cm_per_yr``, ``growth_se_cm_per_yr``, ``growth_lo``, ``growth_hi``,
        ``growth_words``; a tree is left out where one of its measured stems has no growth to be told.

    Notes
    -----
    The growth of the diameter of equal cut face: sum d_i g_i / d_eq over its living measured stems, with what
    they share; the verdict by the limit that holds over the stems of the site.
    """
    living = stem_state["tree_status"].isin(COUNTED) & stem_state["status"].isin(COUNTED)
    sized = stem_state[living & np.isfinite(stem_state["dbh_cm"])]
    at = pd.Index(of.stems["stem_id"]).get_indexer(sized["stem_id"])
    told = (at >= 0) & np.append(of.can_be_told, False)[at]
    tree, ids = pd.factorize(sized["tree_id"].to_numpy(dtype=object))
    whole = np.bincount(tree, weights=~told, minlength=len(ids)) == 0
    dbh = sized["dbh_cm"].to_numpy(dtype=float)
    equal = np.sqrt(np.bincount(tree, weights=dbh**2, minlength=len(ids)))
    used = whole[tree] & (equal[tree] > 0)
    code, stem, a = tree[used], at[used], dbh[used] / equal[tree[used]]
    stems, trees = of.stems.iloc[stem], len(ids)
    rate = np.bincount(code, weights=a * stems["growth_cm_per_yr"].to_numpy(dtype=float), minlength=trees)
    own = np.bincount(code, weights=a**2 * stems["own_var"].to_numpy(dtype=float), minlength=trees)
    variances = np.column_stack([own, of.parts.grouped(code, stem, a, trees)])[whole]
    se = np.sqrt(variances.sum(axis=1))
    df = terms.model.degrees_of_freedom(of.kinds, variances)
    half = quantile95(df) * se
    return pd.DataFrame(
        {
            "tree_id": np.asarray(ids, dtype=object)[whole],
            "growth_cm_per_yr": rate[whole],
            "growth_se_cm_per_yr": se,
            "growth_lo": rate[whole] - half,
            "growth_hi": rate[whole] + half,
            "growth_words": verdicts(of).words(rate[whole], se, df),
        }
    ).astype({"tree_id": object, "growth_words": object})


@dataclass(frozen=True)
class GrowingGroup:
    """The mean growth of the living stems of a group [cm/yr] and its 95 % interval."""

    name: str
    stems: int
    growth_cm_per_yr: float
    se: float
    lo: float
    hi: float


def groups_growth(
    of: Growth,
    living: NDArray[np.bool_],
    names: Sequence[Sequence[str]],
    terms: SiteTerms,
    doubtful: Mapping[str, float] | None = None,
) -> list[GrowingGroup]:
    """Return the mean growth of groups of stems, in the order of their names; those without a stem left out.

    Parameters
    ----------
    of : Growth
        Of the stems.
    living : array
        Which of its stems count.
    names : sequence of sequences of str
        The groups that each stem is in.
    terms : SiteTerms
        Error model of the site.
    doubtful : mapping of str to float, optional
        For groups by area: how many stems of each are expected on the other side of its edge.
    """
    stem = np.repeat(np.arange(len(names)), [len(each) for each in names])
    group, known = pd.factorize(np.array([name for each in names for name in each], dtype=object), sort=True)
    keep = living[stem]
    edge = None if doubtful is None else np.array([doubtful.get(name, 0.0) for name in known], dtype=float)
    return _rows(of, np.asarray(group[keep]), stem[keep], list(known), terms, edge)


def _rows(
    of: Growth, group: Whole, stem: Whole, names: list[str], terms: SiteTerms, doubtful: Array | None
) -> list[GrowingGroup]:
    means = mean_growth(of, group, stem, len(names), terms, doubtful).groups
    return [
        GrowingGroup(str(name), int(row.stems), row.growth_cm_per_yr, row.se, row.lo, row.hi)
        for name, row in zip(names, means.itertuples(index=False), strict=True)
        if row.stems
    ]
