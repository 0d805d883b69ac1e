"""``boleward serve --open`` opens the address in a browser and brings no samples."""

import os
import socket
import subprocess
import sys
import time
import urllib.request

import pytest


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture
def served(tmp_path):
    """A server started by the command, with a browser that only notes what it was asked to open."""
    note = tmp_path / "opened"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf %s "$1" > {note}\n')
    browser.chmod(0o755)
    port = free_port()
    command = [sys.executable, "-m", "service.cli.main", "--store", str(tmp_path / "store.sqlite")]
    process = subprocess.Popen(
        [*command, "serve", "--open", "--port", str(port)],
        env={**os.environ, "BROWSER": f"{browser} %s"},
        stdout=subprocess.PIPE,
        text=True,
    )
    yield process, port, note
    process.terminate()
    assert process.wait(30) == 0
    process.stdout.close()


def test_the_address_is_opened_and_the_store_is_as_it_was(served):
    process, port, note = served
    address = f"http://127.0.0.1:{port}/"
    assert process.stdout.readline() == f"Open {address} in a browser. Stop with Ctrl+C.\n"
    deadline = time.monotonic() + 20
    while not (note.exists() and note.read_text()) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert note.read_text() == address
    with urllib.request.urlopen(f"{address}api/sites") as answer:
        assert answer.read().strip() == b"[]"
