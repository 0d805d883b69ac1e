"""The first tables."""

from alembic import op

from service.store.schema import metadata

revision = "0001"
down_revision = None


def upgrade() -> None:
    metadata.create_all(op.get_bind())
