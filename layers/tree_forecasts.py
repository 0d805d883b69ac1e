"""The width of trees to be expected on a day, by their own growth and that of their peers.

A forecast stands in its own columns; it is never the size of a tree.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layers.days import days
from layers.error_model import Z95, Array, SharedParts
from layers.growth import Growth
from layers.growth_groups import Peers, forecast, peers_of
from layers.growth_lines import DAYS_PER_YEAR
from layers.history import StandState
from layers.inputs import SiteTerms
from layers.standing import COUNTED

YEARS_AHEAD = 5
PATH_COLUMNS = ("stem_id", "day", "peers_low_cm", "peers_high_cm", "expected_cm", "expected_se_cm")
LEAST_CM = 0.1  # a width is not less, whatever a line through mistaken readings says


@dataclass(frozen=True)
class StemsAhead:
    """The living stems that have a dated size, with their peers, and from where each is carried on.

    ``stems`` has ``stem_id``, ``tree_id``, ``dbh_cm``; ``level_cm`` with ``level_var`` is a diameter of each
    [cm, cm2] and ``level_on`` its day (days since 1970).
    """

    stems: pd.DataFrame
    peers: Peers
    level_cm: Array
    level_var: Array
    level_on: Array


def stems_ahead(of: Growth, state: StandState, trees: pd.DataFrame, terms: SiteTerms) -> StemsAhead:
    """Return the living stems of a site with what their peers say of them.

    Parameters
    ----------
    of : Growth
        The growth of the stems on the day.
    state : StandState
        The stems on the same day.
    trees : DataFrame
        ``tree_id`` and ``genus``.
    terms : SiteTerms
        Size classes and error model of the site.

    Notes
    -----
    A stem with growth is carried on from the level of its line, another from its last size.
    """
    every = state.stem_state
    living = every["tree_status"].isin(COUNTED) & every["status"].isin(COUNTED)
    sized = every[living & np.isfinite(every["dbh_cm"]) & every["measured_on"].notna()].reset_index(drop=True)
    genus = trees.set_index("tree_id")["genus"]
    tree_of = every.dropna(subset=["stem_id"]).set_index("stem_id")["tree_id"]
    of_genus = genus.reindex(tree_of.reindex(of.stems["stem_id"]).to_numpy()).to_numpy(dtype=object)
    stem = pd.Index(of.stems["stem_id"]).get_indexer(sized["stem_id"])
    dbh = sized["dbh_cm"].to_numpy(dtype=float)
    peers = peers_of(of, of_genus, genus.reindex(sized["tree_id"]).to_numpy(dtype=object), dbh, stem, terms)
    shared = SharedParts.of(pd.Index(sized["stem_id"]), state.stem_parts, state.causes).item_variance()
    line = [
        np.append(of.stems[name].to_numpy(dtype=float), np.nan)[stem]
        for name in ("level_cm", "level_var_cm2", "level_on")
    ]
    last = [
        dbh,
        sized["own_var_cm2"].to_numpy(dtype=float) + shared,
        days(sized["measured_on"]).astype(np.int64).astype(float),
    ]
    level = [np.where(np.isnan(line[0]), b, a) for a, b in zip(line, last, strict=True)]
    return StemsAhead(sized[["stem_id", "tree_id", "dbh_cm"]], peers, *level)


def tree_forecasts(of: StemsAhead, day: str) -> pd.DataFrame:
    """Return the width of every tree that is to be expected on a day.

    Parameters
    ----------
    of : StemsAhead
        The living stems with their peers.
    day : str
        ISO date.

    Returns
    -------
    DataFrame
        ``tree_id``, ``expected_cm``, ``expected_se_cm``, ``peers`` (who they are, in words),
        ``peers_number``, ``peers_growth_cm_per_yr``. A tree is left out where nothing tells how one of its
        stems grows.

    Notes
    -----
    Stems are taken together as sqrt(sum d^2). Their errors are added up as if all erred alike, so that the
    error of a tree of several stems is rather too large.
    """
    ahead = forecast(of.level_cm, of.level_var, of.level_on, of.peers, day)
    tree, ids = pd.factorize(of.stems["tree_id"].to_numpy(dtype=object))
    number = len(ids)
    size = np.maximum(ahead.dbh_cm, LEAST_CM)
    equal = np.sqrt(np.bincount(tree, weights=np.nan_to_num(size) ** 2, minlength=number))
    share = np.nan_to_num(size) / np.where(equal > 0, equal, np.nan)[tree]
    error = np.bincount(tree, weights=np.nan_to_num(share * ahead.se_cm), minlength=number)
    known = np.bincount(tree, weights=~np.isfinite(ahead.dbh_cm), minlength=number) == 0
    first = np.zeros(number, dtype=np.int64)
    first[tree[::-1]] = np.arange(len(tree))[::-1]
    return pd.DataFrame(
        {
            "tree_id": pd.Series(np.asarray(ids, dtype=object)[known], dtype=object),
            "expected_cm": equal[known],
            "expected_se_cm": error[known],
            "peers": pd.Series(of.peers.who[first][known], dtype=object),
            "peers_number": of.peers.number[first][known],
            "peers_growth_cm_per_yr": of.peers.mean[first][known],
        }
    )


def day_ahead(as_of: str) -> str:
    """Return the day to look ahead to where none was named: five years after a day."""
    now = dt.date.fromisoformat(as_of)
    return now.replace(year=now.year + YEARS_AHEAD, day=min(now.day, 28)).isoformat()


def paths_of(of: StemsAhead, stem_ids: Sequence[str], since: str, until: str) -> pd.DataFrame:
    """Return how some stems would have grown like their peers, and how they are expected to go on.

    Parameters
    ----------
    of : StemsAhead
        The living stems with their peers.
    stem_ids : sequence of str
        Those that are drawn; one without a size is left out.
    since, until : str
        ISO dates: the first and the last day of the paths.

    Returns
    -------
    DataFrame
        ``stem_id``, ``day`` (ISO); ``peers_low_cm`` and ``peers_high_cm``, between which the stem would be if
        it grew like 19 of 20 of its peers from its level (NaN without peers); ``expected_cm`` and
        ``expected_se_cm`` from the day of its level on, NaN before.
    """
    first, last = (np.datetime64(day, "D").astype(int) for day in (since, until))
    every = np.unique(np.linspace(first, last, 13).astype(np.int64))
    found = []
    for row in pd.Index(of.stems["stem_id"]).get_indexer(list(stem_ids)):
        if row < 0:
            continue
        day = np.union1d(every, [int(np.clip(of.level_on[row], first, last))])
        years = (day - of.level_on[row]) / DAYS_PER_YEAR
        spread = Z95 * np.sqrt(of.peers.between[row])
        ends = [of.level_cm[row] + (of.peers.mean[row] + way * spread) * years for way in (-1.0, 1.0)]
        ahead = np.where(years >= -0.5 / DAYS_PER_YEAR, years, np.nan)
        found.append(
            pd.DataFrame(
                {
                    "stem_id": of.stems["stem_id"].iloc[row],
                    "day": day.astype("datetime64[D]").astype(str),
                    "peers_low_cm": np.maximum(np.minimum(*ends), 0.0),
                    "peers_high_cm": np.maximum(*ends),
                    "expected_cm": np.maximum(of.level_cm[row] + of.peers.growth[row] * ahead, LEAST_CM),
                    "expected_se_cm": np.sqrt(of.level_var[row] + (ahead * of.peers.se[row]) ** 2),
                }
            )
        )
    return pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=list(PATH_COLUMNS))
