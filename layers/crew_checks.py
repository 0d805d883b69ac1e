"""Whether all that a crew read in a round is off in one way: another unit, width for girth.

It is seen from the first round on: on practice trees that other crews read too, on stems that were measured
before, and, less sharply, from the sizes that are usual of the genera beside those that the others found.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import logsumexp
from scipy.stats import norm

from layers.error_model import Array, Whole
from layers.expectation import Expected, mix_ups
from layers.inputs import Records
from layers.questioned import ASK_AGAIN
from layers.reading_check import ODDS_LIMIT

Flags = NDArray[np.bool_]

FEWEST = 3  # readings of a crew
CREW_MISTAKE = 0.02  # share of crews that are off as a whole; assumption
ODD_SHARE, ODD_LOG_SD = 0.05, 2.0  # single readings that say nothing about their crew; assumption
SITE_LOG_SD = 0.4  # by how much a whole ground differs from what is usual; assumption
PART_LOG_SD = 0.2  # by how much the part that one crew measures differs from its ground; assumption

COLUMNS = ("crew_id", "round_id", "crew", "quantity", "unit", "readings", "kind", "about", "factor", "odds")


@dataclass(frozen=True)
class _Residuals:
    """Readings as logarithms of how many times too large they are, with the deviation of a good one.

    ``is_sharp`` is true where the same stem was read by others or before.
    """

    log_ratio: Array
    log_sd: Array
    is_sharp: Flags


def crews_questioned(expected: Expected, limit: float = ODDS_LIMIT) -> pd.DataFrame:
    """Return the crews of which all readings of a round seem to be off in one way.

    Parameters
    ----------
    expected : Expected
        Of all live readings of a site.
    limit : float
        Odds against a good crew from which on it is questioned [-].

    Returns
    -------
    DataFrame
        Columns of ``COLUMNS``: the key under which it is settled, the round, the crew's code, what it read in
        which unit, how many readings, the explanation (``kind``, ``about`` as of single readings), by how
        many times the numbers are too big (``factor``), and the odds.

    Notes
    -----
    The readings of a crew are independent given its factor, single ones may be odd. Of stems that nobody
    else has read only the mean counts, against that of the other crews where they have such stems too. The
    oddest crew is found first; the others are then judged without it.
    """
    said = expected.of.readings
    named = np.flatnonzero((said["round_id"].notna() & said["crew"].notna()).to_numpy())
    keys = ["round_id", "crew", "quantity", "unit"]
    groups = {key: named[rows] for key, rows in said.iloc[named].groupby(keys, sort=True).indices.items()}
    left = {key: rows for key, rows in groups.items() if len(rows) >= FEWEST}
    is_odd = np.zeros(len(said), dtype=bool)
    found: list[tuple[Any, ...]] = []
    while left:
        residuals = _residuals(expected, is_odd)
        vague = ~residuals.is_sharp & ~is_odd
        judged = [_judged(key, residuals, rows, vague) for key, rows in left.items()]
        worst = max(judged, key=lambda one: one[-1])
        if worst[-1] <= limit:
            break
        found.append((crew_key(*worst[: len(keys)]), *worst))
        is_odd[left.pop(worst[: len(keys)])] = True
    return pd.DataFrame(found, columns=list(COLUMNS))


def crew_key(round_id: str, crew: str, quantity: str, unit: str) -> str:
    """Return the key of what a crew read in a round, under which a question about it is settled."""
    return f"{round_id}:{crew}:{quantity}:{unit}"


def settled_crews(records: Records) -> frozenset[str]:
    """Return the keys of the crews about which a person has settled the question; the last answer holds."""
    said = records.settlings
    if not len(said):
        return frozenset()
    mine = said[said["subject"] == "crew"]
    last = dict(zip(mine["subject_id"], mine["answer"], strict=True))
    return frozenset(key for key, answer in last.items() if answer != ASK_AGAIN)


def _judged(key: tuple[str, str, str, str], of: _Residuals, mine: Whole, vague: Flags) -> tuple[Any, ...]:
    """One row of the answer: the likeliest mix-up of a crew, and the odds of any against none."""
    explanations = [one for one in mix_ups(key[2], key[3]) if one.kind != "digits swapped"]
    others = np.setdiff1d(np.flatnonzero(vague), mine)
    whole = sum(one.weight for one in explanations)
    good = _log_likelihood(of, mine, others, 1.0) + np.log(1.0 - CREW_MISTAKE)
    logs = [
        _log_likelihood(of, mine, others, one.factor) + np.log(CREW_MISTAKE * one.weight / whole)
        for one in explanations
    ]
    odds = float(np.exp(min(logsumexp(logs) - good, 700.0)))
    best = explanations[int(np.argmax(logs))]
    return (*key, len(mine), best.kind, best.about, best.factor, odds)


def _log_likelihood(of: _Residuals, mine: Whole, others: Whole, factor: float) -> float:
    sharp = of.is_sharp[mine]
    at, sd = of.log_ratio[mine[sharp]] - np.log(factor), of.log_sd[mine[sharp]]
    fits = np.log(1.0 - ODD_SHARE) + norm.logpdf(at, 0.0, sd)
    odd = np.log(ODD_SHARE) + norm.logpdf(of.log_ratio[mine[sharp]], 0.0, ODD_LOG_SD)
    total = float(np.sum(np.logaddexp(fits, odd)))
    rest = mine[~sharp]
    if not len(rest):
        return total
    mean, variance = _site(of, others)
    spread = np.sqrt(np.mean(of.log_sd[rest] ** 2) / len(rest) + PART_LOG_SD**2 + variance)
    return total + float(norm.logpdf(np.mean(of.log_ratio[rest]), mean + np.log(factor), spread))


def _site(of: _Residuals, others: Whole) -> tuple[float, float]:
    """How the ground differs from what is usual: mean and variance of logarithms, from what others read."""
    prior = SITE_LOG_SD**2
    if len(others) < FEWEST:
        return 0.0, prior
    middle = float(np.median(of.log_ratio[others]))
    error = np.pi / 2.0 * float(np.mean(of.log_sd[others] ** 2)) / len(others) + PART_LOG_SD**2
    share = prior / (prior + error)
    return share * middle, share * error


def _residuals(expected: Expected, is_odd: Flags) -> _Residuals:
    """All readings against what they are to be compared with; odd crews are compared with nothing."""
    of, sizes = expected.of, expected.of.sizes
    log_dbh = np.log(sizes.dbh_cm)
    mean, sd = of.usual_log[:, 0].copy(), of.usual_log[:, 1].copy()
    sharp = np.zeros(len(mean), dtype=bool)
    error = (
        np.sqrt(sizes.own_var + sizes.departure_cm**2 + np.sum(sizes.effect_cm**2, axis=1)) / sizes.level_cm
    )
    for row, others in _comparable(of.readings, sizes.stem, is_odd):
        sharp[row] = True
        years = np.mean(sizes.years[row] - sizes.years[others])
        size = np.median(sizes.dbh_cm[others])
        mean[row] = np.log(size + sizes.growth[row] * max(years, 0.0))
        grown = sizes.growth_sd[row] * years / size
        sd[row] = np.sqrt(error[row] ** 2 + np.mean(error[others] ** 2) + grown**2)
    return _Residuals(log_dbh - mean, sd, sharp)


def _comparable(readings: pd.DataFrame, stem: Whole, is_odd: Flags) -> Iterator[tuple[int, Whole]]:
    """Of each reading the ones to compare it with: other crews' of the round, else the last one before it."""
    rounds, crews = (readings[name].to_numpy(dtype=object) for name in ("round_id", "crew"))
    edges = np.flatnonzero(stem[1:] != stem[:-1]) + 1
    for start, end in itertools.pairwise([0, *edges.tolist(), len(stem)]):
        for row in range(start, end):
            practice = [n for n in range(start, end) if rounds[n] == rounds[row] and crews[n] != crews[row]]
            before = [n for n in range(start, row) if rounds[n] != rounds[row]]
            if practice or before:
                yield row, np.array(practice or before[-1:], dtype=np.int64)
