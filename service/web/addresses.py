"""Addresses as others see them: whole, from the public address where one is set."""

from typing import Any
from urllib.parse import urlencode, urlsplit

from flask import request

from service.settings import is_loopback
from service.web import current

EVERY_ADDRESS = "0.0.0.0"


def absolute(path: str, **query: Any) -> str:
    """Return the whole address of a path of ours; what of the query is None stays away.

    Without a public address it begins as the request did, so that whoever asked can ask again.
    """
    base = current.settings().public_address or request.host_url.rstrip("/")
    said = urlencode([(name, value) for name, value in query.items() if value is not None])
    return f"{base}{path}?{said}" if said else f"{base}{path}"


def lasting() -> str | None:
    """Return the address that pages keep, such as https://trees.example.org; None where none is set.

    Pages need a name of their own: a public address with a path serves open data only.
    """
    said = current.settings().public_address
    return said if said and not urlsplit(said).path else None


def for_phones() -> str | None:
    """Return the address at which a phone opens the page for measuring; None where the server knows none.

    Without a lasting address it is the name, else the number, at which this server listens for phones.
    """
    if said := lasting():
        return f"{said}/field/"
    settings = current.settings()
    number = "" if is_loopback(settings.host) or settings.host == EVERY_ADDRESS else settings.host
    name = "" if is_loopback(settings.host) else next(iter(settings.trusted_hosts), number)
    if not name or not settings.port:
        return None
    scheme, usual = ("https", 443) if settings.https else ("http", 80)
    port = "" if settings.port == usual else f":{settings.port}"
    return f"{scheme}://{name}{port}/field/"
