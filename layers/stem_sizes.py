"""Readings of stems in order of time with all their errors: what :mod:`layers.stem_forecast` works on.

Errors that grow with the size are taken at what was known of the stem before, so that a mistaken reading
does not excuse itself by its own size.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from layers import girth
from layers.corrections import LIVE, corrected
from layers.days import days, local_days, order_said
from layers.error_model import Array, Whole
from layers.inputs import Records, SiteTerms, with_hands
from layers.stem_forecast import Sizes
from layers.usual_sizes import YOUNG_LOG_SD, YOUNG_MEDIAN_CM, YOUNG_SHARE, usual

DAYS_PER_YEAR = 365.25
ANY_LOG_SD = 2.0  # of mistaken sizes, as logarithms; assumption
CLIPPED_AT = 3.0  # deviations of the usual sizes of a genus, for the errors of a stem's first reading


@dataclass(frozen=True)
class Ordered:
    """Readings with a size, ordered by stem and time, beside what is worked out of each.

    ``readings`` has the columns of ``standardised`` as the readings were said, ``tree_id``, ``when`` (day as
    a number) and ``genus``; ``sizes`` the same rows; ``typed_per_cm`` what is typed for a standard diameter
    of 1 cm; ``usual_log`` mean and deviation of the logarithm of the usual diameters of the genus.
    """

    readings: pd.DataFrame
    sizes: Sizes
    typed_per_cm: Array
    usual_log: Array


def ordered(
    records: Records,
    terms: SiteTerms,
    accepted: frozenset[str] = frozenset(),
    to_come: pd.DataFrame | None = None,
) -> Ordered:
    """Return the live readings that have a size, ordered by stem, day and the time at which they were said.

    Parameters
    ----------
    records, terms
        Of the site.
    accepted : frozenset
        Ids of the readings of which a person has said that they fit.
    to_come : DataFrame, optional
        Columns of READING_RECORD: readings yet to come, at most one a stem, with ``measured_on`` and any
        value above 0. They stand behind all others of their stem.
    """
    terms = with_hands(terms, records)
    said = _live(records.readings)
    is_known = np.ones(len(said), dtype=bool)
    if to_come is not None:
        said = pd.concat([said, to_come], ignore_index=True)
        is_known = np.append(is_known, np.zeros(len(to_come), dtype=bool))
    sizes = girth.standardised(said, records.stems, records.trees, terms).readings
    has_size = np.isfinite(sizes["dbh_cm"].to_numpy(dtype=float)) & sizes["tree_id"].notna().to_numpy()
    received = local_days(sizes["received_at"], terms.time_zone)
    measured = days(sizes["measured_on"])
    when = np.where(np.isnat(measured), received, measured).astype("datetime64[D]").astype(np.int64)
    stem, _ = pd.factorize(sizes["stem_id"].to_numpy(dtype=object))
    order = np.lexsort((order_said(sizes, "reading_id"), when, ~is_known, stem))
    order = order[has_size[order]]
    rows = sizes.assign(when=when, genus=_genus(sizes["tree_id"], records.trees)).iloc[order]
    return _with_errors(
        rows.reset_index(drop=True), stem[order].astype(np.int64), is_known[order], records, terms, accepted
    )


def _live(readings: pd.DataFrame) -> pd.DataFrame:
    state = corrected(readings, "reading_id", "stem_id")["state"].to_numpy(dtype=object)
    return readings[state == LIVE].reset_index(drop=True)


def _genus(tree_ids: pd.Series, trees: pd.DataFrame) -> NDArray[np.object_]:
    at = pd.Index(trees["tree_id"]).get_indexer(tree_ids)
    genus = trees["genus"].to_numpy(dtype=object)
    return np.array([genus[n] if n >= 0 and isinstance(genus[n], str) else None for n in at], dtype=object)


def _with_errors(
    rows: pd.DataFrame,
    stem: Whole,
    is_known: NDArray[np.bool_],
    records: Records,
    terms: SiteTerms,
    accepted: frozenset[str],
) -> Ordered:
    of_genus = _usual(rows["genus"])
    dbh = rows["dbh_cm"].to_numpy(dtype=float)
    level = _level(stem, dbh, is_known, of_genus["log_mean"], of_genus["log_sd"])
    factor = level / dbh
    names = [name for name in records.readings.columns if name in rows]
    alike = rows[names].assign(value=rows["value"] * factor, value_2=rows["value_2"] * factor)
    sized = girth.standardised(alike, records.stems, records.trees, terms)
    key, size = _effects(sized)
    height = np.round(np.nan_to_num(rows["height_m"].to_numpy(dtype=float), nan=-1.0) * 1e6)
    value = sized.readings["value"].to_numpy(dtype=float)
    second = sized.readings["value_2"].to_numpy(dtype=float)
    sizes = Sizes(
        stem=stem,
        years=rows["when"].to_numpy(dtype=float) / DAYS_PER_YEAR,
        dbh_cm=dbh,
        level_cm=level,
        own_var=sized.readings["own_var_cm2"].to_numpy(dtype=float),
        departure_cm=sized.readings["departure_se_cm"].to_numpy(dtype=float),
        height=height.astype(np.int64),
        effect_key=key,
        effect_cm=size,
        usual_cm=of_genus["mean_cm"],
        usual_sd_cm=of_genus["sd_cm"],
        growth=of_genus["growth_cm_per_yr"],
        growth_sd=of_genus["growth_sd_cm_per_yr"],
        log_unusual=_log_unusual(np.log(dbh), of_genus["log_mean"], of_genus["log_sd"]),
        is_accepted=rows["reading_id"].isin(accepted).to_numpy(),
        is_known=is_known,
    )
    typed = np.where(second > 0, (value + second) / 2.0, value)
    per_cm = typed / sized.readings["dbh_cm"].to_numpy(dtype=float)
    return Ordered(rows, sizes, per_cm, np.column_stack([of_genus["log_mean"], of_genus["log_sd"]]))


def _usual(genus: pd.Series) -> dict[str, Array]:
    """What is usual of each one's genus, by name."""
    codes, known = pd.factorize(genus.to_numpy(dtype=object))
    each = [usual(name) for name in known] + [usual(None)]
    names = ("log_mean", "log_sd", "growth_cm_per_yr", "growth_sd_cm_per_yr", "mean_cm", "sd_cm")
    return {name: np.array([getattr(one, name) for one in each], dtype=float)[codes] for name in names}


def _log_unusual(log_dbh: Array, log_mean: Array, log_sd: Array) -> Array:
    """The logarithm of how much likelier each size is as a mistake, which may be any, than as a size."""
    grown = norm.pdf(log_dbh, log_mean, log_sd)
    young = norm.pdf(log_dbh, np.log(YOUNG_MEDIAN_CM), YOUNG_LOG_SD)
    usual_one = (1.0 - YOUNG_SHARE) * grown + YOUNG_SHARE * young
    return np.asarray(norm.logpdf(log_dbh, log_mean, ANY_LOG_SD) - np.log(np.maximum(usual_one, 1e-300)))


def _level(stem: Whole, dbh: Array, is_known: NDArray[np.bool_], log_mean: Array, log_sd: Array) -> Array:
    """The size at which each one's errors are taken: the middle of the stem's earlier readings.

    Of a first reading itself, as far as it is usual; where nothing was read yet, what is usual.
    """
    low, high = np.exp(log_mean - CLIPPED_AT * log_sd), np.exp(log_mean + CLIPPED_AT * log_sd)
    clipped = np.where(is_known, np.clip(dbh, low, high), np.exp(log_mean))
    place = _place_in_stem(stem)
    level = clipped.copy()
    if not len(stem) or place.max() == 0:
        return level
    table = np.full((stem.max() + 1, place.max() + 1), np.nan)
    table[stem[is_known], place[is_known]] = clipped[is_known]
    for k in range(1, place.max() + 1):
        at = np.flatnonzero(place == k)
        level[at] = np.nanmedian(table[stem[at], :k], axis=1)
    return level


def _place_in_stem(stem: Whole) -> Whole:
    """How many rows of its stem stand before each; rows are ordered by stem."""
    if not len(stem):
        return stem
    starts = np.flatnonzero(np.append(True, stem[1:] != stem[:-1]))
    count = np.diff(np.append(starts, len(stem)))
    return np.asarray(np.arange(len(stem)) - np.repeat(starts, count), dtype=np.int64)


def _effects(sized: girth.Standardised) -> tuple[Whole, Array]:
    """The shared causes of every reading by kind: a number for each (-1: none), its deviation, signed."""
    kinds, names = pd.factorize(sized.causes["kind"].to_numpy(dtype=object))
    key = np.full((len(sized.readings), max(len(names), 1)), -1, dtype=np.int64)
    size = np.zeros(key.shape)
    cause = pd.Index(sized.causes["cause"]).get_indexer(sized.parts["cause"])
    row = sized.parts["row"].to_numpy(dtype=np.int64)
    variance = sized.causes["variance"].to_numpy(dtype=float)
    key[row, kinds[cause]] = cause
    size[row, kinds[cause]] = sized.parts["sensitivity_cm"].to_numpy(dtype=float) * np.sqrt(variance[cause])
    return key, size
