"""Whether a request wants data or a page: data unless a page is asked for by name."""

from collections.abc import Sequence

from flask import request
from flask_babel import gettext as _

from service.errors import InvalidRequest, NotAcceptable

PAGE = "text/html"
FORMS = ("json", "html")


def form_asked(media_types: Sequence[str]) -> str:
    """Return ``json`` or ``html``: by ``?f=``, else by ``Accept``, where ``*/*`` means data.

    Parameters
    ----------
    media_types
        The types that the data can be given as, the first one by default.

    Raises
    ------
    InvalidRequest
        If ``f`` is neither.
    NotAcceptable
        If ``Accept`` allows neither.
    """
    said = request.args.get("f")
    if said is not None:
        if said not in FORMS:
            raise InvalidRequest([("f", _("%(said)s is none of: json, html.", said=repr(said)[:40]))])
        return said
    if wants_page(media_types):
        return "html"
    if request.accept_mimetypes and max(map(_quality, media_types)) <= 0:
        raise NotAcceptable([*media_types, PAGE])
    return "json"


def wants_page(media_types: Sequence[str]) -> bool:
    """Whether ``Accept`` prefers a page: by name, and not below data that are named too."""
    page, data = _quality(PAGE), max(map(_quality, media_types))
    if page <= 0:
        return False
    named = {_bare(value) for value in request.accept_mimetypes.values()}
    if PAGE not in named:
        return data <= 0
    by_name = any(_bare(media_type) in named for media_type in media_types)
    return page > data or (page == data and not by_name)


def _quality(media_type: str) -> float:
    """How much a type is wanted, 0 to 1, by the most particular thing said of it, parameters left aside."""
    bare = _bare(media_type)
    ranges = (bare, f"{bare.partition('/')[0]}/*", "*/*")
    said: dict[str, float] = {}
    for value, quality in request.accept_mimetypes:
        said[_bare(value)] = max(quality, said.get(_bare(value), 0.0))
    return next((said[name] for name in ranges if name in said), 0.0)


def _bare(media_type: str) -> str:
    return media_type.partition(";")[0].strip().lower()
