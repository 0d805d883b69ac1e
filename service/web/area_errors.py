"""How well the size of an area is known: typed, or from the plan image that it was drawn on (R8)."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
import shapely
from flask_babel import gettext as _

from layers import plan_image
from layers.ground import size_ha
from service.edit import outline_of
from service.view import SiteView
from service.web.display import HALF_WIDTH, number
from service.web.form import Form

ON_PLAN = "drawn on the plan"  # how a source begins that this form wrote itself


def of_area(
    view: SiteView, sent: Form, values: Mapping[str, Any], before: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return ``area_se_ha`` and ``area_source`` of an area from what was typed, else from the plan image.

    ``before`` is the record of an area that is changed: an outline that stays as it was keeps its error.

    Raises
    ------
    InvalidRequest
        If the outline cannot be used.
    """
    typed = sent.number("give_or_take_pct")
    if typed is not None and not 0 <= typed <= 100:
        sent.faults["give_or_take_pct"] = _("Type per cent of its size, from 0 to 100.")
    if sent.faults:
        return {}
    outline = values["geometry"]
    shape = None if outline is None else outline_of(outline, view.terms.frame)
    size = values["typed_area_ha"] if shape is None else size_ha(shape, view.terms)
    if size is None:
        return {}
    if typed is not None:
        return {"area_se_ha": typed / 100 / HALF_WIDTH * size}
    if shape is None:
        return {}
    if before is not None and _is_same(shape, before["geometry"]):
        return {name: before[name] for name in ("area_se_ha", "area_source") if _is_said(before[name])}
    return _from_plan(view, size)


def _from_plan(view: SiteView, size: float) -> dict[str, Any]:
    plan = _plan(view)
    if plan is None:
        return {}
    off = number(100 * plan["misfit_share"], 1)
    return {
        "area_se_ha": plan_image.area_error_share(plan["misfit_share"]) * size,
        "area_source": f"{ON_PLAN} “{plan['name']}”; its check length is {off} % off",
    }


def _is_same(shape: Any, before: Any) -> bool:
    return before is not None and bool(shapely.equals_exact(shape, before, tolerance=1e-7, normalize=True))


def _is_said(value: Any) -> bool:
    return value is not None and not pd.isna(value)


def typed_of(view: SiteView, record: Mapping[str, Any]) -> dict[str, Any]:
    """Return what of an area's error and source a person had typed, for a form to start with."""
    source, se, shape = record["area_source"], record["area_se_ha"], record["geometry"]
    if isinstance(source, str) and source.startswith(ON_PLAN):
        return {}
    size = record["typed_area_ha"] if shape is None else size_ha(shape, view.terms)
    if pd.isna(se) or not size > 0:
        return {"area_source": source}
    return {"area_source": source, "give_or_take_pct": f"{100 * HALF_WIDTH * se / size:.4g}"}


def words(view: SiteView) -> str:
    """Say what happens when nothing is typed about an area's error."""
    plan = _plan(view)
    if plan is None:
        return str(
            _(
                "19 times in 20 the true size is within. Empty: not known, and figures per acre or hectare "
                "then carry no error of the ground."
            )
        )
    area = number(100 * HALF_WIDTH * plan_image.area_error_share(plan["misfit_share"]), 1)
    said = _(
        "Empty: %(area)s %% for what is drawn on the plan %(name)s, from its check length.",
        area=area,
        name=plan["name"],
    )
    return str(said)


def _plan(view: SiteView) -> dict[str, Any] | None:
    """The plan image under the map, where a second known length was checked on it."""
    plans = view.records.plan_images
    if not len(plans):
        return None
    placed = plans[plans["placement"].notna()]
    last = dict(placed.iloc[-1]) if len(placed) else None
    return last if last is not None and _is_said(last["misfit_share"]) else None
