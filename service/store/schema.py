"""The tables: what people said, and nothing that can be computed.

Every record points to the ``change`` that wrote it. A change has a number once it is closed; records of a
change without a number (an import under way) are seen by nobody.
Dates and times are ISO text, geometry is WKB, structured text is JSON, flags are 0 or 1: the same on SQLite
and PostgreSQL.
"""

import sqlalchemy as sa
from sqlalchemy import Column, Index, Table

from service.store.danger_tables import closure as closure
from service.store.danger_tables import danger_answer as danger_answer
from service.store.danger_tables import danger_report as danger_report
from service.store.danger_tables import hazard as hazard
from service.store.field_tables import crew_token as crew_token
from service.store.field_tables import crew_word as crew_word
from service.store.field_tables import photo as photo
from service.store.field_tables import picture as picture
from service.store.field_tables import set_aside as set_aside
from service.store.table_kinds import (
    Blob,
    Flag,
    Real,
    Text,
    Whole,
    appended,
    change_column,
    fid_column,
    record,
    site_column,
    versioned,
)
from service.store.table_kinds import metadata as metadata

site = Table(
    "site",
    metadata,
    fid_column(),
    Column("id", Text, nullable=False, unique=True),
    Column("slug", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("country", Text),
    Column("breast_height_m", Real, nullable=False),
    Column("units", Text, nullable=False),  # metric | us
    Column("time_zone", Text, nullable=False),
    Column("frame", Text, nullable=False),  # earth | local
    Column("size_class_breaks_cm", Text),  # JSON list, null = the default
    Column("phone", Text),  # whom to call when danger is seen
    Column("qualified", Text),  # who is a qualified person here
    Column("inspection_months", Text),  # JSON {use: months}, null = our reminder
    Column("invented", Flag, nullable=False, default=0),  # a sample ground
    Column("change_no", Whole, nullable=False, default=0),
    Column("version", sa.Integer, nullable=False, default=1),
    Column("created_at", Text, nullable=False),
    Column("unseen_girth_cm", Real),  # pupils do not measure larger trees that nobody looked at; null = ours
    Column("wind_limit", Text),  # in words; null = not set
    sqlite_strict=True,
    sqlite_autoincrement=True,
)

change = Table(
    "change",
    metadata,
    fid_column(),
    site_column(),
    Column("change_no", Whole),  # null while an import is under way
    Column("kind", Text, nullable=False),  # init | import | entry | edit | terms | model | undo
    Column("actor", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("note", Text),
    Column("file_name", Text),
    Column("file_hash", Text),  # of content and options: the same command resumes
    Column("heartbeat_at", Text),
    Column("summary", Text),  # JSON: the report of an import
    Index("ix_change_site_no", "site_id", "change_no"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)

former_version = Table(
    "former_version",
    metadata,
    fid_column(),
    site_column(),
    Column("table_name", Text, nullable=False),
    Column("record_fid", Whole, nullable=False),
    Column("version", sa.Integer, nullable=False),
    Column("content", Text, nullable=False),  # JSON of the row as it was (blobs as hex)
    Column("change_id", Whole, nullable=False),  # that wrote this version
    Column("ended_by", Whole, sa.ForeignKey("change.fid"), nullable=False),
    Index("ix_former_version_record", "table_name", "record_fid", "version"),
    Index("ix_former_version_change_id", "change_id"),
    Index("ix_former_version_ended_by", "ended_by"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)

source_key = Table(
    "source_key",
    metadata,
    fid_column(),
    site_column(),
    change_column(),
    Column("layer", Text, nullable=False),  # trees | areas | targets
    Column("place", Text, nullable=False),  # the --place NAME or ''
    Column("key", Text, nullable=False),
    Column("record_id", Text, nullable=False),
    Column("content", Text, nullable=False),  # JSON: what this key said at its last import
    Index("ix_source_key_site", "site_id", "layer", "place", "key"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)

place = versioned(
    "place",
    Column("name", Text, nullable=False),
    Column("kind", Text, nullable=False),  # part (a named part of the site) | stump | gap | vacant | other
    Column("name_as_written", Text),
    Column("lon_deg", Real),
    Column("lat_deg", Real),
    Column("x_m", Real),
    Column("y_m", Real),
    Column("cell", Whole),
    Column("position_source", Text),
    Column("external_id", Text),
    Column("kept", Text),
    Index("ix_place_site_id", "site_id"),
)

area = versioned(
    "area",
    Column("layer", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("use", Text),
    Column("place_id", Text),
    Column("keeper", Text),
    Column("wkb", Blob),
    Column("typed_area_ha", Real),
    Column("area_source", Text),
    Column("area_se_ha", Real),
    Column("counting_limit_cm", Real),
    Column("counting_complete", Text),
    Column("counted_on", Text),
    Column("valid_from", Text),
    Column("valid_to", Text),
    Column("external_id", Text),
    Column("kept", Text),
    Index("ix_area_site_id", "site_id"),
)

target = versioned(
    "target",
    Column("layer", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("use", Text),
    Column("wkb", Blob, nullable=False),
    Column("external_id", Text),
    Column("kept", Text),
    Index("ix_target_site_id", "site_id"),
)

tree = versioned(
    "tree",
    Column("tag", Text),
    Column("place_id", Text),
    Column("scientific_name", Text),
    Column("name_as_written", Text),
    Column("name_sure", Text),
    Column("common_name", Text),
    Column("genus", Text),
    Column("status", Text, nullable=False),
    Column("status_as_said", Text),
    Column("lon_deg", Real),
    Column("lat_deg", Real),
    Column("x_m", Real),
    Column("y_m", Real),
    Column("cell", Whole),
    Column("position_source", Text),
    Column("position_accuracy_m", Real),
    Column("keeper", Text),
    Column("planted_on", Text),
    Column("external_id", Text),
    Column("kept", Text),
    Index("ix_tree_site_cell", "site_id", "cell"),
)

stem = versioned(
    "stem",
    Column("tree_id", Text, nullable=False),
    Column("number", sa.Integer, nullable=False),
    Column("status", Text, nullable=False),
    Index("ix_stem_site_id", "site_id"),
    Index("ix_stem_tree_id", "tree_id"),
)

reading = appended(
    "reading",
    Column("stem_id", Text, nullable=False),
    Column("quantity", Text, nullable=False),
    Column("value", Real),
    Column("value_2", Real),
    Column("parts", Text),
    Column("class_from_cm", Real),
    Column("class_to_cm", Real),
    Column("unit", Text, nullable=False),
    Column("instrument", Text, nullable=False),
    Column("calibration_id", Text),
    Column("height_m", Real),
    Column("resolution", Real),
    Column("measured_on", Text),
    Column("date_precision", Text, nullable=False),
    Column("crew", Text),
    Column("crew_kind", Text),
    Column("round_id", Text),
    Column("tilt_deg", Real),
    Column("side", Text),
    Column("rule", Text),
    Column("first_guess", Real),
    Column("first_entry", Real),
    Column("note", Text),
    Column("source", Text),
    Column("awkward", Text),  # words of layers/awkward_stems.py, joined by a comma
    Index("ix_reading_site_id", "site_id"),
    Index("ix_reading_stem_id", "stem_id"),
)

calibration = appended(
    "calibration",
    Column("crew", Text, nullable=False),  # code of the crew whose hand it is
    Column("crew_kind", Text),
    Column("instrument", Text, nullable=False),  # hand breadths | hand spans
    Column("counts", sa.Integer, nullable=False),  # hands laid one after the other each time
    Column("totals_cm", Text, nullable=False),  # JSON list: the length they covered, each time
    Column("calibrated_on", Text, nullable=False),
    Index("ix_calibration_site_id", "site_id"),
)

observation = appended(
    "observation",
    Column("tree_id", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("value", Real),
    Column("unit", Text),
    Column("text", Text),
    Column("method", Text),
    Column("observed_on", Text),
    Column("date_precision", Text, nullable=False),
    Column("crew", Text),
    Column("crew_kind", Text),
    Column("round_id", Text),
    Column("source", Text),
    Index("ix_observation_site_id", "site_id"),
    Index("ix_observation_tree_id", "tree_id"),
)

status_event = appended(
    "status_event",
    Column("subject", Text, nullable=False),  # tree | stem
    Column("subject_id", Text, nullable=False),
    Column("status", Text, nullable=False),
    Column("happened_on", Text),
    Column("date_precision", Text, nullable=False),
    Column("as_said", Text),
    Column("in_doubt", Flag, nullable=False, default=0),
    Column("source", Text),
    Index("ix_status_event_site_id", "site_id"),
)

inspection = appended(
    "inspection",
    Column("area_id", Text),
    Column("inspected_on", Text, nullable=False),
    Column("level", Text, nullable=False),
    Column("organisation", Text, nullable=False),
    Column("qualification", Text),
    Column("qualified", Flag, nullable=False, default=0),
    Column("leaf_on", Text),
    Column("not_seen", Text),
    Column("next_look_by", Text),
    Column("note", Text),
    Index("ix_inspection_site_id", "site_id"),
)

inspection_answer = record(
    "inspection_answer",
    Column("inspection_id", Text, nullable=False, index=True),
    Column("tree_id", Text, nullable=False),
    Column("answer", Text, nullable=False),  # nothing recorded | recorded | not reached
    Column("note", Text),
    Index("ix_inspection_answer_site_id", "site_id"),
)

finding = appended(
    "finding",
    Column("flag_key", Text, nullable=False),
    Column("rule_version", sa.Integer, nullable=False),
    Column("tree_id", Text, nullable=False),
    Column("inspection_id", Text),
    Column("found", Text, nullable=False),
    Column("to_do", Text),
    Column("looked_on", Text, nullable=False),
    Column("look_again_by", Text),
    Column("capacity", Text, nullable=False),
    Column("evidence", Text),
    Index("ix_finding_site_id", "site_id"),
)

round_ = versioned(
    "round",
    Column("name", Text, nullable=False),
    Column("from_on", Text, nullable=False),
    Column("to_on", Text),
    Column("instrument", Text),
    Column("unit", Text),
    Column("height_m", Real),
    Column("status", Text),  # planned | running | closed; null: only named, by a list or an entry
    Column("plan", Text),  # JSON: sheets, what is left out and why, what was put back, what was asked
    Column("day_page", Text),  # JSON: the lines of the day page
    Column("meeting", Text),  # JSON: where everybody meets, in words and as a position
    Column("started_at", Text),
    Column("started_anyway", Text),  # why, where a line of the day page was empty
    Column("closed_at", Text),
    Column("closing", Text),  # JSON: what was missing and to be checked when it was closed
    Index("ix_round_site_id", "site_id"),
)

crew = versioned(
    "crew",
    Column("round_id", Text),
    Column("code", Text, nullable=False),
    Column("kind", Text, nullable=False),  # pupils | volunteers | trained staff
    Index("ix_crew_site_id", "site_id"),
)

question = Table(
    "question",
    metadata,
    fid_column(),
    site_column(),
    change_column(),
    Column("subject", Text, nullable=False),  # tree | stem | reading | area | target | row
    Column("subject_id", Text),
    Column("what", Text, nullable=False),  # one of the words of intake
    Column("detail", Text, nullable=False),  # the sentence, with what to do next
    Column("row", Whole),
    Column("proposal", Text),  # JSON: what the file would change
    Index("ix_question_site_id", "site_id"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)

settling = record(
    "settling",
    Column("subject", Text, nullable=False),
    Column("subject_id", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("answer", Text, nullable=False),  # accept | supersede | void | decline
    Column("at", Text, nullable=False),
    Column("actor", Text, nullable=False),
    Index("ix_settling_site_id", "site_id"),
)

site_model = record(
    "site_model",
    Column("number", sa.Integer, nullable=False),  # from 1; 0 is the published one, used again
    Column("content", Text, nullable=False),  # JSON: factors and effects
    Column("fitted_at", Whole, nullable=False),  # change number of the site that it was fitted at
    Column("adopted_by", Text, nullable=False),
    Column("adopted_at", Text, nullable=False),
    Index("ix_site_model_site_id", "site_id"),
)

plan_image = versioned(
    "plan_image",
    Column("name", Text, nullable=False),
    Column("file_hash", Text, nullable=False),
    Column("media_type", Text, nullable=False),
    Column("width_px", sa.Integer, nullable=False),
    Column("height_px", sa.Integer, nullable=False),
    Column("placement", Text),  # JSON: how it lies on the ground
    Column("misfit_m", Real),
    Column("misfit_share", Real),
    Index("ix_plan_image_site_id", "site_id"),
)
