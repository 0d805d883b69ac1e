"""The server where addresses begin with https: cheroot with a handshake that holds nobody up.

A connection waits without a thread until something comes from it; the handshake is made by the thread that
answers, so that a phone that stops in the middle of it keeps one of many threads for a while, not the door.
TLS 1.2 or newer (RFC 9325, section 3.1.1).
"""

import logging
import socket
import ssl
from typing import Any
from wsgiref.types import WSGIApplication

from cheroot import wsgi
from cheroot.errors import FatalSSLAlert
from cheroot.makefile import MakeFile
from cheroot.server import HeaderReader, HTTPConnection, HTTPRequest
from cheroot.ssl import Adapter

from service.certificates import Certificate
from service.errors import InvalidRequest

SILENCE_S = 20
MOST_CONNECTIONS = 1000
HEADER_BYTES = 64 * 2**10
_WANTS_TLS = (
    b"HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain; charset=utf-8\r\nConnection: close\r\n"
    b"Content-Length: 62\r\n\r\nThis address begins with https:// - type it that way, please.\n"
)
log = logging.getLogger(__name__)


def tls_context(certificate: Certificate, key: str) -> ssl.SSLContext:
    """Return what a server needs to speak TLS with a certificate.

    Raises
    ------
    InvalidRequest
        If the key is not that of the certificate, is locked by a password, or cannot be read.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(certificate.path, key, password=lambda: "")
    except (OSError, ValueError) as error:
        raise InvalidRequest(
            f"{key} is not the key of {certificate.path}, or is locked by a password. Name the two files "
            "that belong together with --cert and --key, the key without a password."
        ) from error
    return context


class _LateHandshake(Adapter):
    """Sockets that speak TLS from the first time that a thread reads from them."""

    def __init__(self, context: ssl.SSLContext) -> None:
        self.context = context

    def wrap(self, sock: socket.socket) -> tuple[ssl.SSLSocket, dict[str, str]]:
        """Return the socket with TLS round it, and what requests on it are told."""
        try:
            wrapped = self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        except OSError as error:
            raise FatalSSLAlert(*error.args) from error
        return wrapped, self.get_environ()

    def bind(self, sock: socket.socket) -> socket.socket:
        """Return the socket that listens, as it is."""
        return sock

    def makefile(self, sock: socket.socket, mode: str = "r", bufsize: int = -1) -> Any:
        """Return the socket as a file."""
        return MakeFile(sock, mode, bufsize)

    def get_environ(self) -> dict[str, str]:
        """Return what requests are told about the line they came by."""
        return {"wsgi.url_scheme": "https", "HTTPS": "on"}


class _PlainNames(HeaderReader):
    """Leaves out names with an underscore (the library's own reader for this fails on every request)."""

    def _allow_header(self, key_name: bytes) -> bool:
        return b"_" not in key_name


class _Request(HTTPRequest):
    """A request in which ``X_Forwarded_For`` cannot pose as ``X-Forwarded-For``."""

    header_reader = _PlainNames()


class _Connection(HTTPConnection):
    """A connection whose handshake comes with its first request."""

    RequestHandlerClass = _Request
    is_new = True
    is_open = False

    def communicate(self) -> bool:
        """Answer a request; False where the connection is over."""
        if not self.is_open and not self._shaken():
            return False
        self.is_open = True
        return bool(super().communicate())  # type: ignore[no-untyped-call]

    def _shaken(self) -> bool:
        try:
            self.socket.do_handshake()
        except ssl.SSLError as error:
            log.info("%s: no TLS: %s", self.remote_addr, error.reason)
            if error.reason == "HTTP_REQUEST":
                self._ask_for_tls()
            return False
        except OSError as error:
            log.info("%s: left while TLS began: %s", self.remote_addr, error)
            return False
        return True

    def _ask_for_tls(self) -> None:
        try:
            socket.socket.sendall(self.socket, _WANTS_TLS)  # beside TLS, as the other side speaks none
        except OSError as error:
            log.info("%s: left: %s", self.remote_addr, error)


class TlsServer(wsgi.Server):
    """A server that speaks TLS only."""

    ConnectionClass = _Connection

    def __init__(
        self, app: WSGIApplication, place: tuple[str, int], context: ssl.SSLContext, threads: int
    ) -> None:
        super().__init__(place, app, numthreads=threads, server_name="Boleward", request_queue_size=128)
        self.ssl_adapter = _LateHandshake(context)
        self.timeout = SILENCE_S
        self.keep_alive_conn_limit = MOST_CONNECTIONS
        self.max_request_header_size = HEADER_BYTES

    def process_conn(self, conn: Any) -> None:
        """Give a connection to a thread once something came from it."""
        if conn.is_new:
            conn.is_new = False
            self.put_conn(conn)
        else:
            super().process_conn(conn)

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        """Write to the log of the program."""
        log.log(level, msg, exc_info=traceback)
