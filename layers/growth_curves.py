"""Curves of growth with an upper limit: only where the measurements can tell that limit.

References
----------
.. [1] Pinheiro, J. C. and Bates, D. M. 2000. Mixed-Effects Models in S and S-PLUS. Springer. Logistic
   curve of the girth of orange trees.
.. [2] Draper, N. R. and Smith, H. 1998. Applied Regression Analysis, 3rd ed. Wiley. Exercise 24.N.
.. [3] Akaike, H. 1974. A new look at the statistical model identification. IEEE Transactions on Automatic
   Control 19(6):716-723. From memory.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import optimize

from layers.error_model import Array
from layers.translating import N_

Form = Literal["logistic", "Gompertz", "Chapman-Richards", "asymptotic"]

LARGEST_SHARE = 0.25  # standard error of the upper limit over the limit that is still told: assumption
LEAST_REACHED = 0.75  # of the limit, by the curve at the last measurement: assumption
LEAST_GAIN = 1.0  # in log-likelihood over a straight line, for one parameter more: Akaike 1974
LEAST_MORE = 1  # measurements beyond the number of parameters

TOO_FEW = N_("Too few measurements for a curve: it takes at least one more than the curve has parameters.")
NO_FIT = N_("No curve of this form could be laid through the measurements.")
NOT_TOLD = N_(
    "The measurements do not tell where growth will end: a curve would go through them, but its upper limit "
    "could be almost anything, so none is drawn."
)
TOLD = N_("The measurements tell an upper limit of the curve.")
SENTENCES = (TOO_FEW, NO_FIT, NOT_TOLD, TOLD)


@dataclass(frozen=True)
class Curve:
    """A fitted curve: parameters with standard errors, the upper limit first, and what left over.

    ``identifiable`` is whether the limit can be told; where it is not, ``sentence`` says so and the
    parameters are not for showing.
    """

    form: Form
    parameters: dict[str, float]
    errors: dict[str, float]
    residual_sum: float
    residual_sd: float
    identifiable: bool
    sentence: str

    def at(self, time: Array) -> Array:
        """Return the curve at times in the unit of the fit."""
        return FORMS[self.form].curve(np.asarray(time, dtype=float), *self.parameters.values())


@dataclass(frozen=True)
class FormOf:
    """A form of curve: its parameters, the limit first; its value at times; where to start looking."""

    names: tuple[str, ...]
    curve: Callable[..., Array]
    starts: Callable[[Array, Array], list[tuple[float, ...]]]


def _logistic(time: Array, limit: float, middle: float, scale: float) -> Array:
    return np.asarray(limit / (1.0 + np.exp(-(time - middle) / scale)))


def _gompertz(time: Array, limit: float, b: float, k: float) -> Array:
    return np.asarray(limit * np.exp(-b * np.exp(-k * time)))


def _chapman_richards(time: Array, limit: float, k: float, p: float) -> Array:
    return np.asarray(limit * np.clip(1.0 - np.exp(-k * time), 1e-12, None) ** p)


def _asymptotic(time: Array, limit: float, start: float, log_rate: float) -> Array:
    return np.asarray(limit + (start - limit) * np.exp(-np.exp(log_rate) * time))


def _limits(size: Array) -> list[float]:
    return [factor * float(size.max()) for factor in (1.05, 1.3, 2.0)]


def _logistic_starts(time: Array, size: Array) -> list[tuple[float, ...]]:
    out: list[tuple[float, ...]] = []
    for limit in _limits(size):
        slope, level = np.polyfit(time, np.log(size / (limit - size)), 1)
        if slope > 0:
            out.append((limit, -level / slope, 1.0 / slope))
    return out


def _gompertz_starts(time: Array, size: Array) -> list[tuple[float, ...]]:
    out: list[tuple[float, ...]] = []
    for limit in _limits(size):
        slope, level = np.polyfit(time, np.log(np.log(limit / size)), 1)
        if slope < 0:
            out.append((limit, float(np.exp(level)), -slope))
    return out


def _chapman_richards_starts(time: Array, size: Array) -> list[tuple[float, ...]]:
    span = float(time.max())
    return [
        (limit, rate / span, p) for limit in _limits(size) for rate in (0.3, 1.0, 3.0) for p in (1.0, 2.0)
    ]


def _asymptotic_starts(time: Array, size: Array) -> list[tuple[float, ...]]:
    out: list[tuple[float, ...]] = []
    for limit in _limits(size):
        slope, level = np.polyfit(time, np.log(limit - size), 1)
        if slope < 0:
            out.append((limit, limit - float(np.exp(level)), float(np.log(-slope))))
    return out


FORMS: dict[Form, FormOf] = {
    "logistic": FormOf(("limit", "middle", "scale"), _logistic, _logistic_starts),
    "Gompertz": FormOf(("limit", "b", "k"), _gompertz, _gompertz_starts),
    "Chapman-Richards": FormOf(("limit", "k", "p"), _chapman_richards, _chapman_richards_starts),
    "asymptotic": FormOf(("limit", "start", "log_rate"), _asymptotic, _asymptotic_starts),
}


def fit_curve(form: Form, time: Array, size: Array) -> Curve:
    """Return the curve of one form by least squares through sizes at times.

    Parameters
    ----------
    form : str
        ``logistic``: A / (1 + exp(-(t - m)/s)); ``Gompertz``: A exp(-b exp(-k t)); ``Chapman-Richards``:
        A (1 - exp(-k t))^p, which counts time from the tree's beginning; ``asymptotic``:
        A + (S - A) exp(-exp(r) t) from S at the beginning, r the logarithm of the rate.
    time : array
        Times, in any unit.
    size : array
        Sizes > 0, in any unit, with equal errors.

    Returns
    -------
    Curve
        Standard errors are s^2 (J'J)^-1 with s^2 the residual variance. The limit counts as told where its
        standard error is finite and at most a quarter of it, the curve has come to three quarters of it by
        the last measurement (both assumption), and the curve is likelier than a straight line by more than
        its further parameter is worth [3]_: along a straight line a small error means nothing.
    """
    time, size = np.asarray(time, dtype=float), np.asarray(size, dtype=float)
    parts = FORMS[form]
    if len(time) < len(parts.names) + LEAST_MORE or np.ptp(time) == 0:
        return _none(form, TOO_FEW)
    found = [_from(parts, start, time, size) for start in parts.starts(time, size)]
    good = [each for each in found if each is not None]
    if not good:
        return _none(form, NO_FIT)
    best = min(good, key=lambda each: each.cost)
    return _said(form, best, time, size)


def _from(
    parts: FormOf, start: tuple[float, ...], time: Array, size: Array
) -> optimize.OptimizeResult | None:
    """The fit from a start; the parameters are counted in units of the start, so that all are near 1."""
    unit = np.array(start, dtype=float)
    unit[unit == 0] = 1.0

    def left(scaled: Array) -> Array:
        return np.nan_to_num(parts.curve(time, *(scaled * unit)) - size, nan=1e6, posinf=1e6, neginf=-1e6)

    with np.errstate(over="ignore", invalid="ignore"):
        found = optimize.least_squares(
            left, np.array(start) / unit, xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=2000
        )
    found.x, found.jac = found.x * unit, found.jac / unit
    return found if np.isfinite(found.cost) and found.x[0] > 0 else None


def _said(form: Form, best: optimize.OptimizeResult, time: Array, size: Array) -> Curve:
    names = FORMS[form].names
    residual_sum = 2.0 * float(best.cost)
    variance = residual_sum / (len(time) - len(names))
    errors = _errors(best.jac, variance)
    told = limit_told(form, best.x, errors[0], time.max()) and _gain(time, size, residual_sum) > LEAST_GAIN
    return Curve(
        form,
        dict(zip(names, best.x.tolist(), strict=True)),
        dict(zip(names, errors.tolist(), strict=True)),
        residual_sum,
        float(np.sqrt(variance)),
        told,
        TOLD if told else NOT_TOLD,
    )


def _gain(time: Array, size: Array, residual_sum: float) -> float:
    """How much more likely the sizes are by the curve than by a straight line, in log-likelihood."""
    left: Array = size - np.polyval(np.polyfit(time, size, 1), time)
    smallest = 1e-12 * float(np.sum(size**2))
    by_line, by_curve = max(float(np.sum(left**2)), smallest), max(residual_sum, smallest)
    return 0.5 * len(size) * float(np.log(by_line / by_curve))


def limit_told(form: Form, parameters: Array, error: float, last: float) -> bool:
    """Return whether measurements tell the limit of the curve through them.

    Parameters
    ----------
    form : str
        As for ``fit_curve``.
    parameters : array
        Of the curve, the limit first.
    error : float
        Standard error of the limit.
    last : float
        Time of the last measurement.

    Notes
    -----
    The error is at most a quarter of the limit, and the curve has come to three quarters of it (assumption).
    """
    limit = float(parameters[0])
    known = np.isfinite(error) and error <= LARGEST_SHARE * limit
    return bool(known and FORMS[form].curve(last, *parameters) >= LEAST_REACHED * limit)


def _errors(jacobian: Array, variance: float) -> Array:
    """Standard errors of the parameters; without end where the sizes do not depend on one of them."""
    endless = np.full(jacobian.shape[1], np.inf)
    length = np.linalg.norm(jacobian, axis=0)
    if not length.all():
        return endless
    _, sizes, turn = np.linalg.svd(jacobian / length, full_matrices=False)
    if sizes[-1] <= 1e-12 * sizes[0]:
        return endless
    spread = (turn.T / sizes) / length[:, None]
    return np.asarray(np.sqrt(variance * np.sum(spread**2, axis=1)))


def _none(form: Form, sentence: str) -> Curve:
    nothing = dict.fromkeys(FORMS[form].names, float("nan"))
    return Curve(form, nothing, nothing, float("nan"), float("nan"), False, sentence)
