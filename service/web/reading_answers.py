"""The answer to a new reading: it fits, or please check. It is said of the reading, never of the tree."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
from flask import flash
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_babel import ngettext

from layers import fitting
from layers.corrections import LIVE
from service.view import SiteView
from service.web import display, tree_facts

MOST_SAID = 12
SLIPS = {
    "inches as centimetres": _l("Were these inches?"),
    "centimetres as inches": _l("Were these centimetres?"),
    "girth as width": _l("Is it the distance round the trunk, and not its width?"),
    "width as girth": _l("Is it the width of the trunk, and not the distance round it?"),
}


def tell(view: SiteView, ids: Sequence[str]) -> None:
    """Say on the next page how new readings fit those before them."""
    questions, fitting_ones, first_ones = [], 0, 0
    for said in _answers(view, set(ids)):
        if isinstance(said, str):
            questions.append(said)
        elif said:
            fitting_ones += 1
        else:
            first_ones += 1
    if fitting_ones:
        flash(
            ngettext(
                "The reading fits the one before it.",
                "%(num)s readings fit those before them.",
                fitting_ones,
            )
        )
    if first_ones:
        flash(
            ngettext(
                "It is the first of this trunk: there is nothing to compare it with yet.",
                "%(num)s readings are the first of their trunk: there is nothing to compare them with yet.",
                first_ones,
            )
        )
    for question in questions[:MOST_SAID]:
        flash(question)
    if len(questions) > MOST_SAID:
        flash(_("Please check %(num)s more readings in the same way.", num=len(questions) - MOST_SAID))


def _answers(view: SiteView, ids: set[str]) -> list[str | bool]:
    """Of each new reading: a question, True where it fits, False where there is nothing to compare."""
    readings = view.records.readings
    new_stems = readings.loc[readings["reading_id"].isin(ids), "stem_id"]
    stems = view.records.stems
    sized = tree_facts.sized_readings(view, stems[stems["stem_id"].isin(new_stems)])
    sized = sized[(sized["state"] == LIVE) & sized["dbh_cm"].notna() & sized["measured_on"].notna()]
    is_new = sized["reading_id"].isin(ids)
    said: list[str | bool] = []
    for stem_id, new in sized[is_new].groupby("stem_id", sort=False):
        earlier = sized[~is_new & (sized["stem_id"] == stem_id)].sort_values("measured_on", kind="stable")
        said += [_answer(view, reading, earlier) for reading in new.itertuples()]
        if len(new) == 2:
            said += _between(view, *new.itertuples())
    return said


def _answer(view: SiteView, reading: Any, earlier: pd.DataFrame) -> str | bool:
    before = earlier[earlier["measured_on"] <= reading.measured_on]
    if not len(before):
        return False
    last = before.iloc[-1]
    days = (pd.Timestamp(reading.measured_on) - pd.Timestamp(last["measured_on"])).days
    found = fitting.fit(reading.dbh_cm, reading.se, float(last["dbh_cm"]), float(last["se"]), days)
    if found.fits:
        return True
    units = display.Units(view.terms.units)
    question = _(
        "Please check %(tree)s: %(said)s. From the last one a width of %(low)s to %(high)s was to be "
        "expected, and this one makes %(now)s. It is kept and counts; measure again, or correct it.",
        tree=_named(view, reading),
        said=tree_facts.as_said(reading, units),
        low=units.shown(found.low_cm, "width"),
        high=units.with_unit(found.high_cm, "width"),
        now=units.with_unit(reading.dbh_cm, "width"),
    )
    return f"{question} {SLIPS[found.slip]}" if found.slip else str(question)


def _between(view: SiteView, first: Any, second: Any) -> list[str | bool]:
    if fitting.alike(first.dbh_cm, first.own_se, second.dbh_cm, second.own_se):
        return []
    return [
        _(
            "Please check %(tree)s: its two readings of one day differ by more than they may be off. "
            "Both are kept; a third one would tell.",
            tree=_named(view, first),
        )
    ]


def _named(view: SiteView, reading: Any) -> str:
    trees = view.records.trees
    tag = trees.loc[trees["tree_id"] == reading.tree_id, "tag"].iloc[0]
    return str(_("tree %(tag)s", tag=tag) if tag else _("a tree without a number"))
