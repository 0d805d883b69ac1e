"""Addresses as others see them: whole, from the public address where one is set."""

from typing import Any
from urllib.parse import urlencode

from flask import request

from service.web import current


def absolute(path: str, **query: Any) -> str:
    """Return the whole address of a path of ours; what of the query is None stays away.

    Without a public address it begins as the request did, so that whoever asked can ask again.
    """
    base = current.settings().public_address or request.host_url.rstrip("/")
    said = urlencode([(name, value) for name, value in query.items() if value is not None])
    return f"{base}{path}?{said}" if said else f"{base}{path}"
