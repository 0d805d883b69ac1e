"""The kinds of table that the store has, and the types of their columns."""

import sqlalchemy as sa
from sqlalchemy import Column, Index, MetaData, Table

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

Whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
Real: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
Text = sa.Text()
Blob = sa.LargeBinary()
Flag = sa.Integer()


def fid_column() -> Column[int]:
    """The number of a row, never used again."""
    return Column("fid", Whole, primary_key=True, autoincrement=True)


def site_column() -> Column[int]:
    """The site that a row belongs to."""
    return Column("site_id", Whole, sa.ForeignKey("site.fid"), nullable=False)


def change_column() -> Column[int]:
    """The change that wrote a row."""
    return Column("change_id", Whole, sa.ForeignKey("change.fid"), nullable=False, index=True)


def record(name: str, *columns: Column[object] | Index) -> Table:
    """A table whose rows have an id, a site and the change that wrote them."""
    return Table(
        name,
        metadata,
        fid_column(),
        Column("id", Text, nullable=False, unique=True),
        site_column(),
        change_column(),
        *columns,
        sqlite_strict=True,
        sqlite_autoincrement=True,
    )


def versioned(name: str, *columns: Column[object] | Index) -> Table:
    """A record that may change: the current version; former ones are in ``former_version``."""
    return record(
        name,
        Column("version", sa.Integer, nullable=False, default=1),
        Column("void", Flag, nullable=False, default=0),
        *columns,
    )


def appended(name: str, *columns: Column[object] | Index) -> Table:
    """A record that never changes, only is superseded. ``supersedes`` is no foreign key: order-free."""
    return record(
        name,
        Column("supersedes", Text, index=True),
        Column("void", Flag, nullable=False, default=0),
        Column("reason", Text),
        Column("recorded_at", Text),
        Column("received_at", Text, nullable=False),
        Column("actor", Text, nullable=False),
        *columns,
    )
