"""Who may do what: the actor of a request, the table of rights, and the locks on the door.

Every route and method stands in ``RIGHTS``; what does not is refused. What lies below ``/field`` is for
phones: "enter" is open to whoever reaches the server, everything else there needs a crew's token, which opens
nothing elsewhere. All other pages are the local manager's.
"""

import secrets
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, Response, current_app, g, request
from flask.json.provider import DefaultJSONProvider
from flask.sessions import SecureCookieSessionInterface
from flask_babel import gettext as _
from flask_wtf import CSRFProtect
from werkzeug.exceptions import Forbidden, SecurityError, UnsupportedMediaType
from werkzeug.sansio.utils import host_is_trusted

from service.actors import LOCAL_MANAGER, VISITOR, Actor, Right, crew_actor
from service.crew_tokens import crew_with
from service.errors import NotPermitted, WordEnded
from service.settings import Settings, is_loopback
from service.web import current
from service.web.only_field import FIELD, is_from_network, is_of_field

WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
OWN_NAMES = ("localhost", "127.0.0.1")
SESSION_COOKIE = "boleward"
FORM_MEMORY_BYTES = 4 * 2**20
FIELD_BODY_BYTES = 16 * 2**20  # what a phone sends at once, pictures included
ENTER_BODY_BYTES = 16 * 2**10  # what somebody sends who is not in yet
PASSED_ON = ("Forwarded", "Via", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip")
STATIC = "/static/<path:filename>"

RIGHTS: dict[tuple[str, str], Right] = {
    (STATIC, "GET"): "look",  # the files of the page for phones: "enter"
    ("/", "GET"): "look",
    ("/problems/", "GET"): "look",
    ("/problems/<slug>", "GET"): "look",
    ("/cautions", "GET"): "look",
    ("/samples", "POST"): "manage",
    ("/samples/<slug>/discard", "POST"): "manage",
    ("/start", "GET"): "look",
    ("/start", "POST"): "manage",
    ("/sites/<slug>", "GET"): "look",
    ("/sites/<slug>/figures", "GET"): "look",
    ("/sites/<slug>/how", "GET"): "look",
    ("/sites/<slug>/growth", "GET"): "look",
    ("/sites/<slug>/flags", "GET"): "look",
    ("/sites/<slug>/map.json", "GET"): "look",
    ("/sites/<slug>/trees", "GET"): "look",
    ("/sites/<slug>/trees.csv", "GET"): "look",
    ("/sites/<slug>/trees/<tree_id>", "GET"): "look",
    ("/sites/<slug>/trees/new", "GET"): "manage",
    ("/sites/<slug>/trees/new", "POST"): "manage",
    ("/sites/<slug>/trees/<tree_id>/edit", "GET"): "manage",
    ("/sites/<slug>/trees/<tree_id>/edit", "POST"): "manage",
    ("/sites/<slug>/trees/<tree_id>/cross-out", "POST"): "manage",
    ("/sites/<slug>/trees/<tree_id>/measure", "GET"): "measure",
    ("/sites/<slug>/trees/<tree_id>/measure", "POST"): "measure",
    ("/sites/<slug>/trees/<tree_id>/note", "GET"): "measure",
    ("/sites/<slug>/trees/<tree_id>/note", "POST"): "measure",
    ("/sites/<slug>/readings/<reading_id>/correct", "GET"): "manage",
    ("/sites/<slug>/readings/<reading_id>/correct", "POST"): "manage",
    ("/sites/<slug>/undo", "GET"): "measure",
    ("/sites/<slug>/undo", "POST"): "measure",
    ("/sites/<slug>/inspections/new", "GET"): "manage",
    ("/sites/<slug>/inspections/new", "POST"): "manage",
    ("/sites/<slug>/flags/answer", "GET"): "manage",
    ("/sites/<slug>/flags/answer", "POST"): "manage",
    ("/sites/<slug>/ground", "GET"): "look",
    ("/sites/<slug>/<any(areas, targets):kind>/new", "GET"): "manage",
    ("/sites/<slug>/<any(areas, targets):kind>/new", "POST"): "manage",
    ("/sites/<slug>/<any(areas, targets):kind>/<id>/edit", "GET"): "manage",
    ("/sites/<slug>/<any(areas, targets):kind>/<id>/edit", "POST"): "manage",
    ("/sites/<slug>/<any(areas, targets, closures, hazards):kind>/<id>/cross-out", "POST"): "manage",
    ("/sites/<slug>/dangers", "GET"): "look",
    ("/sites/<slug>/dangers/new", "GET"): "measure",
    ("/sites/<slug>/dangers/new", "POST"): "measure",
    ("/sites/<slug>/dangers/<id>/answer", "GET"): "manage",
    ("/sites/<slug>/dangers/<id>/answer", "POST"): "manage",
    ("/sites/<slug>/closures/new", "GET"): "manage",
    ("/sites/<slug>/closures/new", "POST"): "manage",
    ("/sites/<slug>/closures/<id>/edit", "GET"): "manage",
    ("/sites/<slug>/closures/<id>/edit", "POST"): "manage",
    ("/sites/<slug>/closures/<id>/reopen", "GET"): "manage",
    ("/sites/<slug>/closures/<id>/reopen", "POST"): "manage",
    ("/sites/<slug>/hazards/new", "GET"): "manage",
    ("/sites/<slug>/hazards/new", "POST"): "manage",
    ("/sites/<slug>/hazards/<id>/edit", "GET"): "manage",
    ("/sites/<slug>/hazards/<id>/edit", "POST"): "manage",
    ("/sites/<slug>/plans/new", "GET"): "manage",
    ("/sites/<slug>/plans/new", "POST"): "manage",
    ("/sites/<slug>/plans/<id>", "GET"): "manage",
    ("/sites/<slug>/plans/<id>", "POST"): "manage",
    ("/sites/<slug>/plans/<id>/picture.png", "GET"): "look",
    ("/sites/<slug>/plans/<id>/north-up.png", "GET"): "look",
    ("/sites/<slug>/sheets", "GET"): "look",
    ("/sites/<slug>/sheets.pdf", "GET"): "look",
    ("/sites/<slug>/labels", "GET"): "look",
    ("/sites/<slug>/labels.pdf", "GET"): "look",
    ("/t/<code>", "GET"): "enter",
    ("/T/<code>", "GET"): "enter",
    ("/tags", "GET"): "look",
    ("/tags/<code>", "GET"): "look",
    ("/sites/<slug>/grid", "GET"): "measure",
    ("/sites/<slug>/grid", "POST"): "measure",
    ("/sites/<slug>/trees/<tree_id>/<any(chart, 'chart-narrow'):name>.svg", "GET"): "look",
    ("/sites/<slug>/charts/<name>.svg", "GET"): "look",
    ("/sites/<slug>/layers/<layer>.<form>", "GET"): "look",
    ("/sites/<slug>/site.gpkg", "GET"): "look",
    ("/sites/<slug>/site.zip", "GET"): "look",
    ("/sites/<slug>/map.html", "GET"): "look",
    ("/tiles/<slug>/<int:z>/<int:x>/<int:y>.<any(pbf, png):form>", "GET"): "look",
    ("/tiles/<slug>/tile.json", "GET"): "look",
    ("/tiles/<slug>/density.json", "GET"): "look",
    ("/sites/<slug>/rounds", "GET"): "look",
    ("/sites/<slug>/set-aside", "GET"): "look",
    ("/sites/<slug>/set-aside/<id>", "POST"): "manage",
    ("/sites/<slug>/photos/<photo_id>.jpg", "GET"): "look",
    ("/sites/<slug>/rounds/<round_id>", "GET"): "look",
    ("/sites/<slug>/rounds/<round_id>/learned", "GET"): "look",
    ("/sites/<slug>/rounds/<round_id>/learned/<name>.svg", "GET"): "look",
    ("/sites/<slug>/rounds/new", "GET"): "manage",
    ("/sites/<slug>/rounds/new", "POST"): "manage",
    ("/sites/<slug>/rounds/<round_id>/plan", "GET"): "look",
    ("/sites/<slug>/rounds/<round_id>/plan", "POST"): "manage",
    ("/sites/<slug>/rounds/<round_id>/put-back", "POST"): "manage",
    ("/sites/<slug>/rounds/<round_id>/words", "POST"): "manage",
    ("/sites/<slug>/rounds/<round_id>/sheets.pdf", "GET"): "manage",
    ("/sites/<slug>/rounds/<round_id>/day", "GET"): "look",
    ("/sites/<slug>/rounds/<round_id>/day", "POST"): "manage",
    ("/sites/<slug>/rounds/<round_id>/start", "POST"): "manage",
    ("/sites/<slug>/rounds/<round_id>/progress", "GET"): "look",
    ("/sites/<slug>/rounds/<round_id>/close", "GET"): "look",
    ("/sites/<slug>/rounds/<round_id>/close", "POST"): "manage",
    ("/sites/<slug>/model", "GET"): "look",
    ("/sites/<slug>/model", "POST"): "manage",
    ("/sites/<slug>/model/profile-<int:number>.svg", "GET"): "look",
    ("/sites/<slug>/terms", "GET"): "look",
    ("/sites/<slug>/terms", "POST"): "manage",
    ("/sites/<slug>/data", "GET"): "look",
    ("/sites/<slug>/check", "GET"): "look",
    ("/sites/<slug>/check", "POST"): "manage",
    ("/sites/<slug>/data/check", "GET"): "look",
    ("/sites/<slug>/data/check.csv", "GET"): "look",
    ("/sites/<slug>/data/uploads", "POST"): "manage",
    ("/sites/<slug>/data/uploads/<upload_id>", "GET"): "manage",
    ("/sites/<slug>/data/uploads/<upload_id>", "POST"): "manage",
    ("/sites/<slug>/data/uploads/<upload_id>/discard", "POST"): "manage",
    ("/sites/<slug>/data/uploads/<upload_id>/progress", "GET"): "manage",
    ("/sites/<slug>/data/imports/<int:change_no>", "GET"): "look",
    ("/sites/<slug>/data/imports/<int:change_no>/rows.csv", "GET"): "manage",
    ("/api/openapi.json", "GET"): "look",
    ("/api/sites", "GET"): "look",
    ("/api/sites/<slug>/figures", "GET"): "look",
    (
        "/api/sites/<slug>/<any(trees, stems, readings, areas, places, targets, flags, inspections):layer>",
        "GET",
    ): "look",
    ("/api/sites/<slug>/how", "GET"): "look",
    ("/api/sites/<slug>/changes", "GET"): "look",
    ("/api/sites/<slug>/readings", "POST"): "measure",
    ("/api/sites/<slug>/observations", "POST"): "measure",
    ("/api/sites/<slug>/calibrations", "POST"): "measure",
    ("/api/sites/<slug>/dangers", "POST"): "measure",
    ("/api/sites/<slug>/<any(dangers, closures, hazards):kind>", "GET"): "look",
    ("/sites/<slug>/trees/<tree_id>/code", "GET"): "look",
    ("/sites/<slug>/hands", "GET"): "measure",
    ("/sites/<slug>/hands", "POST"): "measure",
    ("/field", "GET"): "enter",
    ("/field/", "GET"): "enter",
    ("/field/sw.js", "GET"): "enter",
    ("/field/manifest.webmanifest", "GET"): "enter",
    ("/field/api/join", "POST"): "enter",
    ("/field/api/hello", "POST"): "enter",
    ("/field/api/pack", "GET"): "measure",
    ("/field/api/plan.png", "GET"): "measure",
    ("/field/api/learned", "GET"): "measure",
    ("/field/api/send", "POST"): "measure",
    ("/field/api/photos/<photo_id>", "PUT"): "measure",
    ("/ogc", "GET"): "look",
    ("/ogc/", "GET"): "look",
    ("/ogc/openapi.json", "GET"): "look",
    ("/ogc/api", "GET"): "look",
    ("/ogc/conformance", "GET"): "look",
    ("/ogc/collections", "GET"): "look",
    ("/ogc/collections/<collection>", "GET"): "look",
    ("/ogc/collections/<collection>/queryables", "GET"): "look",
    ("/ogc/collections/<collection>/schema", "GET"): "look",
    ("/ogc/collections/<collection>/feature-schema", "GET"): "look",
    ("/ogc/collections/<collection>/items", "GET"): "look",
    ("/ogc/collections/<collection>/items/<fid>", "GET"): "look",
}

csrf = CSRFProtect()


class _CookieByScheme(SecureCookieSessionInterface):
    """Cookies that a browser sends back over TLS only, wherever the page came over TLS."""

    def get_cookie_secure(self, app: Flask) -> bool:
        return request.is_secure


class _FlatJson(DefaultJSONProvider):
    """JSON that is nested deeper than any of ours is no JSON for us."""

    def loads(self, s: str | bytes, **more: Any) -> Any:
        try:
            return super().loads(s, **more)
        except RecursionError as error:
            raise ValueError("nested too deeply") from error


def init_app(app: Flask, settings: Settings, key: str) -> None:
    """Put the locks on: host, origin, tokens against forged forms, cookies, sizes, headers, rights."""
    app.config.update(
        SECRET_KEY=key,
        OWN_HOSTS=[*OWN_NAMES, settings.host, *settings.trusted_hosts, *filter(None, [settings.public_host])],
        SESSION_COOKIE_NAME=SESSION_COOKIE,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        WTF_CSRF_TIME_LIMIT=None,  # lives as long as the browser's session, so that no long form is lost
        MAX_CONTENT_LENGTH=settings.max_upload_mb * 2**20,
        MAX_FORM_MEMORY_SIZE=FORM_MEMORY_BYTES,
        MAX_FORM_PARTS=5000,
    )
    app.session_interface = _CookieByScheme()
    app.json = _FlatJson(app)
    app.before_request(_check)
    csrf.init_app(app)
    app.after_request(lambda response: _with_headers(response, settings))
    app.context_processor(lambda: {"nonce": _nonce(), "shows_news": SESSION_COOKIE in request.cookies})


def _check() -> None:
    _check_host()
    if request.routing_exception is not None:
        return
    right = right_needed(_rule(), request.method)
    if _rule() == STATIC and _is_file_of_field(str((request.view_args or {}).get("filename"))):
        right = "enter"
    if is_of_field(_rule()):
        request.max_content_length = ENTER_BODY_BYTES if right == "enter" else FIELD_BODY_BYTES
    if request.method in WRITES:
        _check_origin()
        _check_media()
    g.actor = _asking(right)
    g.actor.require(right)


def _check_host() -> None:
    """Refuse a name that a foreign page may have pointed at this computer (DNS rebinding).

    Phones may name the computer by any number: nobody else's page has a number for its name.
    """
    by_number = is_from_network() and _is_number(request.host)
    if not by_number and not host_is_trusted(request.host, current_app.config["OWN_HOSTS"]):
        raise SecurityError(
            _("This computer does not go by that name. Add it to the setting trusted_hosts if it should.")
        )


def _is_number(host: str) -> bool:
    try:
        return bool(ip_address(urlsplit(f"//{host}").hostname or ""))
    except ValueError:
        return False


def _is_file_of_field(name: str) -> bool:
    return is_of_field(f"/static/{name}") and ".." not in name


def _rule() -> str:
    return request.url_rule.rule if request.url_rule else ""


def right_needed(rule: str, method: str) -> Right:
    """Return the right that a route and method need.

    Raises
    ------
    NotPermitted
        If the table has no such row.
    """
    asked = "GET" if method in ("HEAD", "OPTIONS") and (rule, "GET") in RIGHTS else method
    if method == "OPTIONS" and asked == "OPTIONS":
        asked = next((known for path, known in RIGHTS if path == rule), asked)
    try:
        return RIGHTS[rule, asked]
    except KeyError:
        raise NotPermitted(f"{asked} {rule}") from None


def _asking(right: Right) -> Actor:
    """Whoever sits at this computer is its manager; a phone is its crew by the token that it sends.

    Raises
    ------
    NotPermitted
        If the request comes from elsewhere, or was passed on for somebody.
    WordEnded
        If a page for phones is asked for without a token that holds.
    """
    if right == "enter":
        return VISITOR
    if is_of_field(_rule()):
        return _crew()
    if not sits_here():
        raise NotPermitted(_("look; only somebody at this computer has it"))
    return LOCAL_MANAGER


def sits_here() -> bool:
    """Whether whoever asks sits at this computer, and nobody passed the request on."""
    passed_on = any(name in request.headers for name in PASSED_ON)
    return not is_from_network() and not passed_on and is_loopback(request.remote_addr or "")


def _crew() -> Actor:
    said = request.authorization
    token = said.token if said is not None and said.type == "bearer" else None
    crew = crew_with(current.store(), token or "")
    if crew is None:
        raise WordEnded(
            _(
                "The word of this phone has ended, or the team has a newer one. Ask the leader for it and "
                "type it in; what was measured stays on the phone until then."
            )
        )
    g.crew = crew
    return crew_actor(crew.crew_id)


def _check_origin() -> None:
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        raise Forbidden(_("This was sent from another site's page. Open our page and send it from there."))
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        raise Forbidden(_("This was sent from another site's page. Open our page and send it from there."))


def _check_media() -> None:
    is_api = request.path.startswith("/api/") or (
        request.path.startswith(f"{FIELD}/api/") and request.method == "POST"
    )
    if is_api and request.mimetype != "application/json":
        raise UnsupportedMediaType(_("Send JSON, with the header Content-Type: application/json."))


def _nonce() -> str:
    if "nonce" not in g:
        g.nonce = secrets.token_urlsafe(16)
    nonce: str = g.nonce
    return nonce


def _with_headers(response: Response, settings: Settings) -> Response:
    scripts = f"'self' 'nonce-{g.nonce}'" if "nonce" in g else "'self'"
    tiles = _origin_of(settings.tile_address)
    policy = {
        "default-src": "'none'",
        "script-src": scripts,
        "style-src": scripts,
        "img-src": f"'self' data: blob:{tiles}",
        "connect-src": "'self'",
        "font-src": "'self'",
        "manifest-src": "'self'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
        "base-uri": "'none'",
        "object-src": "'none'",
    }
    response.headers.setdefault(
        "Content-Security-Policy", "; ".join(f"{name} {value}" for name, value in policy.items())
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    response.headers["Permissions-Policy"] = "camera=(), microphone=(), geolocation=(self)"
    if "Cache-Control" not in response.headers:
        response.headers["Cache-Control"] = "private, no-cache"
    return response


def _origin_of(address: str) -> str:
    if not address:
        return ""
    parts = urlsplit(address)
    return f" {parts.scheme}://{parts.netloc.replace('{s}', '*')}"
