"""Former versions are found by the change that wrote or ended them."""

from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_index("ix_former_version_change_id", "former_version", ["change_id"])
    op.create_index("ix_former_version_ended_by", "former_version", ["ended_by"])
