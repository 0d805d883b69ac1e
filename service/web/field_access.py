"""How a phone comes in: a crew's word is given for a token; and whether the server answers."""

import uuid
from importlib.metadata import version
from typing import Any

from flask import Blueprint, current_app, jsonify, request
from flask.typing import ResponseReturnValue
from flask_babel import gettext as _
from flask_babel import ngettext

from service.crew_tokens import give_token
from service.crew_words import CrewPass, crew_of
from service.errors import InvalidRequest, NotAWord, TooOften
from service.settings import is_loopback
from service.store import changes
from service.store.round_rows import round_row
from service.store.site_rows import find_site
from service.web import current
from service.web.access import csrf
from service.web.rate_limits import Greetings, WordGate

bp = Blueprint("field_access", __name__, url_prefix="/field/api")
csrf.exempt(bp)  # JSON only (access checks it), and nothing here rests on a cookie

_KEY = "boleward limits"


@bp.record
def _attach(state: Any) -> None:
    state.app.extensions[_KEY] = WordGate(), Greetings()


@bp.post("/join")
def join() -> ResponseReturnValue:
    """Give a phone a token for the word of its crew.

    Raises
    ------
    InvalidRequest
        If the word or the UUID of the phone is not there.
    NotAWord
        If nobody comes in with this word, or not any more.
    TooOften
        If too many wrong words were tried.
    """
    word, phone = _said()
    since = changes.now()
    crew = _looked_up(word)
    if crew is None:
        raise NotAWord(
            _("No team comes in with this word, or its measuring days have ended. Ask the leader.")
        )
    token = give_token(current.store(), crew, phone, since)
    answer = jsonify({"token": token, "ends_at": crew.ends_at, **_told(crew)})
    answer.headers["Cache-Control"] = "no-store"
    return answer


@bp.post("/hello")
def hello() -> ResponseReturnValue:
    """Tell the time and the version, so that a phone sees whether the server answers and its clock is off.

    Raises
    ------
    TooOften
        If this address asks all the time.
    """
    current_app.extensions[_KEY][1].take(peer())
    return jsonify({"now": changes.now(), "program": version("boleward"), "unsent_ok": True})


def peer() -> str:
    """Return the address that asks: where a proxy on this computer passes it on, the one that it says last.

    Anybody may send such a header, but only to a proxy, which adds its own last.
    """
    address = request.remote_addr or ""
    passed_on = request.headers.getlist("X-Forwarded-For")
    if is_loopback(address) and passed_on:
        return passed_on[-1].rpartition(",")[2].strip()
    return address


def _looked_up(word: str) -> CrewPass | None:
    gate: WordGate = current_app.extensions[_KEY][0]
    try:
        return gate.look(peer(), lambda: crew_of(current.store(), word))
    except TooOften as error:
        minutes = max(1, round(error.seconds / 60))
        said = ngettext(
            "Too many words were tried here. Wait %(num)s minute and try again; nothing is lost.",
            "Too many words were tried here. Wait %(num)s minutes and try again; nothing is lost.",
            minutes,
        )
        raise TooOften(error.seconds, said) from error


def _said() -> tuple[str, str]:
    said = request.get_json()
    if not isinstance(said, dict):
        raise InvalidRequest(_("Send an object with the word and the phone."))
    word, phone = said.get("word"), said.get("phone")
    faults = []
    if not isinstance(word, str) or not word.strip():
        faults.append(("word", _("Type the word of your team: two words, such as green heron.")))
    if not _is_uuid(phone):
        faults.append(("phone", _("Send the UUID that the phone made for itself.")))
    if faults:
        raise InvalidRequest(faults)
    return str(word), str(uuid.UUID(phone))


def _is_uuid(said: object) -> bool:
    try:
        return isinstance(said, str) and len(said) == 36 and bool(uuid.UUID(said))
    except ValueError:
        return False


def _told(crew: CrewPass) -> dict[str, Any]:
    with current.store().read() as connection:
        site = find_site(connection, crew.slug)
        row = round_row(connection, site.fid, crew.round_id)
    return {
        "crew": {"id": crew.crew_id, "code": crew.code, "kind": crew.kind},
        "round": {"id": crew.round_id, "name": row.name},
        "site": {"slug": crew.slug, "name": site.name},
    }
