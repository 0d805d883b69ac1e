"""What is known of one tree and how each number came about: readings, conversions, parts of the error."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from flask_babel import gettext as _

from layers import girth, history
from layers.chart_causes import largest_first
from layers.explanations import Explanation, Part
from layers.intervals import reach_of_readings
from service.errors import NotFound
from service.view import SiteView
from service.web import awkward_fields, display
from service.web import plain_words as plain
from service.web.awkward_fields import AwkwardFact
from service.web.display import HALF_WIDTH


@dataclass(frozen=True)
class ReadingFact:
    """One measurement as it was said and as it stands on the standard."""

    reading_id: str
    day: str | None
    date_precision: str
    as_said: str
    how: str
    crew_kind: str | None
    as_measured_cm: float
    height_m: float
    dbh_cm: float
    dbh_se_cm: float
    reach: float
    assumed: bool
    source: str | None
    state: str
    note: str | None
    reason: str | None
    uses: bool
    awkward: tuple[AwkwardFact, ...] = ()
    done_so: str = ""


@dataclass(frozen=True)
class ErrorPart:
    """One part of a trunk's error: what it is, how large alone, its share, and where that is from."""

    words: str
    sd_cm: float
    share: float
    source: str


@dataclass(frozen=True)
class StemFacts:
    """One trunk: its standard width and what it rests on."""

    stem_id: str
    number: int
    status: str
    dbh_cm: float
    dbh_se_cm: float
    dbh_source: str | None
    as_measured_cm: float
    height_m: float
    measured_on: str | None
    readings: list[ReadingFact]
    parts: list[ErrorPart]
    reach: float = HALF_WIDTH


def tree_row(view: SiteView, tree_id: str) -> Any:
    """Return the row of a tree in the table of trees.

    Raises
    ------
    NotFound
        If no tree of that id stands on the day.
    """
    found = view.trees[view.trees["tree_id"] == tree_id]
    if not len(found):
        raise NotFound(_("tree on this ground"), tree_id)
    return next(found.itertuples())


def record_of(view: SiteView, tree_id: str) -> dict[str, Any]:
    """Return what was said of the tree itself: the columns of its record.

    Raises
    ------
    NotFound
        If there is no such tree.
    """
    found = view.records.trees[view.records.trees["tree_id"] == tree_id]
    if not len(found):
        raise NotFound(_("tree on this ground"), tree_id)
    return {str(name): value for name, value in found.iloc[0].items()}


def stems_of(
    view: SiteView, tree_id: str, units: display.Units, known: Mapping[str, Explanation] | None = None
) -> list[StemFacts]:
    """Return the trunks of a tree with every measurement of each, the latest last.

    ``known`` holds how their sizes came about; without it the parts of their errors are left out.
    """
    stems = view.records.stems
    stems = stems[stems["tree_id"] == tree_id].sort_values("number")
    rows = sized_readings(view, stems).sort_values("measured_on", kind="stable", na_position="first")
    state = view.state.stem_state.set_index("stem_id")
    known = known or {}
    return [
        _stem_facts(stem, state, rows[rows["stem_id"] == stem.stem_id], known.get(stem.stem_id), units)
        for stem in stems.itertuples()
    ]


def sized_readings(view: SiteView, stems: pd.DataFrame) -> pd.DataFrame:
    """Return every reading of some stems on the standard: what ``standardised`` gives, ``state`` and ``se``.

    ``se`` is the standard error of the reading with what it shares with others, ``own_se`` without [cm];
    ``reach`` how many of them its 95 % interval reaches, ``assumed`` whether they rest on an assumption.
    """
    records = view.records
    trees = records.trees[records.trees["tree_id"].isin(stems["tree_id"])]
    known = history.live_readings(records.readings[records.readings["stem_id"].isin(stems["stem_id"])])
    sizes = girth.standardised(known, stems, trees, view.terms)
    own = sizes.readings["own_var_cm2"]
    whole = own + sizes.readings["departure_se_cm"] ** 2 + _shared_variance(sizes)
    return sizes.readings.assign(
        se=np.sqrt(whole),
        own_se=np.sqrt(own),
        reach=reach_of_readings(sizes, view.terms.model),
        assumed=history.rests_on_assumption(sizes, view.terms),
    )


def _shared_variance(sizes: girth.Standardised) -> Any:
    variance = dict(zip(sizes.causes["cause"], sizes.causes["variance"], strict=True))
    each = sizes.parts["sensitivity_cm"] ** 2 * sizes.parts["cause"].map(variance).astype(float)
    return np.bincount(
        sizes.parts["row"].to_numpy(dtype=np.int64), weights=each, minlength=len(sizes.readings)
    )


def _stem_facts(
    stem: Any,
    state: pd.DataFrame,
    readings: pd.DataFrame,
    explanation: Explanation | None,
    units: display.Units,
) -> StemFacts:
    now = state.loc[stem.stem_id] if stem.stem_id in state.index else None
    errors = None if explanation is None else explanation.errors
    used = None if now is None else now["reading"]
    return StemFacts(
        stem_id=stem.stem_id,
        number=int(stem.number),
        status=stem.status if now is None else now["status"],
        dbh_cm=math.nan if now is None else float(now["dbh_cm"]),
        dbh_se_cm=math.nan if explanation is None else explanation.se,
        dbh_source=None if now is None else now["dbh_source"],
        as_measured_cm=math.nan if now is None else float(now["as_measured_cm"]),
        height_m=math.nan if now is None else float(now["height_m"]),
        measured_on=None if now is None else now["measured_on"],
        readings=[_reading_fact(row, used, units) for row in readings.itertuples()],
        parts=[] if errors is None else [_error_part(part) for part in largest_first(errors.parts)],
        reach=HALF_WIDTH if explanation is None or errors is None else explanation.quantile,
    )


def _error_part(part: Part) -> ErrorPart:
    words, sources = plain.said(plain.CAUSE_KIND, part.kind), plain.sources_said(part.source)
    return ErrorPart(words, math.sqrt(part.variance), part.share, sources)


def _reading_fact(row: Any, used: str | None, units: display.Units) -> ReadingFact:
    return ReadingFact(
        reading_id=row.reading_id,
        day=row.measured_on,
        date_precision=row.date_precision,
        as_said=as_said(row, units),
        how=plain.said(plain.INSTRUMENT, row.instrument),
        crew_kind=row.crew_kind,
        as_measured_cm=float(row.as_measured_cm),
        height_m=float(row.height_m),
        dbh_cm=float(row.dbh_cm),
        dbh_se_cm=float(row.se),
        reach=float(row.reach),
        assumed=bool(row.assumed),
        source=row.dbh_source,
        state=row.state,
        note=row.note,
        reason=row.reason,
        uses=row.reading_id == used,
        awkward=tuple(awkward_fields.facts_said(row)),
        done_so=awkward_fields.done_so(row),
    )


def as_said(row: Any, units: display.Units) -> str:
    """Return a reading in the words and unit that it was said in."""
    if row.quantity == "class":
        low = "" if display.is_missing(row.class_from_cm) else units.shown(row.class_from_cm, "width", 0)
        high = "" if display.is_missing(row.class_to_cm) else units.shown(row.class_to_cm, "width", 0)
        said = str(
            _("class of width %(low)s–%(high)s %(unit)s", low=low, high=high, unit=units.unit("width"))
        )
    elif display.is_missing(row.value):
        said = str(_("no size"))
    else:
        value = f"{row.value:.10g}"
        if not display.is_missing(row.parts) and row.parts:
            value = f"{row.parts} = {value}"
        if not display.is_missing(row.value_2):
            value = f"{value} / {row.value_2:.10g}"
        if row.quantity == "diameter":
            said = str(_("%(value)s %(unit)s across", value=value, unit=row.unit))
        else:
            said = str(_("%(value)s %(unit)s round", value=value, unit=row.unit))
    if display.is_missing(row.height_m):
        return f"{said}, {_('height not said')}"
    return f"{said}, {_('at %(height)s', height=units.height(row.height_m))}"
