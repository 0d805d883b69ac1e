"""How a number came about: its equation, what goes into it, and the parts of its error by cause.

An explanation holds everything that the number and its error follow from, so that anybody can work both out
again with nothing but what is shown (``recomputing`` does).
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from layers.error_model import ASSUMPTION, Array
from layers.explaining_words import EQUATIONS, OF_THE_GROUND
from layers.figure_sums import EDGE
from layers.inputs import SiteTerms
from layers.intervals import degrees_of_freedom, quantile_of
from layers.site_model import FROM_SITE, PRIOR_DF, Factor, SiteModel


@dataclass(frozen=True)
class Part:
    """A part of the error of a number: its variance, in the square of the number's unit, and its share.

    ``measured`` tells whether it rests on what was measured on the site, and on no assumption.
    """

    kind: str
    variance: float
    share: float
    source: str
    measured: bool


@dataclass(frozen=True)
class Errors:
    """What the error of a number is made of.

    ``shared`` has ``row`` (position among the inputs), ``cause`` and ``sensitivity_cm``; ``causes`` the
    columns of CAUSES, those that are used.
    """

    parts: tuple[Part, ...]
    shared: pd.DataFrame
    causes: pd.DataFrame

    @property
    def variances(self) -> dict[str, float]:
        """Variance by kind of cause."""
        return {part.kind: part.variance for part in self.parts}


@dataclass(frozen=True)
class Explanation:
    """A number with its error and what both follow from.

    ``of`` names what it is a number of, ``what`` is its word in the nomenclature. ``se`` is NaN where no
    error is given (``no_error`` says why), ``value`` where there is none (``why``). ``constants`` are the
    numbers of the equation besides the inputs, in metric units. ``edge_trees`` are those near the edge of an
    area: ``tree_id``, ``tag``, ``basal_area_m2`` and how ``likely`` each stands on the other side.
    """

    of: str
    what: str
    unit: str
    value: float
    equation: str
    inputs: pd.DataFrame
    model: str
    se: float = math.nan
    low: float = math.nan
    high: float = math.nan
    quantile: float = math.nan
    df: float = math.inf
    constants: Mapping[str, float] = field(default_factory=dict)
    errors: Errors | None = None
    edge_trees: pd.DataFrame | None = None
    why: str | None = None
    no_error: str | None = None

    def as_json(self, most: int | None = None) -> dict[str, Any]:
        """Return everything as plain values at full precision, of the inputs at most ``most``.

        Missing numbers are None, degrees of freedom of what is taken as known too.
        """
        equation = EQUATIONS[self.equation]
        causes = [] if self.errors is None else self.errors.causes.to_dict("records")
        return {
            "of": self.of,
            "what": self.what,
            "unit": self.unit,
            **{name: _plain(getattr(self, name)) for name in ("value", "se", "low", "high", "quantile")},
            "degrees_of_freedom": _plain(self.df),
            "equation": {"key": self.equation, "formula": equation.formula, "words": equation.words},
            "sources": list(equation.sources),
            "constants": {name: _plain(value) for name, value in self.constants.items()},
            "inputs": self._inputs(most),
            "input_count": len(self.inputs),
            "edge_trees": [] if self.edge_trees is None else _rows(self.edge_trees),
            "causes": [{name: _plain(value) for name, value in row.items()} for row in causes],
            "parts": [] if self.errors is None else [asdict(part) for part in self.errors.parts],
            "model": self.model,
            "why": self.why,
            "no_error": self.no_error,
        }

    def _inputs(self, most: int | None) -> list[dict[str, Any]]:
        shown = self.inputs if most is None else self.inputs.iloc[:most]
        rows = _rows(shown)
        if self.errors is None:
            return rows
        for row in rows:
            row["shared"] = {}
        shared = self.errors.shared[self.errors.shared["row"] < len(rows)]
        for at, cause, size in zip(
            shared["row"].tolist(), shared["cause"].tolist(), shared["sensitivity_cm"].tolist(), strict=True
        ):
            rows[at]["shared"][cause] = rows[at]["shared"].get(cause, 0.0) + size
        return rows


def explained(
    of: str,
    what: str,
    unit: str,
    value: float,
    equation: str,
    inputs: pd.DataFrame,
    errors: Errors | None,
    terms: SiteTerms,
    **more: Any,
) -> Explanation:
    """Return the explanation of a number, with the interval that follows from its error.

    ``more`` may hold ``se``, ``low`` and ``high`` as they are shown elsewhere, and the other fields.
    """
    model = str(terms.model.version)
    if errors is None:
        return Explanation(of, what, unit, value, equation, inputs, model, **more)
    se = more.pop("se", None) or math.sqrt(sum(errors.variances.values()))
    quantile = quantile_of(errors.variances, terms.model)
    given: dict[str, Any] = {"low": value - quantile * se, "high": value + quantile * se} | more
    df = degrees_of_freedom(errors.variances, terms.model)
    return Explanation(
        of,
        what,
        unit,
        value,
        equation,
        inputs,
        model,
        se=se,
        quantile=quantile,
        df=df,
        errors=errors,
        **given,
    )


def errors_of(
    a: Array,
    alone: Mapping[str, float],
    shared: pd.DataFrame,
    causes: pd.DataFrame,
    own_source: str,
    model: SiteModel,
    area_variance: float = 0.0,
    edge_variance: float = 0.0,
) -> Errors:
    """Return the parts of the error of a number F of many diameters.

    Parameters
    ----------
    a : array
        dF/dd of every input [unit of F per cm].
    alone : mapping
        Variance by "own" and "departure": what no two stems share.
    shared, causes : DataFrame
        As in ``Errors``; causes that no input has are left out.
    own_source : str
        Where the own part is from, as long as it was not measured on the site.
    area_variance : float
        Variance of F that comes from the size of the ground.
    edge_variance : float
        Variance of F from trees near the edge that may stand on its other side.
    """
    effect = (a[shared["row"].to_numpy()] * shared["sensitivity_cm"]).groupby(shared["cause"]).sum()
    used = causes[causes["cause"].isin(effect.index)].reset_index(drop=True)
    size = used["variance"].to_numpy(dtype=float) * effect.reindex(used["cause"]).to_numpy() ** 2
    found: dict[str, tuple[float, str, bool]] = {
        "own": (alone["own"], *_learned(model.own, own_source)),
        "departure": (alone["departure"], *_learned(model.departure, ASSUMPTION)),
    }
    for kind, rows in used.assign(size=size).groupby("kind", sort=False):
        sources = one_after_the_other(rows["source"])
        found[str(kind)] = (float(rows["size"].sum()), sources, sources == FROM_SITE)
    if area_variance > 0:
        found["area"] = (area_variance, OF_THE_GROUND, True)
    if edge_variance > 0:
        found[EDGE] = (edge_variance, ASSUMPTION, False)
    total = sum(variance for variance, _source, _measured in found.values())
    parts = tuple(
        Part(kind, variance, variance / total, source, measured)
        for kind, (variance, source, measured) in found.items()
        if variance > 0
    )
    return Errors(parts, shared.reset_index(drop=True), used)


def _learned(factor: Factor, assumed: str) -> tuple[str, bool]:
    """Where a part is from that the site's model may have learned, and whether it did."""
    if is_learned(factor):
        return FROM_SITE, True
    return assumed, assumed == FROM_SITE


def is_learned(factor: Factor) -> bool:
    """Return whether a factor of the model rests on readings of the site, more than on the prior alone."""
    return PRIOR_DF < factor.df < math.inf


def one_after_the_other(texts: Iterable[str]) -> str:
    """Return different texts once each, in their order."""
    return "; ".join(dict.fromkeys(texts))


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(k): _plain(v) for k, v in row.items()} for row in frame.to_dict("records")]


def _plain(value: Any) -> Any:
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, np.integer | np.bool_):
        return value.item()
    return None if value is pd.NA or value is pd.NaT else value
