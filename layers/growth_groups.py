"""Growth of groups and of a stem among its peers: means, estimates drawn toward peers, forecasts.

References
----------
.. [1] DerSimonian, R. and Laird, N. 1986. Meta-analysis in clinical trials. Controlled Clinical Trials
   7:177-188 (from memory): the variance between stems by moments.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import size_classes
from layers.error_model import Array, Whole
from layers.growth import Growth, mean_growth
from layers.growth_lines import DAYS_PER_YEAR
from layers.inputs import SiteTerms
from layers.translating import N_

LEAST_PEERS = 8  # assumption: fewer do not tell how much stems differ
FARTHEST_DEVIATIONS = 4.0  # assumption: a peer farther from the middle than this was misread
OF_GENUS_AND_CLASS = N_("trees of the same genus and size class here")
OF_GENUS = N_("trees of the same genus here")
OF_ALL = N_("all trees measured here")
SENTENCES = (OF_GENUS_AND_CLASS, OF_GENUS, OF_ALL)


@dataclass(frozen=True)
class Peers:
    """Each stem's peers and what they say of it; arrays over the stems asked about.

    ``who`` says in words who the peers are (None: too few anywhere), ``number`` how many; ``mean`` [cm/yr] is
    their growth with ``mean_own_var`` (what it does not share), ``between`` the variance between stems
    [cm2/yr2]. ``growth`` is the stem's estimate drawn toward them, with its standard error ``se``; the mean
    alone where the stem has no growth of its own, and its own where it has no peers and that can be told.
    """

    who: NDArray[np.object_]
    number: Whole
    mean: Array
    mean_own_var: Array
    between: Array
    growth: Array
    se: Array


@dataclass(frozen=True)
class _Group:
    number: int
    mean: float
    mean_own_var: float
    between: float
    shared_var: float


def peers_of(
    of: Growth,
    of_genus: Sequence[str | None] | NDArray[np.object_],
    genus: Sequence[str | None] | NDArray[np.object_],
    dbh_cm: Array,
    stem: Whole,
    terms: SiteTerms,
) -> Peers:
    """Return what its peers say about the growth of each stem.

    Parameters
    ----------
    of : Growth
        The growth of the stems of the site.
    of_genus : sequence of str or None
        Genus of each stem of ``of``.
    genus : sequence of str or None
        Genus of each stem asked about.
    dbh_cm : array
        Its diameter [cm].
    stem : array
        Its position in ``of.stems``, -1 where it has no growth of its own.
    terms : SiteTerms
        Size classes and error model of the site.

    Notes
    -----
    Peers are the stems of the same genus and size class with growth; where there are fewer than 8, those of
    the same genus, else all. Those more than 4 robust deviations from their middle are left out as misread.
    With y the stem's own growth of own variance v, m the mean of its peers and t the variance between stems
    by moments, the estimate is B y + (1 - B) m with B = t / (t + v); its variance is B v + (1 - B)^2 Var(m)
    and what the stem shares with others. A stem without growth has B = 0 and t itself in its variance. The
    stem counts among its peers.
    """
    known = np.flatnonzero(np.isfinite(of.stems["growth_cm_per_yr"].to_numpy(dtype=float)))
    classes = size_classes.class_of(of.stems["mean_dbh_cm"].to_numpy(dtype=float), terms.breaks_cm)
    theirs = _keys(np.asarray(of_genus, dtype=object), classes)
    mine = _keys(np.asarray(genus, dtype=object), size_classes.class_of(dbh_cm, terms.breaks_cm))
    number = len(dbh_cm)
    who, group_of = np.full(number, None, dtype=object), np.full(number, -1, dtype=np.int64)
    groups: list[_Group] = []
    for words, of_level, my_level in zip((OF_GENUS_AND_CLASS, OF_GENUS, OF_ALL), theirs, mine, strict=True):
        members = pd.Series(known).groupby(of_level[known]).groups
        open_ = np.flatnonzero((group_of < 0) & (my_level != None))  # noqa: E711
        for key in dict.fromkeys(my_level[open_]):
            if key in members and len(members[key]) >= LEAST_PEERS:
                at = open_[my_level[open_] == key]
                group_of[at], who[at] = len(groups), words
                groups.append(_group(of, ordinary(of, known[members[key]]), terms))
    return _drawn(of, stem, who, group_of, groups)


def _keys(genus: NDArray[np.object_], classes: Whole) -> tuple[NDArray[np.object_], ...]:
    """The key of every stem at each level, None where it has none there."""
    named = np.array([name if isinstance(name, str) and name else None for name in genus] or [None])
    named = named[: len(genus)]
    both = np.array(
        [None if n is None else f"{n}|{c}" for n, c in zip(named, classes, strict=True)] or [None],
        dtype=object,
    )[: len(genus)]
    return both, named.astype(object), np.full(len(genus), "all", dtype=object)


def ordinary(of: Growth, stems: Whole) -> Whole:
    """Return those of ``stems`` that are no farther from their middle than mistakes in readings bring them.

    Parameters
    ----------
    of : Growth
        The growth of stems.
    stems : array
        Positions in ``of.stems`` of stems with growth.

    Notes
    -----
    Four robust deviations: 1.4826 times the median distance from the middle.
    """
    away = np.abs(of.stems["growth_cm_per_yr"].to_numpy(dtype=float)[stems] - _middle(of, stems))
    deviation = 1.4826 * np.median(away)  # of a normal distribution, by its median absolute deviation
    return stems[away <= FARTHEST_DEVIATIONS * deviation] if deviation > 0 else stems


def _middle(of: Growth, stems: Whole) -> float:
    return float(np.median(of.stems["growth_cm_per_yr"].to_numpy(dtype=float)[stems]))


def _group(of: Growth, stems: Whole, terms: SiteTerms) -> _Group:
    rate = of.stems["growth_cm_per_yr"].to_numpy(dtype=float)[stems]
    own = of.stems["own_var"].to_numpy(dtype=float)[stems]
    between = between_stems(rate, own)
    weight = 1.0 / (own + between)
    weight /= weight.sum()
    simple = mean_growth(of, np.zeros(len(stems), dtype=np.int64), stems, 1, terms)
    shared = float(simple.variances[0, 1:].sum())
    return _Group(len(stems), float(weight @ rate), float(weight**2 @ (own + between)), between, shared)


def between_stems(rate: Array, variance: Array) -> float:
    """Return how much the true growth of stems varies, from their estimates with known variances.

    Parameters
    ----------
    rate, variance : array
        Growth of each stem [cm/yr] and the variance of its error [cm2/yr2].

    Notes
    -----
    With w = 1/v and Q = sum w (y - m)^2 about their weighted mean: (Q - (n - 1)) / (sum w - sum w^2/sum w),
    0 where that is negative [1]_.
    """
    weight = 1.0 / variance
    mean = weight @ rate / weight.sum()
    spread = weight @ (rate - mean) ** 2
    return max(0.0, float((spread - (len(rate) - 1)) / (weight.sum() - weight @ weight / weight.sum())))


def _drawn(of: Growth, stem: Whole, who: NDArray[np.object_], group_of: Whole, groups: list[_Group]) -> Peers:
    def each(values: list[float]) -> Array:
        return np.array([*values, np.nan], dtype=float)[group_of]

    mean, mean_var = each([g.mean for g in groups]), each([g.mean_own_var for g in groups])
    between, shared_mean = each([g.between for g in groups]), each([g.shared_var for g in groups])
    number = np.array([*(g.number for g in groups), 0], dtype=np.int64)[group_of]
    columns = {name: of.stems[name].to_numpy(dtype=float) for name in ("growth_cm_per_yr", "own_var", "se")}
    rate, own, se = (
        np.where(stem >= 0, np.append(values, np.nan)[stem], np.nan) for values in columns.values()
    )
    has_peers = group_of >= 0
    has_own = np.isfinite(rate) & (has_peers | np.append(of.can_be_told, False)[stem])
    share = np.where(has_own, np.where(has_peers, between / (between + own), 1.0), 0.0)
    growth = np.where(share > 0, share * np.nan_to_num(rate), 0.0)
    growth = growth + np.where(share < 1, (1 - share) * np.nan_to_num(mean), 0.0)
    shared = np.where(has_own, np.maximum(se**2 - own, 0.0), shared_mean)
    left = np.where(has_own, share * np.nan_to_num(own), np.nan_to_num(between))
    variance = left + (1 - share) ** 2 * np.nan_to_num(mean_var) + np.nan_to_num(shared)
    known = has_own | has_peers
    return Peers(
        *(who, number, mean, mean_var, between),
        np.where(known, growth, np.nan),
        np.where(known, np.sqrt(variance), np.nan),
    )


@dataclass(frozen=True)
class Forecast:
    """Diameters to be expected on a day [cm] with their standard errors; never the size itself."""

    dbh_cm: Array
    se_cm: Array


def forecast(level_cm: Array, level_var: Array, level_on: Array, of: Peers, day: str) -> Forecast:
    """Return the diameter of each stem that is to be expected on a day.

    Parameters
    ----------
    level_cm, level_var, level_on : array
        A diameter [cm] of each stem with its variance [cm2], and the day that it is of (days since 1970):
        the level of its line, or its last size where it has none. Its error is independent of the growth's.
    of : Peers
        The growth that it is carried on with.
    day : str
        ISO date.

    Notes
    -----
    D + g t with variance Var(D) + t^2 Var(g), t the years of 365.25 days from then to the day. That growth
    changes from year to year is not in it.
    """
    years = (np.datetime64(day, "D").astype(int) - level_on) / DAYS_PER_YEAR
    return Forecast(level_cm + of.growth * years, np.sqrt(level_var + years**2 * of.se**2))
