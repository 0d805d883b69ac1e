"""A straight line through each of many short rows of correlated numbers, by generalised least squares.

References
----------
.. [1] Aitken, A. C. 1936. On least squares and linear combinations of observations. Proceedings of the Royal
   Society of Edinburgh 55:42-48 (from memory): b = (X' C^-1 X)^-1 X' C^-1 y.
"""

from dataclasses import dataclass

import numpy as np

from layers.error_model import Array, Whole

LEAST_OWN_VAR = 1e-10  # no number is known better than this [square of its unit]: keeps C from being singular
_ALONE = 1e-9  # share of its precision below which a number is needed to tell the slope: nothing checks it


@dataclass(frozen=True)
class Shared:
    """Effects of one kind that numbers share: the code of each number's effect and its size (a deviation).

    Effects of different kinds, or of different codes, are independent; code -1 has none.
    """

    kind: int
    code: Whole
    size: Array


@dataclass(frozen=True)
class Lines:
    """Lines through m rows of n numbers.

    ``slope_weight`` (m, n) makes the slope from the numbers; ``level`` (m) with ``level_var`` is the line's
    value at ``at``, where its error is independent of that of the slope. ``doubtful`` (m) is the position of
    the number that is farthest from the line through the others, and ``residual`` (m) how far, in its
    standard errors; -1 and 0 where no number can be judged.
    """

    slope_weight: Array
    level: Array
    level_var: Array
    at: Array
    doubtful: Whole
    residual: Array


def covariance(own_var: Array, departure: Array, height: Whole, shared: list[Shared]) -> Array:
    """Return the covariances of m rows of n numbers, (m, n, n).

    Parameters
    ----------
    own_var : array, (m, n)
        Variances that a number shares with no other.
    departure, height : array, (m, n)
        A deviation shared fully by the numbers of a row that have the same code of ``height``.
    shared : list of Shared
        With arrays (m, n).
    """
    rows, number = own_var.shape
    out = np.zeros((rows, number, number))
    diagonal = np.arange(number)
    out[:, diagonal, diagonal] = np.maximum(own_var, LEAST_OWN_VAR)
    if departure.any():
        out += _alike(height, height) * _products(departure, departure)
    for one in shared:
        for other in shared:
            if one.kind == other.kind:
                out += _alike(one.code, other.code) * _products(one.size, other.size)
    return out


def _alike(left: Whole, right: Whole) -> np.ndarray:
    return np.asarray((left[:, :, None] == right[:, None, :]) & (left[:, :, None] >= 0))


def _products(left: Array, right: Array) -> Array:
    return np.asarray(left[:, :, None] * right[:, None, :])


def fit_lines(at: Array, number: Array, covariances: Array, least_judged: int) -> Lines:
    """Return the line through each row of numbers.

    Parameters
    ----------
    at, number : array, (m, n)
        Where (times) and what; the places of a row are not all alike.
    covariances : array, (m, n, n)
        Of the numbers of each row.
    least_judged : int
        Rows of fewer numbers have no doubtful one.

    Notes
    -----
    With P = C^-1 - C^-1 X (X' C^-1 X)^-1 X' C^-1, the number j is (P y)_j / P_jj away from what all others
    let expect of it, with the standard error P_jj^-1/2.
    """
    rows, several = at.shape
    middle = at.mean(axis=1)
    times = at - middle[:, None]
    design = np.stack([np.ones_like(times), times], axis=2)
    weighted = np.linalg.solve(covariances, design)  # C^-1 X
    precision = np.swapaxes(design, 1, 2) @ weighted
    normal = _inverse_2x2(precision)
    weight = normal @ np.swapaxes(weighted, 1, 2)
    shift = -normal[:, 0, 1] / normal[:, 1, 1]
    level = np.sum((weight[:, 0] + shift[:, None] * weight[:, 1]) * number, axis=1)
    doubtful, residual = np.full(rows, -1, dtype=np.int64), np.zeros(rows)
    if several >= max(least_judged, 3):
        projection = np.linalg.inv(covariances)
        alone = np.einsum("mjj->mj", projection).copy()
        projection -= weighted @ weight
        doubtful, residual = _farthest(
            np.asarray(projection, dtype=float), alone, number - number.mean(axis=1)[:, None]
        )
    slope = weight[:, 1]
    return Lines(slope, level, 1.0 / precision[:, 0, 0], middle + shift, doubtful, residual)


def _inverse_2x2(of: Array) -> Array:
    out = np.empty_like(of)
    out[:, 0, 0], out[:, 1, 1] = of[:, 1, 1], of[:, 0, 0]
    out[:, 0, 1], out[:, 1, 0] = -of[:, 0, 1], -of[:, 1, 0]
    return np.asarray(out / (of[:, 0, 0] * of[:, 1, 1] - of[:, 0, 1] * of[:, 1, 0])[:, None, None])


def _farthest(projection: Array, alone: Array, number: Array) -> tuple[Whole, Array]:
    left = np.einsum("mjj->mj", projection)
    judged = left > _ALONE * alone
    off = np.einsum("mjk,mk->mj", projection, number)
    sizes = np.where(judged, np.abs(off) / np.sqrt(np.where(judged, left, 1.0)), 0.0)
    doubtful = np.argmax(sizes, axis=1)
    residual = sizes[np.arange(len(sizes)), doubtful]
    return np.where(residual > 0, doubtful, -1).astype(np.int64), residual
