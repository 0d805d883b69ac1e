"""The nomenclature: every column's name, type, unit, meaning and range, once.

CSV headers, JSON keys, frame columns and exported attributes are these words.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from layers.errors import ColumnMissing

Kind = Literal["text", "float", "int", "flag", "date", "time", "list", "object", "geometry"]

_DTYPES: dict[Kind, str] = {
    "text": "object",
    "float": "float64",
    "int": "Int64",
    "flag": "bool",
    "date": "object",
    "time": "object",
    "list": "object",
    "object": "object",
    "geometry": "object",
}


@dataclass(frozen=True)
class Column:
    """One word of the nomenclature.

    ``low`` and ``high`` are the allowed range in ``unit``; dates are ISO text (YYYY-MM-DD).
    """

    name: str
    kind: Kind
    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None


def _c(
    name: str, kind: Kind, meaning: str, unit: str = "", low: float | None = None, high: float | None = None
) -> Column:
    return Column(name, kind, unit, meaning, low, high)


_POSITION = (
    _c("lon_deg", "float", "longitude, WGS84; empty on a local ground", "deg", -180, 180),
    _c("lat_deg", "float", "latitude, WGS84; empty on a local ground", "deg", -90, 90),
    _c("x_m", "float", "east in the local frame of a ground without a place on earth", "m"),
    _c("y_m", "float", "north in the local frame of a ground without a place on earth", "m"),
)
_VERSIONED = (
    _c("version", "int", "how often the record was written, from 1", "", 1),
    _c("change_no", "int", "number of the change of the site that wrote it", "", 0),
)

# What the store hands to the layers: what people said, one frame per kind of record.
TREE_RECORD = (
    _c("tree_id", "text", "permanent UUID of the tree"),
    _c("fid", "int", "feature number of the tree, never reused"),
    _c("tag", "text", "what hangs on the tree; need not be unique"),
    _c("place_id", "text", "UUID of the place the tree was put in by hand or by file"),
    _c("place", "text", "name of that place"),
    _c("scientific_name", "text", "name in the species table, empty when not matched"),
    _c("name_as_written", "text", "the name as the file or person wrote it"),
    _c("name_sure", "text", "how sure the name is: sure, doubtful, unknown"),
    _c("common_name", "text", "plain name as written, or of the species table"),
    _c("genus", "text", "genus, empty when not known"),
    _c("status", "text", "living, dead, removed or unknown, as last written on the tree itself"),
    _c("status_as_said", "text", "the status word of the file or person"),
    *_POSITION,
    _c("position_source", "text", "where the position comes from: file, tap on plan, survey ..."),
    _c("position_accuracy_m", "float", "how well the position is known", "m", 0),
    _c("keeper", "text", "whose tree: ours, shared, not ours, not known"),
    _c("planted_on", "date", "day of planting"),
    _c("external_id", "text", "the key that the tree has in its source file"),
    _c("kept", "object", "columns kept as written: {header: text}"),
    *_VERSIONED,
)
STEM_RECORD = (
    _c("stem_id", "text", "permanent UUID of the stem"),
    _c("fid", "int", "feature number of the stem"),
    _c("tree_id", "text", "its tree"),
    _c("number", "int", "1 is the main stem", "", 1),
    _c("status", "text", "living, dead, removed or unknown"),
    *_VERSIONED,
)
READING_RECORD = (
    _c("reading_id", "text", "permanent UUID of the reading"),
    _c("fid", "int", "feature number of the reading"),
    _c("stem_id", "text", "the stem that was measured"),
    _c("quantity", "text", "girth, diameter or class"),
    _c("value", "float", "what was read, in `unit`", "as said"),
    _c("value_2", "float", "second caliper axis, in `unit`", "as said"),
    _c("parts", "text", "goes of a short ruler, as written"),
    _c("class_from_cm", "float", "lower bound of the diameter class", "cm", 0),
    _c("class_to_cm", "float", "upper bound of the diameter class, empty when open", "cm", 0),
    _c("unit", "text", "cm, mm, m, in or ft"),
    _c(
        "instrument",
        "text",
        "girth tape, diameter tape, caliper, string and ruler, hand breadths, hand spans, "
        "sighting, eye or unknown",
    ),
    _c("calibration_id", "text", "the hand calibration that was used"),
    _c("height_m", "float", "height of measurement above ground; empty when not said", "m", 0, 10),
    _c("resolution", "float", "step to which the value was read, in `unit`", "as said", 0),
    _c("measured_on", "date", "day of measurement, the middle day when only month or year is known"),
    _c("date_precision", "text", "day, month, year or unknown"),
    _c("recorded_at", "time", "device time, UTC"),
    _c("received_at", "time", "server time, UTC"),
    _c("crew", "text", "code of the crew"),
    _c("crew_kind", "text", "pupils, volunteers, trained staff; empty when not known"),
    _c("round_id", "text", "the measuring round"),
    _c("tilt_deg", "float", "recorded tilt of the tape", "deg", 0, 60),
    _c("side", "text", "side of the slope or lean that was measured"),
    _c("rule", "text", "rule used on an awkward stem"),
    _c("first_guess", "float", "the helper's guess before measuring, in `unit`", "as said"),
    _c("first_entry", "float", "what was typed first when it was changed after a question", "as said"),
    _c("note", "text", "a note"),
    _c("supersedes", "text", "the reading that this one corrects"),
    _c("void", "flag", "crossed out: leaves nothing live"),
    _c("reason", "text", "why it was corrected or crossed out"),
    _c("source", "text", "file, row and column it came from"),
    _c("change_no", "int", "number of the change of the site that wrote it"),
)
OBSERVATION_RECORD = (
    _c("observation_id", "text", "permanent UUID of the observation"),
    _c("fid", "int", "feature number"),
    _c("tree_id", "text", "its tree"),
    _c("what", "text", "height, crown diameter, or a word of the list of sights"),
    _c("value", "float", "measured value in `unit`", "as said"),
    _c("unit", "text", "m for heights and crowns"),
    _c("text", "text", "what was seen, in words"),
    _c("method", "text", "how it was found out"),
    _c("observed_on", "date", "day it was seen"),
    _c("date_precision", "text", "day, month, year or unknown"),
    _c("recorded_at", "time", "device time, UTC"),
    _c("received_at", "time", "server time, UTC"),
    _c("crew", "text", "code of the crew"),
    _c("crew_kind", "text", "pupils, volunteers, trained staff; empty when not known"),
    _c("supersedes", "text", "the observation that this one corrects"),
    _c("void", "flag", "crossed out"),
    _c("change_no", "int", "number of the change of the site that wrote it"),
)
STATUS_EVENT = (
    _c("status_event_id", "text", "permanent UUID"),
    _c("fid", "int", "number in the store, later is greater"),
    _c("subject", "text", "tree or stem"),
    _c("subject_id", "text", "UUID of the tree or stem"),
    _c("status", "text", "living, dead, removed or unknown"),
    _c("happened_on", "date", "day from which it holds; empty is always"),
    _c("as_said", "text", "the word that was used"),
    _c("in_doubt", "flag", "said by a helper or out of leaf: counts as living until settled"),
    _c("supersedes", "text", "the event that this one corrects"),
    _c("void", "flag", "crossed out"),
    _c("change_no", "int", "number of the change of the site that wrote it"),
)
AREA_RECORD = (
    _c("area_id", "text", "permanent UUID of the area"),
    _c("fid", "int", "feature number"),
    _c("layer", "text", "what was imported or drawn together"),
    _c("name", "text", "name of the area"),
    _c("kind", "text", "boundary, play area, lawn, woodland, car park, street, building edge, other"),
    _c("use", "text", "how much people are there: most of the day, every day, now and then, hardly ever"),
    _c("place_id", "text", "the place whose outline this is, if any"),
    _c("keeper", "text", "ours, shared, not ours, not known"),
    _c("typed_area_ha", "float", "area as typed where there is no polygon", "ha", 0),
    _c("area_source", "text", "where the typed area or outline comes from"),
    _c("area_se_ha", "float", "standard error of the area", "ha", 0),
    _c("counting_limit_cm", "float", "smallest diameter that was taken in", "cm", 0),
    _c("counting_complete", "text", "complete, not complete or not known"),
    _c("valid_from", "date", "first day of the area"),
    _c("valid_to", "date", "last day of the area"),
    _c("geometry", "geometry", "polygon in WGS84, or in metres on a local ground"),
    *_VERSIONED,
)
TARGET_RECORD = (
    _c("target_id", "text", "permanent UUID of the target"),
    _c("fid", "int", "feature number"),
    _c("layer", "text", "what was imported or drawn together"),
    _c("name", "text", "name"),
    _c("kind", "text", "path, bench, play equipment, building, road, other"),
    _c("use", "text", "how much people are there"),
    _c("geometry", "geometry", "point, line or polygon in WGS84, or in metres on a local ground"),
    *_VERSIONED,
)
INSPECTION_RECORD = (
    _c("inspection_id", "text", "permanent UUID"),
    _c("fid", "int", "feature number"),
    _c("tree_id", "text", "the tree that was looked at"),
    _c("area_id", "text", "the zone that was walked, if a zone"),
    _c("inspected_on", "date", "day"),
    _c("level", "text", "walk-over, formal or detailed"),
    _c("organisation", "text", "who inspected"),
    _c("qualification", "text", "their qualification as entered by the manager"),
    _c("qualified", "flag", "the manager entered them as qualified for this level"),
    _c("leaf_on", "text", "leaf on, leaf off, not said"),
    _c("answer", "text", "nothing recorded, recorded, not reached"),
    _c("note", "text", "what was seen, or what could not be seen"),
    _c("next_look_by", "date", "next look by"),
    _c("void", "flag", "crossed out"),
    _c("change_no", "int", "number of the change of the site that wrote it"),
)

# The three frames between history and figures (definitions N5).
STEM_STATE = (
    _c("stem_id", "text", "the stem"),
    _c("tree_id", "text", "its tree"),
    _c("tree_status", "text", "living, dead, removed or unknown on that day"),
    _c("in_doubt", "flag", "somebody thought the tree dead or gone; not settled, so it counts as living"),
    _c("status", "text", "living, dead, removed or unknown on that day"),
    _c("dbh_cm", "float", "standard diameter at the site's breast height; empty without a size", "cm", 0),
    _c("own_var_cm2", "float", "variance that this stem shares with no other", "cm2", 0),
    _c("as_measured_cm", "float", "diameter at the height where it was measured", "cm", 0),
    _c("height_m", "float", "height of that measurement; empty when not said", "m"),
    _c("reading", "text", "the reading it rests on (the first of several)"),
    _c("measured_on", "date", "day of that reading"),
    _c("undated", "flag", "the reading has no date"),
    _c("assumed", "flag", "its error rests on an assumption, not on a model adopted on the site"),
    _c("dbh_source", "text", "how the number came about, in words"),
    _c("class_from_cm", "float", "lower bound of a diameter class, where only a class was said", "cm", 0),
    _c("class_to_cm", "float", "upper bound of that class", "cm", 0),
)
STEM_PARTS = (
    _c("stem_id", "text", "the stem"),
    _c("cause", "text", "key of the shared cause, as in the frame of causes"),
    _c("sensitivity_cm", "float", "signed change of the diameter per unit of the cause", "cm"),
)
CAUSES = (
    _c("cause", "text", "key of the cause, for example instrument:<site>:girth tape"),
    _c("kind", "text", "taper, instrument, crew, calibration, height or area"),
    _c("key", "text", "the part of the key after the kind"),
    _c("variance", "float", "variance of the cause in its own unit"),
    _c("source", "text", 'where the variance is from, or "assumption"'),
)
MEMBERSHIP = (
    _c("area_id", "text", "the area or place"),
    _c("tree_id", "text", "a tree inside it"),
    _c("near_edge", "flag", "closer to the edge than its position is known"),
)

# What leaves: definitions N15.
FIGURES = (
    _c("area_id", "text", "the area or place; empty for the whole site"),
    _c("layer", "text", "what the area was imported or drawn with"),
    _c("name", "text", "name of the area"),
    _c("kind", "text", "kind of the area"),
    _c("as_of", "date", "the day the figures hold for"),
    _c("known_at", "int", "change number up to which records were used"),
    _c("model", "text", "version of the site model"),
    _c("area_ha", "float", "area", "ha", 0),
    _c("area_se_ha", "float", "standard error of the area", "ha", 0),
    _c("trees", "int", "living trees"),
    _c("stems", "int", "living stems of living trees, measured or not"),
    _c("measured_stems", "int", "of these with a size at or above the counting limit"),
    _c("partly_measured_trees", "int", "trees with some stems unmeasured"),
    _c("unmeasured_trees", "int", "trees without a size"),
    _c("undated_sizes", "int", "sizes without a date"),
    _c("dead_trees", "int", "dead standing trees, never mixed in"),
    _c("in_doubt_trees", "int", "trees somebody thought dead, not settled, counted as living"),
    _c("near_edge", "int", "trees closer to the edge than their position is known"),
    _c("trees_without_position", "int", "trees without a position (site row)"),
    _c("trees_outside_boundary", "int", "trees outside the boundary (site row)"),
    _c("trees_per_ha", "float", "living trees per hectare", "1/ha", 0),
    _c("stems_per_ha", "float", "living stems per hectare", "1/ha", 0),
    _c("basal_area_m2", "float", "cut face of all measured stems together", "m2", 0),
    _c("basal_area_lo", "float", "lower end of its 95 % interval", "m2"),
    _c("basal_area_hi", "float", "upper end of its 95 % interval", "m2"),
    _c("basal_area_se_m2", "float", "standard error of the basal area", "m2", 0),
    _c("basal_area_m2_per_ha", "float", "basal area per hectare", "m2/ha", 0),
    _c("basal_area_se_m2_per_ha", "float", "its standard error", "m2/ha", 0),
    _c("error_by_cause", "object", "share of the variance of basal area by cause {kind: share}"),
    _c("mean_dbh_cm", "float", "mean standard diameter of measured stems", "cm", 0),
    _c("qmd_cm", "float", "quadratic mean diameter", "cm", 0),
    _c("sdi_per_ha", "float", "stand density index, summation", "1/ha", 0),
    _c("sdi_qmd_per_ha", "float", "stand density index by quadratic mean diameter", "1/ha", 0),
    _c("size_classes", "list", "[{from_cm, to_cm, stems, basal_area_m2}]"),
    _c("species", "list", "[{scientific_name, trees, basal_area_m2, share, share_basal_area}]"),
    _c("shannon", "float", "Shannon index, natural logarithm", "-", 0),
    _c("simpson", "float", "1 - sum p2", "-", 0, 1),
    _c("clark_evans_r", "float", "Clark-Evans index of living trees", "-", 0),
    _c("clark_evans_edge", "text", "edge correction used"),
    _c("canopy_cover_pct", "float", "ground under crowns", "%", 0, 100),
    _c("canopy_low_pct", "float", "lower bound", "%"),
    _c("canopy_high_pct", "float", "upper bound", "%"),
    _c("carbon_t", "float", "carbon", "t"),
    _c("carbon_lo_t", "float", "lower bound", "t"),
    _c("carbon_hi_t", "float", "upper bound", "t"),
    _c("increment", "object", "growth between two dates"),
    _c("components", "object", "components of growth between two dates"),
    _c("to_be_looked_at", "int", "trees with an open sign"),
    _c("looked_at", "int", "trees looked at by a qualified person within the interval"),
    _c("look_overdue", "int", "trees whose look is overdue or never was"),
    _c("circumstances", "object", "{word: trees}"),
    _c("questions_asked", "int", "questions that could be asked"),
    _c("questions_not_askable", "int", "questions that could not be asked"),
    _c("why", "object", "{key: why it cannot be said}"),
)
TREES = (
    _c("tree_id", "text", "permanent UUID of the tree"),
    _c("fid", "int", "feature number of the tree, never reused"),
    _c("tag", "text", "what hangs on the tree; need not be unique"),
    _c("site", "text", "short name of the site"),
    _c("place", "text", "named part of the site"),
    _c("scientific_name", "text", "name in the species table"),
    _c("name_as_written", "text", "the name as the file or person wrote it"),
    _c("common_name", "text", "plain name"),
    _c("genus", "text", "genus"),
    _c("status", "text", "living, dead, removed or unknown on that day"),
    _c("stems", "int", "living stems"),
    _c("dbh_cm", "float", "standard diameter, square root of the sum of squares over stems", "cm", 0),
    _c("dbh_se_cm", "float", "its standard error", "cm", 0),
    _c("dbh_source", "text", "how the diameter came about"),
    _c("measured_as", "text", "the reading as it was said"),
    _c("basal_area_m2", "float", "sum over stems", "m2", 0),
    _c("size_class", "text", "size class of the tree"),
    _c("height_m", "float", "height of the tree", "m", 0, 130),
    _c("height_source", "text", "where the height is from"),
    _c("crown_diameter_m", "float", "crown diameter", "m", 0, 80),
    _c("crown_source", "text", "where the crown diameter is from"),
    _c("growth_cm_per_yr", "float", "growth of the diameter", "cm/yr"),
    _c("growth_se_cm_per_yr", "float", "its standard error", "cm/yr", 0),
    _c("growth_words", "text", "growth in words"),
    _c("last_measured_on", "date", "day of the last measurement"),
    _c("last_inspected_on", "date", "day a qualified person last looked; measuring never counts"),
    _c("inspection_level", "text", "level of that inspection"),
    _c("signs", "list", "open signs, in words; empty has not been found sound"),
    _c("circumstances", "list", "circumstances, in words"),
    _c("questions_asked", "int", "questions that could be asked of the tree"),
    _c("questions_not_askable", "int", "questions that could not be asked"),
    _c("keeper", "text", "whose tree: ours, shared, not ours, not known"),
    _c("planted_on", "date", "day of planting"),
    _c("position_source", "text", "where the position comes from"),
    _c("position_accuracy_m", "float", "how well the position is known", "m", 0),
    _c("external_id", "text", "the key that the tree has in its source file"),
    *_POSITION,
)
FLAGS = (
    _c("flag_key", "text", "rule word, tree and target: stable across recomputation"),
    _c("fid", "int", "running number in the list"),
    _c("tree_id", "text", "the tree"),
    _c("tag", "text", "its tag"),
    _c("place", "text", "its place"),
    _c("kind", "text", "sign, circumstance or gap"),
    _c("rule", "text", "rule word"),
    _c("rule_version", "int", "version of the rule"),
    _c("words", "text", "the question in plain words"),
    _c("evidence", "text", "what was recorded, when, by what kind of crew"),
    _c("source", "text", "published source of the rule, or common practice, no source"),
    _c("who_may_answer", "text", "who may answer it"),
    _c("answer_by", "date", "by when it should be answered"),
    _c("target_id", "text", "the target, for circumstances"),
    _c("answered", "text", "a live finding on it, in words; empty when open"),
    _c("order", "int", "order of the list: which first, never whether"),
)

FRAMES: dict[str, tuple[Column, ...]] = {
    "tree_record": TREE_RECORD,
    "stem_record": STEM_RECORD,
    "reading_record": READING_RECORD,
    "observation_record": OBSERVATION_RECORD,
    "status_event": STATUS_EVENT,
    "area_record": AREA_RECORD,
    "target_record": TARGET_RECORD,
    "inspection_record": INSPECTION_RECORD,
    "stem_state": STEM_STATE,
    "stem_parts": STEM_PARTS,
    "causes": CAUSES,
    "membership": MEMBERSHIP,
    "figures": FIGURES,
    "trees": TREES,
    "flags": FLAGS,
}


def names(frame: str) -> list[str]:
    """Return the column names of a frame, in order.

    Raises
    ------
    KeyError
        If there is no such frame.
    """
    return [column.name for column in FRAMES[frame]]


def empty(frame: str) -> pd.DataFrame:
    """Return the frame with its columns and types and no rows.

    Raises
    ------
    KeyError
        If there is no such frame.
    """
    return pd.DataFrame({c.name: pd.Series(dtype=_DTYPES[c.kind]) for c in FRAMES[frame]})


def shaped(frame: str, rows: pd.DataFrame) -> pd.DataFrame:
    """Return ``rows`` with exactly the columns of ``frame``, absent ones empty, types set.

    Missing text is ``None``, missing numbers NaN (or NA for whole numbers), missing flags False.

    Raises
    ------
    KeyError
        If there is no such frame.
    """
    out = {}
    for column in FRAMES[frame]:
        series = rows[column.name] if column.name in rows else pd.Series([None] * len(rows), index=rows.index)
        if column.kind == "flag":
            out[column.name] = series.map(lambda v: v is not None and v == v and bool(v)).astype(bool)
        elif column.kind in ("float", "int"):
            out[column.name] = pd.to_numeric(series).astype(_DTYPES[column.kind])
        else:
            series = series.astype(object)
            out[column.name] = series.where(series.notna(), None)
    return pd.DataFrame(out, index=rows.index)


def require(rows: pd.DataFrame, frame: str, needed: Iterable[str]) -> None:
    """Check that a frame has the columns a function needs.

    Raises
    ------
    ColumnMissing
        If one is absent.
    """
    absent = [name for name in needed if name not in rows.columns]
    if absent:
        raise ColumnMissing(frame, absent)
