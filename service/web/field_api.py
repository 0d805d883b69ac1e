"""What phones of teams ask and send: the pack, the picture of the ground, what was entered, pictures."""

import gzip
import uuid

import orjson
from flask import Blueprint, Response, jsonify, make_response, request
from flask.typing import ResponseReturnValue
from flask_babel import gettext as _
from werkzeug.exceptions import RequestEntityTooLarge

from layers.sights import SIGHTS
from service import photos
from service.actors import LOCAL_MANAGER
from service.answers import PAGES
from service.errors import InvalidRequest
from service.field_entry import take_batch
from service.field_pack import CORNER, PackWords, pack_of
from service.field_plan import small_plan
from service.field_records import FieldAnswer, batch_of
from service.outlets.round_sheets import ROUND_WORDS
from service.plan_images import file_box
from service.store import changes
from service.view import terms_at, view_of
from service.web import current, display, languages
from service.web.access import csrf

bp = Blueprint("field_api", __name__, url_prefix="/field/api")
csrf.exempt(bp)  # a token of its own, no cookie: nobody else's page can send in a phone's name


@bp.get("/pack")
def pack() -> Response:
    """All that the phone needs for a day without a network."""
    said, tag = pack_of(current.store(), current.crew(), _words())
    response = make_response()
    response.set_etag(tag)
    response.headers["Cache-Control"] = "private, no-cache"
    response.headers["Vary"] = "Authorization, Accept-Encoding, Accept-Language, Cookie"
    if request.if_none_match.contains(tag):
        response.status_code = 304
        return response
    body = orjson.dumps(said)
    if request.accept_encodings.quality("gzip") > 0:
        body, response.headers["Content-Encoding"] = gzip.compress(body, 5), "gzip"
    response.set_data(body)
    response.content_type = "application/json"
    return response


def _words() -> PackWords:
    sheet = {key: str(_(text)) for key, text in ROUND_WORDS.items()}
    sheet["from_row"] = str(_("{distance} {direction} of the tree before"))
    sights = {word: str(_(sight.plain)) for word, sight in SIGHTS.items()}
    return PackWords(sheet, sights, languages.spoken(), str(_(CORNER)))


@bp.get("/plan.png")
def plan_picture() -> ResponseReturnValue:
    """The picture of the ground under the map."""
    store = current.store()
    view = view_of(store, current.crew().slug, LOCAL_MANAGER)
    body, tag = small_plan(view, file_box(store, current.settings().data_folder))
    response = make_response(body)
    response.content_type = "image/png"
    response.set_etag(tag)
    response.headers["Cache-Control"] = "private, no-cache"
    return response.make_conditional(request)


@bp.post("/send")
def send() -> ResponseReturnValue:
    """Take in what was entered; every item gets an answer.

    Raises
    ------
    InvalidRequest
        If it is no batch, or holds too many items.
    """
    crew = current.crew()
    answers = take_batch(current.store(), current.actor(), crew, batch_of(request.get_json()))
    return jsonify({"received_at": changes.now(), "answers": told(crew.slug, answers)})


def told(slug: str, answers: list[FieldAnswer]) -> list[dict[str, str]]:
    """Return answers as they are sent, with their sentences in the language of the page."""
    if not any(answer.why for answer in answers):
        return [{"id": answer.id, "outcome": answer.outcome} for answer in answers]
    voice = display.Units(terms_at(current.store(), slug, LOCAL_MANAGER).units).voice()
    out = []
    for answer in answers:
        said = {"id": answer.id, "outcome": answer.outcome}
        out.append({**said, "why": PAGES.told(answer.why, voice)} if answer.why else said)
    return out


@bp.put("/photos/<photo_id>")
def put_photo(photo_id: str) -> ResponseReturnValue:
    """Keep a picture; the same again changes nothing.

    Raises
    ------
    InvalidRequest
        If the id is none.
    """
    try:
        id = str(uuid.UUID(photo_id))
    except ValueError:
        raise InvalidRequest([("photo_id", _("Send the picture under the id of its entry."))]) from None
    if (request.content_length or 0) > photos.MOST_BYTES:
        raise RequestEntityTooLarge(
            _(
                "A picture has at most %(size)s MB. It stays on the phone; take it again with fewer pixels.",
                size=photos.MOST_BYTES >> 20,
            )
        )
    store, crew = current.store(), current.crew()
    box = file_box(store, current.settings().data_folder)
    is_new = photos.keep_picture(store, box, crew.slug, current.actor(), id, request.get_data())
    return jsonify({"id": id}), 201 if is_new else 200
