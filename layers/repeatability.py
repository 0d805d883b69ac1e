"""How well a measuring round can be repeated: own error, crews, instruments, guesses, what could be seen.

All sizes are standard diameters by version 0 of the error model; nothing here rests on a prior.

References
----------
.. [1] Crown, C. A. et al. 2018. Arboriculture & Urban Forestry 44(2):49-58, pp. 54-55: readings of volunteers
   and of experts compared within 2.54 cm of diameter.
.. [2] USDA Forest Service, field guide of the national inventory (from memory): 0.1 in for every 20 in of
   diameter or part of it.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from layers import far_apart
from layers.corrections import LIVE
from layers.error_model import Array, Whole
from layers.girth import Standardised, standardised
from layers.growth_rates import least_change_told
from layers.history import live_readings
from layers.inputs import Records, SiteTerms
from layers.learning import Repeats, learned_from, repeats
from layers.site_model import PUBLISHED, Factor, SiteModel
from layers.tolerance import national_tolerance_cm

VOLUNTEER_WINDOW_CM = 2.54
TRAINED = "trained staff"
LEAST_DF = 1.0  # fewer degrees of freedom say nothing of how large a deviation may be


@dataclass(frozen=True)
class Component:
    """A standard deviation of diameter [cm] with its 95 % interval; assumed where ``df`` is None.

    ``high_cm`` is None where the readings do not bound it.
    """

    sd_cm: float
    df: float | None = None
    low_cm: float | None = None
    high_cm: float | None = None


@dataclass(frozen=True)
class Repeatability:
    """What repeated readings of one round say.

    ``own`` is what one crew's readings of a trunk differ by, ``crew`` what crews differ by beyond that.
    ``biases`` has one row for each crew and instrument beside the reference crew, then one for each
    instrument of other crews: ``crew`` (None for all of an instrument), ``instrument``, ``stems``,
    ``bias_cm``, ``low_cm``, ``high_cm`` (NaN with one trunk). ``guesses`` has ``crew``, ``guesses``,
    ``ratio``, ``low``, ``high``. ``trunks`` has one row for each trunk read more than once, the farthest
    apart first: ``stem_id``, ``tree_id``, ``readings``, ``spread_cm``, ``left_out``.
    """

    stems: int
    readings: int
    repeated_stems: int
    own: Component
    crew: Component
    reference: str | None
    biases: pd.DataFrame
    pairs: int
    within_volunteer_window: float | None
    within_survey_rule: float | None
    least_change_stem_cm: float
    least_change_mean_cm: float
    guesses: pd.DataFrame
    trunks: pd.DataFrame
    left_out: tuple[str, ...]


def in_round(records: Records, round_id: str) -> Records:
    """Return the records with only those readings that hold and belong to a round."""
    known = live_readings(records.readings)
    mine = (known["state"] == LIVE) & (known["round_id"] == round_id)
    held = records.readings[mine.to_numpy(dtype=bool)].assign(supersedes=None).reset_index(drop=True)
    return replace(records, readings=held)


def repeatability(records: Records, terms: SiteTerms, round_id: str) -> Repeatability | None:
    """Return how well a round can be repeated; None where none of its readings has a size.

    Parameters
    ----------
    records : Records
        Everything that was said.
    terms : SiteTerms
        Breast height [m] of the site; the model in use plays no part.
    round_id : str
        The round.

    Notes
    -----
    Own and crew deviations are restricted maximum likelihood from :mod:`layers.learning` without the prior,
    in cm at the sizes of the round; the interval of a variance v with f degrees of freedom is f v over the
    quantiles of chi-square. Readings far apart (:mod:`layers.far_apart`) are left out of both and of biases,
    but count in the shares within a tolerance.
    """
    mine = in_round(records, round_id)
    published = replace(terms, model=PUBLISHED)
    sizes = _sized(standardised(mine.readings, mine.stems, mine.trees, published))
    if not len(sizes.readings):
        return None
    every = repeats(mine, terms)
    kept, left_out = far_apart.without_far_apart(every)
    typical = _Typical.of(sizes, mine, published)
    model = learned_from(kept, prior_df=0.0)
    own = _component(model.own, typical.own_var_cm2, len(kept) > 0)
    crew = _component(model.crew, typical.crew_var_cm2, _several_crews(kept))
    reference = _reference(sizes.readings, kept)
    volunteer, survey, pairs = _within(every)
    return Repeatability(
        stems=sizes.readings["stem_id"].nunique(),
        readings=len(sizes.readings),
        repeated_stems=len(every),
        own=own,
        crew=crew,
        reference=reference,
        biases=_biases(kept, reference),
        pairs=pairs,
        within_volunteer_window=volunteer,
        within_survey_rule=survey,
        least_change_stem_cm=float(
            least_change_told(np.hypot(np.sqrt(own.sd_cm**2 + typical.fixed_cm2), crew.sd_cm))
        ),
        least_change_mean_cm=float(least_change_told(_sd_of_mean(sizes.readings, own, crew, typical))),
        guesses=_guesses(mine.readings),
        trunks=_trunks(every, left_out),
        left_out=left_out,
    )


@dataclass(frozen=True)
class _Typical:
    """Mean variances of the readings of a round by version 0 [cm2]; what no factor touches is ``fixed``."""

    own_var_cm2: float
    fixed_cm2: float
    crew_var_cm2: float

    @classmethod
    def of(cls, sizes: Standardised, mine: Records, published: SiteTerms) -> "_Typical":
        exact = replace(published, model=SiteModel(own=Factor(0.0)))
        fixed = _sized(standardised(mine.readings, mine.stems, mine.trees, exact)).readings["own_var_cm2"]
        kind = sizes.parts["cause"].map(sizes.causes.set_index("cause")["kind"])
        crew = sizes.parts["sensitivity_cm"][kind == "crew"] ** 2
        whole, floor = float(sizes.readings["own_var_cm2"].mean()), float(fixed.mean())
        return cls(whole - floor, floor, float(crew.sum()) / len(sizes.readings))


def _sized(sizes: Standardised) -> Standardised:
    """Without readings that have no size; ``row`` of the parts is not kept right."""
    known = np.isfinite(sizes.readings["dbh_cm"].to_numpy(dtype=float))
    parts = sizes.parts[sizes.parts["row"].isin(np.flatnonzero(known))]
    return Standardised(sizes.readings[known].reset_index(drop=True), parts, sizes.causes)


def _component(factor: Factor, assumed_cm2: float, told: bool) -> Component:
    if not told:
        return Component(float(np.sqrt(assumed_cm2)))
    variance, df = factor.value * assumed_cm2, factor.df
    if df < LEAST_DF:
        return Component(float(np.sqrt(variance)), df)
    low, high = np.sqrt(df * variance / stats.chi2.ppf([0.975, 0.025], df))
    return Component(float(np.sqrt(variance)), df, float(low), float(high))


def _several_crews(kept: Repeats) -> bool:
    """Whether a trunk was read by more than one crew."""
    crews = pd.Series(_crews(kept.sizes.readings))
    return bool(len(kept) and (crews.groupby(kept.occasion).nunique() > 1).any())


def _crews(readings: pd.DataFrame) -> Array:
    return np.asarray(readings["crew"].fillna("").astype(str))


def _reference(readings: pd.DataFrame, kept: Repeats) -> str | None:
    """Trained staff that read trunks which others read too, else the crew with most readings among such."""
    shared = pd.DataFrame({"crew": _crews(kept.sizes.readings), "occasion": kept.occasion})
    several = shared.groupby("occasion")["crew"].transform("nunique") > 1
    candidates = sorted({str(crew) for crew in shared.loc[several, "crew"] if crew})
    number = readings["crew"].value_counts().to_dict()
    trained = set(readings.loc[readings["crew_kind"] == TRAINED, "crew"])
    return max(candidates, key=lambda crew: (crew in trained, number.get(crew, 0)), default=None)


_BIASES = ("crew", "instrument", "stems", "bias_cm", "low_cm", "high_cm")


def _biases(kept: Repeats, reference: str | None) -> pd.DataFrame:
    """What others read more than the reference crew, on the trunks that both read."""
    if reference is None:
        return pd.DataFrame(columns=list(_BIASES))
    table = kept.sizes.readings[["instrument", "dbh_cm"]].assign(
        crew=_crews(kept.sizes.readings), occasion=kept.occasion
    )
    is_reference = (table["crew"] == reference).to_numpy()
    against = table[is_reference].groupby("occasion")["dbh_cm"].mean()
    others = table[~is_reference].assign(more_cm=lambda t: t["dbh_cm"] - t["occasion"].map(against))
    others = others.dropna(subset=["more_cm"])
    rows = [
        _bias(crew, instrument, group)
        for (crew, instrument), group in others.groupby(["crew", "instrument"], sort=True)
    ]
    rows += [_bias(None, instrument, group) for instrument, group in others.groupby("instrument", sort=True)]
    table = pd.DataFrame(rows, columns=list(_BIASES))
    return table.assign(crew=pd.Series([row[0] for row in rows], dtype=object))


def _bias(crew: str | None, instrument: str, group: pd.DataFrame) -> tuple[object, ...]:
    more = group.groupby("occasion")["more_cm"].mean().to_numpy(dtype=float)
    n, mean = len(more), float(more.mean())
    half = float(stats.t.ppf(0.975, n - 1) * more.std(ddof=1) / np.sqrt(n)) if n > 1 else float("nan")
    return crew, instrument, n, mean, mean - half, mean + half


def _within(every: Repeats) -> tuple[float | None, float | None, int]:
    """Shares of pairs of readings of one trunk within the tolerances, and the number of pairs."""
    size = every.sizes.readings["dbh_cm"].to_numpy(dtype=float)
    window, survey, pairs = 0, 0, 0
    for rows in _rows_of(every):
        one, other = np.triu_indices(len(rows), 1)
        apart = np.abs(size[rows[one]] - size[rows[other]])
        middle = (size[rows[one]] + size[rows[other]]) / 2.0
        window += int((apart <= VOLUNTEER_WINDOW_CM).sum())
        survey += int((apart <= national_tolerance_cm(middle)).sum())
        pairs += len(apart)
    return (window / pairs, survey / pairs, pairs) if pairs else (None, None, 0)


def _rows_of(repeated: Repeats) -> list[Whole]:
    """The rows of each occasion; rows are ordered by occasion."""
    if not len(repeated):
        return []
    ends = np.cumsum(np.bincount(repeated.occasion))
    return list(np.split(np.arange(len(repeated.occasion)), ends[:-1]))


def _sd_of_mean(readings: pd.DataFrame, own: Component, crew: Component, typical: _Typical) -> float:
    """The deviation of the mean of all trunks of the round: own errors shrink, those of a crew do not."""
    stems = readings["stem_id"].nunique()
    share = pd.Series(_crews(readings)).value_counts(normalize=True).to_numpy(dtype=float)
    own_part = (own.sd_cm**2 + typical.fixed_cm2) / stems
    return float(np.sqrt(own_part + crew.sd_cm**2 * np.sum(share**2)))


def _guesses(readings: pd.DataFrame) -> pd.DataFrame:
    """First guesses over readings by crew: geometric mean, and the range of the middle two thirds."""
    guess, value = (readings[name].to_numpy(dtype=float) for name in ("first_guess", "value"))
    usable = (guess > 0) & (value > 0)
    logs = pd.DataFrame({"crew": _crews(readings)[usable], "log": np.log(guess[usable] / value[usable])})
    rows = [
        (crew, len(log), *np.exp([log.mean(), log.quantile(1 / 6), log.quantile(5 / 6)]))
        for crew, log in logs.groupby("crew", sort=True)["log"]
    ]
    return pd.DataFrame(rows, columns=["crew", "guesses", "ratio", "low", "high"])


def _trunks(every: Repeats, left_out: tuple[str, ...]) -> pd.DataFrame:
    """One row for each trunk read more than once, the farthest apart first."""
    readings = every.sizes.readings
    gone = set(left_out)
    rows = []
    for at in _rows_of(every):
        group = readings.iloc[at]
        said = [
            {"crew": crew, "dbh_cm": float(size), "reading_id": id, "left_out": id in gone}
            for crew, size, id in zip(_crews(group), group["dbh_cm"], group["reading_id"], strict=True)
        ]
        spread = float(group["dbh_cm"].max() - group["dbh_cm"].min())
        first = group.iloc[0]
        rows.append((first["stem_id"], first["tree_id"], said, spread, any(r["left_out"] for r in said)))
    table = pd.DataFrame(rows, columns=["stem_id", "tree_id", "readings", "spread_cm", "left_out"])
    return table.sort_values("spread_cm", ascending=False, kind="stable").reset_index(drop=True)
