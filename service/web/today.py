"""What a site's first page says: lines to see to, four numbers, facts with their whiskers."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
from flask_babel import gettext as _
from flask_babel import ngettext

from layers import symbology
from layers.standing import COUNTED
from service.view import SiteView
from service.web import display, figure_facts, how_facts, open_questions

DUE_DAYS = 31
MOST_NAMES = 4


@dataclass(frozen=True)
class Line:
    """One thing to see to, with where it is seen to."""

    words: str
    address: str | None = None
    more: str | None = None


@dataclass(frozen=True)
class Number:
    """A large number and what it counts."""

    number: int
    words: str
    more: str | None = None


@dataclass(frozen=True)
class Fact:
    """A figure with its give-or-take and the ends of its whisker, in display units; or why it has none."""

    words: str
    shown: str
    technical: str | None = None
    give_or_take: str | None = None
    why: str | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    top: float | None = None
    interval: str | None = None
    key: str | None = None
    no_error: str | None = None


def open_flags(view: SiteView) -> pd.DataFrame:
    """Return the questions that nobody has answered."""
    return view.flags[view.flags["answered"].isna()]


def lines(view: SiteView, set_aside: int = 0) -> list[Line]:
    """Return what is to be seen to, the most pressing first; ``set_aside`` waits from phones."""
    base = f"/sites/{view.terms.slug}"
    aside = _counted(
        set_aside,
        ngettext(
            "%(count)s entry of a phone waits for you to say what was meant",
            "%(count)s entries of phones wait for you to say what was meant",
            max(1, set_aside),
            **_n(set_aside),
        ),
        f"{base}/set-aside",
    )
    if view.trees.empty:
        closed = _closed_line(view, base)
        return [*(line for line in (closed, aside) if line), *_first_steps(view, base)]
    flags = open_flags(view)
    signs = flags[flags["kind"] == "sign"]
    late = signs[signs["answer_by"].notna() & (signs["answer_by"] < view.as_of)]
    until = (dt.date.fromisoformat(view.as_of) + dt.timedelta(days=DUE_DAYS)).isoformat()
    due = signs[
        signs["answer_by"].notna() & (signs["answer_by"] >= view.as_of) & (signs["answer_by"] <= until)
    ]
    found = [
        _closed_line(view, base),
        aside,
        _signs_line(signs["tree_id"].nunique(), base),
        _counted(
            len(late),
            ngettext(
                "%(count)s answer is late", "%(count)s answers are late", max(1, len(late)), **_n(len(late))
            ),
            f"{base}/flags?kind=sign",
        ),
        _counted(
            len(due),
            ngettext(
                "%(count)s answer is due within a month",
                "%(count)s answers are due within a month",
                max(1, len(due)),
                **_n(len(due)),
            ),
            f"{base}/flags?kind=sign",
        ),
        _check_line(open_questions.number_to_check(view), base),
        _look_line(view, base),
        _days_line(view, base),
    ]
    return [line for line in found if line is not None]


def _first_steps(view: SiteView, base: str) -> list[Line]:
    """What can be done on a ground where no tree is written down."""
    steps = [
        Line(
            _("Bring in a list of trees"),
            f"{base}/data",
            _("a table or a map file that somebody already has"),
        ),
        Line(
            _("Write down the first tree"),
            f"{base}/trees/new",
            _("tap where it stands, or only name the place"),
        ),
    ]
    check = _check_line(open_questions.number_to_check(view), base)
    if check is not None:
        steps.append(check)
    if view.areas.empty:
        ground = Line(
            _("Say what the ground is"),
            f"{base}/ground",
            _("bring a plan or photo of it, draw it, or type its size"),
        )
        return [ground, *steps]
    return steps


def _closed_line(view: SiteView, base: str) -> Line | None:
    """What people are kept out of, by name."""
    if not len(view.closures):
        return None
    names = list(view.closures["name"])
    said = ngettext("%(count)s place is closed", "%(count)s places are closed", len(names), **_n(len(names)))
    more = ", ".join(names[:MOST_NAMES]) + (" …" if len(names) > MOST_NAMES else "")
    return Line(said, f"{base}/ground#h-closed", more)


def _signs_line(trees: int, base: str) -> Line:
    if not trees:
        return Line(
            _("No sign that asks for a look is written down."),
            None,
            _("That says nothing about what nobody saw."),
        )
    return Line(
        ngettext(
            "%(count)s tree is to be looked at", "%(count)s trees are to be looked at", trees, **_n(trees)
        ),
        f"{base}/flags?kind=sign",
        _("by a qualified person; the list says why"),
    )


def _n(count: int) -> dict[str, str]:
    """A number as texts with a plural take it: written in the language of the page."""
    return {"count": display.number(count)}


def _counted(count: int, said: str, address: str) -> Line | None:
    return Line(said, address) if count else None


def _check_line(count: int, base: str) -> Line | None:
    said = ngettext(
        "%(count)s measurement or name to check",
        "%(count)s measurements and names to check",
        max(1, count),
        **_n(count),
    )
    return Line(said, f"{base}/check") if count else None


def _look_line(view: SiteView, base: str) -> Line | None:
    site = view.figures[0]
    if not site["trees"] or not site["look_overdue"]:
        return None
    if not site["looked_at"] and not len(view.records.inspections):
        return Line(
            _("No qualified person is recorded to have looked at any tree here."), f"{base}/flags?kind=gap"
        )
    said = ngettext(
        "%(count)s tree has not been looked at by a qualified person within the interval",
        "%(count)s trees have not been looked at by a qualified person within the interval",
        site["look_overdue"],
        **_n(site["look_overdue"]),
    )
    return Line(said, f"{base}/flags?kind=gap")


def _days_line(view: SiteView, base: str) -> Line | None:
    """The measuring days under way, else the next ones."""
    rounds = view.records.rounds
    if not len(rounds):
        return None
    ahead = rounds[rounds["status"].isin(["planned", "running"])]
    ahead = ahead[ahead["to_on"].fillna(ahead["from_on"]) >= view.as_of]
    if not len(ahead):
        return None
    order = ahead.assign(later=ahead["status"] != "running").sort_values(["later", "from_on", "fid"])
    first = next(order.itertuples())
    if first.status == "running":
        return Line(_("%(name)s: under way", name=first.name), f"{base}/rounds/{first.id}/progress")
    said = _("%(name)s: from %(day)s", name=first.name, day=display.day(first.from_on))
    return Line(said, f"{base}/rounds/{first.id}/day", _("the next measuring days; their day page"))


def four_numbers(view: SiteView) -> list[Number]:
    """Return trees, measured, looked at, and looks that are open."""
    site = view.figures[0]
    trees = site["trees"] or 0
    unmeasured = site["unmeasured_trees"] or 0
    dead = site["dead_trees"] or 0
    standing = (
        ngettext("and %(count)s dead, standing", "and %(count)s dead, standing", dead, **_n(dead))
        if dead
        else None
    )
    return [
        Number(trees, ngettext("tree", "trees", trees), standing),
        Number(trees - unmeasured, _("of these measured")),
        Number(
            _living_looked_at(view),
            _("of these looked at by a qualified person within the interval"),
        ),
        Number(site["to_be_looked_at"] or 0, _("looks open"), _("other work is not kept here yet")),
    ]


def _living_looked_at(view: SiteView) -> int:
    """The living trees that a qualified person looked at within the interval; dead ones are beside."""
    flags = open_flags(view)
    late = set(flags.loc[flags["rule"] == "look", "tree_id"])
    living = view.trees.loc[view.trees["status"].isin(COUNTED), "tree_id"]
    return int((~living.isin(late)).sum())


def facts(view: SiteView, units: display.Units) -> list[Fact]:
    """Return the figures of the whole site, each with its whisker where it has an error."""
    row = view.figures[0]
    reach = figure_facts.reaches(view, row, how_facts.frames_of(view))
    found = [
        _plain(row, "area_ha", "ground", _("Ground"), units, se="area_se_ha"),
        _plain(row, "trees_per_ha", "per_ground", _("Trees"), units),
        _plain(row, "stems_per_ha", "per_ground", _("Trunks"), units),
        _cut_face(row, units),
        _plain(
            row,
            "basal_area_m2_per_ha",
            "cut_face_per_ground",
            _("Cut face on the ground"),
            units,
            se="basal_area_se_m2_per_ha",
            reach=reach["per_ha"],
            technical=_("basal area per acre") if units.system == "us" else _("basal area per hectare"),
        ),
        _plain(
            row,
            "mean_dbh_cm",
            "width",
            _("Mean width of a trunk"),
            units,
            se="mean_dbh_se_cm",
            reach=reach["mean"],
        ),
    ]
    return _one_reason(found)


def _one_reason(found: list[Fact]) -> list[Fact]:
    """Say a reason that several figures share once, under all their names."""
    named: dict[str, list[str]] = {}
    for fact in found:
        if fact.why:
            named.setdefault(fact.why, []).append(fact.words)
    said = [Fact(" · ".join(names), display.NONE, why=why) for why, names in named.items()]
    return [fact for fact in found if not fact.why] + said


def _plain(
    row: Mapping[str, Any],
    key: str,
    kind: str,
    said: str,
    units: display.Units,
    se: str | None = None,
    technical: str | None = None,
    reach: float = display.HALF_WIDTH,
) -> Fact:
    if display.is_missing(row[key]):
        return Fact(said, display.NONE, technical, why=_why(row, key))
    error = row[se] if se else None
    if error is None or display.is_missing(error):
        no_error = _why(row, se) if se else None
        return Fact(said, units.with_unit(row[key], kind), technical, no_error=no_error, key=key)
    half = reach * error
    fact = _with_whisker(said, technical, units, kind, row[key], row[key] - half, row[key] + half)
    return replace(fact, key=key)


def _cut_face(row: Mapping[str, Any], units: display.Units) -> Fact:
    said, technical = _("Cut face of all trunks together"), _("basal area")
    if display.is_missing(row["basal_area_m2"]):
        return Fact(said, display.NONE, technical, why=_why(row, "basal_area_m2"))
    low, high = row["basal_area_lo"], row["basal_area_hi"]
    if display.is_missing(low) or display.is_missing(high):
        return Fact(said, units.with_unit(row["basal_area_m2"], "cut_face"), technical)
    fact = _with_whisker(said, technical, units, "cut_face", row["basal_area_m2"], low, high)
    return replace(fact, key="basal_area_m2")


def _with_whisker(
    said: str, technical: str | None, units: display.Units, kind: str, value: float, low: float, high: float
) -> Fact:
    at, a, b = units.value(value, kind), units.value(low, kind), units.value(high, kind)
    assert at is not None and a is not None and b is not None
    half = max((b - a) / 2, 0.0)
    decimals = display.decimals_for(half)
    unit = units.unit(kind)
    interval = _(
        "19 times in 20 between %(low)s and %(high)s %(unit)s",
        low=display.number(a, decimals),
        high=display.number(b, decimals),
        unit=unit,
    )
    return Fact(
        said,
        f"{display.number(at, decimals)} {unit}",
        technical,
        give_or_take=_("give or take %(half)s", half=display.number(half, decimals)),
        value=at,
        low=a,
        high=b,
        top=max(at, b) * 1.15,
        interval=interval,
    )


def _why(row: Mapping[str, Any], key: str) -> str:
    return str((row["why"] or {}).get(key) or _("cannot be said"))


def is_assumed(view: SiteView) -> bool:
    """Return whether any error of the figures rests on an assumption; whiskers are dashed then."""
    return bool(view.state.stem_state["assumed"].any())


def sizes(view: SiteView) -> list[dict[str, Any]]:
    """Return the size classes of the site with their labels."""
    words = {key: str(_(text)) for key, text in symbology.CLASS_WORDS.items()}
    rows = figure_facts.classes_with_reach(view, view.figures[0]["size_classes"] or [])
    return [
        {**row, "label": symbology.size_label(row["from_cm"], row["to_cm"], view.terms, words)}
        for row in rows
    ]


def kinds_reach(view: SiteView) -> float:
    """Return how many standard errors the give or take of the cut face of a kind reaches.

    That of all kinds together: what is known of their parts is not kept.
    """
    return figure_facts.reaches(view, view.figures[0], how_facts.frames_of(view))["cut_face"]


def kinds(view: SiteView) -> list[dict[str, Any]]:
    """Return the species of the site with the plain name that its trees carry most often."""
    named = view.trees.dropna(subset=["scientific_name", "common_name"])
    plain = named.groupby("scientific_name")["common_name"].agg(lambda names: names.mode().iloc[0])
    return [
        {**row, "common_name": plain.get(row["scientific_name"])} for row in view.figures[0]["species"] or []
    ]
