"""What has been learned from a site: factors on the published error model, shared effects, who adopted it.

Version 0 is the published and assumed model of :mod:`layers.error_model`; a later version is a weighted
update of it (definitions R10) that a person adopted.
"""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]

PRIOR_DF = 10.0  # degrees of freedom that the assumed variance counts for (definitions R10)
FROM_SITE = "measured on this site"


@dataclass(frozen=True)
class Factor:
    """What multiplies a variance of version 0 [-], with its degrees of freedom (infinite: taken as known)."""

    value: float = 1.0
    df: float = math.inf


@dataclass(frozen=True)
class Effect:
    """A shared effect as learned: mean and variance, in its unit and the square of it."""

    mean: float
    variance: float


@dataclass(frozen=True)
class SiteModel:
    """The error model that a site uses.

    ``own``, ``crew`` and ``departure`` multiply the variances of a reading's own error, of the effect of a
    crew in a round, and of one tree's departure from the stem profile. ``effects`` holds what was learned of
    shared effects by cause key, for example ``taper:pine`` or ``instrument:<site>:girth tape``.
    """

    version: int = 0
    own: Factor = Factor()
    crew: Factor = Factor()
    departure: Factor = Factor()
    effects: Mapping[str, Effect] = field(default_factory=dict)
    fitted_at: int | None = None
    adopted_by: str | None = None
    adopted_at: str | None = None

    def mean_of(self, causes: Iterable[str]) -> Array:
        """Return the learned mean of shared effects by cause key, 0 where nothing was learned."""
        return np.array([self.effects[c].mean if c in self.effects else 0.0 for c in causes], dtype=float)

    def variance_of(self, cause: str, kind: str, assumed: float) -> float:
        """Return the variance of a shared effect, from the one that version 0 assumes."""
        if cause in self.effects:
            return self.effects[cause].variance
        return assumed * self.crew.value if kind == "crew" else assumed

    def is_measured(self, cause: str, kind: str) -> bool:
        """Return whether the variance of a cause rests on readings of the site."""
        return cause in self.effects or (kind == "crew" and math.isfinite(self.crew.df))

    def df_of(self, kind: str) -> float:
        """Return the degrees of freedom of the variance of a kind of cause; infinite where it is known."""
        factors = {"own": self.own, "crew": self.crew, "departure": self.departure}
        return factors[kind].df if kind in factors else math.inf

    def degrees_of_freedom(self, kinds: Iterable[str], variances: Any) -> Array:
        """Return the degrees of freedom of sums of variances by Satterthwaite's rule [-].

        Parameters
        ----------
        kinds : iterable of str
            Kinds of cause.
        variances : array_like
            The variance by kind, of shape (..., kinds), in any unit.

        References
        ----------
        .. [1] Satterthwaite, F. E. 1946. An approximate distribution of estimates of variance components.
           Biometrics Bulletin 2:110-114 (formula from memory): df = (sum v)^2 / sum (v^2 / df_v).
        """
        sizes = np.asarray(variances, dtype=float)
        known = np.array([self.df_of(kind) for kind in kinds], dtype=float)
        below = np.sum(sizes**2 / known, axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(below > 0, np.sum(sizes, axis=-1) ** 2 / below, math.inf))

    def as_json(self) -> str:
        """Return what is kept of the model as JSON; infinite degrees of freedom are null."""
        kept = {
            "own": asdict(self.own),
            "crew": asdict(self.crew),
            "departure": asdict(self.departure),
            "effects": {key: asdict(effect) for key, effect in sorted(self.effects.items())},
        }
        for name in ("own", "crew", "departure"):
            if math.isinf(kept[name]["df"]):
                kept[name]["df"] = None
        return json.dumps(kept)

    @classmethod
    def from_json(cls, text: str, **about: Any) -> "SiteModel":
        """Return the model that ``as_json`` wrote; ``about`` says version, fitted_at and who adopted it."""
        kept = json.loads(text)

        def factor(name: str) -> Factor:
            said = kept[name]
            return Factor(said["value"], math.inf if said["df"] is None else said["df"])

        effects = {key: Effect(**said) for key, said in kept["effects"].items()}
        return cls(
            own=factor("own"), crew=factor("crew"), departure=factor("departure"), effects=effects, **about
        )


PUBLISHED = SiteModel()


def quantile95(df: Any) -> Array:
    """Return how many standard errors reach to either end of a 95 % interval [-], by Student's t."""
    return np.asarray(stats.t.ppf(0.975, df))
