"""One curve for a group of trees in which each tree has its own upper limit.

References
----------
.. [1] Lindstrom, M. J. and Bates, D. M. 1990. Nonlinear mixed effects models for repeated measures data.
   Biometrics 46:673-687 (from memory): the curve as a line near the trees' own parameters, again and again.
.. [2] Pinheiro, J. C. and Bates, D. M. 2000. Mixed-Effects Models in S and S-PLUS. Springer. Orange trees.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize

from layers.error_model import Array, Whole
from layers.growth_curves import FORMS, NO_FIT, NOT_TOLD, TOLD, TOO_FEW, Form, fit_curve, limit_told
from layers.translating import N_

LEAST_TREES = 3  # assumption: fewer do not tell how much the limits of trees differ
LEAST_BETTER = 2.0  # log-likelihood beyond that of straight lines, about 19 times in 20: assumption
LEAST_APART = 0.05  # smallest eigenvalue of a correlation matrix that is still told: assumption
_MOST_ROUNDS = 30
_CLOSE = 1e-5  # standard errors: curves that move less than this have settled
_STEP = 6e-6  # of a parameter, to see how the curve changes with it: the cube root of the rounding of numbers

TOO_FEW_TREES = N_("Too few trees for a curve of the group: it takes at least three.")
OVERFITTED = N_(
    "The measurements do not tell in how many ways the trees differ: what one of them adds, another takes "
    "away, so no curve is drawn."
)
SENTENCES = (TOO_FEW_TREES, OVERFITTED)


@dataclass(frozen=True)
class GroupCurve:
    """The curve of a group: parameters of the middle tree with standard errors, the upper limit first.

    ``sd`` is how much the varying parameters differ from tree to tree, ``correlation`` how they go together;
    ``own`` has every tree's own parameters, each drawn toward those of the group, a row a tree. Where
    ``identifiable`` is False, ``sentence`` says why, and the numbers are not for showing.
    """

    form: Form
    parameters: dict[str, float]
    errors: dict[str, float]
    sd: dict[str, float]
    correlation: Array
    residual_sd: float
    log_likelihood: float
    own: Array
    identifiable: bool
    sentence: str


def fit_group_curve(
    form: Form, time: Array, size: Array, tree: Whole, varying: Sequence[str] = ("limit",)
) -> GroupCurve:
    """Return the curve of a group of trees of which each has its own limit.

    Parameters
    ----------
    form : str
        As for ``layers.growth_curves.fit_curve``.
    time, size : array
        Times and sizes > 0 of all measurements, in any units, the sizes with equal and independent errors.
    tree : array
        The tree of each measurement: 0, 1 ... without gaps.
    varying : sequence of str, optional
        The parameters that differ from tree to tree; the others are common to all.

    Returns
    -------
    GroupCurve
        Whether the limit is told: as for ``fit_curve``, there are three trees or more, and straight lines
        from one beginning, one for each tree, are less likely (by 2 in the log-likelihood, assumption): of
        many trees the error is small even where the form is wrong.

    Notes
    -----
    y = f(t; beta + b_i) + e with b_i normal of covariance s^2 L L' and e of variance s^2. Near the estimates
    f is a line in beta and b, X beta + Z b; of that line's model, in which the sizes of tree i have the
    covariance s^2 (I + Z L L' Z'), the likelihood is maximised over L, s and beta, and b is what is to be
    expected of it; so on until the curves stay where they are [1]_. As f is a line in the limit, the
    likelihood that is returned is exact where the limit alone varies. Standard errors allow for the
    parameters: s^2 n / (n - p).
    """
    time, size = np.asarray(time, dtype=float), np.asarray(size, dtype=float)
    trees = int(tree.max()) + 1 if len(tree) else 0
    whole = fit_curve(form, time, size)
    if whole.sentence in (TOO_FEW, NO_FIT):
        return _none(form, varying, trees, whole.sentence)
    if trees < LEAST_TREES:
        return _none(form, varying, trees, TOO_FEW_TREES)
    places = [FORMS[form].names.index(name) for name in varying]
    given = _Given(FORMS[form].curve, time, size, tree, trees, places)
    with np.errstate(all="ignore"):
        found = _settled(given, np.array(list(whole.parameters.values())))
        straight = _settled(replace(given, curve=_line, varying=[0]), np.polyfit(time, size, 1))
    if found is None:
        return _none(form, varying, trees, NO_FIT)
    bent = straight is None or found.log_likelihood >= straight.log_likelihood + LEAST_BETTER
    return _said(form, varying, given, found, bent)


def _line(time: Array, slope: float, level: float) -> Array:
    return level + slope * time


@dataclass(frozen=True)
class _Given:
    curve: Callable[..., Array]
    time: Array
    size: Array
    tree: Whole
    trees: int
    varying: list[int]

    def own(self, beta: Array, b: Array) -> Array:
        """The parameters of every tree."""
        out = np.tile(beta, (self.trees, 1))
        out[:, self.varying] += b
        return out


@dataclass(frozen=True)
class _Products:
    """Sums over the measurements of a model that is a line: all that its likelihood needs.

    With D = [X y]: ``whole`` is D'D over all; of every tree ``crossed`` is Z'D and ``squared`` Z'Z.
    """

    number: int
    whole: Array
    crossed: Array
    squared: Array


@dataclass(frozen=True)
class _Estimate:
    log_likelihood: float
    beta: Array
    errors: Array
    variance: float
    spread: Array  # L
    b: Array  # (trees, varying)


def _settled(given: _Given, beta: Array) -> _Estimate | None:
    """The estimate at which the curves stay; None where they do not come to rest."""
    b = np.zeros((given.trees, len(given.varying)))
    places = np.eye(len(given.varying))[np.tril_indices(len(given.varying))]
    for _ in range(_MOST_ROUNDS):
        products = _products(given, beta, b)
        try:
            places, now = _most_likely(products, places)
        except np.linalg.LinAlgError:
            return None
        if not (np.isfinite(now.log_likelihood) and np.isfinite(now.errors).all()):
            return None
        moved = np.abs(given.own(now.beta, now.b) - given.own(beta, b)) / now.errors
        beta, b = now.beta, now.b
        if moved.max() < _CLOSE:
            return now
    return None


def _products(given: _Given, beta: Array, b: Array) -> _Products:
    """The curve near the trees' own parameters as a line in them."""
    own = given.own(beta, b)[given.tree]
    design = _changes(given, own)
    line = design @ beta + np.sum(design[:, given.varying] * b[given.tree], axis=1)
    left = given.size - given.curve(given.time, *own.T)
    both = np.column_stack([design, left + line])
    varying = design[:, given.varying]
    crossed = np.zeros((given.trees, varying.shape[1], both.shape[1]))
    np.add.at(crossed, given.tree, varying[:, :, None] * both[:, None, :])
    return _Products(len(given.size), both.T @ both, crossed, crossed[:, :, given.varying])


def _changes(given: _Given, own: Array) -> Array:
    """How the curve changes with each parameter at every measurement, by central differences."""
    out = np.empty_like(own)
    for n in range(own.shape[1]):
        step = _STEP * np.maximum(np.abs(own[:, n]), 1e-3)
        more, less = own.copy(), own.copy()
        more[:, n] += step
        less[:, n] -= step
        out[:, n] = (given.curve(given.time, *more.T) - given.curve(given.time, *less.T)) / (2 * step)
    return out


def _most_likely(of: _Products, places: Array) -> tuple[Array, _Estimate]:
    """The most likely spread of the trees, as the places of a triangle to start from next time."""
    count = of.squared.shape[1]
    unit = 1.0 / np.sqrt(np.einsum("mjj->j", of.squared) / len(of.squared))

    def spread(at: Array) -> Array:
        out = np.zeros((count, count))
        out[np.tril_indices(count)] = at
        return np.asarray(unit[:, None] * out)

    found = optimize.minimize(
        lambda at: -_estimate(of, spread(at)).log_likelihood,
        places,
        method="Nelder-Mead",
        options={"xatol": 1e-6, "fatol": 1e-8, "maxiter": 2000},
    )
    return found.x, _estimate(of, spread(found.x))


def _estimate(of: _Products, spread: Array) -> _Estimate:
    """What is most likely where L is given: by (I + Z L L' Z')^-1 = I - Z L M^-1 L' Z', M = I + L' Z'Z L."""
    last = of.whole.shape[0] - 1
    inner = np.eye(len(spread)) + spread.T @ of.squared @ spread
    half = np.linalg.solve(np.linalg.cholesky(inner), spread.T @ of.crossed)
    weighted = of.whole - np.einsum("mqa,mqb->ab", half, half)
    inverse = np.linalg.inv(weighted[:last, :last])
    beta = inverse @ weighted[:last, last]
    variance = float(weighted[last, last] - weighted[:last, last] @ beta) / of.number
    log_likelihood = -0.5 * of.number * (np.log(2 * np.pi * variance) + 1)
    log_likelihood -= 0.5 * float(np.linalg.slogdet(inner)[1].sum())
    left = of.crossed[:, :, last] - of.crossed[:, :, :last] @ beta
    b = (spread @ np.linalg.solve(inner, spread.T @ left[:, :, None]))[:, :, 0]
    errors = np.sqrt(inverse.diagonal() * variance * of.number / (of.number - last))
    return _Estimate(float(log_likelihood), beta, errors, variance, spread, b)


def _said(form: Form, varying: Sequence[str], given: _Given, of: _Estimate, bent: bool) -> GroupCurve:
    names = FORMS[form].names
    covariance = of.variance * of.spread @ of.spread.T
    sd = np.sqrt(covariance.diagonal())
    correlation = np.eye(len(sd))
    if (sd > 0).all():
        correlation = covariance / np.outer(sd, sd)
    apart = bool((sd > 0).all() and np.linalg.eigvalsh(correlation)[0] >= LEAST_APART)
    overfitted = len(sd) > 1 and not apart
    told = bent and not overfitted and limit_told(form, of.beta, float(of.errors[0]), float(given.time.max()))
    return GroupCurve(
        form,
        dict(zip(names, of.beta.tolist(), strict=True)),
        dict(zip(names, of.errors.tolist(), strict=True)),
        dict(zip(varying, sd.tolist(), strict=True)),
        correlation,
        float(np.sqrt(of.variance)),
        of.log_likelihood,
        given.own(of.beta, of.b),
        told,
        OVERFITTED if overfitted else TOLD if told else NOT_TOLD,
    )


def _none(form: Form, varying: Sequence[str], trees: int, sentence: str) -> GroupCurve:
    names, count, nan = FORMS[form].names, len(varying), float("nan")
    nothing, differing = dict.fromkeys(names, nan), dict.fromkeys(varying, nan)
    together, own = np.full((count, count), nan), np.full((trees, len(names)), nan)
    return GroupCurve(form, nothing, nothing, differing, together, nan, nan, own, False, sentence)
