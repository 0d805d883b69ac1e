"""Who measures which stem when: rounds, crews with instruments and habits, readings in order of time."""

import numpy as np

from tests.benchmarks.simulated_errors import (
    CALIBRATED,
    CALIPER,
    DIAMETER_TAPE,
    EYE,
    GIRTH_TAPE,
    HANDS,
    INSTRUMENTS,
    NOT_SAID,
    SIGHTING,
    STRING,
)

MOST_READINGS = 6
CREW_KINDS = ("trained staff", "pupils", "volunteers", None)
TRAINED_STAFF, PUPILS, VOLUNTEERS, NOBODY_SAID = range(4)
HEIGHTS_M = (1.0, 0.6096, 1.2192, 1.3716, 1.30, 0.3048, 1.5)
_HEIGHT_SHARE = np.array([0.25, 0.25, 0.12, 0.12, 0.12, 0.07, 0.07])
_TRAINED_SHARE = {GIRTH_TAPE: 0.40, DIAMETER_TAPE: 0.25, CALIPER: 0.25, NOT_SAID: 0.08, SIGHTING: 0.02}
_HELPERS_SHARE = {GIRTH_TAPE: 0.40, DIAMETER_TAPE: 0.06, CALIPER: 0.12, NOT_SAID: 0.06, STRING: 0.22}
_HELPERS_SHARE |= {CALIBRATED: 0.06, HANDS: 0.03, SIGHTING: 0.03, EYE: 0.02}
_SHARE = {"trained": _TRAINED_SHARE, "helpers": _HELPERS_SHARE}  # of crews with an instrument
_ODDS = {
    hands: np.array([shares.get(i, 0.0) for i in range(len(INSTRUMENTS))]) for hands, shares in _SHARE.items()
}
ROUND_THE_TRUNK = (GIRTH_TAPE, NOT_SAID, STRING, CALIBRATED, HANDS)  # read as girths
_STEPS = {  # unit and step to which values are read
    GIRTH_TAPE: (("cm", 0.1), ("cm", 0.5), ("cm", 1.0), ("in", 0.125), ("in", 1.0)),
    DIAMETER_TAPE: (("cm", 0.1), ("cm", 0.5), ("in", 0.125)),
    CALIPER: (("cm", 0.1), ("cm", 0.5), ("cm", 1.0)),
    NOT_SAID: (("cm", 0.1), ("cm", 1.0), ("in", 0.125)),
    STRING: (("cm", 0.5), ("cm", 1.0), ("in", 0.125), ("in", 1.0)),
    CALIBRATED: (("hands", 0.5),),
    HANDS: (("cm", 0.0),),
    SIGHTING: (("cm", 0.5), ("cm", 1.0)),
    EYE: (("cm", 1.0), ("cm", 5.0)),
}


def drawn_crews(rng, standard_m, repeats):
    """Return rounds (start day) and crews (round, kind, instrument, unit, step, height) as arrays."""
    rounds = int(rng.integers(2, 5))
    start = np.cumsum(np.concatenate([[0], rng.integers(1, 4, rounds - 1)])) * 365.25
    start = np.floor(start + rng.uniform(120, 280, rounds)).astype(np.int64)
    number = rng.integers(2, 9, rounds)
    while repeats and number.sum() < 8:
        number[rng.integers(rounds)] += 1
    crew_round = np.repeat(np.arange(rounds), number)
    crews = len(crew_round)
    mostly = rng.choice([TRAINED_STAFF, PUPILS, VOLUNTEERS])
    kind = np.where(rng.random(crews) < 0.7, mostly, rng.integers(0, 4, crews))
    is_helper = (kind == PUPILS) | (kind == VOLUNTEERS)
    choices = [rng.choice(len(INSTRUMENTS), crews, p=_ODDS[hands]) for hands in ("trained", "helpers")]
    instrument = np.where(is_helper, choices[1], choices[0])
    steps = [_STEPS[i][rng.integers(len(_STEPS[i]))] for i in instrument.tolist()]
    usual = rng.random(crews) < 0.5
    height = np.where(usual, standard_m, rng.choice(HEIGHTS_M, crews, p=_HEIGHT_SHARE))
    first = np.cumsum(number) - number
    return {
        "round_start": start,
        "round": crew_round,
        "name": np.array(list("ABCDEFGHIJKLMNOP"))[np.arange(crews) - first[crew_round]],
        "kind": kind,
        "is_helper": is_helper,
        "instrument": instrument,
        "unit": np.array([unit for unit, _ in steps]),
        "step": np.array([step for _, step in steps]),
        "two_axes": (instrument == CALIPER) & (rng.random(crews) < 0.5),
        "height_m": height,
        "says_height": rng.random(crews) > 0.05,
        "first": first,
        "number": number,
    }


def drawn_readings(rng, stems, crews, standard_m, repeats):
    """Return stem, crew, day and height of every reading in order of time; at most 6 a stem.

    In a round a stem has one day. Some stems are read again the same day, by another crew (``is_double``) or
    by the same crew at another height (``is_pair``): many where ``repeats`` is true, else a few or none.
    """
    rounds = len(crews["number"])
    visited = rng.random((stems, rounds)) < 0.75
    visited[np.arange(stems), rng.integers(0, rounds, stems)] = True
    stem, in_round = np.nonzero(visited)
    crew = crews["first"][in_round] + rng.integers(0, crews["number"][in_round])
    height = _heights(rng, crew, crews, standard_m)
    doubles, pairs = _again(rng, stem, stems, repeats), _again(rng, stem, stems, repeats, 30, 45)
    other = crew[doubles] + 1 + rng.integers(0, crews["number"][in_round[doubles]] - 1)
    first = crews["first"][in_round[doubles]]
    other = first + (other - first) % crews["number"][in_round[doubles]]
    day = crews["round_start"][in_round] + rng.integers(0, 14, len(stem))
    row = np.concatenate([np.arange(len(stem)), doubles, pairs])
    out = {
        "stem": stem[row],
        "crew": np.concatenate([crew, other, crew[pairs]]),
        "round": in_round[row],
        "day": day[row],
        "height_m": np.concatenate(
            [
                height,
                _heights(rng, other, crews, standard_m),
                _other_heights(rng, height[pairs], standard_m),
            ]
        ),
        "is_double": np.repeat([False, True, False], [len(stem), len(doubles), len(pairs)]),
        "is_pair": np.repeat([False, False, True], [len(stem), len(doubles), len(pairs)]),
    }
    out["says_height"] = crews["says_height"][out["crew"]] | out["is_pair"]
    order = np.lexsort((out["is_pair"], out["is_double"], out["stem"], out["day"], out["round"]))
    return {name: values[order] for name, values in out.items()}


def _heights(rng, crew, crews, standard_m):
    """The crew's usual height, now and then another one."""
    other = rng.choice(HEIGHTS_M, len(crew), p=_HEIGHT_SHARE)
    height = np.where(rng.random(len(crew)) < 0.9, crews["height_m"][crew], other)
    return np.where(crews["says_height"][crew], height, standard_m)


def _other_heights(rng, height, standard_m):
    """Low where the first was at breast height, breast height where it was elsewhere."""
    low = rng.choice([0.3048, 0.6096, 1.0], len(height), p=[0.2, 0.5, 0.3])
    return np.where(np.abs(height - standard_m) < 0.02, low, standard_m)


def _again(rng, stem, stems, repeats, least=60, most=90):
    """Rows of visits, at most one a stem, that are measured a second time."""
    if repeats:
        number = min(stems, int(rng.integers(least, most)))
    elif repeats is None:  # as it comes
        number = int(rng.integers(0, max(stems // 8, 2)))
    else:
        number = 0
    order = rng.permutation(len(stem))
    _, first = np.unique(stem[order], return_index=True)
    return rng.permutation(order[first])[:number]
