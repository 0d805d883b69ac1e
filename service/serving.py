"""The server: waitress on loopback, ended by finishing what is in flight."""

import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any
from wsgiref.types import WSGIApplication

from waitress.server import create_server

from service.errors import InvalidRequest
from service.settings import Settings

GRACE_S = 20.0


def serve_until_stopped(app: WSGIApplication, settings: Settings, ready: Callable[[str], None]) -> None:
    """Serve until SIGTERM or Ctrl+C: stop accepting, finish what is in flight, close.

    Raises
    ------
    InvalidRequest
        If the address is not of this computer, or the port is taken.
    """
    if settings.host not in ("127.0.0.1", "localhost", "::1"):
        raise InvalidRequest(
            f"{settings.host} can be reached from other computers, and these pages have no passwords yet. "
            "Leave --host away."
        )
    port = settings.port if _free(settings.host, settings.port) else _next_free(settings)
    server = create_server(
        app,
        host=settings.host,
        port=port,
        threads=settings.threads,
        connection_limit=1000,
        channel_timeout=20,
        ident=None,
    )
    with _ending_on_signal(server):
        ready(f"http://{settings.host}:{server.effective_port}/")
        server.run()


@contextmanager
def _ending_on_signal(server: Any) -> Iterator[None]:
    """On SIGTERM accept nothing new, wait for what is in flight, then end; again on a second SIGTERM."""
    ending = threading.Event()

    def stop(_signal: int, _frame: FrameType | None) -> None:
        if ending.is_set():
            raise SystemExit(0)
        ending.set()
        server.accepting = False
        threading.Thread(target=_end_when_idle, args=(server,), daemon=True).start()

    former = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, former)


def _end_when_idle(server: Any) -> None:
    """Wait until nothing is asked and everything is sent, then wake the server's thread to end."""
    deadline = time.monotonic() + GRACE_S
    while time.monotonic() < deadline and _busy(server):
        time.sleep(0.05)
    signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGTERM)


def _busy(server: Any) -> bool:
    channels = list(server.active_channels.values())
    return bool(server.task_dispatcher.queue) or any(c.requests or c.total_outbufs_len for c in channels)


def _free(host: str, port: int) -> bool:
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def _next_free(settings: Settings) -> int:
    for port in range(settings.port + 1, settings.port + 30):
        if _free(settings.host, port):
            return port
    raise InvalidRequest(f"Port {settings.port} is taken. Name a free one with --port.")
