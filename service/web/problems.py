"""What went wrong, as an answer: the one table from kind of error to status, slug and title.

``/api`` gets problem documents (RFC 9457), browsers a readable page with the same facts.
References: RFC 9457, Problem Details for HTTP APIs, 2023.
"""

import logging
import math
import uuid
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, Flask, Response, json, make_response, render_template, request
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from werkzeug.exceptions import HTTPException

from layers.errors import CrsUnsuitable, LayerError, NothingToCompute, OutsideDomain
from service import errors
from service.web.accepting import wants_page
from service.web.import_words import row_words
from service.web.sharing import is_shared

MEDIA_TYPE = "application/problem+json"
log = logging.getLogger(__name__)
bp = Blueprint("problems", __name__)


@dataclass(frozen=True)
class Problem:
    """One kind of problem: status, the last part of its address, title, and what to do about it."""

    status: int
    slug: str
    title: Any
    advice: Any


UNEXPECTED = Problem(
    500,
    "unexpected",
    _l("Something went wrong here"),
    _l("The fault is on our side. What was stored stays stored. Try again; the log tells more."),
)

TABLE: dict[type[Exception], Problem] = {
    errors.InvalidRequest: Problem(
        422,
        "not-usable",
        _l("This cannot be used as it is"),
        _l("Every fault is listed with where it is. Correct them and send it again; nothing was taken."),
    ),
    errors.Unreadable: Problem(
        422,
        "file-not-readable",
        _l("This file cannot be read"),
        _l("Save it once more as CSV, GeoJSON or GeoPackage and bring it in again; nothing was taken."),
    ),
    errors.Ask: Problem(
        422,
        "please-say-which",
        _l("One thing has to be said about this file"),
        _l("Two ways to read it are about equally likely. Say which one and send it again."),
    ),
    errors.NotFound: Problem(
        404,
        "not-known",
        _l("There is nothing here by that name"),
        _l("Check the address, or start from the list of grounds."),
    ),
    errors.Conflict: Problem(
        409,
        "known-otherwise",
        _l("This is already known with other content"),
        _l("Nothing was changed. Both contents are shown; a person decides."),
    ),
    errors.StaleVersion: Problem(
        409,
        "changed-meanwhile",
        _l("Somebody changed this in the meantime"),
        _l("Nothing was overwritten. Look at both contents and send what should hold."),
    ),
    errors.ImportRunning: Problem(
        409,
        "import-under-way",
        _l("A list is being brought in just now"),
        _l("Wait until it has ended, then try again."),
    ),
    errors.OtherHistory: Problem(
        409,
        "copy-of-another",
        _l("This copy is not of this ground as it is here"),
        _l("Throw the copy away and read everything anew, with since=0."),
    ),
    errors.HereAlready: Problem(
        409,
        "here-already",
        _l("This ground is here already"),
        _l("Nothing was changed. Open another store for the snapshot, or bring in one layer of it."),
    ),
    errors.NotPermitted: Problem(
        403, "not-permitted", _l("You may not do this"), _l("Ask whoever looks after this ground.")
    ),
    errors.NotAWord: Problem(
        401,
        "not-a-word",
        _l("Nobody comes in with this word"),
        _l("Look at how it is written; it holds until the measuring days end. The leader has it."),
    ),
    errors.WordEnded: Problem(
        401,
        "word-ended",
        _l("This phone has to come in again"),
        _l("What was measured stays on the phone and goes out once the team's word is typed in again."),
    ),
    errors.TooOften: Problem(
        429,
        "too-often",
        _l("This was tried too often"),
        _l("Wait for as long as the answer says, then try again. What is on the phone stays there."),
    ),
    errors.NotAcceptable: Problem(
        406,
        "format-not-offered",
        _l("It cannot be given in that form"),
        _l("Choose one of the forms that are listed."),
    ),
    errors.StoreUnavailable: Problem(
        503,
        "store-not-reachable",
        _l("The records cannot be reached just now"),
        _l("What was stored stays stored. The message says what to do; then try again."),
    ),
    errors.StoreTooNew: Problem(
        503,
        "store-too-new",
        _l("The records were written by a newer version"),
        _l("Install that version to open them; nothing was changed."),
    ),
    LayerError: Problem(
        422,
        "cannot-be-computed",
        _l("This cannot be computed"),
        _l("The records lack something that is needed; the message says what."),
    ),
    OutsideDomain: Problem(
        422,
        "outside-range",
        _l("A value lies outside its range"),
        _l("Check the value and its unit and send it again."),
    ),
    CrsUnsuitable: Problem(
        422,
        "positions-unsuitable",
        _l("The positions cannot be used for this"),
        _l("Say in which coordinates they are, or anchor the ground to a place on earth."),
    ),
    NothingToCompute: Problem(
        422,
        "nothing-to-compute",
        _l("There is nothing to compute this from"),
        _l("Bring in trees and sizes first."),
    ),
}

# The faults of HTTP that people meet.
PLAIN: dict[int, tuple[Any, Any]] = {
    404: (_l("There is no such page"), _l("Check the address, or start from the list of grounds.")),
    405: (_l("This page takes no such request"), _l("Go back to the page before and send it from there.")),
    413: (
        _l("This is too large"),
        _l("Send a smaller file, or bring it in with the command boleward import."),
    ),
}


def problem_of(error: Exception) -> Problem:
    """Return the row of the table for an error, found along its class's bases."""
    for kind in type(error).__mro__:
        if kind in TABLE:
            return TABLE[kind]
    return UNEXPECTED


def known_problems() -> list[Problem]:
    """Return every kind of problem, by slug."""
    return sorted([*TABLE.values(), UNEXPECTED], key=lambda problem: problem.slug)


def init_app(app: Flask) -> None:
    """Answer every error of ``app`` from the table."""
    app.register_error_handler(Exception, answer)
    app.register_blueprint(bp)


def answer(error: Exception) -> Any:
    """Return the answer to an error: the one place where an exception becomes a response."""
    if isinstance(error, HTTPException) and (error.code is None or error.code < 400):
        return error
    facts = _facts(error)
    _write_log(error, facts)
    response = _document(facts) if _wants_document() else _page(facts)
    if isinstance(error, HTTPException):
        _keep_headers(error, response)
    if facts["status"] == 503:
        response.headers["Retry-After"] = "5"
    if isinstance(error, errors.TooOften):
        response.headers["Retry-After"] = str(max(1, math.ceil(error.seconds)))
    if facts["status"] == 401:
        response.headers["WWW-Authenticate"] = "Bearer"  # RFC 9110, 11.6.1; RFC 6750
    return response


def _facts(error: Exception) -> dict[str, Any]:
    if isinstance(error, HTTPException):
        facts = {
            "type": "about:blank",
            "title": error.name,
            "status": error.code,
            "detail": error.description,
        }
        if not _wants_document():
            facts |= _plain_facts(error)
    else:
        problem = problem_of(error)
        detail = str(problem.advice) if problem is UNEXPECTED else row_words(str(error))
        status = problem.status
        if status == 422 and request.method in ("GET", "HEAD") and isinstance(error, errors.InvalidRequest):
            status = 400
        facts = {
            "type": f"/problems/{problem.slug}",
            "title": str(problem.title),
            "status": status,
            "detail": detail,
        }
    return {**facts, "instance": f"urn:uuid:{uuid.uuid4()}", **_extensions(error)}


def _plain_facts(error: HTTPException) -> dict[str, Any]:
    """What a page says of a fault of HTTP; what we wrote ourselves stays."""
    title, advice = PLAIN.get(error.code or 0, (error.name, error.description))
    is_ours = error.description != type(error).description
    return {"title": str(title), "detail": error.description if is_ours else str(advice)}


def _extensions(error: Exception) -> dict[str, Any]:
    if isinstance(error, errors.Ask):
        return {"ask": {"option": error.option, "choices": error.choices}}
    if isinstance(error, errors.InvalidRequest):
        return {"errors": [{"where": where, "detail": row_words(said)} for where, said in error.faults]}
    if isinstance(error, errors.Conflict) and error.sent is not None:
        return {"sent": error.sent, "known": error.known}
    if isinstance(error, errors.NotAcceptable):
        return {"offered": error.offered}
    return {}


def _write_log(error: Exception, facts: dict[str, Any]) -> None:
    line = "%s %s %s %s: %s"
    said = (facts["status"], request.method, request.path, facts["instance"], type(error).__name__)
    if facts["status"] >= 500:
        log.error(line, *said, exc_info=error)
    else:
        log.info(line, *said)


def _wants_document() -> bool:
    if request.path.startswith(("/api/", "/tiles/", "/field/api/")):
        return True
    if is_shared(request.path):
        return not wants_page((MEDIA_TYPE, "application/json"))
    accepted = request.accept_mimetypes
    json_quality = max(accepted[MEDIA_TYPE], accepted["application/json"])
    return bool(json_quality > accepted["text/html"])


def _document(facts: dict[str, Any]) -> Response:
    response = make_response(json.dumps(facts, default=str), facts["status"])
    response.content_type = MEDIA_TYPE
    return response


def _page(facts: dict[str, Any]) -> Response:
    slug = facts["type"].rpartition("/")[2]
    kind = next((problem for problem in known_problems() if problem.slug == slug), None)
    return make_response(render_template("problem.html", facts=facts, kind=kind), facts["status"])


def _keep_headers(error: HTTPException, response: Response) -> None:
    for name, value in error.get_headers():
        if name.lower() not in ("content-type", "content-length"):
            response.headers[name] = value


@bp.get("/problems/")
def problem_list() -> str:
    """Every kind of problem."""
    return render_template("problem_kinds.html", kinds=known_problems())


@bp.get("/problems/<slug>")
def problem_kind(slug: str) -> str:
    """One kind of problem: what it means and what to do.

    Raises
    ------
    NotFound
        If there is no such kind.
    """
    found = [problem for problem in known_problems() if problem.slug == slug]
    if not found:
        raise errors.NotFound(_("kind of problem"), slug)
    return render_template("problem_kinds.html", kinds=found)
