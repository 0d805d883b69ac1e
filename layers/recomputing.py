"""A number and its error worked out again from what an explanation shows, with plain arithmetic.

Nothing here calls what made the number: a mistake there, or a part that is not shown, comes out as a
difference.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Shown = Mapping[str, Any]
FT_PER_M = 1.0 / 0.3048
M2_PER_HA = 10_000.0


@dataclass(frozen=True)
class Recomputed:
    """The number, its standard error (None where none is shown) and the variance by kind of cause."""

    value: float
    se: float | None
    parts: dict[str, float]


def recomputed(shown: Shown) -> Recomputed:
    """Return what follows from the shown inputs, constants and causes of an explanation.

    Parameters
    ----------
    shown : mapping
        What ``Explanation.as_json`` gives, with all inputs.
    """
    value, slopes = _EQUATIONS[shown["equation"]["key"]](shown["inputs"], shown["constants"])
    if not shown["parts"]:
        return Recomputed(value, None, {})
    parts = _parts(shown, value, slopes)
    return Recomputed(value, math.sqrt(sum(parts.values())), parts)


def _parts(shown: Shown, value: float, slopes: Sequence[float]) -> dict[str, float]:
    """Var F = sum a^2 Var(own) + departures, added up by height + sum v (sum a g)^2 + ground + edge."""
    own = departure = 0.0
    by_height: dict[Any, float] = {}
    by_cause: dict[str, float] = {}
    for a, one in zip(slopes, shown["inputs"], strict=True):
        if "departure_cm" in one:
            own += a * a * one["own_var_cm2"]
            at = (one["stem_id"], one["height_m"])
            by_height[at] = by_height.get(at, 0.0) + a * one["departure_cm"]
        elif "own_var_cm2" in one:
            own += a * a * (one["own_var_cm2"] - one["departure_var_cm2"])
            departure += a * a * one["departure_var_cm2"]
        for cause, size in one.get("shared", {}).items():
            by_cause[cause] = by_cause.get(cause, 0.0) + a * size
    departure += sum(size * size for size in by_height.values())
    found = {"own": own, "departure": departure}
    for cause in shown["causes"]:
        size = cause["variance"] * by_cause[cause["cause"]] ** 2
        found[cause["kind"]] = found.get(cause["kind"], 0.0) + size
    ground, se = (shown["constants"].get(name) for name in ("area_ha", "area_se_ha"))
    if ground and se:
        found["area"] = (value * se / ground) ** 2
    near = sum(one["likely"] * one["basal_area_m2"] ** 2 for one in shown.get("edge_trees", []))
    found["edge"] = near / (ground or 1.0) ** 2
    if "doubtful_stems" in shown["constants"]:
        known = shown["constants"]
        found["edge"] += known["doubtful_stems"] * known["variance_between"] / known["stems"] ** 2
    return {kind: size for kind, size in found.items() if size > 0}


Worked = tuple[float, list[float]]


def _stem_size(readings: Sequence[Shown], constants: Shown) -> Worked:
    weights = [one["weight"] for one in readings]
    sizes = [_standard_cm(one, constants["breast_height_m"]) for one in readings]
    return math.fsum(w * d for w, d in zip(weights, sizes, strict=True)), weights


def _standard_cm(one: Shown, breast_height_m: float) -> float:
    """From what was read to the width at breast height [cm]."""
    read = one["value"]
    if one["value_2"] is not None and one["value_2"] > 0:
        read = (one["value"] + one["value_2"]) / 2.0
    d = read * one["cm_per_unit"] / (math.pi if one["quantity"] == "girth" else 1.0) / one["tilt_factor"]
    d = (d - one["vine_off_cm"]) / one["bark_left"]
    b = one["profile_b"]
    if b is not None:
        d *= (1.0 + b * _profile(breast_height_m)) / (1.0 + b * _profile(one["height_m"]))
    return float(d - one["bias_cm"])


def _profile(height_m: float) -> float:
    height_ft = height_m * FT_PER_M
    return (4.5 - height_ft) / (height_ft + 1.0)


def _widths(stems: Sequence[Shown]) -> list[float]:
    return [one["dbh_cm"] for one in stems]


def _tree_size(stems: Sequence[Shown], constants: Shown) -> Worked:
    d = _widths(stems)
    whole = math.sqrt(math.fsum(each * each for each in d))
    return whole, [each / whole for each in d]


def _count(rows: Sequence[Shown], constants: Shown) -> Worked:
    return float(sum(one["count"] for one in rows)), [0.0] * len(rows)


def _count_per_ha(rows: Sequence[Shown], constants: Shown) -> Worked:
    return _count(rows, constants)[0] / constants["area_ha"], [0.0] * len(rows)


def _faces(stems: Sequence[Shown], constants: Shown) -> Worked:
    d = _widths(stems)
    return math.fsum(math.pi / 4 * x * x / 1e4 for x in d), [math.pi / 2 * x / 1e4 for x in d]


def _faces_per_ha(stems: Sequence[Shown], constants: Shown) -> Worked:
    value, slopes = _faces(stems, constants)
    return value / constants["area_ha"], [slope / constants["area_ha"] for slope in slopes]


def _mean_width(stems: Sequence[Shown], constants: Shown) -> Worked:
    d = _widths(stems)
    return math.fsum(d) / len(d), [1.0 / len(d)] * len(d)


def _quadratic_mean(stems: Sequence[Shown], constants: Shown) -> Worked:
    d = _widths(stems)
    mean = math.sqrt(math.fsum(x * x for x in d) / len(d))
    return mean, [x / len(d) / mean for x in d]


def _density_sum(stems: Sequence[Shown], constants: Shown) -> Worked:
    d, ground = _widths(stems), constants["area_ha"]
    value = math.fsum((x / 25.4) ** 1.605 for x in d) / ground
    return value, [1.605 * (x / 25.4) ** 0.605 / 25.4 / ground for x in d]


def _density_mean(stems: Sequence[Shown], constants: Shown) -> Worked:
    mean, slopes = _quadratic_mean(stems, constants)
    per_ha = len(stems) / constants["area_ha"]
    slope = per_ha * 1.605 * (mean / 25.4) ** 0.605 / 25.4
    return per_ha * (mean / 25.4) ** 1.605, [slope * each for each in slopes]


def _shares(kinds: Sequence[Shown]) -> list[float]:
    total = sum(one["count"] for one in kinds)
    return [one["count"] / total for one in kinds]


def _shannon(kinds: Sequence[Shown], constants: Shown) -> Worked:
    return -math.fsum(p * math.log(p) for p in _shares(kinds)), [0.0] * len(kinds)


def _simpson(kinds: Sequence[Shown], constants: Shown) -> Worked:
    return 1.0 - math.fsum(p * p for p in _shares(kinds)), [0.0] * len(kinds)


def _clark_evans(trees: Sequence[Shown], constants: Shown) -> Worked:
    mean = math.fsum(one["nearest_m"] for one in trees) / len(trees)
    spread = math.sqrt(len(trees) / (constants["area_ha"] * M2_PER_HA))
    return 2.0 * mean * spread, [0.0] * len(trees)


def _ground(rows: Sequence[Shown], constants: Shown) -> Worked:
    return constants["area_ha"], [0.0] * len(rows)


_EQUATIONS: dict[str, Callable[[Sequence[Shown], Shown], Worked]] = {
    "stem_size": _stem_size,
    "growth": _stem_size,
    "increment": _stem_size,
    "tree_size": _tree_size,
    "count": _count,
    "count_per_ha": _count_per_ha,
    "sum_of_faces": _faces,
    "faces_per_ha": _faces_per_ha,
    "mean_width": _mean_width,
    "quadratic_mean": _quadratic_mean,
    "density_sum": _density_sum,
    "density_mean": _density_mean,
    "shannon": _shannon,
    "simpson": _simpson,
    "clark_evans": _clark_evans,
    "ground": _ground,
}
