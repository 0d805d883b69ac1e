"""Trunks read at two heights on one day: what they say of the stem profile of a site.

A pair is one trunk, one day, two heights; the height nearer to breast height is its upper one, and what was
read several times at one height counts as its mean.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from layers import taper
from layers.combining import height_key
from layers.corrections import LIVE
from layers.girth import Standardised, standardised
from layers.history import live_readings
from layers.inputs import Records, SiteTerms
from layers.site_model import PUBLISHED, Effect, SiteModel

FIRST_DAY = 10  # pairs for a first day (assumption)
PAYS_UNTIL = 0.5  # of the published coefficient's deviation is left (assumption)
LOWER_M = 0.6096  # 2 ft, where classes measure (common practice, no source)

PAIR_COLUMNS = (
    *("stem_id", "tree_id", "measured_on", "taper_set", "low_m", "high_m", "low_cm", "high_cm"),
    *("ratio_seen", "ratio_published", "ratio_site", "left_out"),
)
SET_COLUMNS = (
    *("taper_set", "pairs", "stems", "published_b", "published_se", "site_b", "site_se", "typical_m"),
    *("taper_part_cm", "own_part_cm", "more_pairs"),
)


@dataclass(frozen=True)
class HeightPairs:
    """The pairs of a site, the newest first, and what is known of each set of species.

    ``pairs``: ``ratio_seen``, ``ratio_published`` and ``ratio_site`` are the width at ``low_m`` over that at
    ``high_m``; ``left_out`` pairs taught nothing. ``sets``, the one with most converted trunks first:
    ``stems`` with converted readings, coefficients of the profile with their deviations, and for a typical
    converted trunk of the set its height, the part of its error that the site's coefficient makes, the part
    of its own [cm]; ``more_pairs`` is how many more pairs would pay.
    """

    pairs: pd.DataFrame
    sets: pd.DataFrame

    @property
    def to_begin_with(self) -> int:
        """Return how many pairs to measure on a first day; 0 where there are pairs, or nothing to convert."""
        return 0 if len(self.pairs) or not len(self.sets) else FIRST_DAY


def height_pairs(
    records: Records, terms: SiteTerms, model: SiteModel, left_out: tuple[str, ...] = ()
) -> HeightPairs:
    """Return the pairs of a site beside the published profile and that of a model.

    Parameters
    ----------
    records : Records
        Everything that was said.
    terms : SiteTerms
        Breast height [m] of the site; the model in use plays no part.
    model : SiteModel
        The one whose profile is "the site's own".
    left_out : tuple of str
        Ids of readings that taught nothing.

    Notes
    -----
    More pairs pay until the deviation of a set's coefficient is half of the published one (assumption). A
    further pair is a typical trunk of the set, read at 2 ft and at breast height: its information is
    g^2 / (2 v + s^2) with g the change of its size with the coefficient, v the variance of a reading and s
    the trunk's own departure from the profile.
    """
    published = replace(terms, model=PUBLISHED)
    known = live_readings(records.readings)
    live = known[(known["state"] == LIVE).to_numpy(dtype=bool)].reset_index(drop=True)
    sizes = standardised(live, records.stems, records.trees, published)
    converted = _converted(sizes)
    pairs = _pairs(sizes.readings, converted, terms, model, set(left_out))
    counted = pairs.loc[~pairs["left_out"].astype(bool), "taper_set"].value_counts().to_dict()
    rows = [
        _set_row(str(name), group, int(counted.get(name, 0)), model, terms)
        for name, group in converted.groupby("taper_set", sort=True)
    ]
    sets = pd.DataFrame(rows, columns=list(SET_COLUMNS))
    ordered = sets.sort_values("stems", ascending=False, kind="stable").reset_index(drop=True)
    return HeightPairs(pairs, ordered)


def more_pairs(published_var: float, variance: float, information: float) -> int:
    """Return how many more pairs bring a coefficient to half of its published deviation.

    Parameters
    ----------
    published_var, variance : float
        Variance of the coefficient as published and as known now.
    information : float
        What one more pair adds to 1 / variance.
    """
    lacking = 1.0 / (PAYS_UNTIL**2 * published_var) - 1.0 / variance
    return int(np.ceil(max(lacking, 0.0) / information - 1e-9)) if information > 0 else 0


def _converted(sizes: Standardised) -> pd.DataFrame:
    """Readings that were converted, with their set, its coefficient and the change of size with it."""
    taper_parts = sizes.parts[sizes.parts["cause"].str.startswith("taper:").to_numpy(dtype=bool)]
    rows = taper_parts["row"].to_numpy(dtype=np.int64)
    variance = sizes.causes.set_index("cause")["variance"]
    names = ["stem_id", "tree_id", "height_m", "dbh_cm", "own_var_cm2", "departure_se_cm"]
    return sizes.readings.iloc[rows][names].assign(
        row=rows,
        taper_set=taper_parts["cause"].str.removeprefix("taper:").to_numpy(dtype=object),
        b=np.sqrt(taper_parts["cause"].map(variance).to_numpy(dtype=float)) / taper.COEFFICIENT_SHARE,
        per_b_cm=taper_parts["sensitivity_cm"].to_numpy(dtype=float),
    )


def _effect(model: SiteModel, name: str, b: float) -> Effect:
    return model.effects.get(f"taper:{name}", Effect(0.0, (taper.COEFFICIENT_SHARE * b) ** 2))


def _set_row(
    name: str, group: pd.DataFrame, pairs: int, model: SiteModel, terms: SiteTerms
) -> tuple[object, ...]:
    b = float(group["b"].iloc[0])
    published_var = (taper.COEFFICIENT_SHARE * b) ** 2
    learned = _effect(model, name, b)
    per_b = float(group["per_b_cm"].abs().median())
    own, departure = float(group["own_var_cm2"].median()), float(group["departure_se_cm"].median())
    information = _information(float(group["dbh_cm"].median()), own, b, terms.breast_height_m)
    return (
        name,
        pairs,
        group["stem_id"].nunique(),
        b,
        float(np.sqrt(published_var)),
        b + learned.mean,
        float(np.sqrt(learned.variance)),
        float(group["height_m"].median()),
        per_b * float(np.sqrt(learned.variance)),
        float(np.sqrt(own + departure**2)),
        more_pairs(published_var, learned.variance, information),
    )


def _information(dbh_cm: float, own_var_cm2: float, b: float, breast_height_m: float) -> float:
    """What one more pair of a trunk of this size adds to 1 / variance of the coefficient."""
    here, there = float(taper.profile(LOWER_M)), float(taper.profile(breast_height_m))
    per_b = dbh_cm * (here - there) / ((1.0 + b * here) * (1.0 + b * there))
    departure = float(taper.departure_se(LOWER_M, breast_height_m)) * dbh_cm
    return per_b**2 / (2.0 * own_var_cm2 + departure**2)


def _pairs(
    readings: pd.DataFrame, converted: pd.DataFrame, terms: SiteTerms, model: SiteModel, left_out: set[str]
) -> pd.DataFrame:
    told = _at_two_heights(readings, terms)
    sets = converted.drop_duplicates("stem_id").set_index("stem_id")
    told = told[told["stem_id"].isin(sets.index)]
    rows = []
    for (stem_id, day), group in told.groupby(["stem_id", "measured_on"], sort=True):
        at = _by_height(group, terms, left_out)
        high = at.iloc[0]
        name, b = str(sets.at[stem_id, "taper_set"]), float(sets.at[stem_id, "b"])
        own_b = b + _effect(model, name, b).mean
        for low in at.iloc[1:].itertuples():
            rows.append(
                (
                    *(stem_id, group["tree_id"].iloc[0], day, name, low.height_m, high["height_m"]),
                    *(low.size_cm, high["size_cm"], low.size_cm / high["size_cm"]),
                    float(taper.ratio(low.height_m, high["height_m"], b)),
                    float(taper.ratio(low.height_m, high["height_m"], own_b)),
                    bool(low.left_out or high["left_out"]),
                )
            )
    found = pd.DataFrame(rows, columns=list(PAIR_COLUMNS))
    return found.sort_values("measured_on", ascending=False, kind="stable").reset_index(drop=True)


def _at_two_heights(readings: pd.DataFrame, terms: SiteTerms) -> pd.DataFrame:
    """Sized readings with a day and a height, of trunks that were read at several heights on that day."""
    dated = (readings["date_precision"] == "day") & readings["measured_on"].notna()
    usable = dated & np.isfinite(readings["dbh_cm"]) & readings["height_m"].notna()
    rows = readings[usable.to_numpy(dtype=bool)]
    rows = rows.assign(height=height_key(rows, np.arange(len(rows))))
    # Heights within 2 cm of breast height are one.
    near = (rows["height_m"] - terms.breast_height_m).abs() <= taper.SAME_HEIGHT_M + 1e-9
    rows = rows.assign(height=rows["height"].where(~near, -1))
    heights = rows.groupby(["stem_id", "measured_on"])["height"].transform("nunique")
    return rows[heights > 1]


def _by_height(group: pd.DataFrame, terms: SiteTerms, left_out: set[str]) -> pd.DataFrame:
    """The mean width at each height, the one nearest to breast height first."""
    at = group.assign(left_out=group["reading_id"].isin(left_out)).groupby("height", sort=True)
    table = at.agg(
        height_m=("height_m", "mean"), size_cm=("as_measured_cm", "mean"), left_out=("left_out", "any")
    )
    away = (table["height_m"] - terms.breast_height_m).abs()
    return table.iloc[np.argsort(away.to_numpy(), kind="stable")].reset_index(drop=True)
