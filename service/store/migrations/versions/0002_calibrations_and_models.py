"""Calibrations of hands, models learned from a site, and what makes a stem awkward to measure."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

TEXT = sa.Text()
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.add_column("reading", sa.Column("awkward", TEXT))
    _record(
        "calibration",
        sa.Column("supersedes", TEXT),
        sa.Column("void", sa.Integer(), nullable=False),
        sa.Column("reason", TEXT),
        sa.Column("recorded_at", TEXT),
        sa.Column("received_at", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("crew", TEXT, nullable=False),
        sa.Column("crew_kind", TEXT),
        sa.Column("instrument", TEXT, nullable=False),
        sa.Column("counts", sa.Integer(), nullable=False),
        sa.Column("totals_cm", TEXT, nullable=False),
        sa.Column("calibrated_on", TEXT, nullable=False),
    )
    op.create_index(op.f("ix_calibration_supersedes"), "calibration", ["supersedes"])
    op.create_index("ix_calibration_site_id", "calibration", ["site_id"])
    _record(
        "site_model",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content", TEXT, nullable=False),
        sa.Column("fitted_at", WHOLE, nullable=False),
        sa.Column("adopted_by", TEXT, nullable=False),
        sa.Column("adopted_at", TEXT, nullable=False),
    )
    op.create_index("ix_site_model_site_id", "site_model", ["site_id"])


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
