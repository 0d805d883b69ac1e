"""The real program in a process of its own, with a large ground, for clients that speak HTTP to it."""

import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.clients.many_trees import write_list

ROOT = Path(__file__).parents[2]


def program(store, *words):
    """The command line on a store."""
    return [sys.executable, "-m", "service.cli.main", "--store", str(store), *words]


@contextmanager
def serving(store, log):
    """The address of the program that serves a store until the block ends."""
    with log.open("w") as said:
        server = subprocess.Popen(
            program(store, "serve", "--port", "0"),
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=said,
            text=True,
        )
    try:
        line = server.stdout.readline()
        assert "http://" in line, f"{line}\n{log.read_text()}"
        yield line.split()[1].rstrip("/")
    finally:
        server.send_signal(signal.SIGTERM)
        server.wait(30)
        server.stdout.close()


@pytest.fixture(scope="session")
def listed(tmp_path_factory):
    """The rows of the large list, and the store that took it in."""
    folder = tmp_path_factory.mktemp("clients")
    rows = write_list(folder / "trees.csv")
    store = folder / "store.sqlite"
    command = program(store, "import", str(folder / "trees.csv"), "--site", "large", "--json")
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr + done.stdout
    return rows, store


@pytest.fixture(scope="session")
def address(listed):
    """The address of the server with the large ground."""
    _, store = listed
    with serving(store, store.with_suffix(".log")) as where:
        yield where


@pytest.fixture(scope="session")
def rows(listed):
    """The rows of the list as they were written."""
    return listed[0]
