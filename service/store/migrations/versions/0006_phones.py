"""Phones that came in with a word, pictures that they took, and what waits for a person."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

TEXT = sa.Text()
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _make_tokens()
    _make_photos()
    _make_set_aside()


def _make_tokens() -> None:
    _make(
        "crew_token",
        sa.Column("crew_id", TEXT, nullable=False),
        sa.Column("token_hash", TEXT, nullable=False),
        sa.Column("phone", TEXT, nullable=False),
        sa.Column("made_at", TEXT, nullable=False),
        sa.Column("ends_at", TEXT, nullable=False),
        sa.Column("last_seen_at", TEXT),
        sa.UniqueConstraint("token_hash", name=op.f("uq_crew_token_token_hash")),
    )
    op.create_index("ix_crew_token_crew_id", "crew_token", ["crew_id"])


def _make_photos() -> None:
    _make_record(
        "photo",
        sa.Column("supersedes", TEXT),
        sa.Column("void", sa.Integer(), nullable=False),
        sa.Column("reason", TEXT),
        sa.Column("recorded_at", TEXT),
        sa.Column("received_at", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("photo_id", TEXT, nullable=False),
        sa.Column("subject", TEXT, nullable=False),
        sa.Column("subject_id", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("taken_at", TEXT),
        sa.Column("crew", TEXT),
        sa.Column("crew_kind", TEXT),
        sa.Column("round_id", TEXT),
    )
    for name in ("supersedes", "photo_id", "subject_id"):
        op.create_index(f"ix_photo_{name}", "photo", [name])
    _make_record(
        "picture",
        sa.Column("sent_hash", TEXT, nullable=False),
        sa.Column("file_hash", TEXT, nullable=False),
        sa.Column("media_type", TEXT, nullable=False),
        sa.Column("bytes", WHOLE, nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("received_at", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
    )


def _make_set_aside() -> None:
    _make_record(
        "set_aside",
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("void", sa.Integer(), nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("content", TEXT, nullable=False),
        sa.Column("why", TEXT, nullable=False),
        sa.Column("sent_format", sa.Integer(), nullable=False),
        sa.Column("crew", TEXT),
        sa.Column("crew_kind", TEXT),
        sa.Column("round_id", TEXT),
        sa.Column("recorded_at", TEXT),
        sa.Column("received_at", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("settled", TEXT),
        sa.Column("settled_why", TEXT),
        sa.Column("settled_on", TEXT),
        sa.Column("became", TEXT),
    )


def _make(name: str, *columns: sa.Column[object] | sa.UniqueConstraint) -> None:
    op.create_table(
        name,
        sa.Column("fid", WHOLE, autoincrement=True, nullable=False),
        sa.Column("site_id", WHOLE, nullable=False),
        *columns,
        sa.ForeignKeyConstraint(["site_id"], ["site.fid"], name=op.f(f"fk_{name}_site_id")),
        sa.PrimaryKeyConstraint("fid", name=op.f(f"pk_{name}")),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_index(f"ix_{name}_site_id", name, ["site_id"])


def _make_record(name: str, *columns: sa.Column[object]) -> None:
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
    for column in ("site_id", "change_id"):
        op.create_index(f"ix_{name}_{column}", name, [column])
