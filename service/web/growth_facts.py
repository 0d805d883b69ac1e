"""What is to be expected of one tree, what its peers do, and whether a curve can tell where growth ends."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers.growth_curves import Curve, Form, fit_curve
from layers.growth_lines import DAYS_PER_YEAR
from layers.tree_forecasts import day_ahead, tree_forecasts
from service.view import SiteView
from service.web import display
from service.web.tree_facts import StemFacts

LEAST_FOR_A_CURVE = 4
_FORMS: tuple[Form, ...] = ("logistic", "Gompertz")
_FORM_WORDS = {"logistic": _l("logistic")}


@dataclass(frozen=True)
class Ahead:
    """The width of a tree to be expected on a day [cm], and the growth of its peers [cm/yr], None without."""

    day: str
    expected_cm: float
    expected_se_cm: float
    peers: str | None
    peers_number: int
    peers_growth_cm_per_yr: float


def ahead_of(view: SiteView, tree_id: str) -> Ahead | None:
    """Return what is to be expected of a tree in five years; None where nothing tells how it grows."""
    day = day_ahead(view.as_of)
    of_all = tree_forecasts(view.growth_ahead, day)
    found = of_all[of_all["tree_id"] == tree_id]
    if not len(found):
        return None
    row = next(found.itertuples())
    who = row.peers if isinstance(row.peers, str) else None
    return Ahead(
        day,
        float(row.expected_cm),
        float(row.expected_se_cm),
        str(_(who)) if who else None,
        int(row.peers_number),
        float(row.peers_growth_cm_per_yr),
    )


def curve_words(stems: list[StemFacts], units: display.Units) -> str | None:
    """Return what a curve through the measurements of the main trunk tells of where its growth ends.

    None below four measuring days.
    """
    said = (
        [r for r in stems[0].readings if r.state == "live" and r.day and np.isfinite(r.dbh_cm)]
        if stems
        else []
    )
    if len({r.day for r in said}) < LEAST_FOR_A_CURVE:
        return None
    by_day = sorted((str(r.day), r.dbh_cm) for r in said)
    when = np.array([day for day, _size in by_day], dtype="datetime64[D]").astype(int) / DAYS_PER_YEAR
    size = np.array([each for _day, each in by_day])
    curves = [fit_curve(form, when - when[0], size) for form in _FORMS]
    told = [curve for curve in curves if curve.identifiable]
    if not told:
        return str(_(curves[0].sentence))
    return _told(min(told, key=lambda curve: curve.residual_sum), units)


def _told(curve: Curve, units: display.Units) -> str:
    limit = units.give_or_take(curve.parameters["limit"], curve.errors["limit"], "width")
    said: str = _(
        "A curve that levels off (%(form)s) goes through the measurements and would end at %(limit)s.",
        form=form_words(curve.form),
        limit=limit,
    )
    return said


def form_words(form: Form) -> str:
    """Return what a form of curve is called on pages."""
    return str(_FORM_WORDS.get(form, form))


def facts_of(view: SiteView, tree_id: str, stems: list[StemFacts], units: display.Units) -> dict[str, Any]:
    """Return what the page of a tree says of growth to come: ``ahead`` and ``curve``."""
    return {"ahead": ahead_of(view, tree_id), "curve": curve_words(stems, units)}
