"""Repeated readings too far apart to be two looks at one trunk: they teach nothing about ordinary errors.

A wrong unit, another trunk or swapped digits is no error of reading. One such slip among a few repeated
readings would make every error of the site look many times too large, so that what is learned rests on the
readings without them; they stay in every figure until a person settles them.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from layers.combining import number_at
from layers.error_model import Array, Whole
from layers.girth import Standardised
from layers.inputs import Records, SiteTerms
from layers.learning import Repeats, learned_from, repeats
from layers.site_model import PRIOR_DF, SiteModel

FAR_APART = 4.0  # standard deviations, the limit of definitions N11 for readings of one stem over the years
_MEDIAN_SQUARE = float(stats.chi2.median(1))
_OF_A_MEDIAN = np.pi / 2.0  # variance of a median over that of a mean


@dataclass(frozen=True)
class Learned:
    """What a site's repeated readings teach: the model, the readings it rests on, and those left out."""

    model: SiteModel
    kept: Repeats
    left_out: tuple[str, ...]


def learned(records: Records, terms: SiteTerms, prior_df: float = PRIOR_DF) -> Learned:
    """Return the error model of a site, learned from repeated readings that are not far apart.

    Parameters
    ----------
    records : Records
        Everything that was said.
    terms : SiteTerms
        Breast height [m] of the site.
    prior_df : float
        Degrees of freedom of the published model; 0 is restricted maximum likelihood alone.
    """
    kept, left_out = without_far_apart(repeats(records, terms))
    return Learned(learned_from(kept, prior_df), kept, left_out)


def without_far_apart(repeated: Repeats) -> tuple[Repeats, tuple[str, ...]]:
    """Return the repeated readings that can be two looks at one trunk, and the ids of those left out.

    Notes
    -----
    Each reading is compared with the median of the others of its occasion, in standard deviations of version
    0 times the site's own scale: from the median square of all such differences (which a few slips cannot
    move), weighed with the published model like 10 degrees of freedom. Beyond 4 the farthest reading of the
    occasion is left out, and the rest is looked at again; of two that are far apart nobody can say which one
    it is, so that both go.
    """
    occasion = repeated.occasion.copy()
    size, variance = _sizes(repeated), _variances(repeated.sizes)
    limit = FAR_APART * _scale(size, variance, occasion)
    while True:
        far = _farthest(size, variance, occasion, limit)
        if not len(far):
            break
        occasion[far] = -1
    rows = np.flatnonzero(occasion >= 0)
    gone = repeated.sizes.readings["reading_id"].to_numpy(dtype=object)[occasion < 0]
    return picked(repeated, rows), tuple(str(id) for id in gone)


def picked(repeated: Repeats, rows: Whole) -> Repeats:
    """Return some rows of repeated readings, occasions numbered anew from 0."""
    place = np.full(len(repeated.occasion), -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    parts = repeated.sizes.parts
    row = place[parts["row"].to_numpy(dtype=np.int64)]
    kept = Standardised(
        repeated.sizes.readings.iloc[rows].reset_index(drop=True),
        parts.assign(row=row)[row >= 0].reset_index(drop=True),
        repeated.sizes.causes,
    )
    _, occasion = np.unique(repeated.occasion[rows], return_inverse=True)
    return replace(
        repeated,
        sizes=kept,
        occasion=occasion.astype(np.int64),
        rounding_var_cm2=repeated.rounding_var_cm2[rows],
    )


def _sizes(repeated: Repeats) -> Array:
    return number_at(repeated.sizes.readings, "dbh_cm", np.arange(len(repeated.occasion)))


def _variances(sizes: Standardised) -> Array:
    """The whole variance of each reading by version 0 [cm2]."""
    variance = sizes.causes.set_index("cause")["variance"]
    shared = sizes.parts["sensitivity_cm"] ** 2 * sizes.parts["cause"].map(variance).astype(float)
    row = sizes.parts["row"].to_numpy(dtype=np.int64)
    own = sizes.readings["own_var_cm2"] + sizes.readings["departure_se_cm"] ** 2
    return np.asarray(own + np.bincount(row, weights=shared, minlength=len(own)), dtype=float)


def _scale(size: Array, variance: Array, occasion: Whole) -> float:
    """The site's own deviation over that of version 0."""
    squares = [z.ravel() ** 2 for _, z in _differences(size, variance, occasion)]
    if not squares:
        return 1.0
    number = len(np.unique(occasion))
    seen = float(np.median(np.concatenate(squares))) / _MEDIAN_SQUARE
    return float(np.sqrt((PRIOR_DF + number * seen) / (PRIOR_DF + number)))


def _differences(size: Array, variance: Array, occasion: Whole) -> list[tuple[Whole, Array]]:
    """Rows (m, n) of occasions of n readings, and each reading's distance from the median of the others."""
    used = np.flatnonzero(occasion >= 0)
    used = used[np.argsort(occasion[used], kind="stable")]
    count = np.bincount(occasion[used]) if len(used) else np.zeros(0, dtype=np.int64)
    found = []
    for n in np.unique(count[count > 1]):
        rows = used[count[occasion[used]] == n].reshape(-1, n)
        z = np.empty(rows.shape)
        for column in range(n):
            others = np.delete(rows, column, axis=1)
            of_median = variance[others].mean(axis=1) * (1.0 if n == 2 else _OF_A_MEDIAN / (n - 1))
            apart = size[rows[:, column]] - np.median(size[others], axis=1)
            z[:, column] = apart / np.sqrt(variance[rows[:, column]] + of_median)
        found.append((rows, z))
    return found


def _farthest(size: Array, variance: Array, occasion: Whole, limit: float) -> Whole:
    """The rows to leave out next: the farthest of each occasion beyond the limit; both of two."""
    gone = []
    for rows, z in _differences(size, variance, occasion):
        worst = np.argmax(np.abs(z), axis=1)
        far = np.abs(z[np.arange(len(z)), worst]) > limit
        gone.append(rows[far].ravel() if rows.shape[1] == 2 else rows[far, worst[far]])
    return np.concatenate(gone).astype(np.int64) if gone else np.zeros(0, dtype=np.int64)
