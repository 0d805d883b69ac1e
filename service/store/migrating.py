"""Bringing a store to the schema of this version."""

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection

from service.errors import StoreTooNew, StoreUnavailable
from service.store.engine import Store, connect
from service.store.schema import metadata


def open_store(address: str) -> Store:
    """Return the store at a path or database URL, made or brought to this version's schema.

    Raises
    ------
    StoreTooNew
        If a newer version of the program wrote it.
    StoreUnavailable
        If it cannot be opened, or is something else.
    """
    store = connect(address)
    try:
        bring_up_to_date(store)
    except sa.exc.DatabaseError as error:
        store.close()
        raise StoreUnavailable(
            f"{address} is not a store of this program ({error.orig}). Name another file with --store."
        ) from error
    except BaseException:
        store.close()
        raise
    return store


def bring_up_to_date(store: Store) -> None:
    """Run the schema changes that the store has not seen, each with its record in one transaction.

    Raises
    ------
    StoreTooNew
        If the store knows a schema change that this version does not.
    StoreUnavailable
        If it is a database of something else.
    """
    config = _config()
    scripts = ScriptDirectory.from_config(config)
    with store.read() as connection:
        current = MigrationContext.configure(connection).get_current_revision()
        if current is None:
            _require_room(store, connection)
    if current == scripts.get_current_head():
        return
    if current is not None and current not in {script.revision for script in scripts.walk_revisions()}:
        raise StoreTooNew(
            f"{store.address} was written by a newer version of this program (schema {current}). "
            "Install that version to open it; nothing was changed."
        )
    with store.write() as connection:
        if store.engine.dialect.name == "postgresql":
            connection.execute(sa.text("SELECT pg_advisory_xact_lock(7036281)"))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    _settle(store)


def _require_room(store: Store, connection: Connection) -> None:
    """Check that tables can be made: a file is empty, a server has no table of one of our names."""
    there = set(sa.inspect(connection).get_table_names()) - {"alembic_version"}
    strange = there if store.folder is not None else there & set(metadata.tables)
    if strange:
        raise StoreUnavailable(
            f"{store.address} is not a store of this program: it has other tables ({sorted(strange)[0]}). "
            "Name another file or database with --store; nothing was changed."
        )


def upgrade_within(connection: Connection, revision: str) -> None:
    """Run the schema changes up to ``revision`` inside an open transaction."""
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", "service.store:migrations")
    config.set_main_option("path_separator", "os")
    return config


def _settle(store: Store) -> None:
    if store.engine.dialect.name == "sqlite":
        with store.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql(
                "PRAGMA wal_checkpoint(TRUNCATE)"
            )
