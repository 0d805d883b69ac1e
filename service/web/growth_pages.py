"""The page of growth: groups first, then trees, with what may be called by error alone and what to expect."""

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
from flask import Blueprint, request
from flask_babel import gettext as _

from layers import size_classes
from layers.growth_of_trees import GrowingGroup, groups_growth, trees_growth
from layers.growth_rates import least_change_told
from layers.growth_words import GROWING, SAYS_NOTHING, SMALLER, TOO_SMALL, verdicts
from layers.standing import COUNTED
from layers.tree_forecasts import day_ahead, tree_forecasts
from service.errors import InvalidRequest
from service.view import SiteView
from service.web import current, frame, today
from service.web.listing import listing

bp = Blueprint("growth_pages", __name__)

SEARCHED = ("tag", "scientific_name", "common_name", "name_as_written", "place", "growth_words")
EXACT = ("growth_words", "until")  # the second is the same in all rows: links of the table keep it


@bp.get("/sites/<slug>/growth")
def site_growth(slug: str) -> str:
    """How trunks have grown: the ground, size classes, kinds, parts and areas, then every tree."""
    view = current.site_view(slug)
    asked = {"sort": "-growth_cm_per_yr", **request.args.to_dict()}
    until = _until(view, asked.get("until", "").strip())
    asked |= {"until": until} if asked.get("until") else {}
    trees = _trees(view, until)
    called = verdicts(view.growth)
    groups = _groups(view)
    return frame.site_page(
        "growth.html",
        view,
        "growth",
        groups=groups,
        reach=_reach(trees, groups),
        list=listing(trees, asked, searched=SEARCHED, exact=EXACT, default_sort="tag"),
        called=called,
        verdict_words=[GROWING, TOO_SMALL, SMALLER],
        until=until,
        year_ago=(dt.date.fromisoformat(view.as_of) - dt.timedelta(days=365)).isoformat(),
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
    names = dict(zip(view.areas["area_id"], view.areas["name"], strict=True))
    areas = [
        [str(names.get(i) or _("an area without a name")) for i in each] if isinstance(each, list) else []
        for each in inside
    ]
    several = [
        (_("The whole ground"), [[str(_("all trunks measured twice"))]] * len(stems)),
        (_("By size class"), [[each] for each in classes]),
        (_("By kind"), [[g] if isinstance(g, str) and g else [] for g in trees["genus"]]),
        (_("By part"), [[p] if isinstance(p, str) and p else [] for p in trees["place"]]),
        (_("By area"), areas),
    ]
    found = {str(words): groups_growth(view.growth, living, each, view.terms) for words, each in several}
    order = {label: n for n, label in enumerate(labels)}
    found[str(_("By size class"))].sort(key=lambda row: order[row.name])
    return [{"words": words, "rows": rows} for words, rows in found.items() if rows]


def _reach(trees: pd.DataFrame, groups: list[dict[str, Any]]) -> tuple[float, float]:
    """The ends of the scale that all whiskers share: no growth is on it."""
    rows: list[GrowingGroup] = [row for each in groups for row in each["rows"]]
    low = [row.lo for row in rows] + trees["growth_lo"].dropna().tolist()
    high = [row.hi for row in rows] + trees["growth_hi"].dropna().tolist()
    ends = min([*low, 0.0]), max([*high, 0.0])
    room = 0.03 * (ends[1] - ends[0]) or 1.0
    return ends[0] - room, ends[1] + room


def _own_sd(view: SiteView) -> float:
    """What a reading here has of its own [cm], in the middle of all trunks."""
    own = view.state.stem_state["own_var_cm2"].astype(float)
    return float(np.sqrt(own.median()))
