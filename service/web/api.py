"""The JSON API: lists of objects in the words of the nomenclature; batches answered item by item."""

from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

import orjson
from flask import Blueprint, Response, request
from flask_babel import gettext as _
from werkzeug.exceptions import BadRequest

from service import danger, entry
from service.actors import RIGHTS, Actor
from service.editions import edition, tag_of
from service.entry import Answer
from service.errors import Conflict, InvalidRequest
from service.layer_parts import properties_of
from service.store.engine import Store
from service.view import key_of, sites
from service.web import current, frame, reading_answers
from service.web.access import csrf

bp = Blueprint("api", __name__, url_prefix="/api")
csrf.exempt(bp)  # JSON only (access checks it), which no other site's form can send

PAGE_ITEMS, MOST_ITEMS = 1000, 10_000
BATCH_ITEMS = 5000
BODY_BYTES = 16 * 2**20
_WHOLE = 10**9

Enter = Callable[[Store, str, Actor, Sequence[Any]], list[Answer]]


@bp.get("/sites")
def api_sites() -> Response:
    """The sites, one's own first."""
    return _json([asdict(site) for site in sites(current.store(), current.actor())])


@bp.get("/sites/<slug>/figures")
def api_figures(slug: str) -> Response:
    """Figures of the site, its places and areas at a day, the whole site first; ``?since=`` adds changes."""
    view = current.site_view(slug)
    since = request.args.get("since", "").strip() or None
    tag = frame.etag(view, "api figures", since or "")
    return frame.unchanged(tag) or _tagged(frame.cautioned(_json(view.figures_since(since))), tag)


@bp.get("/sites/<slug>/<any(trees, stems, readings, areas, places, targets, flags, inspections):layer>")
def api_rows(slug: str, layer: str) -> Response:
    """A layer's rows, ``limit`` of them after the first ``offset``; the next ones by the Link header.

    Raises
    ------
    InvalidRequest
        If ``limit`` or ``offset`` is no whole number in its range.
    """
    limit, offset = _whole("limit", PAGE_ITEMS, 1, MOST_ITEMS), _whole("offset", 0, 0, _WHOLE)
    asked = current.asked_day(), current.asked_change()
    key = key_of(current.store(), slug, current.actor(), *asked)
    tag = tag_of(key, f"api {layer} {limit} {offset}")
    held = frame.unchanged(tag)
    if held is not None:
        return held
    leaving = edition(current.store(), slug, current.actor(), layer, key.as_of, key.known_at)
    rows = leaving.table.part(offset, limit).rows
    response = _json(list(map(properties_of(leaving.facts.columns), rows)))
    if offset + limit < leaving.facts.rows:
        said = {**request.args.to_dict(), "limit": limit, "offset": offset + limit}
        response.headers.add("Link", f'<{request.path}?{urlencode(said)}>; rel="next"')
    return _tagged(frame.cautioned(response), tag)


@bp.post("/sites/<slug>/readings")
def api_enter_readings(slug: str) -> Response:
    """Take one reading or a batch; the same id and content again changes nothing."""
    return _entered(entry.enter_readings, slug, "reading")


@bp.post("/sites/<slug>/observations")
def api_enter_observations(slug: str) -> Response:
    """Take one observation or a batch; the same id and content again changes nothing."""
    return _entered(entry.enter_observations, slug, "observation")


@bp.post("/sites/<slug>/calibrations")
def api_enter_calibrations(slug: str) -> Response:
    """Take one measured hand of a crew or a batch; the same id and content again changes nothing."""
    return _entered(entry.enter_calibrations, slug, "calibration")


@bp.post("/sites/<slug>/dangers")
def api_enter_dangers(slug: str) -> Response:
    """Take one danger report or a batch; the same id and content again changes nothing."""
    return _entered(danger.enter_dangers, slug, "danger_report")


def _entered(enter: Enter, slug: str, kind: str) -> Response:
    sent = _body()
    items = sent if isinstance(sent, list) else [sent]
    if len(items) > BATCH_ITEMS:
        raise InvalidRequest(
            _("Send at most %(most)s at a time; this batch has %(sent)s.", most=BATCH_ITEMS, sent=len(items))
        )
    answers = enter(current.store(), slug, current.actor(), items)
    may_look = "look" in RIGHTS[current.actor().role]  # what was to be expected tells what was read before
    if kind == "reading" and may_look and any(answer.outcome == "taken" for answer in answers):
        answers = reading_answers.with_questions(current.site_view(slug), answers)
    if isinstance(sent, list):
        return _json([_said(answer) for answer in answers])
    return _one(answers[0], kind)


def _one(answer: Answer, kind: str) -> Response:
    """The answer to a single record: a refusal is a problem of its own.

    Raises
    ------
    Conflict
        If it is known with other content.
    InvalidRequest
        If it was refused for another reason.
    """
    if answer.outcome == "refused" and answer.sent is not None:
        raise Conflict(kind, answer.id, answer.sent, answer.known)
    if answer.outcome == "refused":
        raise InvalidRequest(answer.faults or answer.why or _("It was refused."))
    return _json(_said(answer), 200 if answer.outcome == "already there" else 201)


def _said(answer: Answer) -> dict[str, Any]:
    said = {name: value for name, value in asdict(answer).items() if value is not None}
    if answer.faults:
        said["faults"] = [{"where": where, "detail": detail} for where, detail in answer.faults]
    return said


def _body() -> Any:
    request.max_content_length = BODY_BYTES
    try:
        return orjson.loads(request.get_data())
    except orjson.JSONDecodeError as error:
        raise BadRequest(_("This is not JSON: %(why)s.", why=str(error))) from error


def _whole(name: str, default: int, low: int, high: int) -> int:
    said = request.args.get(name)
    if said is None:
        return default
    if said.isascii() and said.isdigit() and len(said) < 11 and low <= int(said) <= high:
        return int(said)
    raise InvalidRequest([(name, _("Give a whole number from %(low)s to %(high)s.", low=low, high=high))])


def _json(data: Any, status: int = 200) -> Response:
    body = orjson.dumps(data, option=orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS)
    return Response(body, status, content_type="application/json")


def _tagged(response: Response, tag: str) -> Response:
    response.set_etag(tag)
    return response
