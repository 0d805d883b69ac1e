"""The answer to a new reading: it fits, or please check. It is said of the reading, never of the tree."""

from collections.abc import Sequence
from dataclasses import replace

from flask import flash
from flask_babel import gettext as _
from flask_babel import ngettext

from layers.questioned import HIGH_UP
from service.entry import Answer
from service.view import SiteView
from service.web import display
from service.web import question_words as words

MOST_SAID = 12


def tell(view: SiteView, ids: Sequence[str]) -> None:
    """Say on the next page how new readings fit what was to be expected of them."""
    asked = questions(view, ids)
    earlier = view.expected.earlier_of()
    others = [earlier[id] for id in ids if id not in asked and id in earlier]
    fitting, first = sum(number > 0 for number in others), sum(number == 0 for number in others)
    if fitting:
        flash(
            ngettext(
                "The measurement fits those before it.",
                "%(num)s measurements fit those before them.",
                fitting,
            )
        )
    if first:
        flash(
            ngettext(
                "It is the first of this trunk: there is nothing to compare it with yet.",
                "%(num)s readings are the first of their trunk: there is nothing to compare them with yet.",
                first,
            )
        )
    high_up = set(view.questioned.loc[view.questioned["what"] == HIGH_UP, "reading_id"])
    for id, said in list(asked.items())[:MOST_SAID]:
        if id in high_up:
            flash(_("%(question)s It is kept; measure again, or correct it.", question=said))
        else:
            flash(_("%(question)s It is kept and counts; measure again, or correct it.", question=said))
    if len(asked) > MOST_SAID:
        flash(_("Please check %(num)s more readings in the same way.", num=len(asked) - MOST_SAID))


def questions(view: SiteView, ids: Sequence[str]) -> dict[str, str]:
    """Return what is asked about some readings, by id; those that fit are not in it."""
    rows = view.questioned[view.questioned["reading_id"].isin(set(ids))]
    readings = view.records.readings.set_index("reading_id", drop=False)
    names, units = words.Names(view), display.Units(view.terms.units)
    out: dict[str, str] = {}
    for row in rows.itertuples():
        said = words.sentence(row, readings.loc[row.reading_id], names, units)
        known = out.get(row.reading_id)
        whole = _("Please check %(tree)s: %(said)s", tree=names.tree(row.tree_id), said=said)
        out[row.reading_id] = f"{known} {said}" if known else str(whole)
    return out


def with_questions(view: SiteView, answers: Sequence[Answer]) -> list[Answer]:
    """Return answers to a batch where those are questioned whose reading does not fit what came before."""
    asked = questions(view, [answer.id for answer in answers if answer.outcome == "taken"])
    return [
        replace(answer, outcome="questioned", why=asked[answer.id])
        if answer.outcome == "taken" and answer.id in asked
        else answer
        for answer in answers
    ]
