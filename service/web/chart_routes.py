"""Charts as pictures with stable addresses, drawn once per state of the site."""

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock

import pandas as pd
from flask import Blueprint, Response
from flask_babel import gettext as _

from layers.chart_words import CHART_WORDS
from layers.charts import size_class_chart, species_chart, tree_chart
from layers.tree_forecasts import day_ahead, paths_of
from service.errors import NotFound
from service.view import SiteView
from service.web import current, display, frame, tree_facts

bp = Blueprint("chart_routes", __name__)

KEPT_CHARTS = 400
NARROW = "-narrow"
PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'"

_kept: OrderedDict[str, str] = OrderedDict()
_lock = Lock()  # one drawing at a time: the drawing library keeps its settings for the whole process


def _words() -> dict[str, str]:
    return {key: str(_(text)) for key, text in CHART_WORDS.items()}


def _sizes(view: SiteView, narrow: bool) -> str:
    return size_class_chart(view.figures[0], view.terms, _words(), narrow)


def _kinds(view: SiteView, narrow: bool) -> str:
    return species_chart(view.figures[0], view.terms, _words(), narrow)


_OF_SITE: dict[str, Callable[[SiteView, bool], str]] = {"size-classes": _sizes, "kinds": _kinds}


@bp.get("/sites/<slug>/charts/<name>.svg")
def site_chart(slug: str, name: str) -> Response:
    """A chart of the whole site; with ``-narrow`` for a phone.

    Raises
    ------
    NotFound
        If there is no such chart.
    """
    view = current.site_view(slug)
    plain = name.removesuffix(NARROW)
    if plain not in _OF_SITE:
        raise NotFound(_("chart"), name)
    return picture(view, name, lambda: _OF_SITE[plain](view, name != plain))


@bp.get("/sites/<slug>/trees/<tree_id>/<any(chart, 'chart-narrow'):name>.svg")
def tree_picture(slug: str, tree_id: str, name: str) -> Response:
    """One tree over the years."""
    view = current.site_view(slug)
    tree_facts.tree_row(view, tree_id)
    return picture(
        view,
        f"{tree_id} {name}",
        lambda: _tree(view, tree_id, name != "chart"),
    )


def _tree(view: SiteView, tree_id: str, narrow: bool) -> str:
    readings = _readings(view, tree_id)
    days = sorted(readings["measured_on"].dropna())
    stems = view.growth_ahead.stems
    mine = stems.loc[stems["tree_id"] == tree_id, "stem_id"].tolist()
    first = days[0] if days else view.as_of
    paths = paths_of(view.growth_ahead, mine, first, day_ahead(view.as_of))
    return tree_chart(readings, view.terms, _words(), narrow, paths)


def _readings(view: SiteView, tree_id: str) -> pd.DataFrame:
    """The live readings of a tree as the chart wants them."""
    rows = [
        {
            "measured_on": reading.day,
            "stem_number": stem.number,
            "as_measured_cm": reading.as_measured_cm,
            "height_m": reading.height_m,
            "dbh_cm": reading.dbh_cm,
            "dbh_se_cm": reading.dbh_se_cm,
            "reach": reading.reach,
            "assumed": reading.assumed,
        }
        for stem in tree_facts.stems_of(view, tree_id, display.Units(view.terms.units))
        for reading in stem.readings
        if reading.state == "live"
    ]
    names = [
        "measured_on",
        "stem_number",
        "as_measured_cm",
        "height_m",
        "dbh_cm",
        "dbh_se_cm",
        "reach",
        "assumed",
    ]
    return pd.DataFrame(rows, columns=names)


def picture(view: SiteView, name: str, draw: Callable[[], str]) -> Response:
    """Return a chart as an answer, drawn once per state of the site."""
    tag = frame.etag(view, "chart", name)
    held = frame.unchanged(tag)
    if held is not None:
        return held
    with _lock:
        if tag not in _kept:
            _kept[tag] = draw()
        _kept.move_to_end(tag)
        while len(_kept) > KEPT_CHARTS:
            _kept.popitem(last=False)
        drawn = _kept[tag]
    response = frame.kept_answer(drawn, "image/svg+xml", tag)
    response.headers["Content-Security-Policy"] = PICTURE_POLICY
    return response
