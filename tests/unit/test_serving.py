"""The server ends without cutting anybody off."""

import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request

import pytest

SLOW = """
import time
from service.serving import serve_until_stopped
from service.settings import Settings

def app(environ, start_response):
    time.sleep(1.5)
    start_response("200 OK", [("Content-Type", "text/plain"), ("Content-Length", "300000")])
    return [b"x" * 300000]

serve_until_stopped(app, Settings(port={port}), lambda addresses: print(addresses.pages, flush=True))
print("ended", flush=True)
"""


@pytest.fixture
def slow_server():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-c", SLOW.format(port=port)], stdout=subprocess.PIPE, text=True
    )
    yield process, process.stdout.readline().strip()
    process.kill()
    process.wait()
    process.stdout.close()


def test_a_request_in_flight_is_answered_whole_before_a_sigterm_ends_the_server(slow_server):
    process, address = slow_server
    answers = []

    def ask():
        with urllib.request.urlopen(address, timeout=20) as answer:
            answers.append(len(answer.read()))

    asking = threading.Thread(target=ask)
    asking.start()
    time.sleep(0.5)
    process.send_signal(signal.SIGTERM)
    asking.join(20)
    assert answers == [300_000]
    assert process.wait(10) == 0
