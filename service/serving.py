"""The server: waitress on loopback, ended by finishing what is in flight."""

import signal
import socket
import threading
from collections.abc import Callable
from types import FrameType
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
        app, host=settings.host, port=port, threads=8, connection_limit=1000, channel_timeout=20, ident=None
    )
    _end_on_signal(server)
    ready(f"http://{settings.host}:{port}/")
    server.run()
    server.task_dispatcher.shutdown(cancel_pending=False, timeout=GRACE_S)


def _end_on_signal(server: object) -> None:
    def stop(_signal: int, _frame: FrameType | None) -> None:
        threading.Thread(target=_drain, args=(server,), daemon=True).start()

    signal.signal(signal.SIGTERM, stop)


def _drain(server: object) -> None:
    dispatcher = server.task_dispatcher  # type: ignore[attr-defined]
    server.accepting = False  # type: ignore[attr-defined]
    dispatcher.shutdown(cancel_pending=False, timeout=GRACE_S)
    signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)


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
