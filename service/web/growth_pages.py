"""The page of growth: groups first, then trees, with what may be called by error alone and what to expect."""

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
from flask import Blueprint, request
from flask_babel import gettext as _

from layers import size_classes
from layers.components import FIRST_MEASURED, MORTALITY, NO_LONGER, PLANTED, REMOVALS, SURVIVORS
from layers.edge_doubt import doubt_of_areas, stems_in_doubt
from layers.growth_of_trees import groups_growth, trees_growth
from layers.growth_rates import least_change_told
from layers.growth_words import GROWING, SAYS_NOTHING, SMALLER, TOO_SMALL, verdicts
from layers.standing import COUNTED
from layers.translating import N_
from layers.tree_forecasts import day_ahead, tree_forecasts
from service.errors import InvalidRequest
from service.view import SiteView
from service.web import current, display, frame, today
from service.web.growth_ends import ends_of_growth
from service.web.listing import listing

bp = Blueprint("growth_pages", __name__)

SEARCHED = ("tag", "scientific_name", "common_name", "name_as_written", "place", "growth_words")
KIND_WORDS = {
    SURVIVORS: N_("trunks that stayed"),
    PLANTED: N_("planted since"),
    FIRST_MEASURED: N_("measured for the first time"),
    MORTALITY: N_("died"),
    REMOVALS: N_("taken out alive"),
    NO_LONGER: N_("no longer measured"),
}
EXACT = ("growth_words", "until")  # the second is the same in all rows: links of the table keep it


@bp.get("/sites/<slug>/growth")
def site_growth(slug: str) -> str:
    """How trunks have grown: the ground, size classes, kinds, parts and areas, then every tree."""
    view = current.site_view(slug)
    asked = request.args.to_dict()
    until = _until(view, asked.get("until", "").strip())
    asked |= {"until": until} if asked.get("until") else {}
    since = asked.get("since", "").strip()
    trees = _trees(view, until)
    called = verdicts(view.growth)
    groups = _groups(view)
    return frame.site_page(
        "growth.html",
        view,
        "growth",
        groups=groups,
        ends=ends_of_growth(view, display.Units(view.terms.units)) if asked.get("ends") == "yes" else None,
        group_reach=_reach(
            [row.lo for each in groups for row in each["rows"]],
            [row.hi for each in groups for row in each["rows"]],
        ),
        tree_reach=_reach(*_ordinary(trees)),
        list=listing(trees, asked, searched=SEARCHED, exact=EXACT, default_sort="tag"),
        called=called,
        verdict_words=[GROWING, TOO_SMALL, SMALLER],
        until=until,
        changes=_changes(view, since) if since else [],
        since=since,
        kinds=[(kind, str(_(words))) for kind, words in KIND_WORDS.items()],
        says_nothing=str(_(SAYS_NOTHING)),
        assumed=today.is_assumed(view),
        least_cm=float(least_change_told(_own_sd(view))) if len(view.growth.stems) else None,
        questioned=int(view.growth.stems["questioned_reading"].notna().sum()),
    )


def _until(view: SiteView, said: str) -> str:
    """The day to look ahead to: five years on, or the one that was asked for.

    Raises
    ------
    InvalidRequest
        If it is not a day, or more than a hundred years away.
    """
    now = dt.date.fromisoformat(view.as_of)
    if not said:
        return day_ahead(view.as_of)
    try:
        day = dt.date.fromisoformat(said)
    except ValueError:
        day = None
    if day is None or not 0 <= (day - now).days <= 36525:
        words = _(
            "%(said)s is not a day in the hundred years to come; write it as YYYY-MM-DD.", said=said[:40]
        )
        raise InvalidRequest([("until", words)])
    return day.isoformat()


def _trees(view: SiteView, until: str) -> pd.DataFrame:
    """The living trees that have growth or something to expect, one row each."""
    growth = trees_growth(view.growth, view.state.stem_state, view.terms)
    ahead = tree_forecasts(view.growth_ahead, until)
    intervals = growth[["tree_id", "growth_lo", "growth_hi"]]
    trees = view.trees.merge(intervals, on="tree_id", how="left").merge(ahead, on="tree_id", how="left")
    known = np.isfinite(trees["growth_cm_per_yr"].astype(float)) | np.isfinite(trees["expected_cm"])
    return trees[known.to_numpy()].reset_index(drop=True).assign(until=until)


def _groups(view: SiteView) -> list[dict[str, Any]]:
    """Groups by what they are of: [{"words", "rows"}], the whole ground first."""
    stems = view.growth.stems
    state = view.state.stem_state.dropna(subset=["stem_id"]).set_index("stem_id")
    mine = state.reindex(stems["stem_id"])
    living = (mine["tree_status"].isin(COUNTED) & mine["status"].isin(COUNTED)).to_numpy()
    trees = view.trees.set_index("tree_id").reindex(mine["tree_id"])
    labels = np.array(size_classes.labels(view.terms), dtype=object)
    classes = labels[size_classes.class_of(stems["mean_dbh_cm"].to_numpy(dtype=float), view.terms.breaks_cm)]
    inside = view.membership.groupby("tree_id")["area_id"].agg(list).reindex(mine["tree_id"])
    unnamed = str(_("an area without a name"))
    names = {i: name or unnamed for i, name in zip(view.areas["area_id"], view.areas["name"], strict=True)}
    areas = [[names.get(i, unnamed) for i in each] if isinstance(each, list) else [] for each in inside]
    several = [
        (_("The whole ground"), [[str(_("all trunks measured twice"))]] * len(stems)),
        (_("By size class"), [[each] for each in classes]),
        (_("By kind"), [[g] if isinstance(g, str) and g else [] for g in trees["genus"]]),
        (_("By part"), [[p] if isinstance(p, str) and p else [] for p in trees["place"]]),
    ]
    found = {str(words): groups_growth(view.growth, living, each, view.terms) for words, each in several}
    counted = mine["tree_id"][living & np.isfinite(stems["growth_cm_per_yr"].to_numpy(dtype=float))]
    doubtful = _doubtful(view, counted, list(names.values()))
    found[str(_("By area"))] = groups_growth(view.growth, living, areas, view.terms, doubtful)
    order = {label: n for n, label in enumerate(labels)}
    found[str(_("By size class"))].sort(key=lambda row: order[row.name])
    return [{"words": words, "rows": rows} for words, rows in found.items() if rows]


def _doubtful(view: SiteView, tree_ids: pd.Series, names: list[str]) -> dict[str, float]:
    """How many of some trees' stems are expected on the other side of the edge of each area, by its name."""
    trees = view.records.trees
    doubt = doubt_of_areas(trees, view.areas, view.terms)
    number = stems_in_doubt(doubt, pd.Index(trees["tree_id"]).get_indexer(tree_ids), len(names))
    out = dict.fromkeys(names, 0.0)
    for name, each in zip(names, number.tolist(), strict=True):
        out[name] += each
    return out


def _changes(view: SiteView, since: str) -> list[dict[str, Any]]:
    """The rows of figures that can say what came and went since a day.

    Raises
    ------
    InvalidRequest
        If that is not a day before the one that is shown.
    """
    return [row for row in view.figures_since(since) if row["components"]]


def _ordinary(trees: pd.DataFrame) -> tuple[list[float], list[float]]:
    """The ends of the intervals of all trees but the most extreme, which a mistaken reading may have made."""
    low, high = trees["growth_lo"].dropna(), trees["growth_hi"].dropna()
    return low[low >= low.quantile(0.02)].tolist(), high[high <= high.quantile(0.98)].tolist()


def _reach(low: list[float], high: list[float]) -> tuple[float, float]:
    """The ends of the scale that all whiskers of a table share: no growth is on it."""
    ends = min([*low, 0.0]), max([*high, 0.0])
    room = 0.03 * (ends[1] - ends[0]) or 1.0
    return ends[0] - room, ends[1] + room


def _own_sd(view: SiteView) -> float:
    """What a reading here has of its own [cm], in the middle of all trunks."""
    own = view.state.stem_state["own_var_cm2"].astype(float)
    return float(np.sqrt(own.median()))
