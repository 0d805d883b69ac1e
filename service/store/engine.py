"""Opening a store: SQLite by path, PostgreSQL by URL."""

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cached_property
from itertools import count
from pathlib import Path
from threading import Lock
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import Connection as Connection
from sqlalchemy.engine import Engine
from sqlalchemy.engine import Row as Row

from service.errors import StoreUnavailable

_serials = count(1)
LONGEST_WAIT_S = 10  # for another writer


class Store:
    """An open store: short reading and writing transactions on one engine."""

    def __init__(self, engine: Engine, address: str) -> None:
        self.serial = next(_serials)  # tells stores of one process apart, also at one address
        self.engine = engine
        self.address = address
        self._own_folder: tempfile.TemporaryDirectory[str] | None = None
        self._writer = engine.execution_options(boleward_writes=True)
        # SQLite lets whoever looks first have the lock; in a queue nobody waits for seconds beside others
        self._turn = Lock() if engine.dialect.name == "sqlite" else None
        if engine.dialect.name == "postgresql":
            # a writer waits for the site's row and then sees what the one before it wrote
            self._writer = self._writer.execution_options(isolation_level="READ COMMITTED")

    @property
    def folder(self) -> Path | None:
        """The folder of a file store, where files beside it live; None for a server."""
        return Path(self.address).parent if self.engine.dialect.name == "sqlite" else None

    @cached_property
    def computed_folder(self) -> Path:
        """The folder for what was computed and may be thrown away; of a server store, one of this process."""
        if self.folder is not None:
            beside = self.folder / f"{Path(self.address).name}.computed"
            with suppress(OSError):
                beside.mkdir(exist_ok=True)
                if os.access(beside, os.W_OK):
                    return beside
        self._own_folder = tempfile.TemporaryDirectory(prefix="boleward-", ignore_cleanup_errors=True)
        return Path(self._own_folder.name)

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A transaction that sees one state of the store.

        Raises
        ------
        StoreUnavailable
            If the store cannot be read.
        """
        with _as_store_trouble(), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A transaction that may write; it holds the write lock from its first moment (SQLite).

        Raises
        ------
        StoreUnavailable
            If the store is locked for too long, full, or read-only.
        """
        with (
            self._in_turn(),
            _as_store_trouble(),
            self._writer.connect() as connection,
            connection.begin(),
        ):
            yield connection

    @contextmanager
    def _in_turn(self) -> Iterator[None]:
        """Let one thread of this process write at a time."""
        if self._turn is None:
            yield
            return
        if not self._turn.acquire(timeout=LONGEST_WAIT_S):
            raise StoreUnavailable(f"The store cannot be used: {plain_fault(Exception('locked'))}.")
        try:
            yield
        finally:
            self._turn.release()

    def close(self) -> None:
        """Let go of all connections."""
        self.engine.dispose()
        if self._own_folder is not None:
            self._own_folder.cleanup()


@contextmanager
def _as_store_trouble() -> Iterator[None]:
    try:
        yield
    except sa.exc.OperationalError as error:
        raise StoreUnavailable(f"The store cannot be used: {plain_fault(error.orig)}.") from error


def plain_fault(error: BaseException | None) -> str:
    """Return what a database or disk says of its trouble, with what to do where that is known."""
    text = str(error).strip().split("\n")[0].rstrip(".")
    if "disk is full" in text or "No space left" in text:
        return "the disk is full. Free some space and give the same command again; nothing was lost"
    if "disk I/O error" in text:
        return (
            "the disk did not do what was asked; it may be full, at a limit, or broken. Free some space or "
            "check it, and give the same command again; nothing was lost"
        )
    if "locked" in text:
        return "another program holds it. Try again in a moment"
    if "readonly" in text:
        return "it may only be read. Check who owns the file"
    return text


def connect(address: str) -> Store:
    """Return the store at a path or database URL, without looking at its schema.

    Raises
    ------
    StoreUnavailable
        If there is no such folder, or the driver is not installed.
    """
    if "://" in address and not address.startswith("sqlite"):
        return Store(_server_engine(address), address)
    path = Path(address.removeprefix("sqlite:///")).expanduser().resolve()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreUnavailable(f"The folder {path.parent} cannot be made: {error.strerror}.") from error
    engine = sa.create_engine(
        f"sqlite:///{path}",
        connect_args={"timeout": LONGEST_WAIT_S, "check_same_thread": False},
        poolclass=sa.pool.QueuePool,
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return Store(engine, str(path))


def _server_engine(address: str) -> Engine:
    url = sa.make_url(address)
    if url.drivername in ("postgresql", "postgres"):
        url = url.set(drivername="postgresql+psycopg")
    try:
        return sa.create_engine(url, pool_pre_ping=True, isolation_level="REPEATABLE READ")
    except ModuleNotFoundError as error:
        raise StoreUnavailable(
            "The PostgreSQL driver is not installed. Install Boleward with its extra 'postgresql'."
        ) from error


def _prepare_sqlite(raw: Any, _record: object) -> None:
    raw.isolation_level = None
    cursor: sqlite3.Cursor = raw.cursor()
    tables = {name for (name,) in cursor.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables or "alembic_version" in tables:  # the file of another program stays as it is
        cursor.execute("PRAGMA journal_mode=WAL")
    for pragma in (
        "synchronous=FULL",
        "foreign_keys=ON",
        f"busy_timeout={LONGEST_WAIT_S * 1000}",
        "trusted_schema=OFF",
        "temp_store=MEMORY",
        "cache_size=-65536",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("boleward_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
