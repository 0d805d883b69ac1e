"""What became of the basal area between two days, and how fast the stems grew that were measured on both.

References
----------
.. [1] Beers, T. W. 1962. Components of forest growth. Journal of Forestry 60:245-248 (from memory): survivor
   growth, ingrowth, mortality and removals add up to the net change.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.combining import number_at, own_variance
from layers.days import days
from layers.edge_doubt import NO_DOUBT, EdgeDoubt
from layers.error_model import Array, SharedParts, Whole, expanded
from layers.figure_subjects import Subject, Subjects
from layers.figure_sums import EDGE
from layers.girth import basal_area_m2
from layers.growth import variance_between
from layers.growth_lines import DAYS_PER_YEAR, LEAST_DAYS_IN_GROUP
from layers.history import Counted, combined, counted_readings
from layers.inputs import Records, SiteTerms, with_hands
from layers.site_model import quantile95
from layers.standing import COUNTED, DEAD, REMOVED, settled_events
from layers.translating import N_

Flags = NDArray[np.bool_]

NO_SINCE = N_(
    "This is a change between two days: name the day to compare with, as since=YYYY-MM-DD in the address or "
    "--since in the command."
)
NO_PAIRS = N_(
    "No living trunk here was measured on both days, with at least 292 days between its two measurements."
)
NO_SIZES_THEN = N_("No living trunk here had a size on either day.")
SENTENCES = (NO_SINCE, NO_PAIRS, NO_SIZES_THEN)

SURVIVORS, PLANTED, FIRST_MEASURED, MORTALITY, REMOVALS, NO_LONGER = (
    *("survivors", "ingrowth_planted", "ingrowth_first_measured"),
    *("mortality", "removals", "no_longer_measured"),
)
KINDS = (SURVIVORS, PLANTED, FIRST_MEASURED, MORTALITY, REMOVALS, NO_LONGER)


@dataclass(frozen=True)
class Changes:
    """The stems of a site on two days, ordered by tree.

    ``tree_id`` of every stem; ``before_cm`` and ``after_cm`` are its diameters where it counted (a living
    stem of a living tree), else NaN; ``years`` between their measurements, NaN where it was not measured on
    both at least 292 days apart; ``own_var_cm2`` is the variance of the difference that it shares with no
    other stem, ``parts`` what it shares. ``became`` says what one that only counted before became.
    """

    since: str
    tree_id: NDArray[np.object_]
    before_cm: Array
    after_cm: Array
    years: Array
    own_var_cm2: Array
    parts: SharedParts
    became: Whole  # position in KINDS
    planted: Flags
    terms: SiteTerms


def changes_between(records: Records, terms: SiteTerms, since: str, as_of: str) -> Changes:
    """Return what became of every stem of a site between two days, with today's knowledge.

    Parameters
    ----------
    records : Records
        What was said.
    terms : SiteTerms
        Breast height [m], time zone and error model of the site.
    since, as_of : str
        ISO dates, the earlier first; each is taken to its end.

    Notes
    -----
    The error of a difference has each reading with the weight that it has in it, so that what both ends
    share (the instrument, the departure of the trunk at one height, a reading that is used on both days)
    cancels.
    """
    terms = with_hands(terms, records)
    before, after = counted_readings(records, terms, since), counted_readings(records, terms, as_of)
    order = np.argsort(after.stems["tree_id"].to_numpy(dtype=object).astype(str), kind="stable")
    order = order[after.stems["stem_id"].notna().to_numpy()[order]]
    place = np.full(len(after.stems), -1, dtype=np.int64)
    place[order] = np.arange(len(order))
    stems = after.stems.iloc[order].reset_index(drop=True)
    then = pd.Index(stems["stem_id"]).get_indexer(before.stems["stem_id"])
    ends = [_end(before, then, len(stems)), _end(after, place, len(stems))]
    of_difference = _difference(before, after, place, len(stems))
    apart = ends[1].day - ends[0].day
    both = np.isfinite(ends[0].dbh_cm) & np.isfinite(ends[1].dbh_cm) & ends[0].dated & ends[1].dated
    years = np.where(both & (apart >= LEAST_DAYS_IN_GROUP), apart / DAYS_PER_YEAR, np.nan)
    return Changes(
        since=since,
        tree_id=stems["tree_id"].to_numpy(dtype=object),
        before_cm=ends[0].dbh_cm,
        after_cm=ends[1].dbh_cm,
        years=years,
        own_var_cm2=of_difference[0],
        parts=of_difference[1],
        became=_became(stems, records, since, as_of),
        planted=_planted(stems, records, since, as_of),
        terms=terms,
    )


@dataclass(frozen=True)
class _End:
    """The stems that counted on a day: diameter, day of measuring, whether it has one."""

    dbh_cm: Array
    day: Array
    dated: Flags


def _end(counted: Counted, place: Whole, stems: int) -> _End:
    """The stems on a day, each at its place; -1 is none."""
    readings, rows = counted.sizes.readings, counted.rows
    stem = counted.stem[rows]
    size = combined(number_at(readings, "dbh_cm", rows), counted.weights, stem, len(counted.stems))
    measured = np.bincount(stem, minlength=len(counted.stems)) > 0
    living = np.isin(counted.stems["tree_status"].to_numpy(dtype=object), COUNTED)
    living &= np.isin(counted.stems["status"].to_numpy(dtype=object), COUNTED)
    undated = readings["measured_on"].isna().to_numpy()[rows]
    middle = np.bincount(stem, weights=counted.weights * counted.when[rows], minlength=len(counted.stems))
    without = np.bincount(stem, weights=undated, minlength=len(counted.stems)) > 0
    known = np.flatnonzero((place >= 0) & measured & living)
    dbh, day, dated = np.full(stems, np.nan), np.full(stems, np.nan), np.zeros(stems, dtype=bool)
    dbh[place[known]], day[place[known]], dated[place[known]] = size[known], middle[known], ~without[known]
    return _End(dbh, day, dated)


def _difference(before: Counted, after: Counted, place: Whole, stems: int) -> tuple[Array, SharedParts]:
    """The own variance of each stem's difference [cm2], and its shared parts."""
    readings = after.sizes.readings
    weight = np.zeros(len(readings))
    weight[after.rows] += after.weights
    ids = before.sizes.readings["reading_id"].iloc[before.rows]
    weight[pd.Index(readings["reading_id"]).get_indexer(ids)] -= before.weights
    stem = np.where(after.stem >= 0, np.append(place, -1)[after.stem], -1)
    rows = np.flatnonzero((weight != 0) & (stem >= 0))
    own = own_variance(readings, rows, stem, weight[rows], stems)
    row = after.sizes.parts["row"].to_numpy(dtype=np.int64)
    used = (weight[row] != 0) & (stem[row] >= 0)
    part = after.sizes.parts[used]
    size = weight[row[used]] * part["sensitivity_cm"].to_numpy(dtype=float)
    by_stem = part.assign(stem_id=stem[row[used]], sensitivity_cm=size)
    return own, SharedParts.of(pd.RangeIndex(stems), by_stem, after.sizes.causes)


def _became(stems: pd.DataFrame, records: Records, since: str, as_of: str) -> Whole:
    """What a stem became that counts no longer: dead, removed alive, or only without a measurement."""
    status = [stems[name].to_numpy(dtype=object) for name in ("tree_status", "status")]
    events = settled_events(records.status_events)
    day = events["day"].to_numpy().astype("datetime64[D]")
    first, last = np.datetime64(since, "D"), np.datetime64(as_of, "D")
    deaths = events[(events["status"] == DEAD).to_numpy() & (day > first) & (day <= last)]
    deaths = deaths[~deaths["in_doubt"].to_numpy(dtype=bool)]
    died = stems["tree_id"].isin(deaths["subject_id"]) | stems["stem_id"].isin(deaths["subject_id"])
    gone = (status[0] == REMOVED) | (status[1] == REMOVED)
    dead = (status[0] == DEAD) | (status[1] == DEAD) | (gone & died.to_numpy())
    return np.select(
        [dead, gone], [KINDS.index(MORTALITY), KINDS.index(REMOVALS)], KINDS.index(NO_LONGER)
    ).astype(np.int64)


def _planted(stems: pd.DataFrame, records: Records, since: str, as_of: str) -> Flags:
    """Which stems are of trees that were planted between the two days."""
    at = pd.Index(records.trees["tree_id"]).get_indexer(stems["tree_id"])
    planted = days(records.trees["planted_on"])[at]
    return np.asarray((planted > np.datetime64(since, "D")) & (planted <= np.datetime64(as_of, "D")))


def with_changes(
    rows: Sequence[dict[str, Any]],
    subjects: Subjects,
    group_of: Sequence[int],
    tree_id: pd.Index,
    of: Changes,
    doubt: EdgeDoubt = NO_DOUBT,
) -> None:
    """Put ``increment`` and ``components`` into rows of figures.

    Parameters
    ----------
    rows : sequence of dict
        The figures, one a subject.
    subjects : Subjects
        What figures are given for, with its trees as positions in ``tree_id``.
    group_of : sequence of int
        The subject of each row.
    tree_id : Index
        The trees of the stand.
    of : Changes
        Of the same day, since another.
    doubt : EdgeDoubt
        Trees that may stand on the other side of the edge of a subject: a part of the error of increments.
    """
    pair, stem = _stems_of_pairs(subjects.tree, tree_id, of)
    group = subjects.group[pair]
    limits = np.array([one.counting_limit_cm for one in subjects.rows])
    limit = np.nan_to_num(limits, nan=0.0)[group]
    was, now = (np.nan_to_num(each[stem], nan=-1.0) for each in (of.before_cm, of.after_cm))
    was, now = (np.where((each >= limit) & (each >= 0), each, np.nan) for each in (was, now))
    kept = np.isfinite(was) | np.isfinite(now)
    group, stem, was, now = group[kept], stem[kept], was[kept], now[kept]
    components = _components(of, group, stem, was, now, len(subjects.rows))
    near, stem_near = _stems_of_pairs(doubt.tree, tree_id, of)
    measured = np.isfinite(of.before_cm) & np.isfinite(of.after_cm) & np.isfinite(of.years)
    likely = doubt.likely[near] * measured[stem_near]
    total = np.bincount(doubt.row[near], weights=likely, minlength=len(subjects.rows))
    doubtful = np.asarray(total, dtype=float)
    increments = _increments(of, group, stem, was, now, doubtful)
    for row, g in zip(rows, group_of, strict=True):
        _put(row, subjects.rows[g], components[g], increments[g])


def _put(
    row: dict[str, Any], one: Subject, components: dict[str, Any] | None, increment: dict[str, Any] | None
) -> None:
    if not one.has_trees:
        return
    given = (("components", components, NO_SIZES_THEN), ("increment", increment, NO_PAIRS))
    for key, value, sentence in given:
        row[key] = value
        row["why"].pop(key, None)
        if value is None:
            row["why"][key] = sentence


def _stems_of_pairs(tree: Whole, tree_id: pd.Index, of: Changes) -> tuple[Whole, Whole]:
    """Pairs of a subject and a tree with each stem of the tree."""
    names, first, count = np.unique(of.tree_id.astype(str), return_index=True, return_counts=True)
    at = pd.Index(names).get_indexer(pd.Index(tree_id.astype(str)))[tree]
    known = np.flatnonzero(at >= 0)
    pair = np.repeat(known, count[at[known]])
    return pair, expanded(first[at[known]], count[at[known]])


def _components(
    of: Changes, group: Whole, stem: Whole, was: Array, now: Array, groups: int
) -> list[dict[str, Any] | None]:
    counted, counts = np.isfinite(was), np.isfinite(now)
    before, after = basal_area_m2(np.nan_to_num(was)), basal_area_m2(np.nan_to_num(now))
    new = np.where(of.planted[stem], KINDS.index(PLANTED), KINDS.index(FIRST_MEASURED))
    kind = np.where(counted & counts, KINDS.index(SURVIVORS), np.where(counts, new, of.became[stem]))
    code = group * len(KINDS) + kind
    size = np.bincount(code, weights=after - before, minlength=groups * len(KINDS)).reshape(groups, -1)
    number = np.bincount(code, minlength=groups * len(KINDS)).reshape(groups, -1)
    return [
        {
            "since": of.since,
            "change_m2": float(size[g].sum()),
            **{
                name: {"stems": int(number[g, k]), "basal_area_m2": float(size[g, k])}
                for k, name in enumerate(KINDS)
            },
        }
        if number[g].any()
        else None
        for g in range(groups)
    ]


def _increments(
    of: Changes, group: Whole, stem: Whole, was: Array, now: Array, doubtful: Array
) -> list[dict[str, Any] | None]:
    groups = len(doubtful)
    pairs = np.isfinite(was) & np.isfinite(now) & np.isfinite(of.years[stem])
    group, stem, was, now = group[pairs], stem[pairs], was[pairs], now[pairs]
    number = np.bincount(group, minlength=groups)
    share = 1.0 / np.maximum(number, 1)[group]
    a = share / of.years[stem]
    mean = np.bincount(group, weights=a * (now - was), minlength=groups)
    years = np.bincount(group, weights=share * of.years[stem], minlength=groups)
    own = np.bincount(group, weights=a**2 * of.own_var_cm2[stem], minlength=groups)
    rate, alone = (now - was) / of.years[stem], of.own_var_cm2[stem] / of.years[stem] ** 2
    edge = doubtful * variance_between(group, rate, alone, groups) / np.maximum(number, 1) ** 2
    variances = np.column_stack([own, of.parts.grouped(group, stem, a, groups), edge])
    se = np.sqrt(variances.sum(axis=1))
    half = quantile95(of.terms.model.degrees_of_freedom(("own", *of.parts.kinds, EDGE), variances)) * se
    return [
        {
            "since": of.since,
            "stems": int(number[g]),
            "mean_years": float(years[g]),
            "growth_cm_per_yr": float(mean[g]),
            "growth_se_cm_per_yr": float(se[g]),
            "growth_lo_cm_per_yr": float(mean[g] - half[g]),
            "growth_hi_cm_per_yr": float(mean[g] + half[g]),
        }
        if number[g]
        else None
        for g in range(groups)
    ]
