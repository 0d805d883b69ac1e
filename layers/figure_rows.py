"""One row of figures from the sums of its group, with a sentence for everything that cannot be said."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from layers import columns, components, girth, size_classes
from layers.error_model import Array
from layers.figure_errors import Errors
from layers.figure_species import SpeciesOf
from layers.figure_subjects import SITE, Subject
from layers.figure_sums import Sums
from layers.intervals import quantile_of
from layers.site_model import SiteModel
from layers.translating import N_

NO_TREES = N_("No living tree stands here.")
NO_SIZE = N_("No trunk here has a size.")
NO_AREA = N_("The size of the ground is not known: draw or type it.")
NO_BOUNDARY = N_(
    "The edge of the whole ground is not known: draw it on the page of the ground, or type its size."
)
NO_OUTLINE = N_("This area has no outline, so that no tree can be counted in it: draw it.")
NOT_SCREENED = N_("The list to be looked at was not made for these figures.")
NOT_YET = N_("This is not worked out yet.")
NO_AREA_ERROR = N_("Nobody has said how well the size of the ground is known; it is taken as exact.")
NO_EDGE = N_("Nearness to an edge is counted for areas with an outline only.")
SITE_ONLY = N_("This is said for the whole site only.")
WHOLE_SITE = N_("This row is the whole site.")
NO_NAMES = N_("No living tree here has a name in the species table.")
TOO_FEW_PLACED = N_("Fewer than two living trees here have a position.")
NOBODY_SAID = N_("Nobody has said it.")
NO_LIMIT = N_("No smallest size is known from which stems were taken in: all count.")
SENTENCES = (
    *(NO_TREES, NO_SIZE, NO_AREA, NO_BOUNDARY, NO_OUTLINE, NOT_SCREENED, NOT_YET, NO_AREA_ERROR, NO_EDGE),
    *(SITE_ONLY, WHOLE_SITE, NO_NAMES, TOO_FEW_PLACED, NOBODY_SAID, NO_LIMIT),
    *components.SENTENCES,
)

_COUNTS = (
    *("trees", "stems", "measured_stems", "partly_measured_trees", "unmeasured_trees", "undated_sizes"),
    *("dead_trees", "in_doubt_trees"),
)
_SCREENED = (
    *("to_be_looked_at", "looked_at", "look_overdue", "circumstances", "questions_asked"),
    "questions_not_askable",
)
_OF_SIZES = (
    *("basal_area_m2", "basal_area_lo", "basal_area_hi", "basal_area_se_m2", "basal_area_m2_per_ha"),
    *("basal_area_se_m2_per_ha", "error_by_cause", "mean_dbh_cm", "mean_dbh_se_cm"),
    *("qmd_cm", "sdi_per_ha", "sdi_qmd_per_ha"),
    "size_classes",
)
_PER_HA = (
    *("area_ha", "trees_per_ha", "stems_per_ha", "basal_area_m2_per_ha", "basal_area_se_m2_per_ha"),
    *("sdi_per_ha", "sdi_qmd_per_ha", "clark_evans_r"),
)


@dataclass(frozen=True)
class Numbers:
    """Everything that was worked out for all groups; ``screened`` by group where the screening was given."""

    sums: Sums
    species: SpeciesOf
    clark_evans: Array
    near_edge: Array
    screened: dict[int, dict[str, Any]] | None
    breaks_cm: Sequence[float]
    errors: Errors
    model: SiteModel


def row_of(
    numbers: Numbers, subjects: Sequence[Subject], group: int, per_ha_group: int, given: dict[str, Any]
) -> dict[str, Any]:
    """Return the row of a group; numbers per hectare are those of ``per_ha_group``."""
    one, ground = subjects[group], subjects[per_ha_group]
    row: dict[str, Any] = dict.fromkeys(columns.names("figures"))
    row |= {"area_id": one.area_id, "layer": one.layer, "name": one.name, "kind": one.kind}
    row |= {"area_ha": _or_none(ground.area_ha), "area_se_ha": _or_none(ground.area_se_ha)}
    row |= {"clark_evans_edge": "none", **given}
    if one.has_trees:
        row |= _counts(numbers, group)
        row |= _sizes(numbers, group)
        row |= _per_hectare(numbers.sums, per_ha_group, ground)
        row |= {
            "error_by_cause": _error_by_cause(numbers.sums, per_ha_group, ground)
            or _error_by_cause(numbers.sums, group, one),
            "clark_evans_r": _or_none(numbers.clark_evans[per_ha_group]),
        }
    row["why"] = _why(row, one, ground, group == SITE, numbers)
    return row


def _counts(numbers: Numbers, group: int) -> dict[str, Any]:
    out: dict[str, Any] = {name: int(getattr(numbers.sums, name)[group]) for name in _COUNTS}
    near = numbers.near_edge[group]
    out["near_edge"] = None if np.isnan(near) else int(near)
    out["species"] = numbers.species.lists[group]
    out["shannon"] = _or_none(numbers.species.shannon[group])
    out["simpson"] = _or_none(numbers.species.simpson[group])
    if numbers.screened is not None:
        nothing: dict[str, Any] = dict.fromkeys(_SCREENED, 0) | {"circumstances": {}}
        out |= numbers.screened.get(group, nothing)
    return out


def _sizes(numbers: Numbers, group: int) -> dict[str, Any]:
    sums = numbers.sums
    stems = int(sums.measured_stems[group])
    if not stems:
        return {}
    basal_area = float(sums.basal_area_m2[group])
    variances = dict(zip(sums.kinds, sums.variance_m4[group].tolist(), strict=True))
    se = float(np.sqrt(sums.variance_m4[group].sum()))
    reach = quantile_of(variances, numbers.model) * se
    # E(d^2) = E(d)^2 + Var d: a sum of squares of uncertain diameters is a little too big.
    middle = basal_area - np.pi / 4.0 * girth.M2_PER_CM2 * float(sums.diameter_variance_cm2[group])
    return {
        "basal_area_m2": basal_area,
        "basal_area_lo": middle - reach,
        "basal_area_hi": middle + reach,
        "basal_area_se_m2": se,
        "mean_dbh_cm": float(sums.diameter_cm[group] / stems),
        "mean_dbh_se_cm": float(numbers.errors.mean_dbh_se_cm[group]),
        "qmd_cm": float(girth.quadratic_mean_diameter_cm(basal_area, stems)),
        "size_classes": [
            {
                "from_cm": low,
                "to_cm": high,
                "stems": int(number),
                "basal_area_m2": float(area),
                "basal_area_se_m2": float(error),
            }
            for (low, high), number, area, error in zip(
                size_classes.bounds(numbers.breaks_cm),
                sums.class_stems[group],
                sums.class_basal_area_m2[group],
                numbers.errors.class_basal_area_se_m2[group],
                strict=True,
            )
        ],
    }


def _per_hectare(sums: Sums, group: int, ground: Subject) -> dict[str, Any]:
    if not ground.area_ha > 0:
        return {}
    out: dict[str, Any] = {
        "trees_per_ha": float(sums.trees[group] / ground.area_ha),
        "stems_per_ha": float(sums.stems[group] / ground.area_ha),
    }
    stems = int(sums.measured_stems[group])
    if stems:
        basal_area = float(sums.basal_area_m2[group])
        qmd = girth.quadratic_mean_diameter_cm(basal_area, stems)
        out |= {
            "basal_area_m2_per_ha": basal_area / ground.area_ha,
            "basal_area_se_m2_per_ha": float(np.sqrt(sum(_variances_per_ha(sums, group, ground).values()))),
            "sdi_per_ha": float(sums.density_index[group] / ground.area_ha),
            "sdi_qmd_per_ha": float(stems / ground.area_ha * girth.density_index(qmd)),
        }
    return out


def _variances_per_ha(sums: Sums, group: int, ground: Subject) -> dict[str, float]:
    """Variance of basal area per hectare by kind of cause, that of the ground itself among them."""
    per_kind = sums.variance_m4[group] / ground.area_ha**2
    out = {kind: float(size) for kind, size in zip(sums.kinds, per_kind, strict=True) if size > 0}
    if ground.area_se_ha > 0:
        out["area"] = float((sums.basal_area_m2[group] * ground.area_se_ha / ground.area_ha**2) ** 2)
    return out


def _error_by_cause(sums: Sums, group: int, ground: Subject) -> dict[str, float] | None:
    """Shares of the variance by kind of cause; the ground is 1 ha where its size is not known."""
    if not sums.measured_stems[group]:
        return None
    known = ground if ground.area_ha > 0 else Subject(None, None, None, None, 1.0)
    variances = _variances_per_ha(sums, group, known)
    total = sum(variances.values())
    return {kind: size / total for kind, size in variances.items()} if total > 0 else {}


def _why(
    row: dict[str, Any], one: Subject, ground: Subject, is_site: bool, numbers: Numbers
) -> dict[str, str]:
    """A sentence for every key that is None; the first that applies."""
    reasons: dict[str, str] = {}

    def say(keys: Sequence[str], sentence: str) -> None:
        for key in keys:
            if row[key] is None:
                reasons.setdefault(key, sentence)

    say(("canopy_cover_pct", "canopy_low_pct", "canopy_high_pct", "carbon_t", "carbon_lo_t"), NOT_YET)
    say(("carbon_hi_t",), NOT_YET)
    if is_site:
        say(("area_id", "layer", "kind"), WHOLE_SITE)
        say(("trees_outside_boundary",), NO_BOUNDARY)
    else:
        say(("trees_outside_boundary", "trees_without_position"), SITE_ONLY)
    if not one.has_trees:
        say(
            tuple(key for key in row if key not in ("area_ha", "area_se_ha", "why", "layer", "name")),
            NO_OUTLINE,
        )
    say(("increment", "components"), components.NO_SINCE)
    say(("near_edge",), NO_EDGE)
    if not ground.area_ha > 0:
        say((*_PER_HA, "area_se_ha"), NO_BOUNDARY if is_site else NO_AREA)
    say(("area_se_ha",), NO_AREA_ERROR)
    say(_OF_SIZES, NO_SIZE if row["trees"] else NO_TREES)
    say(
        ("shannon", "simpson"),
        NO_NAMES if row["trees"] else NO_TREES,
    )
    say(("clark_evans_r",), TOO_FEW_PLACED)
    if numbers.screened is None:
        say(_SCREENED, NOT_SCREENED)
    say(("layer", "name", "kind"), NOBODY_SAID)
    if row["measured_stems"] is not None and np.isnan(one.counting_limit_cm):
        reasons["counting_limit_cm"] = NO_LIMIT
    return reasons


def _or_none(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
