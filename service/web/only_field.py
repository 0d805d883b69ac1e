"""The door to the rest of the network: only what is for phones goes through it."""

from collections.abc import Iterable
from contextvars import ContextVar
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

FIELD = "/field"
FILES = "/static/field/"
ICON = "/static/mark.svg"
TAGS = ("/t/", "/T/")  # what the code on a tag opens: on a phone the page for measuring

_through = ContextVar("through the door to the network", default=False)


def is_of_field(path: str) -> bool:
    """Whether an address belongs to what phones use."""
    return path in (FIELD, ICON) or path.startswith((f"{FIELD}/", FILES, *TAGS))


def is_from_network() -> bool:
    """Whether the request that is answered came through this door."""
    return _through.get()


def only_field(app: WSGIApplication) -> WSGIApplication:
    """Return an application that answers only what is for phones, and marks it for ``access``."""

    def answer(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        path = environ.get("PATH_INFO", "")
        if is_of_field(path):
            mark = _through.set(True)
            try:
                return app(environ, start_response)
            finally:
                _through.reset(mark)
        if path == "/":
            start_response("302 Found", [("Location", f"{FIELD}/"), ("Content-Length", "0")])
            return [b""]
        said = b"Here is only the page for measuring: /field/. Managers' pages open on the computer itself.\n"
        headers = [("Content-Type", "text/plain; charset=utf-8"), ("Content-Length", str(len(said)))]
        start_response("404 Not Found", headers)
        return [said]

    return answer
