"""The map of a site: its JSON document, the addresses of its browser files, and the map as one file."""

from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import pandas as pd

from layers.error_model import Z95
from layers.everyday_names import EVERYDAY
from layers.intervals import is_estimated, quantile_of
from layers.map_document import areas_with_figures, map_document
from layers.map_words import MAP_WORDS
from layers.maps import SCRIPTS, STYLES, MapAssets, self_contained
from layers.telling import Voice
from service.errors import StoreUnavailable
from service.outlets.warning_rows import closures_with_trees, hazards_asking
from service.plan_images import bounds, from_row
from service.view import SiteView

STATIC = "/static/"


def map_assets() -> MapAssets:
    """Return where served pages find the browser files of a map."""
    return MapAssets(css=tuple(STATIC + name for name in STYLES), js=tuple(STATIC + name for name in SCRIPTS))


def site_map_document(
    view: SiteView,
    *,
    messages: Mapping[str, str] = MAP_WORDS,
    lang: str = "en-GB",
    tree_url: str | None = None,
    basemap: Mapping[str, str] | None = None,
    plan_url: str | None = None,
    voice: Voice | None = None,
) -> dict[str, Any]:
    """Return the document of a site's map (see ``layers.map_document``).

    ``plan_url`` is where the picture of a placed plan is found, with ``{id}`` and ``{version}`` in it.
    """
    return map_document(
        _named(_widened_trees(view), voice),
        areas_with_figures(view.areas, _widened_figures(view)),
        view.records.targets,
        view.records.places,
        view.flags,
        view.terms,
        view.as_of,
        messages=messages,
        lang=lang,
        tree_url=tree_url,
        basemap=basemap,
        plan_image=_plan_image(view, plan_url),
        voice=voice,
        hazards=hazards_asking(view),
        closures=closures_with_trees(view),
    )


def _named(trees: pd.DataFrame, voice: Voice | None) -> pd.DataFrame:
    """The trees with the everyday names of their kinds in the words of the page."""
    if voice is None:
        return trees
    said = {name: voice.translate(name) for name in EVERYDAY}
    return trees.assign(common_name=[said.get(name, name) for name in trees["common_name"]])


def _widened_trees(view: SiteView) -> pd.DataFrame:
    """The trees with errors of which ``Z95`` reach the ends of the interval: a map widens all alike."""
    if not is_estimated(view.terms.model):
        return view.trees
    reach = view.trees["tree_id"].map(view.reaches).astype(float)
    return view.trees.assign(dbh_se_cm=view.trees["dbh_se_cm"] * reach / Z95)


def _widened_figures(view: SiteView) -> list[dict[str, Any]]:
    """The figures with errors of which ``Z95`` reach the ends of the interval."""
    if not is_estimated(view.terms.model):
        return view.figures
    key = "basal_area_se_m2_per_ha"
    return [
        row
        if row[key] is None
        else {**row, key: row[key] * quantile_of(row["error_by_cause"], view.terms.model) / Z95}
        for row in view.figures
    ]


def _plan_image(view: SiteView, plan_url: str | None) -> dict[str, Any] | None:
    """The plan image that was placed last, and where it lies."""
    if plan_url is None:
        return None
    for row in reversed(view.records.plan_images.to_dict("records")):
        image = from_row(row)
        box = bounds(image)
        if box is not None and image.placement is not None and image.placement.frame == view.terms.frame:
            return {"url": plan_url.format(id=image.id, version=image.version), "bounds": box}
    return None


def self_contained_map(
    view: SiteView,
    *,
    messages: Mapping[str, str] = MAP_WORDS,
    lang: str = "en-GB",
    voice: Voice | None = None,
) -> str:
    """Return the map as one HTML file that opens from a disk without a network.

    Raises
    ------
    StoreUnavailable
        If the browser files are not beside the program.
    """
    texts = {name: _text(name) for name in (*STYLES, *SCRIPTS)}
    return self_contained(site_map_document(view, messages=messages, lang=lang, voice=voice), texts)


def _text(name: str) -> str:
    path = files("service.web").joinpath("static", *name.split("/"))
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise StoreUnavailable(
            f"The browser file {name} is not there. Install the program again, or run "
            "`python -m service.assets.build` in its folder."
        ) from error
