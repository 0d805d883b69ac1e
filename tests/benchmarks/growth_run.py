"""One run of the benchmark of growth, in a process of its own so that its memory can be told; prints JSON."""

import json
import resource
import sys
import time

import numpy as np
import pandas as pd
from pandas.api.types import union_categoricals

from layers.girth import Standardised, standardised
from layers.growth import growth
from layers.inputs import Records, SiteTerms

FIRST = np.datetime64("2012-06-15")


def drawn(stems, readings):
    """Readings of stems that grow, their days, and the records of stems and trees."""
    rng = np.random.default_rng(20)
    ids = pd.Index([f"{n:07d}" for n in range(stems)], dtype=object)
    start, rate = rng.uniform(5, 120, stems), rng.gamma(4, 0.1, stems)
    day = 1000 * np.arange(readings) + rng.integers(-40, 40, (stems, readings))
    size = start[:, None] + rate[:, None] * day / 365.25 + rng.normal(0, 0.3, (stems, readings))
    n = stems * readings
    same = {"quantity": "diameter", "unit": "cm", "instrument": "caliper", "crew": "A"}
    frame = pd.DataFrame(
        {
            "reading_id": np.arange(n),
            "stem_id": pd.Series(np.repeat(ids.to_numpy(), readings), dtype=object),
            "value": np.maximum(size, 1.0).ravel(),
            "value_2": np.nan,
            "height_m": 1.3,
            "resolution": 0.1,
            "tilt_deg": np.nan,
            **{name: _same(None, n) for name in ("calibration_id", "parts", "awkward", "rule", "side")},
            "measured_on": pd.Categorical((FIRST + day).ravel().astype(str)),
            "crew_kind": _same("trained staff", n),
            "round_id": pd.Categorical.from_codes(
                np.tile(np.arange(readings), stems), [f"round {k}" for k in range(readings)]
            ),
            **{name: _same(word, n) for name, word in same.items()},
        }
    )
    trees = pd.DataFrame({"tree_id": ids, "scientific_name": None, "genus": "Tilia"}, dtype=object)
    return frame, (FIRST + day).ravel(), Records(stems=trees[["tree_id"]].assign(stem_id=ids), trees=trees)


def _same(word, rows):
    return pd.Categorical.from_codes(
        np.full(rows, -1 if word is None else 0, dtype=np.int8), [] if word is None else [word]
    )


def handed_over(frame, records, terms, readings, stems_at_once=50_000):
    """The readings as standard diameters, without the texts that growth does not read, codes for causes."""
    step = stems_at_once * readings
    numbers = {name: np.empty(len(frame)) for name in ("dbh_cm", "own_var_cm2", "departure_se_cm")}
    rows, causes, sizes, known = [], [], [], []
    for first in range(0, len(frame), step):
        piece = frame.iloc[first : first + step]
        few = slice(first // readings, (first + step) // readings)
        one = standardised(piece, records.stems.iloc[few], records.trees.iloc[few], terms)
        for name, values in numbers.items():
            values[first : first + step] = one.readings[name]
        rows.append((one.parts["row"].to_numpy() + first).astype(np.int32))
        causes.append(one.parts["cause"].astype("category"))
        sizes.append(one.parts["sensitivity_cm"].to_numpy())
        known.append(one.causes)
    parts = {
        "row": np.concatenate(rows),
        "cause": union_categoricals(causes),
        "sensitivity_cm": np.concatenate(sizes),
    }
    causes = pd.concat(known).drop_duplicates("cause", ignore_index=True)
    return Standardised(frame.assign(**numbers), pd.DataFrame(parts), causes)


def bare(size, variance, years):
    """Slopes of lines through the rows, each number with its own weight."""
    weight = 1.0 / variance
    total = weight.sum(axis=1)
    middle = (weight * years).sum(axis=1) / total
    away = years - middle[:, None]
    return (weight * away * size).sum(axis=1) / (weight * away**2).sum(axis=1)


def main(stems, readings):
    frame, when, records = drawn(stems, readings)
    terms = SiteTerms(site_id="bench", slug="bench", name="Bench")
    sizes = handed_over(frame, records, terms, readings)  # what comes before growth is not measured
    del frame

    began = time.process_time()
    of = growth(sizes, when, records, terms)
    took = time.process_time() - began

    shape = (stems, readings)
    dbh, variance = (sizes.readings[name].to_numpy().reshape(shape) for name in ("dbh_cm", "own_var_cm2"))
    years = when.astype("datetime64[D]").astype(np.int64).reshape(shape) / 365.25
    began = time.process_time()
    slopes = bare(dbh, variance, years)
    of_bare = time.process_time() - began
    print(
        json.dumps(
            {
                "stems": stems,
                "growth_s": took,
                "bare_s": of_bare,
                "memory_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e9,
                "told": int(of.can_be_told.sum()),
                "mean_growth": float(of.stems["growth_cm_per_yr"].mean()),
                "mean_bare": float(slopes.mean()),
            }
        )
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
