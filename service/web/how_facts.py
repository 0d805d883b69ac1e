"""What the page "how do you know?" says of a number: found by its name, in the words of the page."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from markupsafe import Markup

from layers import explained_figures, explained_growth, explaining, size_classes
from layers.chart_causes import CAUSE_WORDS, CAUSES_WORDS, better_words, causes_bar, largest_first
from layers.errors import NothingToCompute
from layers.explaining_words import BETTER
from layers.explanations import Explanation, Part, one_after_the_other
from layers.intervals import is_estimated
from service.errors import InvalidRequest, NotFound
from service.view import SiteView
from service.web import display, tree_facts
from service.web import plain_words as plain

MOST_ROWS = 200  # of a page; the JSON has all

# What a number is, and the display unit of it; none for plain numbers with so many decimals.
WHAT: dict[str, tuple[Any, str | int]] = {
    "dbh_cm": (_l("Width of the trunk at breast height"), "width"),
    "growth_cm_per_yr": (_l("Growth of the width of the trunk"), "growth"),
    "increment": (_l("Mean growth of the width of a trunk between two days"), "growth"),
    "trees": (_l("Living trees"), 0),
    "stems": (_l("Trunks of living trees"), 0),
    "measured_stems": (_l("Measured trunks"), 0),
    "partly_measured_trees": (_l("Trees with some trunks measured"), 0),
    "unmeasured_trees": (_l("Trees not measured"), 0),
    "undated_sizes": (_l("Sizes without a day"), 0),
    "dead_trees": (_l("Dead trees, standing"), 0),
    "in_doubt_trees": (_l("Trees that somebody thought dead"), 0),
    "trees_per_ha": (_l("Trees on the ground"), "per_ground"),
    "stems_per_ha": (_l("Trunks on the ground"), "per_ground"),
    "basal_area_m2": (_l("Cut face of all trunks together"), "cut_face"),
    "basal_area_m2_per_ha": (_l("Cut face on the ground"), "cut_face_per_ground"),
    "mean_dbh_cm": (_l("Mean width of a trunk"), "width"),
    "qmd_cm": (_l("Width of the trunk with the mean cut face"), "width"),
    "sdi_per_ha": (_l("Density of the stand, trunk by trunk"), "per_ground"),
    "sdi_qmd_per_ha": (_l("Density of the stand, by the mean trunk"), "per_ground"),
    "area_ha": (_l("Size of the ground"), "ground"),
    "shannon": (_l("How mixed the kinds are, by Shannon"), 2),
    "simpson": (_l("How mixed the kinds are, by Simpson"), 2),
    "clark_evans_r": (_l("How evenly the trees are spread"), 2),
    "size_class": (_l("Trunks of one size class"), 0),
    "size_class_basal_area": (_l("Cut face of one size class"), "cut_face"),
}


@dataclass(frozen=True)
class Cell:
    """A cell of a table: its text, the full number behind it, where it leads."""

    text: str
    value: float | None = None
    to: str | None = None


@dataclass(frozen=True)
class Table:
    """What goes into a number, the first rows of it; ``rows_in_all`` says how many there are."""

    heads: list[str]
    rows: list[list[Cell]]
    rows_in_all: int


@dataclass(frozen=True)
class ErrorPart:
    """One part of the give or take: in words, alone, its share, where it is from."""

    words: str
    alone: Cell
    variance: float
    share: float
    source: str
    measured: bool


@dataclass(frozen=True)
class Told:
    """An explanation in the words of a page."""

    explanation: Explanation
    what: str
    about: str
    shown: str
    table: Table | None
    parts: list[ErrorPart]
    bar: Markup
    better: str


def found(view: SiteView, of: str) -> tuple[Explanation, list[Explanation]]:
    """Return the explanation of a number, and those of the trunks that the size of a tree rests on.

    Parameters
    ----------
    of : str
        ``tree:<id>``, ``tree:<id>:basal_area_m2`` or ``:growth_cm_per_yr``, ``stem:<id>``,
        ``figure:<id of an area or place, or "site">:<key>``.

    Raises
    ------
    InvalidRequest
        If it is none of these.
    NotFound
        If there is no such tree, trunk, area or figure.
    """
    kind, _sep, rest = of.partition(":")
    if kind == "tree" and rest:
        tree_id, _sep, what = rest.partition(":")
        row = tree_facts.tree_row(view, tree_id)
        if what == explained_growth.GROWTH:
            return growth_of(view, row), []
        if what not in ("", "basal_area_m2"):
            raise NotFound(_("number of a tree that is explained"), what)
        trunks = explaining.trunks(view.records, view.state, view.terms, view.as_of, tree_id)
        return of_tree(view, row, trunks, what or "dbh_cm"), list(trunks.values())
    if kind == "stem" and rest:
        try:
            return explaining.of_stem(view.records, view.state, view.terms, view.as_of, rest), []
        except NothingToCompute:
            raise NotFound(_("trunk on this ground"), rest) from None
    area, _sep, key = rest.partition(":")
    if kind == "figure" and area and key:
        return _figure(view, area, key), []
    raise InvalidRequest(
        [("of", _("Name a number: tree:… , stem:… or figure:site:… as the links of the pages do."))]
    )


def growth_of(view: SiteView, row: Any) -> Explanation:
    """Return the explanation of a tree's growth.

    Raises
    ------
    NotFound
        If its growth is not told.
    """
    try:
        return explained_growth.of_tree_growth(view.records, view.state, view.terms, view.as_of, row)
    except NothingToCompute:
        raise NotFound(_("growth of this tree"), row.tree_id) from None


def growth_reach(view: SiteView, row: Any) -> float:
    """Return how many standard errors the give or take of a tree's growth reaches."""
    if not is_estimated(view.terms.model) or display.is_missing(row.growth_cm_per_yr):
        return display.HALF_WIDTH
    return growth_of(view, row).quantile


def of_tree(view: SiteView, row: Any, trunks: dict[str, Explanation], what: str) -> Explanation:
    """Return the explanation of a tree's size from those of its trunks."""
    own = [
        part.source
        for trunk in trunks.values()
        if trunk.errors is not None
        for part in trunk.errors.parts
        if part.kind == "own"
    ]
    return explaining.of_tree(view.state, view.terms, row, one_after_the_other(own), what)


def _figure(view: SiteView, area: str, key: str) -> Explanation:
    wanted = None if area == "site" else area
    what, _sep, since = key.partition(":")
    between = what == explained_growth.INCREMENT
    rows = view.figures_since(since) if between else view.figures
    row = next((each for each in rows if each["area_id"] == wanted), None)
    if row is None:
        raise NotFound(_("area or part of this ground"), area)
    if between:
        return explained_growth.of_increment(row, since, view.records, frames_of(view), view.as_of)
    try:
        return explained_figures.of_figure(row, key, frames_of(view))
    except NothingToCompute:
        raise NotFound(_("figure that is explained"), key) from None


def frames_of(view: SiteView) -> explained_figures.FigureFrames:
    """Return what the figures of a view were computed from."""
    return explained_figures.FigureFrames(
        view.state, view.membership, view.trees, view.areas, view.records.places, view.terms
    )


def told(view: SiteView, explanation: Explanation, units: display.Units, day: str, name: str) -> Told:
    """Return an explanation as the page shows it; ``day`` is kept in its links, ``name`` marks its bar."""
    what, unit = WHAT[explanation.what]
    parts = () if explanation.errors is None else explanation.errors.parts
    return Told(
        explanation,
        str(what),
        _about(view, explanation),
        shown(explanation.value, explanation.se, explanation.quantile, unit, units),
        _table(view, explanation, units, day),
        [_part(part, explanation.quantile, unit, units) for part in largest_first(parts)],
        bar(parts, name),
        better(parts),
    )


def shown(value: float, se: float, quantile: float, unit: str | int, units: display.Units) -> str:
    """Return a number with its unit and give or take."""
    if isinstance(unit, int):
        return display.number(value, unit)
    if display.is_missing(se):
        return units.with_unit(value, unit)
    return units.give_or_take(value, se, unit, quantile)


def bar(parts: Sequence[Part], name: str) -> Markup:
    """Return the small bar of causes in the language of the page; its maker escapes every text."""
    return Markup(causes_bar(parts, bar_words(), _causes(), name))


def better(parts: Sequence[Part]) -> str:
    """Return what would make a number better."""
    return better_words(parts, bar_words(), _causes())


def bar_words() -> dict[str, str]:
    """Return the words of the bar in the language of the page."""
    return {key: str(_(text)) for key, text in {**CAUSES_WORDS, **BETTER}.items()}


def _causes() -> dict[str, str]:
    return {kind: str(_(text)) for kind, text in CAUSE_WORDS.items()}


def _part(part: Part, quantile: float, unit: str | int, units: display.Units) -> ErrorPart:
    alone = part.variance**0.5
    text = display.NONE if isinstance(unit, int) else units.half(alone, unit, quantile)
    words = plain.said(plain.CAUSE_KIND, part.kind)
    return ErrorPart(
        words, Cell(text, alone), part.variance, part.share, plain.sources_said(part.source), part.measured
    )


def _about(view: SiteView, explanation: Explanation) -> str:
    kind, _sep, rest = explanation.of.partition(":")
    if kind == "tree":
        return _tree_words(view, rest.partition(":")[0])
    if kind == "stem":
        stem = view.records.stems.set_index("stem_id").loc[rest]
        number = int(stem["number"])
        return f"{_tree_words(view, stem['tree_id'])}, {_('trunk %(number)s', number=number)}"
    area, _sep, key = rest.partition(":")
    row = next(each for each in view.figures if (each["area_id"] or "site") == area)
    name = str(_("The whole ground")) if area == "site" else display.text(row["name"])
    if key.startswith(explained_growth.INCREMENT):
        return str(_("%(name)s, since %(day)s", name=name, day=display.day(key.partition(":")[2])))
    classes = explained_figures.CLASS in key
    return f"{name}, {_class_words(view, int(key.split(':')[1]))}" if classes else name


def _in(words: str, units: display.Units, kind: str = "width") -> str:
    """The words of a column with its unit."""
    return f"{words}, {units.unit(kind)}"


def _class_words(view: SiteView, number: int) -> str:
    bounds = size_classes.bounds(view.terms.breaks_cm)[number]
    return display.say(size_classes.label(*bounds, view.terms))


def _tree_words(view: SiteView, tree_id: str) -> str:
    tag = view.trees.loc[view.trees["tree_id"] == tree_id, "tag"]
    number = tag.iloc[0] if len(tag) and tag.iloc[0] else _("without a number")
    return str(_("Tree %(tag)s", tag=number))


def _table(view: SiteView, explanation: Explanation, units: display.Units, day: str) -> Table | None:
    rows = explanation.inputs.head(MOST_ROWS)
    if not len(rows):
        return None
    columns = explanation.inputs.columns
    if "reading_id" in columns:
        heads, cells = _of_readings(view, rows, units)
    elif "dbh_cm" in columns:
        heads, cells = _of_stems(view, rows, units, day)
    elif "scientific_name" in columns:
        heads = [_("Kind"), _("Trees")]
        cells = [[Cell(row.scientific_name), _plainly(row.count_)] for row in _named(rows)]
    elif "nearest_m" in columns:
        heads = [_("Tree"), _in(_("To the nearest other tree"), units, "height")]
        cells = [
            [_tree_cell(view, row, day), Cell(units.shown(row.nearest_m, "height"), row.nearest_m)]
            for row in rows.itertuples()
        ]
    else:
        heads = [_("Tree"), _("Counts as")]
        cells = [[_tree_cell(view, row, day), _plainly(row.count_)] for row in _named(rows)]
    return Table([str(head) for head in heads], cells, len(explanation.inputs))


def _named(rows: pd.DataFrame) -> Any:
    """Rows as tuples; a column called ``count`` would hide the method of that name."""
    return rows.rename(columns={"count": "count_"}).itertuples()


def _plainly(count: Any) -> Cell:
    return Cell(display.number(count), int(count))


def _tree_cell(view: SiteView, row: Any, day: str) -> Cell:
    tag = row.tag if not display.is_missing(row.tag) and row.tag else _("without a number")
    return Cell(str(tag), None, f"/sites/{view.terms.slug}/trees/{row.tree_id}{day}")


def _of_readings(
    view: SiteView, rows: pd.DataFrame, units: display.Units
) -> tuple[list[str], list[list[Cell]]]:
    heads = [
        _("Day"),
        _("As it was said"),
        _("With"),
        _in(_("Width where it was measured"), units),
        _("Factor to %(height)s", height=units.height(view.terms.breast_height_m)),
        _in(_("Width at %(height)s", height=units.height(view.terms.breast_height_m)), units),
        _in(_("Deviation of its own"), units),
        _("Weight"),
        _("How it came about"),
    ]
    cells = [
        [
            Cell(display.day(row.measured_on, "short")),
            Cell(tree_facts.as_said(row, units), row.value),
            Cell(plain.said(plain.INSTRUMENT, row.instrument or "unknown")),
            Cell(units.shown(row.as_measured_cm, "width", 2), row.as_measured_cm),
            Cell(display.number(row.factor, 4), row.factor),
            Cell(units.shown(row.dbh_cm, "width", 2), row.dbh_cm),
            Cell(units.shown(row.own_var_cm2**0.5, "width", 2), row.own_var_cm2**0.5),
            Cell(display.number(row.weight, 4), row.weight),
            Cell(units.told(row.how)),
        ]
        for row in rows.itertuples()
    ]
    if rows["stem_id"].nunique() > 1:
        numbers = view.records.stems.set_index("stem_id")["number"]
        heads.append(_("Trunk"))
        for row, stem in zip(cells, rows["stem_id"], strict=True):
            row.append(Cell(display.number(numbers[stem])))
    return heads, cells


def _of_stems(
    view: SiteView, rows: pd.DataFrame, units: display.Units, day: str
) -> tuple[list[str], list[list[Cell]]]:
    tags = view.trees.set_index("tree_id")["tag"]
    numbers = view.records.stems.set_index("stem_id")["number"]
    heads = [
        _("Trunk"),
        _("Day"),
        _in(_("Width at %(height)s", height=units.height(view.terms.breast_height_m)), units),
        _in(_("Deviation of its own"), units),
    ]
    cells = []
    for row in rows.itertuples():
        tag = tags.get(row.tree_id) or _("without a number")
        words = _("Tree %(tag)s, trunk %(number)s", tag=tag, number=int(numbers[row.stem_id]))
        address = f"/sites/{view.terms.slug}/how?of=stem:{row.stem_id}{day.replace('?', '&')}"
        own = row.own_var_cm2**0.5
        cells.append(
            [
                Cell(str(words), None, address),
                Cell(display.day(row.measured_on, "short")),
                Cell(units.shown(row.dbh_cm, "width", 2), row.dbh_cm),
                Cell(units.shown(own, "width", 2), own),
            ]
        )
    return heads, cells
