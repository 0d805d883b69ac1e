"""The first tables, as they were when they were first made; later changes are files of their own."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

TEXT = sa.Text()
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
REAL: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    _site_and_changes()
    _former_versions_and_keys()
    _places_and_areas()
    _trees()
    _sizes_and_sights()
    _looks()
    _campaigns_and_questions()


def _points(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [to], name=op.f(f"fk_{table}_{column}"))


def _table(name: str, *columns: sa.Column[object] | sa.Constraint) -> None:
    op.create_table(
        name,
        sa.Column("fid", WHOLE, autoincrement=True, nullable=False),
        *columns,
        sa.PrimaryKeyConstraint("fid", name=op.f(f"pk_{name}")),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )


def _record(name: str, *columns: sa.Column[object]) -> None:
    _table(
        name,
        sa.Column("id", TEXT, nullable=False),
        sa.Column("site_id", WHOLE, nullable=False),
        sa.Column("change_id", WHOLE, nullable=False),
        *columns,
        _points(name, "site_id", "site.fid"),
        _points(name, "change_id", "change.fid"),
        sa.UniqueConstraint("id", name=op.f(f"uq_{name}_id")),
    )
    op.create_index(op.f(f"ix_{name}_change_id"), name, ["change_id"])


def _versioned(name: str, *columns: sa.Column[object]) -> None:
    _record(
        name,
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("void", sa.Integer(), nullable=False),
        *columns,
    )


def _appended(name: str, *columns: sa.Column[object]) -> None:
    _record(
        name,
        sa.Column("supersedes", TEXT),
        sa.Column("void", sa.Integer(), nullable=False),
        sa.Column("reason", TEXT),
        sa.Column("recorded_at", TEXT),
        sa.Column("received_at", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        *columns,
    )
    op.create_index(op.f(f"ix_{name}_supersedes"), name, ["supersedes"])


def _site_and_changes() -> None:
    """The ground, and who changed what and when."""
    _table(
        "site",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("slug", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("country", TEXT),
        sa.Column("breast_height_m", REAL, nullable=False),
        sa.Column("units", TEXT, nullable=False),
        sa.Column("time_zone", TEXT, nullable=False),
        sa.Column("frame", TEXT, nullable=False),
        sa.Column("size_class_breaks_cm", TEXT),
        sa.Column("phone", TEXT),
        sa.Column("qualified", TEXT),
        sa.Column("inspection_months", TEXT),
        sa.Column("invented", sa.Integer(), nullable=False),
        sa.Column("change_no", WHOLE, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", TEXT, nullable=False),
        sa.UniqueConstraint("id", name=op.f("uq_site_id")),
        sa.UniqueConstraint("slug", name=op.f("uq_site_slug")),
    )
    _table(
        "change",
        sa.Column("site_id", WHOLE, nullable=False),
        sa.Column("change_no", WHOLE),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("at", TEXT, nullable=False),
        sa.Column("note", TEXT),
        sa.Column("file_name", TEXT),
        sa.Column("file_hash", TEXT),
        sa.Column("heartbeat_at", TEXT),
        sa.Column("summary", TEXT),
        _points("change", "site_id", "site.fid"),
    )
    op.create_index("ix_change_site_no", "change", ["site_id", "change_no"])


def _former_versions_and_keys() -> None:
    """What records said before, and what files call them."""
    _table(
        "former_version",
        sa.Column("site_id", WHOLE, nullable=False),
        sa.Column("table_name", TEXT, nullable=False),
        sa.Column("record_fid", WHOLE, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("content", TEXT, nullable=False),
        sa.Column("change_id", WHOLE, nullable=False),
        sa.Column("ended_by", WHOLE, nullable=False),
        _points("former_version", "site_id", "site.fid"),
        _points("former_version", "ended_by", "change.fid"),
    )
    op.create_index("ix_former_version_record", "former_version", ["table_name", "record_fid", "version"])
    _table(
        "source_key",
        sa.Column("site_id", WHOLE, nullable=False),
        sa.Column("change_id", WHOLE, nullable=False),
        sa.Column("layer", TEXT, nullable=False),
        sa.Column("place", TEXT, nullable=False),
        sa.Column("key", TEXT, nullable=False),
        sa.Column("record_id", TEXT, nullable=False),
        sa.Column("content", TEXT, nullable=False),
        _points("source_key", "site_id", "site.fid"),
        _points("source_key", "change_id", "change.fid"),
    )
    op.create_index("ix_source_key_change_id", "source_key", ["change_id"])
    op.create_index("ix_source_key_site", "source_key", ["site_id", "layer", "place", "key"])


def _places_and_areas() -> None:
    """Named parts, outlines, what a tree could hit, pictures to draw on."""
    _versioned(
        "place",
        sa.Column("name", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("name_as_written", TEXT),
        sa.Column("lon_deg", REAL),
        sa.Column("lat_deg", REAL),
        sa.Column("x_m", REAL),
        sa.Column("y_m", REAL),
        sa.Column("cell", WHOLE),
        sa.Column("position_source", TEXT),
        sa.Column("external_id", TEXT),
        sa.Column("kept", TEXT),
    )
    op.create_index("ix_place_site_id", "place", ["site_id"])
    _versioned(
        "area",
        sa.Column("layer", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("use", TEXT),
        sa.Column("place_id", TEXT),
        sa.Column("keeper", TEXT),
        sa.Column("wkb", sa.LargeBinary()),
        sa.Column("typed_area_ha", REAL),
        sa.Column("area_source", TEXT),
        sa.Column("area_se_ha", REAL),
        sa.Column("counting_limit_cm", REAL),
        sa.Column("counting_complete", TEXT),
        sa.Column("counted_on", TEXT),
        sa.Column("valid_from", TEXT),
        sa.Column("valid_to", TEXT),
        sa.Column("external_id", TEXT),
        sa.Column("kept", TEXT),
    )
    op.create_index("ix_area_site_id", "area", ["site_id"])
    _versioned(
        "target",
        sa.Column("layer", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("use", TEXT),
        sa.Column("wkb", sa.LargeBinary(), nullable=False),
        sa.Column("external_id", TEXT),
        sa.Column("kept", TEXT),
    )
    op.create_index("ix_target_site_id", "target", ["site_id"])
    _versioned(
        "plan_image",
        sa.Column("name", TEXT, nullable=False),
        sa.Column("file_hash", TEXT, nullable=False),
        sa.Column("media_type", TEXT, nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("placement", TEXT),
        sa.Column("misfit_m", REAL),
        sa.Column("misfit_share", REAL),
    )
    op.create_index("ix_plan_image_site_id", "plan_image", ["site_id"])


def _trees() -> None:
    """Trees and their stems."""
    _versioned(
        "tree",
        sa.Column("tag", TEXT),
        sa.Column("place_id", TEXT),
        sa.Column("scientific_name", TEXT),
        sa.Column("name_as_written", TEXT),
        sa.Column("name_sure", TEXT),
        sa.Column("common_name", TEXT),
        sa.Column("genus", TEXT),
        sa.Column("status", TEXT, nullable=False),
        sa.Column("status_as_said", TEXT),
        sa.Column("lon_deg", REAL),
        sa.Column("lat_deg", REAL),
        sa.Column("x_m", REAL),
        sa.Column("y_m", REAL),
        sa.Column("cell", WHOLE),
        sa.Column("position_source", TEXT),
        sa.Column("position_accuracy_m", REAL),
        sa.Column("keeper", TEXT),
        sa.Column("planted_on", TEXT),
        sa.Column("external_id", TEXT),
        sa.Column("kept", TEXT),
    )
    op.create_index("ix_tree_site_cell", "tree", ["site_id", "cell"])
    _versioned(
        "stem",
        sa.Column("tree_id", TEXT, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("status", TEXT, nullable=False),
    )
    op.create_index("ix_stem_site_id", "stem", ["site_id"])
    op.create_index("ix_stem_tree_id", "stem", ["tree_id"])
    _appended(
        "status_event",
        sa.Column("subject", TEXT, nullable=False),
        sa.Column("subject_id", TEXT, nullable=False),
        sa.Column("status", TEXT, nullable=False),
        sa.Column("happened_on", TEXT),
        sa.Column("date_precision", TEXT, nullable=False),
        sa.Column("as_said", TEXT),
        sa.Column("in_doubt", sa.Integer(), nullable=False),
        sa.Column("source", TEXT),
    )
    op.create_index("ix_status_event_site_id", "status_event", ["site_id"])


def _sizes_and_sights() -> None:
    """What was measured and seen."""
    _appended(
        "reading",
        sa.Column("stem_id", TEXT, nullable=False),
        sa.Column("quantity", TEXT, nullable=False),
        sa.Column("value", REAL),
        sa.Column("value_2", REAL),
        sa.Column("parts", TEXT),
        sa.Column("class_from_cm", REAL),
        sa.Column("class_to_cm", REAL),
        sa.Column("unit", TEXT, nullable=False),
        sa.Column("instrument", TEXT, nullable=False),
        sa.Column("calibration_id", TEXT),
        sa.Column("height_m", REAL),
        sa.Column("resolution", REAL),
        sa.Column("measured_on", TEXT),
        sa.Column("date_precision", TEXT, nullable=False),
        sa.Column("crew", TEXT),
        sa.Column("crew_kind", TEXT),
        sa.Column("round_id", TEXT),
        sa.Column("tilt_deg", REAL),
        sa.Column("side", TEXT),
        sa.Column("rule", TEXT),
        sa.Column("first_guess", REAL),
        sa.Column("first_entry", REAL),
        sa.Column("note", TEXT),
        sa.Column("source", TEXT),
    )
    op.create_index("ix_reading_site_id", "reading", ["site_id"])
    op.create_index("ix_reading_stem_id", "reading", ["stem_id"])
    _appended(
        "observation",
        sa.Column("tree_id", TEXT, nullable=False),
        sa.Column("what", TEXT, nullable=False),
        sa.Column("value", REAL),
        sa.Column("unit", TEXT),
        sa.Column("text", TEXT),
        sa.Column("method", TEXT),
        sa.Column("observed_on", TEXT),
        sa.Column("date_precision", TEXT, nullable=False),
        sa.Column("crew", TEXT),
        sa.Column("crew_kind", TEXT),
        sa.Column("round_id", TEXT),
        sa.Column("source", TEXT),
    )
    op.create_index("ix_observation_site_id", "observation", ["site_id"])
    op.create_index("ix_observation_tree_id", "observation", ["tree_id"])


def _looks() -> None:
    """Who looked, what was answered."""
    _appended(
        "inspection",
        sa.Column("area_id", TEXT),
        sa.Column("inspected_on", TEXT, nullable=False),
        sa.Column("level", TEXT, nullable=False),
        sa.Column("organisation", TEXT, nullable=False),
        sa.Column("qualification", TEXT),
        sa.Column("qualified", sa.Integer(), nullable=False),
        sa.Column("leaf_on", TEXT),
        sa.Column("not_seen", TEXT),
        sa.Column("next_look_by", TEXT),
        sa.Column("note", TEXT),
    )
    op.create_index("ix_inspection_site_id", "inspection", ["site_id"])
    _record(
        "inspection_answer",
        sa.Column("inspection_id", TEXT, nullable=False),
        sa.Column("tree_id", TEXT, nullable=False),
        sa.Column("answer", TEXT, nullable=False),
        sa.Column("note", TEXT),
    )
    op.create_index("ix_inspection_answer_inspection_id", "inspection_answer", ["inspection_id"])
    op.create_index("ix_inspection_answer_site_id", "inspection_answer", ["site_id"])
    _appended(
        "finding",
        sa.Column("flag_key", TEXT, nullable=False),
        sa.Column("rule_version", sa.Integer(), nullable=False),
        sa.Column("tree_id", TEXT, nullable=False),
        sa.Column("inspection_id", TEXT),
        sa.Column("found", TEXT, nullable=False),
        sa.Column("to_do", TEXT),
        sa.Column("looked_on", TEXT, nullable=False),
        sa.Column("look_again_by", TEXT),
        sa.Column("capacity", TEXT, nullable=False),
        sa.Column("evidence", TEXT),
    )
    op.create_index("ix_finding_site_id", "finding", ["site_id"])


def _campaigns_and_questions() -> None:
    """Measuring rounds, crews, and what waits for an answer."""
    _versioned(
        "round",
        sa.Column("name", TEXT, nullable=False),
        sa.Column("from_on", TEXT, nullable=False),
        sa.Column("to_on", TEXT),
        sa.Column("instrument", TEXT),
        sa.Column("unit", TEXT),
        sa.Column("height_m", REAL),
    )
    op.create_index("ix_round_site_id", "round", ["site_id"])
    _versioned(
        "crew",
        sa.Column("round_id", TEXT),
        sa.Column("code", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
    )
    op.create_index("ix_crew_site_id", "crew", ["site_id"])
    _table(
        "question",
        sa.Column("site_id", WHOLE, nullable=False),
        sa.Column("change_id", WHOLE, nullable=False),
        sa.Column("subject", TEXT, nullable=False),
        sa.Column("subject_id", TEXT),
        sa.Column("what", TEXT, nullable=False),
        sa.Column("detail", TEXT, nullable=False),
        sa.Column("row", WHOLE),
        sa.Column("proposal", TEXT),
        _points("question", "site_id", "site.fid"),
        _points("question", "change_id", "change.fid"),
    )
    op.create_index("ix_question_change_id", "question", ["change_id"])
    op.create_index("ix_question_site_id", "question", ["site_id"])
    _record(
        "settling",
        sa.Column("subject", TEXT, nullable=False),
        sa.Column("subject_id", TEXT, nullable=False),
        sa.Column("what", TEXT, nullable=False),
        sa.Column("answer", TEXT, nullable=False),
        sa.Column("at", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
    )
    op.create_index("ix_settling_site_id", "settling", ["site_id"])
