"""What measuring days taught those who measured: guesses, how far teams agree, how the trees grew as a group.

Sizes are girths at breast height by version 0 of the error model. What could be chance is not called: a lean
to one side by the sign test, a course over the day by Kendall's rank correlation [1]_, both at 5 %.

References
----------
.. [1] Kendall, M. G. 1938. A new measure of rank correlation. Biometrika 30:81-93 (from memory).
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats

from layers.error_model import Array
from layers.girth import girth_cm, standardised
from layers.growth import growth_of
from layers.growth_groups import ordinary
from layers.growth_of_trees import GrowingGroup, groups_growth
from layers.growth_words import GROWING, SMALLER, TOO_SMALL
from layers.inputs import Records, SiteTerms, with_hands
from layers.repeatability import Repeatability, in_round
from layers.site_model import PUBLISHED

LEAST = 5  # fewer numbers tell neither a middle nor a half (assumption)
LEAST_FOR_A_COURSE = 12  # guesses (assumption)
LEAST_OF_A_KIND = 8  # trunks of a genus (assumption)
CHANCE = 0.05

Lean = Literal["below", "above", "neither"]
Course = Literal["closer", "farther", "not told", "too few", "no times"]


@dataclass(frozen=True)
class Middle:
    """The median of some numbers, and two of them between which at least half lie (quartiles)."""

    count: int
    middle: float
    low: float
    high: float


def middle_of(values: ArrayLike) -> Middle | None:
    """Return the middle and the half of numbers; None below five."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    if len(known) < LEAST:
        return None
    low, high = np.quantile(known, 0.25, method="lower"), np.quantile(known, 0.75, method="higher")
    return Middle(len(known), float(np.median(known)), float(low), float(high))


@dataclass(frozen=True)
class Sides:
    """How many numbers are below and above 1, and where they lean if that is hardly chance."""

    below: int
    above: int
    lean: Lean


def sides_of(ratios: ArrayLike) -> Sides:
    """Return on which side of 1 ratios lie; the lean by the sign test, those of exactly 1 left out."""
    known = np.asarray(ratios, dtype=float)
    below, above = int((known < 1).sum()), int((known > 1).sum())
    if below + above == 0 or stats.binomtest(below, below + above).pvalue > CHANCE:
        return Sides(below, above, "neither")
    return Sides(below, above, "below" if below > above else "above")


def round_sizes(records: Records, terms: SiteTerms, round_id: str) -> pd.DataFrame:
    """Return the readings of a round that hold and have a size.

    Parameters
    ----------
    records : Records
        Everything that was said.
    terms : SiteTerms
        Breast height [m] of the site; the model in use plays no part.
    round_id : str
        The round.

    Returns
    -------
    DataFrame
        Readings with ``round_cm`` (girth at breast height), ``read_cm`` (girth where it was measured) [cm]
        and ``crew`` (empty where none was said).
    """
    mine = in_round(records, round_id)
    published = replace(with_hands(terms, records), model=PUBLISHED)
    sizes = standardised(mine.readings, mine.stems, mine.trees, published).readings
    sizes = sizes.assign(
        round_cm=girth_cm(sizes["dbh_cm"]),
        read_cm=girth_cm(sizes["as_measured_cm"]),
        crew=sizes["crew"].fillna("").astype(str),
    )
    return sizes[np.isfinite(sizes["round_cm"])].reset_index(drop=True)


@dataclass(frozen=True)
class Guesses:
    """Guesses beside what was then read, from the thinnest trunk to the thickest.

    ``rows``: ``tree_id``, ``stem_id``, ``crew``, ``guess_cm``, ``read_cm``, ``ratio`` (guess over reading).
    ``off`` is about ``|ratio - 1|``. ``early`` and ``late`` are its middles in the first and second half of
    each team's guesses, ``by_day`` whether these were told apart by the day alone; None without a course.
    """

    rows: pd.DataFrame
    ratio: Middle | None
    off: Middle | None
    sides: Sides
    course: Course
    early: float | None = None
    late: float | None = None
    by_day: bool = False


def guesses_of(sizes: pd.DataFrame) -> Guesses:
    """Return what guesses say.

    Parameters
    ----------
    sizes : DataFrame
        As of :func:`round_sizes`, of all teams or of some.
    """
    ratio = (sizes["first_guess"] / sizes["value"]).to_numpy(dtype=float)
    usable = (sizes["first_guess"] > 0).to_numpy() & (sizes["value"] > 0).to_numpy() & np.isfinite(ratio)
    rows = sizes.assign(ratio=ratio, guess_cm=sizes["read_cm"] * ratio)[usable]
    rows = rows.sort_values(["read_cm", "stem_id", "crew"], kind="stable").reset_index(drop=True)
    away = np.abs(rows["ratio"].to_numpy(dtype=float) - 1.0)
    found = Guesses(rows, middle_of(rows["ratio"]), middle_of(away), sides_of(rows["ratio"]), "too few")
    return _with_course(found, away)


def _with_course(found: Guesses, away: Array) -> Guesses:
    if len(away) < LEAST_FOR_A_COURSE:
        return found
    order, by_day = _order(found.rows)
    later = order > 0.5
    if len(np.unique(order)) < 2 or not later.any() or later.all():
        return replace(found, course="no times")
    tau, chance = stats.kendalltau(order, away)
    early, late = float(np.median(away[~later])), float(np.median(away[later]))
    told = bool(chance <= CHANCE) and np.sign(late - early) == np.sign(tau)
    course: Course = "not told" if not told else "closer" if tau < 0 else "farther"
    return replace(found, course=course, early=early, late=late, by_day=by_day)


def _order(rows: pd.DataFrame) -> tuple[Array, bool]:
    """The place of each guess among those of its team, from 0 to 1, and whether only days tell it.

    Clocks of phones differ, so that only one team's times are compared.
    """
    timed = bool(rows["recorded_at"].notna().all())
    when = pd.to_datetime(
        rows["recorded_at" if timed else "measured_on"], utc=True, format="ISO8601", errors="coerce"
    )
    place = when.groupby(rows["crew"]).rank(method="average")
    number = when.groupby(rows["crew"]).transform("count")
    order = np.where(number > 0, (place - 0.5) / number, 0.5)
    return np.nan_to_num(order, nan=0.5), not timed


@dataclass(frozen=True)
class Agreement:
    """Trunks that two teams measured.

    ``pairs``, the nearest first: ``tree_id``, ``stem_id``, ``crew``, ``other``, ``round_cm``,
    ``other_round_cm`` (girths at breast height), ``apart_cm``, ``far`` (too far apart for errors of
    measuring). ``apart`` is about ``apart_cm``.
    """

    pairs: pd.DataFrame
    apart: Middle | None


_PAIR = ("tree_id", "stem_id", "crew", "other", "round_cm", "other_round_cm", "apart_cm", "far")


def agreement_of(of: Repeatability | None, crew: str | None = None) -> Agreement:
    """Return how far teams agree, by the trunks that a round read more than once.

    Parameters
    ----------
    of : Repeatability, optional
        Of the round.
    crew : str, optional
        Only pairs that this team is in; it is then named first.

    Notes
    -----
    What one team read several times counts as its mean.
    """
    rows = []
    for trunk in () if of is None else of.trunks.itertuples():
        each = pd.DataFrame(trunk.readings).groupby("crew")["dbh_cm"].mean()
        far = {str(one["crew"]) for one in trunk.readings if one["left_out"]}
        names = sorted((str(name) for name in each.index if name), key=lambda name: (name != crew, name))
        for n, one in enumerate(names):
            for other in names[n + 1 :]:
                if crew is None or one == crew:
                    a, b = (float(girth_cm(each[name])) for name in (one, other))
                    sizes = (a, b, abs(a - b), bool(far & {one, other}))
                    rows.append((trunk.tree_id, trunk.stem_id, one, other, *sizes))
    pairs = pd.DataFrame(rows, columns=list(_PAIR)).astype({"far": bool})
    pairs = pairs.sort_values("apart_cm", kind="stable").reset_index(drop=True)
    return Agreement(pairs, middle_of(pairs["apart_cm"]))


@dataclass(frozen=True)
class Grown:
    """How trunks that a round measured grew until then: all of them, and those of each genus.

    ``left_out`` trunks changed so much that one of their measurements was surely mistaken.
    """

    all: GrowingGroup | None
    kinds: tuple[GrowingGroup, ...]
    left_out: int = 0


def grown_until(
    records: Records, terms: SiteTerms, stems: Collection[str], day: str, genus: Mapping[str, str]
) -> Grown:
    """Return how some trunks grew as a group, by everything that was read until a day.

    Parameters
    ----------
    records, terms
        Everything that was said; error model of the site.
    stems : collection of str
        Ids of the trunks.
    day : str
        ISO date: the last day of the round.
    genus : mapping
        {stem id: genus}; the genera with most trunks come first, those of fewer than eight not at all.
    """
    of = growth_of(records, terms, day)
    ids = of.stems["stem_id"].astype(str)
    asked = (ids.isin(list(stems)) & np.isfinite(of.stems["growth_cm_per_yr"])).to_numpy(dtype=bool)
    if not asked.any():
        return Grown(None, ())
    counted = np.zeros(len(ids), dtype=bool)
    counted[ordinary(of, np.flatnonzero(asked))] = True
    whole = groups_growth(of, counted, [["all"]] * len(ids), terms)
    kinds = groups_growth(of, counted, [[genus[id]] if id in genus else [] for id in ids], terms)
    enough = sorted((kind for kind in kinds if kind.stems >= LEAST_OF_A_KIND), key=lambda kind: -kind.stems)
    return Grown(whole[0], tuple(enough), int(asked.sum() - counted.sum()))


def change_words(group: GrowingGroup) -> str:
    """Return the change of a group in words, by whether its 95 % interval leaves out none."""
    return GROWING if group.lo > 0 else SMALLER if group.hi < 0 else TOO_SMALL
