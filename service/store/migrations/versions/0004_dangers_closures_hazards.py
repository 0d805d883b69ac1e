"""Dangers that were reported and answered, what is closed, and what endangers those who work."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

TEXT = sa.Text()
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
REAL: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
BLOB = sa.LargeBinary()


def upgrade() -> None:
    _appended(
        "danger_report",
        sa.Column("sight", TEXT, nullable=False),
        sa.Column("tree_id", TEXT),
        sa.Column("place", TEXT),
        sa.Column("lon_deg", REAL),
        sa.Column("lat_deg", REAL),
        sa.Column("x_m", REAL),
        sa.Column("y_m", REAL),
        sa.Column("text", TEXT),
        sa.Column("seen_on", TEXT),
        sa.Column("crew", TEXT),
        sa.Column("crew_kind", TEXT),
        sa.Column("round_id", TEXT),
        sa.Column("leader_did", TEXT),
        sa.Column("leader_called", TEXT),
        sa.Column("leader_at", TEXT),
    )
    _appended(
        "danger_answer",
        sa.Column("report_id", TEXT, nullable=False),
        sa.Column("did", TEXT, nullable=False),
        sa.Column("organisation", TEXT, nullable=False),
        sa.Column("qualification", TEXT),
        sa.Column("answered_on", TEXT, nullable=False),
        sa.Column("closure_id", TEXT),
    )
    _versioned(
        "closure",
        sa.Column("name", TEXT, nullable=False),
        sa.Column("tree_id", TEXT),
        sa.Column("radius_m", REAL),
        sa.Column("wkb", BLOB),
        sa.Column("from_on", TEXT, nullable=False),
        sa.Column("to_on", TEXT),
        sa.Column("why", TEXT, nullable=False),
        sa.Column("how_marked", TEXT),
        sa.Column("who_may_reopen", TEXT, nullable=False),
        sa.Column("reopened_on", TEXT),
        sa.Column("reopened_because", TEXT),
        sa.Column("reopened_by", TEXT),
    )
    _versioned(
        "hazard",
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("wkb", BLOB, nullable=False),
        sa.Column("note", TEXT),
        sa.Column("voltage_kv", REAL),
        sa.Column("barrier", sa.Integer(), nullable=False),
        sa.Column("valid_from", TEXT),
        sa.Column("valid_to", TEXT),
    )


def _appended(name: str, *columns: sa.Column[object]) -> None:
    shared: tuple[sa.Column[object], ...] = (
        sa.Column("supersedes", TEXT),
        sa.Column("void", sa.Integer(), nullable=False),
        sa.Column("reason", TEXT),
        sa.Column("recorded_at", TEXT),
        sa.Column("received_at", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
    )
    _record(name, *shared, *columns)
    op.create_index(op.f(f"ix_{name}_supersedes"), name, ["supersedes"])


def _versioned(name: str, *columns: sa.Column[object]) -> None:
    version: sa.Column[object] = sa.Column("version", sa.Integer(), nullable=False)
    void: sa.Column[object] = sa.Column("void", sa.Integer(), nullable=False)
    _record(name, version, void, *columns)


def _record(name: str, *columns: sa.Column[object]) -> None:
    op.create_table(
        name,
        sa.Column("fid", WHOLE, autoincrement=True, nullable=False),
        sa.Column("id", TEXT, nullable=False),
        sa.Column("site_id", WHOLE, nullable=False),
        sa.Column("change_id", WHOLE, nullable=False),
        *columns,
        sa.ForeignKeyConstraint(["site_id"], ["site.fid"], name=op.f(f"fk_{name}_site_id")),
        sa.ForeignKeyConstraint(["change_id"], ["change.fid"], name=op.f(f"fk_{name}_change_id")),
        sa.PrimaryKeyConstraint("fid", name=op.f(f"pk_{name}")),
        sa.UniqueConstraint("id", name=op.f(f"uq_{name}_id")),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index(op.f(f"ix_{name}_change_id"), name, ["change_id"])
    op.create_index(f"ix_{name}_site_id", name, ["site_id"])
