"""The first page and the pages of a site: today, figures, to be looked at, the map's data."""

from typing import Any

import orjson
import pandas as pd
from flask import Blueprint, Response, render_template, request
from flask_babel import gettext as _

from layers.cautions import LONG
from service.outlets.map_file import site_map_document
from service.undo import last_by_hand
from service.view import SiteView, sites
from service.web import current, display, figure_facts, frame, today
from service.web.doubts import doubts
from service.web.listing import PAGE_ROWS, Listing, listing
from service.web.set_aside_pages import number_waiting

bp = Blueprint("site_pages", __name__)

FIGURE_NUMBERS = (
    *("area_ha", "trees", "stems", "unmeasured_trees", "dead_trees", "stems_per_ha", "basal_area_m2"),
    *("basal_area_m2_per_ha", "mean_dbh_cm", "to_be_looked_at", "looked_at", "look_overdue"),
)
FLAG_TEXTS = ("tag", "place", "words", "evidence", "rule", "who_may_answer")


@bp.get("/")
def home() -> str:
    """The three doors, and the grounds that are here."""
    known = sites(current.store(), current.actor())
    return render_template(
        "home.html",
        samples=[site for site in known if site.invented],
        grounds=[site for site in known if not site.invented],
    )


@bp.get("/cautions")
def cautions() -> str:
    """The long caution."""
    return render_template("cautions.html", points=LONG)


@bp.get("/sites/<slug>")
def site_today(slug: str) -> str:
    """A site: what is to be seen to, four numbers, map and figures, sizes, kinds."""
    view = current.site_view(slug)
    units = display.Units(view.terms.units)
    return frame.site_page(
        "site_today.html",
        view,
        "today",
        doubts=doubts(view),
        last=last_by_hand(current.store(), slug, current.actor()),
        lines=today.lines(view, number_waiting(slug)),
        four=today.four_numbers(view),
        facts=today.facts(view, units),
        sizes=today.sizes(view),
        kinds=today.kinds(view),
        kinds_reach=today.kinds_reach(view),
        assumed=today.is_assumed(view),
        whisker_note=whisker_note(view),
        map=frame.map_of(view),
    )


def whisker_note(view: SiteView) -> str:
    """What the whiskers mean on this site."""
    said = str(_("A line shows where the true figure lies 19 times in 20."))
    if today.is_assumed(view):
        return f"{said} {_('It is dashed where the error is assumed, and not yet found out on this ground.')}"
    return said


@bp.get("/sites/<slug>/figures")
def site_figures(slug: str) -> str:
    """The figures of the site, its places and its areas, at a day."""
    view = current.site_view(slug)
    pages = _figure_pages(view.figures)
    shown = view.figures if pages is None else [view.figures[n] for n in (0, *pages.rows["order"])]
    rows = figure_facts.with_facts(view, shown)
    return frame.site_page(
        "site_figures.html",
        view,
        "figures",
        rows=rows,
        groups=_groups(rows) if pages is None or pages.sort == "order" else [("", rows)],
        list=pages,
        whisker_note=whisker_note(view),
        top=_top(rows),
        asked_day=current.asked_day(),
    )


def _figure_pages(figures: list[dict[str, Any]]) -> Listing | None:
    """Which rows beside the whole ground are shown, where there are too many for one page."""
    if len(figures) <= PAGE_ROWS + 1:
        return None
    keys = ["name", "kind", *FIGURE_NUMBERS]
    table = pd.DataFrame(
        {
            key: pd.Series(
                [row[key] for row in figures[1:]], dtype=float if key in FIGURE_NUMBERS else object
            )
            for key in keys
        }
    )
    table["order"] = range(1, len(figures))
    return listing(table, request.args.to_dict(), searched=("name", "kind"), default_sort="order")


def _groups(rows: list[dict[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    """The whole ground, then places, then areas, each with its heading: one name may stand for both."""
    places = [row for row in rows[1:] if row["kind"] == "place" and row["layer"] == "places"]
    areas = [row for row in rows[1:] if row not in places]
    parts = [(_("By place, as the trees are put in it"), places), (_("By area, as it is drawn"), areas)]
    return [("", rows[:1]), *((heading, group) for heading, group in parts if group)]


def _top(rows: list[dict[str, Any]]) -> float | None:
    """The right end of the scale that all whiskers of the table share: the largest cut face per hectare."""
    known = [row["per_ha_high"] for row in rows if not display.is_missing(row["per_ha_high"])]
    return max(known) * 1.05 if known else None


@bp.get("/sites/<slug>/flags")
def site_flags(slug: str) -> str:
    """The list to be looked at, in its order, a page at a time."""
    view = current.site_view(slug)
    asked = {"kind": "sign", **request.args.to_dict()}
    if asked["kind"] == "all":
        asked["kind"] = ""
    flags = today.open_flags(view)
    counts = flags["kind"].value_counts()
    return frame.site_page(
        "flags.html",
        view,
        "flags",
        list=listing(flags, asked, searched=FLAG_TEXTS, exact=("kind", "tree_id"), default_sort="order"),
        kind=asked["kind"],
        counts={kind: int(counts.get(kind, 0)) for kind in ("sign", "circumstance", "gap")},
        site=view.figures[0],
        q=request.args.get("q", ""),
        closed=view.closed_trees,
    )


@bp.get("/sites/<slug>/map.json")
def site_map(slug: str) -> Response:
    """The document of the site's map."""
    view = current.site_view(slug)
    tag = frame.etag(view, "map", current.settings().tile_address)
    held = frame.unchanged(tag)
    if held is not None:
        return held
    settings = current.settings()
    basemap = None
    if settings.tile_address:
        basemap = {
            "url": settings.tile_address,
            "attribution": settings.tile_attribution,
            "attribution_url": "",
        }
    document = site_map_document(
        view,
        messages=frame.map_messages(),
        lang=frame.written(),
        voice=display.Units(view.terms.units).voice(),
        tree_url=f"/sites/{slug}/trees/{{tree_id}}{frame.day_query()}",
        basemap=basemap,
        plan_url=f"/sites/{slug}/plans/{{id}}/north-up.png?v={{version}}",
    )
    return frame.kept_answer(orjson.dumps(document), "application/json", tag)
