"""The changes of a site with every record that they wrote, so that a copy is kept without reading all anew.

A page is a part of a window, which is a run of whole changes: records that are written again later come in
the version that held at the window's end. What a page says of itself: ``complete_to`` is the number of the
last change that a copy holds whole once it has taken the page in, ``more`` whether something follows now,
``next`` the address to go on with, now or later. A page is made whole before it leaves and is bounded in
records and bytes, so that a change of any size comes in pages of the same size.
"""

import hashlib
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

import orjson
from flask import Blueprint, Response, request
from flask_babel import gettext as _

from service.actors import visible
from service.errors import InvalidRequest, OtherHistory
from service.store import record_log
from service.store.engine import Connection
from service.store.record_log import Window
from service.store.site_rows import find_site
from service.web import current, frame

bp = Blueprint("change_feed", __name__, url_prefix="/api")

PAGE_RECORDS, MOST_RECORDS = 5000, 10_000
PAGE_BYTES = 8 * 2**20  # a page ends with the record that reaches it
HIGHEST = 2**53 - 1  # that every reader of JSON keeps


@dataclass(frozen=True)
class _Asked:
    """Where a copy stands: what it holds, within which window it reads, after which record."""

    since: int
    limit: int
    upto: int | None
    table: str
    key: int
    mark: str | None


@dataclass(frozen=True)
class _Page:
    records: dict[str, list[dict[str, Any]]]
    stopped_at: tuple[str, int] | None  # None where the window is done


@bp.get("/sites/<slug>/changes")
def api_changes(slug: str) -> Response:
    """The changes of a site after ``since``, in order, with the records that they wrote, a page of them.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not see it.
    InvalidRequest
        If ``since``, ``limit``, ``upto`` or ``after`` cannot be.
    OtherHistory
        If the site has no such change as the copy says that it holds.
    """
    audience, asked = visible(slug, current.actor()), _asked()
    with current.store().read() as connection:
        site = find_site(connection, slug)
        _require_same_history(connection, site, asked)
        tag = _tag(site, audience, asked)
        held = frame.unchanged(tag)
        if held is not None:
            return held
        said = _answer(connection, site, asked)
    response = Response(orjson.dumps(said), content_type="application/json")
    response.headers.add("Link", f'<{said["next"]}>; rel="next"')
    response.set_etag(tag)
    return response


def _require_same_history(connection: Connection, site: Any, asked: _Asked) -> None:
    known = record_log.mark_of(connection, site, asked.since)
    if known is None or (asked.mark is not None and asked.mark != known):
        raise OtherHistory(site.slug, asked.since, site.change_no)


def _tag(site: Any, audience: str, asked: _Asked) -> str:
    said = repr((site.id, site.created_at, site.change_no, audience, asked))
    return hashlib.sha256(said.encode()).hexdigest()[:32]


def _answer(connection: Connection, site: Any, asked: _Asked) -> dict[str, Any]:
    window = record_log.next_window(connection, site.fid, asked.since, asked.upto)
    page = _page(connection, site.fid, window, asked)
    complete_to = window.upto if page.stopped_at is None else asked.since
    mark = record_log.mark_of(connection, site, complete_to)
    on = {"since": complete_to, "mark": mark, "limit": asked.limit}
    if page.stopped_at is not None:
        on |= {"upto": window.upto, "after": "{}:{}".format(*page.stopped_at)}
    changes = page.records.pop("change", [])
    return {
        "site": _plain(record_log.site_row(connection, site, window.upto)),
        "since": asked.since,
        "upto": window.upto,
        "complete_to": complete_to,
        "last": site.change_no,
        "more": complete_to < site.change_no,
        "next": f"/api/sites/{site.slug}/changes?{urlencode(on)}",
        "changes": changes,
        "records": page.records,
    }


def _page(connection: Connection, site_fid: int, window: Window, asked: _Asked) -> _Page:
    records: dict[str, list[dict[str, Any]]] = {}
    left, room, last = asked.limit, PAGE_BYTES, (asked.table, asked.key)
    for name in record_log.TABLES[record_log.TABLES.index(asked.table) :]:
        after = asked.key if name == asked.table else 0
        names = record_log.columns_of(name)
        rows = record_log.record_rows(connection, site_fid, name, window, after=after, most=left + 1)
        for row in rows:
            if left <= 0 or room <= 0:
                return _Page(records, last)
            left, last = left - 1, (name, int(row[0]))
            room -= sum(len(cell) if isinstance(cell, str | bytes) else 8 for cell in row)
            records.setdefault(name, []).append(_plain(dict(zip(names, row, strict=True))))
    return _Page(records, None)


def _plain(cells: dict[str, Any]) -> dict[str, Any]:
    """Return a record as JSON carries it: structured text as objects, bytes as hex."""
    return {name: _value(name, value) for name, value in cells.items()}


def _value(name: str, value: Any) -> Any:
    if isinstance(value, bytes):
        return value.hex()
    return orjson.loads(value) if name in record_log.JSON_TEXT and value is not None else value


def _asked() -> _Asked:
    since = _whole("since", 0, 0, HIGHEST)
    limit = _whole("limit", PAGE_RECORDS, 1, MOST_RECORDS)
    upto = _whole("upto", 0, since + 1, HIGHEST) or None
    table, key = _after()
    return _Asked(since, limit, upto, table, key, request.args.get("mark"))


def _after() -> tuple[str, int]:
    said = request.args.get("after")
    if said is None:
        return record_log.TABLES[0], 0
    name, _colon, number = said.partition(":")
    if name not in record_log.TABLES or not _is_whole(number):
        raise InvalidRequest([("after", _("Give what the page before says, or leave it out."))])
    return name, int(number)


def _whole(name: str, default: int, low: int, high: int) -> int:
    said = request.args.get(name)
    if said is None:
        return default
    if _is_whole(said) and low <= int(said) <= high:
        return int(said)
    raise InvalidRequest([(name, _("Give a whole number from %(low)s to %(high)s.", low=low, high=high))])


def _is_whole(said: str) -> bool:
    return said.isascii() and said.isdecimal() and len(said) <= 16 and int(said) <= HIGHEST
