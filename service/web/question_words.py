"""What is asked about a reading, in words; and what it would be if the likeliest explanation holds."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers.hands import MEASURED_LATER, MEASURED_TOO_LATE, NOT_ENTERED, OF_OTHERS, OTHER_PART
from layers.questioned import AHEAD, FORK, GONE, HIGH_UP, LIVING_MEMORY, LONG_AGO, PLANTED, UNLIKE
from layers.reading_check import Suspected, Verdict
from service.view import SiteView
from service.web import display, tree_facts

OF_UNITS = {
    "inches": ("in", _l("Were these inches?")),
    "centimetres": ("cm", _l("Were these centimetres?")),
    "metres": ("m", _l("Were these metres?")),
    "feet": ("ft", _l("Were these feet?")),
}
OF_DIGITS = {
    "ten times too big": _l("Is there a digit too many, or is the decimal point missing?"),
    "ten times too small": _l("Is a digit missing, or the decimal point in the wrong place?"),
}
OF_GIRTH = {
    "girth as width": ("girth", _l("Is it the distance round the trunk, and not its width?")),
    "width as girth": ("diameter", _l("Is it the width of the trunk, and not the distance round it?")),
}
OTHERS = {
    "earlier": _l("Or is the one before it the odd one?"),
    "shrinkage": _l("Did the trunk lose bark or wood?"),
    "slip": "",
}
KINDS = {
    "unit": _l("another unit"),
    "girth or width": _l("round the trunk and across mixed up"),
    "digits swapped": _l("two digits swapped"),
    "another stem": _l("another trunk of the tree"),
    "neighbour": _l("the tree beside it"),
    "earlier": _l("the measurement before it is the odd one"),
    "another height": _l("measured at another height"),
    "shrinkage": _l("the trunk became smaller"),
    "slip": _l("a slip"),
}
WHATS = {
    UNLIKE: _l("unlike before"),
    FORK: _l("two corrections"),
    PLANTED: _l("before planting"),
    LONG_AGO: _l("long ago"),
    GONE: _l("after it was taken out"),
    AHEAD: _l("day ahead"),
    MEASURED_LATER: _l("hand measured later"),
    MEASURED_TOO_LATE: _l("hand measured too late"),
    NOT_ENTERED: _l("hand not entered"),
    OF_OTHERS: _l("hand of another team"),
    OTHER_PART: _l("another part of the hand"),
    HIGH_UP: _l("high up the trunk"),
}


@dataclass(frozen=True)
class Otherwise:
    """What a reading would be: its number, unit, quantity and, where that is otherwise, its height [m].

    Of a crew the factor of its numbers.
    """

    value: float | None
    unit: str
    quantity: str
    factor: float | None = None
    height_m: float | None = None


class Names:
    """What trees and trunks are called, by the ids of trunks."""

    def __init__(self, view: SiteView) -> None:
        stems = view.records.stems
        self._tree = dict(zip(stems["stem_id"], stems["tree_id"], strict=True))
        self._number = dict(zip(stems["stem_id"], stems["number"], strict=True))
        trees = view.records.trees
        self._tag = dict(zip(trees["tree_id"], trees["tag"], strict=True))

    def tree_of(self, stem_id: str) -> str | None:
        """The id of the tree of a trunk."""
        return self._tree.get(stem_id)

    def tree(self, tree_id: Any) -> str:
        """A tree by its number."""
        tag = self._tag.get(tree_id)
        return str(_("tree %(tag)s", tag=tag) if tag else _("a tree without a number"))

    def number(self, stem_id: str) -> int:
        """The number of a trunk of its tree."""
        return int(self._number.get(stem_id, 1))


def sentence(row: Any, reading: Any, names: Names, units: display.Units) -> str:
    """Return what is asked about a reading: a row of ``SiteView.questioned`` and the reading itself."""
    said = tree_facts.as_said(reading, units)
    if row.what == UNLIKE:
        return f"{said}. {expected(row.verdict, reading)} {explained(row.verdict, names, units)}".strip()
    return f"{said}. {_WHY[row.what](row.detail)}"


_WHY: dict[str, Callable[[Any], Any]] = {
    FORK: lambda others: _(
        "It was corrected more than once; the correction that was made last counts. "
        "Beside it stands: %(others)s.",
        others=others,
    ),
    PLANTED: lambda day: _("It is dated before the tree was planted, %(day)s.", day=display.day(day)),
    LONG_AGO: lambda _d: _(
        "Its day lies before %(year)s, and nothing says that the tree was there by then.", year=LIVING_MEMORY
    ),
    GONE: lambda day: _("It is dated after the tree was taken out, %(day)s.", day=display.day(day)),
    AHEAD: lambda day: _("Its day had not come yet when it came in, %(day)s.", day=display.day(day)),
    MEASURED_LATER: lambda day: _(
        "The hand it was counted with was measured later, %(day)s.", day=display.day(day)
    ),
    MEASURED_TOO_LATE: lambda day: _(
        "The team measured its hand only later, %(day)s; the usual hand of grown-ups counts for it.",
        day=display.day(day),
    ),
    NOT_ENTERED: lambda _d: _(
        "The hand it was counted with has not been entered; until then the usual hand of grown-ups counts."
    ),
    OF_OTHERS: lambda team: _("It was counted with the hand of another team, %(team)s.", team=team),
    OTHER_PART: lambda _d: _("The hand it names is measured in something else; the usual one counts."),
    HIGH_UP: lambda _d: _(
        "That is higher up the trunk than sizes are brought down from: no figure can use it. "
        "Is the height right?"
    ),
}


def expected(verdict: Verdict, reading: Any) -> str:
    """Return what was to be expected of a reading, in the unit it was said in."""
    low, high = (_number(end, reading.value) for end in (verdict.low, verdict.high))
    if verdict.scale == "log":
        said = _(
            "Trees of this kind have %(low)s to %(high)s %(unit)s.", low=low, high=high, unit=reading.unit
        )
    else:
        said = _("%(low)s to %(high)s %(unit)s was to be expected.", low=low, high=high, unit=reading.unit)
    return str(said)


def _number(value: float, beside: float) -> str:
    return display.number(value, 2 if beside < 3 else 1 if beside < 30 else 0)


def explained(verdict: Verdict, names: Names, units: display.Units) -> str:
    """Return the likeliest explanation as a question; empty where nothing explains it."""
    return question(verdict.explanations[0], names, units) if verdict.explanations else ""


def question(one: Suspected, names: Names, units: display.Units) -> str:
    """Return an explanation as a question to those who measured."""
    if one.kind == "unit":
        return str(OF_DIGITS.get(one.about) or OF_UNITS[one.about.split(" ")[0]][1])
    if one.kind == "girth or width":
        return str(OF_GIRTH[one.about][1])
    if one.kind == "neighbour":
        tree = names.tree(names.tree_of(one.about))
        return str(_("Is it %(tree)s, which stands close by?", tree=tree))
    if one.kind == "another stem":
        return str(_("Is it trunk %(number)s of the tree?", number=names.number(one.about)))
    if one.kind == "another height":
        return str(_("Was it measured at %(height)s?", height=units.height(float(one.about))))
    if one.kind == "digits swapped":
        return str(_("Were two digits swapped: %(meant)s?", meant=f"{one.meant or 0:.10g}"))
    return str(OTHERS[one.kind])


def otherwise(one: Suspected | None, reading: Any) -> Otherwise:
    """Return what a reading would be by an explanation; as it was said where that does not follow."""
    value, unit, quantity = float(reading.value), str(reading.unit), str(reading.quantity)
    if one is None:
        return Otherwise(value, unit, quantity)
    if one.kind == "unit" and one.about in OF_DIGITS:
        return Otherwise(one.meant, unit, quantity)
    if one.kind == "unit":
        return Otherwise(value, OF_UNITS[one.about.split(" ")[0]][0], quantity)
    if one.kind == "girth or width":
        return Otherwise(value, unit, OF_GIRTH[one.about][0])
    if one.kind == "digits swapped" and display.is_missing(reading.value_2):
        return Otherwise(one.meant, unit, quantity)
    if one.kind == "another height":
        return Otherwise(value, unit, quantity, height_m=float(one.about))
    return Otherwise(value, unit, quantity)


def crew_otherwise(crew: Any) -> Otherwise:
    """Return what all readings of a questioned crew would be: another unit or quantity, or a factor."""
    if crew.about in OF_DIGITS:
        return Otherwise(None, crew.unit, crew.quantity, 1.0 / crew.factor)
    if crew.kind == "unit":
        return Otherwise(None, OF_UNITS[crew.about.split(" ")[0]][0], crew.quantity)
    return Otherwise(None, crew.unit, OF_GIRTH[crew.about][0])


def crew_question(crew: Any) -> str:
    """Return what is asked about a crew."""
    said = OF_DIGITS.get(crew.about) or (
        OF_GIRTH[crew.about][1] if crew.about in OF_GIRTH else OF_UNITS[crew.about.split(" ")[0]][1]
    )
    return str(said)
