"""What a site's own repeated readings teach about its error model: a weighted update of version 0.

Readings of one stem in one round (or on one day) have the same true diameter. What is left between them is
own error, departure of the stem from the profile at another height, and effects that readings share. The
factors on the variances are found by restricted maximum likelihood, which takes every stem's size out, with
the prior of definitions R10; then the shared effects of taper and instruments are their best linear
predictions.

References
----------
.. [1] Patterson, H. D. and Thompson, R. 1971. Recovery of inter-block information when block sizes are
   unequal. Biometrika 58:545-554 (restricted likelihood; from memory).
.. [2] Henderson, C. R. 1975. Best linear unbiased estimation and prediction under a selection model.
   Biometrics 31:423-447 (from memory).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import optimize

from layers import combining
from layers.corrections import LIVE
from layers.days import days
from layers.error_model import Array, Whole
from layers.girth import Standardised, standardised
from layers.history import live_readings
from layers.inputs import Records, SiteTerms
from layers.site_model import PRIOR_DF, PUBLISHED, Effect, Factor, SiteModel

FACTORS = ("own", "crew", "departure")
_LEARNED_KINDS = ("taper", "instrument")
_NOTHING_LEARNED = 0.999  # of the assumed variance is left
_FARTHEST = 12.0  # of the logarithm of a factor from 0, where the likelihood is flat
_FLAT = 1e-3  # half a thousandth of a degree of freedom
_STEP = 0.05  # of the logarithm of a factor, for the curvature


@dataclass(frozen=True)
class Repeats:
    """Readings of stems that were read more than once on one occasion, standardised by version 0.

    ``occasion`` numbers the groups from 0, rows are ordered by it; ``sizes`` has the errors at the mean size
    of the group; ``rounding_var_cm2`` is what of the own variance no factor touches.
    """

    sizes: Standardised
    occasion: Whole
    rounding_var_cm2: Array

    def __len__(self) -> int:
        return int(self.occasion[-1]) + 1 if len(self.occasion) else 0


def repeats(records: Records, terms: SiteTerms) -> Repeats:
    """Return the readings that tell something about errors: several of one stem on one occasion.

    An occasion is a round, else a day. Undated readings, and those changed after a question, take no part:
    the second look at a question is not independent.
    """
    published = replace(terms, model=PUBLISHED)
    known = live_readings(records.readings)
    usable = (known["state"] == LIVE) & known["measured_on"].notna() & known["first_entry"].isna()
    live = known[usable.to_numpy(dtype=bool)].reset_index(drop=True)
    sizes = standardised(live, records.stems, records.trees, published)
    group = _occasions(sizes.readings)
    rows = np.flatnonzero(group >= 0)
    rows = rows[np.argsort(group[rows], kind="stable")]
    _, occasion = np.unique(group[rows], return_inverse=True)
    alike = combining.at_mean_size(sizes, rows, occasion, records, published)
    exact = replace(published, model=replace(PUBLISHED, own=Factor(0.0)))
    rounding = combining.at_mean_size(sizes, rows, occasion, records, exact)
    read = combining.number_at(sizes.readings, "dbh_cm", rows)
    alike = replace(alike, readings=alike.readings.assign(dbh_cm=read))
    return Repeats(alike, occasion.astype(np.int64), rounding.readings["own_var_cm2"].to_numpy(dtype=float))


def _occasions(readings: pd.DataFrame) -> Whole:
    """The number of each reading's occasion, -1 where it is the only one of it or has no size."""
    day = days(readings["measured_on"]).astype(np.int64).astype(str)
    round_id = readings["round_id"].to_numpy(dtype=object)
    when = np.where(pd.isna(round_id), day, round_id)
    key = pd.DataFrame({"stem": readings["stem_id"].to_numpy(dtype=object), "when": when.astype(str)})
    group = key.groupby(["stem", "when"], sort=False).ngroup().to_numpy(dtype=np.int64)
    group = np.where(np.isfinite(readings["dbh_cm"].to_numpy(dtype=float)), group, -1)
    count = np.bincount(group[group >= 0], minlength=1)
    return np.where((group >= 0) & (count[group] > 1), group, -1)


def learn(records: Records, terms: SiteTerms) -> SiteModel:
    """Return the error model of a site, learned from its repeated and paired readings.

    Parameters
    ----------
    records : Records
        Everything that was said.
    terms : SiteTerms
        Breast height [m] of the site; the model in use plays no part.

    Returns
    -------
    SiteModel
        Version 0 updated: with no repeated reading the factors are 1 with 10 degrees of freedom. An effect is
        there only where readings tell something about it.

    Notes
    -----
    With y the sizes of the readings, V their covariance and one free mean for every occasion, the factors f
    maximise the restricted likelihood times the prior of scaled inverse chi-square with 10 degrees of freedom
    and scale 1 each. Such a density of log f has its maximum at the scale and there the curvature df / 2, so
    that the degrees of freedom are read off the curvature. Coefficients of the profile are linearised.
    """
    return learned_from(repeats(records, terms))


def learned_from(repeated: Repeats, prior_df: float = PRIOR_DF) -> SiteModel:
    """Return the error model that repeated readings teach; see :func:`learn`.

    With ``prior_df`` 0 the factors are those of restricted maximum likelihood alone; one that the readings
    tell nothing about stays 1, with as many degrees of freedom as the prior has.
    """
    factors = dict.fromkeys(FACTORS, Factor(1.0, prior_df))
    if not len(repeated):
        return _model(factors, {})
    likelihood = _Likelihood.of(repeated, prior_df)
    start = np.zeros(len(likelihood.free))
    found = optimize.minimize(likelihood.cost, start, method="BFGS", options={"gtol": 1e-4}).x
    df = _degrees_of_freedom(_curvature(likelihood, found))
    for name, size, n in zip(likelihood.free, found, df, strict=True):
        factors[name] = Factor(float(np.exp(size)), float(max(prior_df, n)))
    return _model(factors, likelihood.effects(found))


def _model(factors: dict[str, Factor], effects: dict[str, Effect]) -> SiteModel:
    own, crew, departure = (factors[name] for name in FACTORS)
    return SiteModel(own=own, crew=crew, departure=departure, effects=effects)


def _degrees_of_freedom(curvature: Array) -> Array:
    """Degrees of freedom from the curvature by the logarithms; 0 where a factor is 0 or cannot be told."""
    df = np.zeros(len(curvature))
    told = np.flatnonzero(np.diag(curvature) > _FLAT)
    if len(told):
        spread = np.diag(np.linalg.inv(curvature[np.ix_(told, told)]))
        df[told] = 2.0 / np.where(spread > 0, spread, np.inf)
    return df


def _curvature(likelihood: "_Likelihood", at: Array) -> Array:
    """The matrix of second derivatives of the cost by the logarithms of the factors."""
    steps = np.eye(len(at)) * _STEP
    here = np.empty((len(at), len(at)))
    for i, one in enumerate(steps):
        for j, other in enumerate(steps):
            signs = ((1, 1), (1, -1), (-1, 1), (-1, -1))
            corners = [likelihood.cost(at + a * one + b * other) for a, b in signs]
            here[i, j] = (corners[0] - corners[1] - corners[2] + corners[3]) / (4 * _STEP**2)
    return here


@dataclass(frozen=True)
class _Batch:
    """Occasions of n readings each: sizes (m, n), variances, departures, shared effects (m, n, K)."""

    y: Array
    own: Array
    fixed: Array
    departures: Array  # (m, n, n) covariance
    shared: Array

    def projected(self, own: float, departure: float) -> tuple[Array, float]:
        """P = A^-1 - A^-1 1 (1' A^-1 1)^-1 1' A^-1 of every occasion, and the logarithms of determinants."""
        n = self.y.shape[1]
        covariance = departure * self.departures
        covariance[:, np.arange(n), np.arange(n)] += own * self.own + self.fixed
        inverse = np.linalg.inv(covariance)
        ones = inverse.sum(axis=2)
        total = ones.sum(axis=1)
        logs = np.linalg.slogdet(covariance)[1].sum() + np.log(total).sum()
        return inverse - ones[:, :, None] * ones[:, None, :] / total[:, None, None], float(logs)


@dataclass(frozen=True)
class _Likelihood:
    """The restricted likelihood of repeated readings by the logarithms of the factors."""

    batches: tuple[_Batch, ...]
    causes: pd.DataFrame
    prior_df: float
    free: tuple[str, ...]  # the factors that the readings tell something about

    @classmethod
    def of(cls, repeated: Repeats, prior_df: float) -> "_Likelihood":
        batches, causes = tuple(_batches(repeated)), repeated.sizes.causes
        crews = (causes["kind"] == "crew").to_numpy()
        told = {
            "own": True,
            "crew": any(np.ptp(batch.shared[:, :, crews], axis=1).any() for batch in batches),
            "departure": any(np.ptp(batch.departures, axis=1).any() for batch in batches),
        }
        return cls(batches, causes, prior_df, tuple(name for name in FACTORS if told[name]))

    def cost(self, logs: Array) -> float:
        """Return the negative logarithm of the restricted likelihood times the prior, but for a constant."""
        own, crew, departure = self._factors(logs)
        sizes, squares, information, score = self._sums(own, departure)
        sd = np.sqrt(self._variances(crew))
        inner = np.eye(len(sd)) + sd[:, None] * information * sd[None, :]
        right = sd * score
        restricted = sizes + squares + np.linalg.slogdet(inner)[1] - right @ np.linalg.solve(inner, right)
        prior = self.prior_df * np.sum(logs + np.exp(-np.clip(logs, -_FARTHEST, _FARTHEST)))
        return float(0.5 * (restricted + prior))

    def effects(self, logs: Array) -> dict[str, Effect]:
        """The best linear prediction of taper and instruments, where readings tell something of them."""
        own, crew, departure = self._factors(logs)
        _, _, information, score = self._sums(own, departure)
        prior = self._variances(crew)
        covariance = np.linalg.inv(np.diag(1.0 / prior) + information)
        mean = covariance @ score
        kinds = self.causes["kind"].to_numpy(dtype=object)
        # A reading is too big where the coefficient used is too big: the true one lies the other way.
        sign = np.where(kinds == "taper", -1.0, 1.0)
        return {
            str(key): Effect(float(sign[n] * mean[n]), float(covariance[n, n]))
            for n, key in enumerate(self.causes["cause"])
            if kinds[n] in _LEARNED_KINDS and covariance[n, n] < _NOTHING_LEARNED * prior[n]
        }

    def _factors(self, logs: Array) -> tuple[float, ...]:
        known = dict(zip(self.free, np.exp(np.clip(logs, -_FARTHEST, _FARTHEST)).tolist(), strict=True))
        return tuple(known.get(name, 1.0) for name in FACTORS)

    def _variances(self, crew: float) -> Array:
        assumed = self.causes["variance"].to_numpy(dtype=float)
        crews = (self.causes["kind"] == "crew").to_numpy()
        return np.asarray(np.where(crews, crew * assumed, assumed))

    def _sums(self, own: float, departure: float) -> tuple[float, float, Array, Array]:
        """Logarithms of determinants, y'Py, G'PG and G'Py over all occasions."""
        logs, squares = 0.0, 0.0
        information = np.zeros((len(self.causes), len(self.causes)))
        score = np.zeros(len(self.causes))
        for batch in self.batches:
            projected, log = batch.projected(own, departure)
            y = np.einsum("mij,mj->mi", projected, batch.y)
            logs += log
            squares += float(np.sum(batch.y * y))
            wide = np.einsum("mij,mjk->mik", projected, batch.shared)
            information += batch.shared.reshape(-1, len(score)).T @ wide.reshape(-1, len(score))
            score += np.einsum("mik,mi->k", batch.shared, y)
        return logs, squares, information, score


def _batches(repeated: Repeats) -> Iterator[_Batch]:
    readings, parts = repeated.sizes.readings, repeated.sizes.parts
    number = np.bincount(repeated.occasion)
    effects = np.zeros((len(readings), len(repeated.sizes.causes)))
    cause = pd.Index(repeated.sizes.causes["cause"]).get_indexer(parts["cause"])
    effects[parts["row"].to_numpy(dtype=np.int64), cause] = parts["sensitivity_cm"].to_numpy(dtype=float)
    size, departure = (readings[c].to_numpy(dtype=float) for c in ("dbh_cm", "departure_se_cm"))
    own = readings["own_var_cm2"].to_numpy(dtype=float) - repeated.rounding_var_cm2
    height = combining.height_key(readings, np.arange(len(readings)))
    for n in np.unique(number):
        rows = np.flatnonzero(number[repeated.occasion] == n).reshape(-1, n)
        same = height[rows][:, :, None] == height[rows][:, None, :]
        apart = departure[rows]
        yield _Batch(
            size[rows] - size[rows].mean(axis=1, keepdims=True),
            own[rows],
            repeated.rounding_var_cm2[rows],
            same * apart[:, :, None] * apart[:, None, :],
            effects[rows],
        )
