"""What is to check on a ground: what lists asked, and what is computed of readings and crews."""

from typing import Any

import pandas as pd
from flask_babel import gettext as _

from layers.questioned import ASK_AGAIN
from service.view import SiteView
from service.web import display, import_words
from service.web import question_words as words

COLUMNS = ("fid", "tree_id", "tag", "subject", "subject_id", "what", "detail", "row")


def number_to_check(view: SiteView) -> int:
    """Return how many questions are open."""
    return len(of_lists(view)) + len(view.questioned) + len(view.questioned_crews)


def of_lists(view: SiteView) -> pd.DataFrame:
    """Return the questions of imports and entries that no person has settled.

    A reading that is asked about anyway, or was settled, is not asked about once more.
    """
    asked, settled = view.records.questions, view.records.settlings
    if not len(asked):
        return asked
    last: dict[tuple[str, str], str] = {}
    if len(settled):
        about = zip(settled["subject"], settled["subject_id"], strict=True)
        last = dict(zip(about, settled["answer"], strict=True))
    answered = {about for about, answer in last.items() if answer != ASK_AGAIN}
    elsewhere = answered | {("reading", id) for id in view.questioned["reading_id"]}
    rows = zip(asked["fid"], asked["subject"], asked["subject_id"], strict=True)
    is_open = [
        ("question", str(fid)) not in answered and (subject, id) not in elsewhere for fid, subject, id in rows
    ]
    return asked[is_open]


def asked_of_change(view: SiteView, change_no: int) -> int:
    """Return how many readings of a change are asked about."""
    readings = view.records.readings
    mine = readings.loc[(readings["change_no"] == change_no).to_numpy(dtype=bool), "reading_id"]
    return int(view.questioned["reading_id"].isin(set(mine)).sum())


def all_with_trees(view: SiteView) -> pd.DataFrame:
    """Return every open question with the tree that it is about and its sentence, columns ``COLUMNS``."""
    rows = [*_lists_with_trees(view), *_readings(view), *_crews(view)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)  # a missing tag stays None


def lists_with_trees(view: SiteView) -> pd.DataFrame:
    """Return the open questions of lists with the tree that each is about, where it is about one."""
    return pd.DataFrame(_lists_with_trees(view), columns=list(COLUMNS), dtype=object)


def _lists_with_trees(view: SiteView) -> list[tuple[Any, ...]]:
    stem_tree = dict(zip(view.records.stems["stem_id"], view.records.stems["tree_id"], strict=True))
    readings = view.records.readings
    of = {tree_id: tree_id for tree_id in view.records.trees["tree_id"]} | stem_tree
    of |= {
        reading_id: stem_tree.get(stem_id)
        for reading_id, stem_id in zip(readings["reading_id"], readings["stem_id"], strict=True)
    }
    tags = dict(zip(view.records.trees["tree_id"], view.records.trees["tag"], strict=True))
    found = []
    for row in of_lists(view).itertuples():
        tree_id = of.get(row.subject_id)
        about = (tree_id, tags.get(tree_id), row.subject, row.subject_id)
        said = import_words.question_words(row.what), import_words.row_words(row.detail)
        found.append((row.fid, *about, *said, row.row))
    return found


def _readings(view: SiteView) -> list[tuple[Any, ...]]:
    """Computed questions of readings; they have no number of their own."""
    if not len(view.questioned):
        return []
    readings = view.records.readings.set_index("reading_id", drop=False)
    tags = dict(zip(view.records.trees["tree_id"], view.records.trees["tag"], strict=True))
    names, units = words.Names(view), display.Units(view.terms.units)
    found = []
    for row in view.questioned.itertuples():
        detail = words.sentence(row, readings.loc[row.reading_id], names, units)
        about = (row.tree_id, tags.get(row.tree_id), "reading", row.reading_id)
        found.append((None, *about, str(words.WHATS[row.what]), detail, None))
    return found


def _crews(view: SiteView) -> list[tuple[Any, ...]]:
    return [
        (None, None, None, "crew", row.crew_id, str(_("a whole team")), crew_sentence(view, row), None)
        for row in view.questioned_crews.itertuples()
    ]


def crew_sentence(view: SiteView, crew: Any) -> str:
    """Return what is asked about a crew of which all readings seem to be off in one way."""
    rounds = view.records.rounds
    names = dict(zip(rounds["id"], rounds["name"], strict=True)) if len(rounds) else {}
    said = _(
        "All %(number)s measurements of team %(crew)s in %(round)s seem to be off in one way.",
        number=crew.readings,
        crew=crew.crew,
        round=names.get(crew.round_id) or _("one of the measuring days"),
    )
    return f"{said} {words.crew_question(crew)}"
