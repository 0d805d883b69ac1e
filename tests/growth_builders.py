"""Stems with several readings for tests on growth, and the covariance of their readings written out."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from layers.days import days
from layers.growth import Growth, growth
from layers.inputs import Records, SiteTerms
from tests.builders import make_reading, make_records, make_site
from tests.stand_builders import stem_rows, tree_rows

Said = tuple[str | None, float] | tuple[str | None, float, Mapping[str, Any]]


def histories(*of_stems: Sequence[Said], **same: Any) -> Records:
    """Stem s0, s1 ... with its readings: (day, diameter in cm) or (day, diameter, other words)."""
    readings = []
    for n, said in enumerate(of_stems):
        for k, (day, diameter, *more) in enumerate(said):
            words = {"quantity": "diameter", "value": diameter, "resolution": 0.0, "round_id": None}
            words |= {"reading_id": f"r{n}-{k}", "fid": len(readings) + 1, "stem_id": f"s{n}"}
            readings.append(
                make_reading(**{**words, "measured_on": day, **same, **(more[0] if more else {})})
            )
    number = len(of_stems)
    return make_records(trees=tree_rows(number), stems=stem_rows(number), readings=readings)


def dense_covariance(sizes: Any, rows: Sequence[int]) -> np.ndarray:
    """The covariance of some readings, term by term, as the definitions write it."""
    readings, parts, causes = sizes.readings, sizes.parts, sizes.causes.set_index("cause")
    out = np.zeros((len(rows), len(rows)))
    for a, i in enumerate(rows):
        for b, j in enumerate(rows):
            one, other = readings.iloc[i], readings.iloc[j]
            if i == j:
                out[a, b] += one["own_var_cm2"]
            same_height = one["height_m"] == other["height_m"] or (
                np.isnan(one["height_m"]) and np.isnan(other["height_m"])
            )
            if one["stem_id"] == other["stem_id"] and same_height:
                out[a, b] += one["departure_se_cm"] * other["departure_se_cm"]
            of_one, of_other = parts[parts["row"] == i], parts[parts["row"] == j]
            for cause, g in zip(of_one["cause"], of_one["sensitivity_cm"], strict=True):
                for again, h in zip(of_other["cause"], of_other["sensitivity_cm"], strict=True):
                    if cause == again:
                        out[a, b] += g * h * causes.loc[cause, "variance"]
    return out


def growth_by(sizes: Any, records: Records, terms: SiteTerms | None = None) -> Growth:
    """The growth of standardised readings by their own days."""
    return growth(sizes, days(sizes.readings["measured_on"]), records, terms or make_site())
