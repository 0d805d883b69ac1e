"""The stems of a site as they were on a day: three frames that everything else is computed from.

``stem_state`` has one row a stem, ``stem_parts`` what stems share of their errors, ``causes`` the shared
effects. No figure ever sees a reading.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import columns, girth
from layers.combining import departure_variance, number_at, own_variance, summed, weights_of
from layers.corrections import LIVE, corrected
from layers.days import days, local_days
from layers.error_model import Array, Whole
from layers.inputs import Records, SiteTerms, with_hands
from layers.site_model import FROM_SITE, PRIOR_DF
from layers.standing import settled_events, standing, statuses

_NONE = -1


@dataclass(frozen=True)
class StandState:
    """Stems on a day (columns STEM_STATE), their shared error parts (STEM_PARTS) and the causes (CAUSES)."""

    stem_state: pd.DataFrame
    stem_parts: pd.DataFrame
    causes: pd.DataFrame


@dataclass(frozen=True)
class Counted:
    """The readings that make the sizes of stems on a day, and how much each counts.

    ``stems`` has the trees that stood and their stems with both statuses; ``sizes`` every live reading until
    the day; ``stem`` the row of ``stems`` of each reading (-1: none) and ``when`` its day. ``rows`` are the
    readings that count, ordered by stem and day, ``weights`` add up to 1 in every stem.
    """

    stems: pd.DataFrame
    sizes: girth.Standardised
    stem: Whole
    when: Whole
    rows: Whole
    weights: Array


def live_readings(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the readings with what became of them: columns ``state`` and ``is_forked`` added.

    Parameters
    ----------
    readings : DataFrame
        Columns of READING_RECORD, in any order.

    Returns
    -------
    DataFrame
        Same rows and index. ``state`` is live, superseded, void, waiting (for the reading that it corrects)
        or cycle (refuse the record that closes it); only live ones count. ``is_forked`` marks readings that
        correct the same one: the one that was recorded last is live, all are questioned.
    """
    return readings.join(corrected(readings, "reading_id", "stem_id"))


def state_at(records: Records, terms: SiteTerms, as_of: str) -> StandState:
    """Return the stems of the trees that stood on a day or before, taken to the end of that day.

    Parameters
    ----------
    records : Records
        What was said, void versions left out.
    terms : SiteTerms
        Breast height [m] and time zone of the site.
    as_of : str
        ISO date.

    Returns
    -------
    StandState
        A tree without stems has one row with an empty ``stem_id``. Sizes are those of a stem's latest round
        (without a round: latest day), several readings of it combined by their covariance, and are carried
        forward unchanged. ``dbh_source`` says why there is none.

    Notes
    -----
    A reading without a date counts from the day that it was received in the site's time zone.
    """
    counted = counted_readings(records, terms, as_of)
    state = _latest(counted, terms).join(
        _classes(counted.sizes.readings, counted.stem, counted.when, len(counted.stems))
    )
    stem_ids = counted.stems["stem_id"].to_numpy(dtype=object)
    parts = _stem_parts(counted.sizes.parts, counted.rows, counted.stem, counted.weights, stem_ids)
    return StandState(columns.shaped("stem_state", state), parts, counted.sizes.causes)


def counted_readings(records: Records, terms: SiteTerms, as_of: str) -> Counted:
    """Return the readings that make the sizes of stems on a day, with their weights.

    Parameters
    ----------
    records, terms, as_of
        As for ``state_at``.
    """
    terms = with_hands(terms, records)
    day = np.datetime64(as_of, "D")
    known = live_readings(records.readings)
    live = known[known["state"] == LIVE].sort_values("reading_id", ignore_index=True)
    received = local_days(live["received_at"], terms.time_zone)
    measured = days(live["measured_on"])
    when = np.where(np.isnat(measured), received, measured)
    until = np.isnat(when) | (when <= day)
    live, when = live[until].reset_index(drop=True), when[until].astype(np.int64)

    sizes = girth.standardised(live, records.stems, records.trees, terms)
    stems = _stems(records, known[known["state"] == LIVE], day, terms.time_zone)
    stem = _positions(stems["stem_id"], sizes.readings["stem_id"])
    has_size = np.isfinite(sizes.readings["dbh_cm"].to_numpy(dtype=float)) & (stem >= 0)
    rows = _latest_round(sizes.readings, np.flatnonzero(has_size), stem, when)
    return Counted(stems, sizes, stem, when, rows, weights_of(sizes, rows, stem, records, terms))


def _stems(records: Records, live: pd.DataFrame, day: np.datetime64, time_zone: str) -> pd.DataFrame:
    """Stems of the standing trees with both statuses; a tree without stems has a row without a stem."""
    trees = standing(records, live, day, time_zone)
    events = settled_events(records.status_events)
    status, _ = statuses(
        records.stems["stem_id"], records.stems["status"], events[events["subject"] == "stem"], day
    )
    stems = records.stems[["stem_id", "tree_id", "number"]].assign(status=status)
    merged = trees.merge(stems.sort_values("number", kind="stable"), on="tree_id", how="left", sort=False)
    return merged.reset_index(drop=True)


def _positions(stem_ids: pd.Series, wanted: pd.Series) -> Whole:
    """Where each wanted stem stands among those given, -1 where it does not; some rows have no stem."""
    has_stem = np.flatnonzero(stem_ids.notna().to_numpy())
    at = pd.Index(stem_ids.iloc[has_stem]).get_indexer(wanted)
    return np.where(at >= 0, np.append(has_stem, _NONE)[at], _NONE)


def _latest(counted: Counted, terms: SiteTerms) -> pd.DataFrame:
    """The state of every stem by its latest round."""
    readings, stem, rows, weights = counted.sizes.readings, counted.stem, counted.rows, counted.weights
    stems = len(counted.stems)
    first = np.full(stems, _NONE, dtype=np.int64)
    first[stem[rows][::-1]] = rows[::-1]
    measured = first >= 0

    def known(values: Array) -> Array:
        return np.where(measured, values, np.nan)

    last = _last_by_day(rows, stem, counted.when, stems)
    undated = readings["measured_on"].isna().to_numpy()
    departure = departure_variance(readings, rows, stem, weights, stems)
    number = np.bincount(stem[rows], minlength=stems)
    return counted.stems.assign(
        dbh_cm=known(combined(number_at(readings, "dbh_cm", rows), weights, stem[rows], stems)),
        own_var_cm2=known(own_variance(readings, rows, stem, weights, stems)),
        departure_var_cm2=known(departure),
        as_measured_cm=_taken(readings["as_measured_cm"], first),
        height_m=_taken(readings["height_m"], first),
        reading=_taken(readings["reading_id"], first),
        measured_on=_taken(readings["measured_on"], last),
        undated=_taken(pd.Series(undated), last, False),
        assumed=measured & _any_of(rests_on_assumption(counted.sizes, terms), rows, stem, stems),
        dbh_source=_sources(readings, stem, counted.when, first, number),
    )


def rests_on_assumption(sizes: girth.Standardised, terms: SiteTerms) -> NDArray[np.bool_]:
    """Return whether the error of each reading rests on an assumption.

    It does not where the site's adopted model learned the own deviation (its degrees of freedom are finite
    and more than the prior's), that of the departure from the profile where there is one, and every shared
    effect of the reading.
    """
    model, readings = terms.model, sizes.readings
    if not PRIOR_DF < model.own.df < np.inf:
        return np.ones(len(readings), dtype=bool)
    source = sizes.causes["source"].to_numpy(dtype=object)
    at = pd.Index(sizes.causes["cause"]).get_indexer(sizes.parts["cause"])
    row = sizes.parts["row"].to_numpy(dtype=np.int64)
    assumed = np.zeros(len(readings), dtype=bool)
    assumed[row[source[at] != FROM_SITE]] = True
    if not PRIOR_DF < model.departure.df < np.inf:
        assumed |= readings["departure_se_cm"].to_numpy(dtype=float) > 0
    return assumed


def _any_of(flags: NDArray[np.bool_], rows: Whole, stem: Whole, stems: int) -> NDArray[np.bool_]:
    """Whether any of the rows of each stem is flagged."""
    out = np.zeros(stems, dtype=bool)
    out[stem[rows[flags[rows]]]] = True
    return out


def combined(sizes_cm: Array, weights: Array, stem: Whole, stems: int) -> Array:
    """Return the weighted mean of every stem's sizes, exactly their size where they are alike; 0 without any.

    ``stem`` is ordered. Weights add up to 1 but for rounding, which must not move a size over a class limit.
    """
    first = np.zeros(stems)
    first[stem[::-1]] = sizes_cm[::-1]
    return first + summed(stem, weights * (sizes_cm - first[stem]), stems)


def _latest_round(readings: pd.DataFrame, rows: Whole, stem: Whole, when: Whole) -> Whole:
    """The rows of every stem's latest round, else of its latest day, ordered by stem, day and id."""
    ids = readings["reading_id"].to_numpy(dtype=object)
    by_id = np.argsort(ids[rows].astype(str), kind="stable") if len(rows) else rows
    rows = rows[by_id]
    rows = rows[np.lexsort((when[rows], stem[rows]))]
    rounds, _ = pd.factorize(readings["round_id"].to_numpy(dtype=object))
    ends = np.flatnonzero(np.append(stem[rows][1:] != stem[rows][:-1], True)) if len(rows) else rows
    last = np.repeat(rows[ends], np.diff(np.concatenate([[-1], ends]))) if len(rows) else rows
    same_round = (rounds[rows] >= 0) & (rounds[rows] == rounds[last])
    same_day = (rounds[rows] < 0) & (rounds[last] < 0) & (when[rows] == when[last])
    return np.asarray(rows[same_round | same_day], dtype=np.int64)


def _stem_parts(
    parts: pd.DataFrame, rows: Whole, stem: Whole, weights: Array, stem_ids: NDArray[np.object_]
) -> pd.DataFrame:
    """The parts of the readings that count, weighted and summed by stem and cause."""
    weight = np.zeros(max(len(stem), 1))
    weight[rows] = weights
    part_row = parts["row"].to_numpy(dtype=np.int64)
    counts = np.zeros(max(len(stem), 1), dtype=bool)
    counts[rows] = True
    used = parts[counts[part_row]]
    row = used["row"].to_numpy(dtype=np.int64)
    cause, names = pd.factorize(used["cause"].to_numpy(dtype=object))
    width = max(len(names), 1)
    code, inverse = np.unique(stem[row] * width + cause, return_inverse=True)
    size = np.bincount(inverse, weights=weight[row] * used["sensitivity_cm"].to_numpy(dtype=float))
    return columns.shaped(
        "stem_parts",
        pd.DataFrame(
            {
                "stem_id": pd.Series(stem_ids[code // width], dtype=object),
                "cause": pd.Series(np.asarray(names, dtype=object)[code % width], dtype=object),
                "sensitivity_cm": size,
            }
        ),
    )


def _sources(
    readings: pd.DataFrame, stem: Whole, when: Whole, first: Whole, number: Whole
) -> NDArray[np.object_]:
    """How each size came about; without one, why its latest reading gives none."""
    order = np.argsort(when, kind="stable")
    latest = np.full(len(first), _NONE, dtype=np.int64)
    known = order[stem[order] >= 0]
    latest[stem[known]] = known
    words = _taken(readings["dbh_source"], np.where(first >= 0, first, latest))
    words[(first < 0) & (latest < 0)] = "not measured"
    for row in np.flatnonzero(number > 1):
        words[row] = f"{words[row]}; {number[row]} readings of the same round combined"
    return words


def _classes(readings: pd.DataFrame, stem: Whole, when: Whole, stems: int) -> pd.DataFrame:
    """The latest diameter class that was said of each stem."""
    is_class = (readings["quantity"] == "class").to_numpy() & (stem >= 0)
    rows = np.flatnonzero(is_class)
    last = _last_by_day(rows, stem, when, stems)
    return pd.DataFrame(
        {name: _taken(readings[name], last) for name in ("class_from_cm", "class_to_cm")}, dtype=object
    )


def _last_by_day(rows: Whole, stem: Whole, when: Whole, stems: int) -> Whole:
    last = np.full(stems, _NONE, dtype=np.int64)
    order = rows[np.argsort(when[rows], kind="stable")]
    last[stem[order]] = order
    return last


def _taken(values: pd.Series, at: Whole, missing: object = None) -> NDArray[np.object_]:
    """The values at positions, ``missing`` where the position is -1."""
    out = np.full(len(at), missing, dtype=object)
    known = at >= 0
    out[known] = values.to_numpy(dtype=object)[at[known]]
    return out
