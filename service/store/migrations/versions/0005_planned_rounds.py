"""Planned rounds with their day page, the words of crews, and what a site lets pupils measure."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

TEXT = sa.Text()
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
REAL: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
OF_A_ROUND = (
    "status",
    "plan",
    "day_page",
    "meeting",
    "started_at",
    "started_anyway",
    "closed_at",
    "closing",
)


def upgrade() -> None:
    op.add_column("site", sa.Column("unseen_girth_cm", REAL))
    op.add_column("site", sa.Column("wind_limit", TEXT))
    for name in OF_A_ROUND:
        op.add_column("round", sa.Column(name, TEXT))
    op.create_table(
        "crew_word",
        sa.Column("fid", WHOLE, autoincrement=True, nullable=False),
        sa.Column("site_id", WHOLE, nullable=False),
        sa.Column("crew_id", TEXT, nullable=False),
        sa.Column("salt", TEXT, nullable=False),
        sa.Column("word_hash", TEXT, nullable=False),
        sa.Column("made_at", TEXT, nullable=False),
        sa.Column("ends_at", TEXT, nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.fid"], name=op.f("fk_crew_word_site_id")),
        sa.PrimaryKeyConstraint("fid", name=op.f("pk_crew_word")),
        sa.UniqueConstraint("crew_id", name=op.f("uq_crew_word_crew_id")),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index("ix_crew_word_site_id", "crew_word", ["site_id"])
