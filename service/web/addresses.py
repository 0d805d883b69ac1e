"""Addresses as others see them: whole, from the public address where one is set."""

from typing import Any
from urllib.parse import urlencode, urlsplit

from flask import request

from service.web import current


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
    """Return the address at which a phone opens the page for measuring; None where the server knows none."""
    said = lasting()
    return f"{said}/field/" if said else None
