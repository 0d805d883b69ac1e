"""Servers that answer in threads of their own: waitress for http, cheroot for https."""

import ssl
import threading
import time
from typing import Any, Protocol
from wsgiref.types import WSGIApplication

from waitress import wasyncore
from waitress.server import create_server

from service.settings import Settings, is_loopback
from service.tls_serving import TlsServer

FIELD_BODY_BYTES = 64 * 2**20  # beyond it the line is cut; what is refused with a sentence is smaller
THREADS_FOR_ONE = 4  # a slow phone keeps a thread of a server with TLS, and none of the other


class Running(Protocol):
    """A server that answers in threads of its own."""

    port: int

    def is_alive(self) -> bool:
        """Whether it still listens."""

    def rest(self) -> None:
        """Accept nothing new."""

    def end(self, deadline: float) -> None:
        """Finish what is in flight, until the deadline on the clock of ``time.monotonic``, then close."""


class PlainListener:
    """waitress: one thread listens and sends, others answer."""

    def __init__(self, app: WSGIApplication, settings: Settings, host: str, port: int) -> None:
        self._sockets: dict[int, Any] = {}
        outside = {} if is_loopback(host) else {"max_request_body_size": FIELD_BODY_BYTES}
        self._server = create_server(
            app,
            map=self._sockets,
            host=host,
            port=port,
            threads=settings.threads,
            connection_limit=1000,
            channel_timeout=20,
            ident=None,
            **outside,
        )
        self.port = int(self._server.effective_port)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()

    def is_alive(self) -> bool:
        """Whether it still listens."""
        return self._thread.is_alive()

    def rest(self) -> None:
        """Accept nothing new."""
        self._server.accepting = False

    def end(self, deadline: float) -> None:
        """Finish what is in flight, until the deadline, then close."""
        while self.is_alive() and time.monotonic() < deadline and self._is_busy():
            time.sleep(0.05)
        if self.is_alive():
            self._server.trigger.pull_trigger(lambda: wasyncore.close_all(self._sockets, ignore_all=True))
            self._thread.join(5)
        self._server.task_dispatcher.shutdown()

    def _is_busy(self) -> bool:
        channels = list(self._server.active_channels.values())
        waits = bool(self._server.task_dispatcher.queue)
        return waits or any(channel.requests or channel.total_outbufs_len for channel in channels)


class TlsListener:
    """cheroot: as many threads as slow phones may keep."""

    def __init__(
        self, app: WSGIApplication, settings: Settings, host: str, port: int, context: ssl.SSLContext
    ) -> None:
        self._server = TlsServer(app, (host, port), context, settings.threads * THREADS_FOR_ONE)
        most = FIELD_BODY_BYTES if not is_loopback(host) else settings.max_upload_mb * 2**20
        self._server.max_request_body_size = most
        self._server.prepare()
        self.port = int(self._server.bind_addr[1])
        self._thread = threading.Thread(target=self._server.serve, daemon=True)
        self._thread.start()

    def is_alive(self) -> bool:
        """Whether it still listens."""
        return self._thread.is_alive()

    def rest(self) -> None:
        """Nothing: ``end`` closes the door first."""

    def end(self, deadline: float) -> None:
        """Finish what is in flight, until the deadline, then close."""
        self._server.shutdown_timeout = max(0.1, deadline - time.monotonic())
        self._server.stop()
        self._thread.join(5)


def started(
    app: WSGIApplication, settings: Settings, host: str, port: int, context: ssl.SSLContext | None
) -> Running:
    """Return a server that answers at a port of an address, by TLS where there is a context."""
    if context is not None:
        return TlsListener(app, settings, host, port, context)
    return PlainListener(app, settings, host, port)
