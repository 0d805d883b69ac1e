"""The server: pages on this computer, the page for phones beside them, an end without cutting off."""

import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from types import FrameType
from wsgiref.types import WSGIApplication

from service.certificates import SERVER, Certificate, server_in
from service.errors import InvalidRequest, StoreUnavailable
from service.listeners import Running, started
from service.settings import Settings, is_loopback
from service.tls_serving import tls_context
from service.web.only_field import only_field

GRACE_S = 20.0
HOME = "127.0.0.1"
EVERYWHERE = "0.0.0.0"


@dataclass(frozen=True)
class Addresses:
    """Where the pages are, and where phones go; None where nobody else can reach the server."""

    pages: str
    phones: str | None = None


def certificate_of(settings: Settings) -> Certificate | None:
    """Return the certificate that the settings name; None where addresses begin with http.

    Raises
    ------
    InvalidRequest
        If there is none, or it has ended, or is not for the address that is to be served.
    """
    if not settings.https and settings.cert_file is None:
        return None
    path = settings.cert_file or settings.data_folder / "certs" / SERVER
    if not path.exists():
        raise InvalidRequest(
            f"There is no certificate in {path}. Make one with 'boleward certs --name ...', naming what "
            "phones call this computer, such as yard.lan or 192.168.1.20."
        )
    certificate = server_in(path)
    if certificate.ends_at <= datetime.now(UTC):
        advice = "Get a new one." if settings.cert_file else "Make a new one with 'boleward certs'."
        raise InvalidRequest(f"The certificate in {path} ended on {certificate.ends_at:%Y-%m-%d}. {advice}")
    _require_name(certificate, settings)
    return certificate


def own_names(settings: Settings, certificate: Certificate | None) -> Settings:
    """Return the settings in which the names of the certificate are names of this computer."""
    names = certificate.names if certificate else ()
    return settings.model_copy(update={"trusted_hosts": (*settings.trusted_hosts, *names)})


def serve_until_stopped(app: WSGIApplication, settings: Settings, ready: Callable[[Addresses], None]) -> None:
    """Serve until SIGTERM or Ctrl+C: stop accepting, finish what is in flight, close.

    On an address that others can reach, only what phones use answers; the pages go on on this computer.

    Raises
    ------
    InvalidRequest
        If an address is not of this computer, a port is taken, or the certificate cannot be used.
    StoreUnavailable
        If a server stops by itself.
    """
    certificate = certificate_of(settings)
    context = tls_context(certificate, str(settings.key_file or certificate.path)) if certificate else None
    running: list[Running] = []
    ending = threading.Event()
    try:
        if is_loopback(settings.host):
            port = _free_port(settings.host, settings.port)
            running.append(started(app, settings, settings.host, port, context))
            addresses = Addresses(_address(settings, certificate, running[0].port))
        else:
            _require_port(settings)
            running.append(started(only_field(app), settings, settings.host, settings.port, context))
            running.append(started(app, settings, HOME, _free_port(HOME, settings.port), None))
            phones = _address(settings, certificate, running[0].port)
            addresses = Addresses(f"http://{HOME}:{running[1].port}/", f"{phones}field/")
        with _noting_signals(ending):
            ready(addresses)
            _wait(running, ending)
    finally:
        _end_all(running)


@contextmanager
def _noting_signals(ending: threading.Event) -> Iterator[None]:
    """On SIGTERM let what waits for ``ending`` go on; on a second one leave at once."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        if ending.is_set():
            os._exit(0)
        ending.set()

    former = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        if not ending.is_set():
            signal.signal(signal.SIGTERM, former)


def _wait(running: Sequence[Running], ending: threading.Event) -> None:
    try:
        while not ending.wait(0.5):
            if not all(server.is_alive() for server in running):
                raise StoreUnavailable("The server stopped by itself. Start it again; nothing is lost.")
    except KeyboardInterrupt:
        ending.set()


def _end_all(running: Sequence[Running]) -> None:
    deadline = time.monotonic() + GRACE_S
    for server in running:
        server.rest()
    for server in running:
        server.end(deadline)


def _require_name(certificate: Certificate, settings: Settings) -> None:
    """A number that is served has to be in the certificate, unless phones use a name that it holds."""
    host, names = settings.host, certificate.names
    if is_loopback(host):
        found = host in names
    else:
        found = host in (*names, EVERYWHERE) or any(not _is_number(name) for name in names)
    if not found:
        raise InvalidRequest(
            f"The certificate in {certificate.path} is for {', '.join(names) or 'no name'}, not for {host}. "
            f"Make one with 'boleward certs --new-authority --name {host}', or serve what it is for."
        )


def _address(settings: Settings, certificate: Certificate | None, port: int) -> str:
    """The address to type: what the certificate holds, else the number that is served."""
    host = settings.host if settings.host != EVERYWHERE else _own_number()
    if certificate is None:
        return f"http://{host}:{port}/"
    return f"https://{host if host in certificate.names else certificate.names[0]}:{port}/"


def _own_number() -> str:
    """The number of this computer in its network; a socket of datagrams that is connected sends nothing."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: for documentation, never anybody's
            return str(probe.getsockname()[0])
        except OSError:
            return "<number of this computer>"


def _is_number(name: str) -> bool:
    try:
        socket.inet_pton(socket.AF_INET6 if ":" in name else socket.AF_INET, name)
    except OSError:
        return False
    return True


def _require_port(settings: Settings) -> None:
    """Phones keep what is unsent under this very address, so that it never moves by itself."""
    if not _is_free(settings.host, settings.port):
        raise InvalidRequest(
            f"{settings.host} is not a number of this computer, or its port {settings.port} is taken. Name "
            "another with --host or --port, and keep to it: phones hold what is unsent under this address."
        )


def _is_free(host: str, port: int) -> bool:
    with socket.socket(socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def _free_port(host: str, port: int) -> int:
    for candidate in range(port, min(port + 30, 65_536)):
        if _is_free(host, candidate):
            return candidate
    raise InvalidRequest(f"Port {port} is taken. Name a free one with --port.")
