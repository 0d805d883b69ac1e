"""What stands beside a figure on a page: how far its give or take reaches, what it is made of."""

from collections.abc import Mapping
from typing import Any

from layers import explained_figures
from layers.chart_causes import largest_first
from layers.explaining_words import BETTER, OF_THE_GROUND
from layers.explanations import Part, is_learned
from layers.intervals import is_estimated, quantile_of
from layers.site_model import FROM_SITE
from service.view import SiteView
from service.web import display, how_facts
from service.web.display import HALF_WIDTH

MEASURED = {"area": True, "edge": False}


def with_facts(view: SiteView, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return rows of figures with what stands beside their cut face and mean width.

    Added are ``of`` (its name for "how do you know?"), ``reach`` of ``cut_face``, ``per_ha`` and ``mean``,
    the ends ``per_ha_low`` and ``per_ha_high``, the ``bar`` of causes, the ``mostly`` largest of them, what
    would make it ``better``, and whether the error is ``assumed``.
    """
    frames, measured = how_facts.frames_of(view), measured_kinds(view)
    return [_with_facts(view, row, frames, measured, f"f{n}") for n, row in enumerate(rows)]


def _with_facts(
    view: SiteView,
    row: dict[str, Any],
    frames: explained_figures.FigureFrames,
    measured: Mapping[str, bool],
    name: str,
) -> dict[str, Any]:
    parts = parts_of(row, measured)
    reach = reaches(view, row, frames)
    half, per_ha = row["basal_area_se_m2_per_ha"], row["basal_area_m2_per_ha"]
    half = None if display.is_missing(half) else reach["per_ha"] * half
    mostly = largest_first(parts)[0].kind if parts else None
    return {
        **row,
        "of": f"figure:{row['area_id'] or 'site'}",
        "reach": reach,
        "per_ha_low": None if half is None else per_ha - half,
        "per_ha_high": None if half is None else per_ha + half,
        "bar": how_facts.bar(parts, name),
        "mostly": mostly,
        "better": how_facts.bar_words()[mostly] if mostly in BETTER else "",
        "assumed": is_assumed(parts),
    }


def measured_kinds(view: SiteView) -> dict[str, bool]:
    """Return of each kind of cause whether its variance was measured on the ground."""
    model, causes = view.terms.model, view.state.causes
    kinds = causes.assign(here=causes["source"] == FROM_SITE).groupby("kind")["here"].all()
    measured = {"own": is_learned(model.own), "departure": is_learned(model.departure), **MEASURED}
    return measured | {str(kind): bool(here) for kind, here in kinds.items()}


def parts_of(row: Mapping[str, Any], measured: Mapping[str, bool]) -> list[Part]:
    """Return the parts of the error of the cut face on the ground, as shares."""
    return [
        Part(kind, share, share, OF_THE_GROUND if kind == "area" else "", measured[kind])
        for kind, share in (row["error_by_cause"] or {}).items()
    ]


def is_assumed(parts: list[Part]) -> bool:
    """Return whether any part of an error rests on an assumption; its whisker is dashed then."""
    return any(not part.measured for part in parts)


def reaches(
    view: SiteView, row: Mapping[str, Any], frames: explained_figures.FigureFrames
) -> dict[str, float]:
    """Return how many standard errors the give or take of a row's figures reaches."""
    model = view.terms.model
    out = dict.fromkeys(("cut_face", "per_ha", "mean"), HALF_WIDTH)
    if not is_estimated(model):
        return out
    if row["error_by_cause"]:
        out["per_ha"] = quantile_of(row["error_by_cause"], model)
    if row["basal_area_se_m2"]:
        out["cut_face"] = (row["basal_area_hi"] - row["basal_area_lo"]) / 2 / row["basal_area_se_m2"]
    if not display.is_missing(row["mean_dbh_cm"]):
        out["mean"] = explained_figures.of_figure(row, "mean_dbh_cm", frames).quantile
    return out


def classes_with_reach(view: SiteView, classes: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the size classes of the whole ground with how far the give or take of their cut face reaches."""
    frames = how_facts.frames_of(view)
    estimated = is_estimated(view.terms.model)

    def reach(number: int) -> float:
        if not estimated or not classes[number]["stems"]:
            return HALF_WIDTH
        key = f"{explained_figures.CLASS_FACES}:{number}"
        return explained_figures.of_figure(view.figures[0], key, frames).quantile

    return [{**row, "number": n, "reach": reach(n)} for n, row in enumerate(classes)]
