"""In which language a page speaks: the one chosen at its foot, else the browser's, else the server's.

The reader decides the words, the ground its units and in which order and with which signs days and numbers
are written (``service.web.display``). Data, their names and the API's keys are the same in all languages.
"""

from collections.abc import Mapping
from contextlib import suppress
from urllib.parse import quote, urlencode

from babel import Locale, UnknownLocaleError, negotiate_locale
from flask import Flask, Response, current_app, g, redirect, request
from flask_babel import Babel, get_locale
from werkzeug.wrappers import Response as AnyResponse

from service.settings import LANGUAGES, Settings
from service.web.sharing import is_shared

COOKIE = "language"
CHOICE = "lang"  # of an address: ?lang=de
KEPT_S = 365 * 86_400
ITSELF: Mapping[str, str] = {"en": "English", "es": "Español", "de": "Deutsch", "fr": "Français"}


def init_app(app: Flask, settings: Settings, folder: str) -> None:
    """Let pages speak the languages of ``folder`` and keep what a reader chose."""
    app.config["BABEL_TRANSLATION_DIRECTORIES"] = folder
    babel = Babel(app, default_locale="en", locale_selector=lambda: _selected(settings))
    with app.app_context():
        there = {str(locale) for locale in babel.list_translations()}
    app.config["LANGUAGES"] = [language for language in LANGUAGES if language in there]
    app.before_request(_keep_choice)
    app.after_request(_varying)
    app.context_processor(lambda: {"language": spoken(), "languages": _at_the_foot()})


def spoken() -> str:
    """Return the language of the page, as HTML writes it: one of ``LANGUAGES``."""
    return str(get_locale() or "en")


def offered() -> list[str]:
    """Return the languages that are there to be chosen: English, and those with a translation."""
    languages: list[str] = current_app.config["LANGUAGES"]
    return languages


def written(country: str | None) -> Locale:
    """Return how days and numbers are written: in the language of the page, as usual in a country."""
    language = spoken()
    if language == "en":
        return Locale("en", "US" if country == "US" else "GB")
    with suppress(UnknownLocaleError):
        return Locale(language, country)
    return Locale(language)


def choice(language: str) -> str:
    """Return the address of this page in another language, which the browser then keeps."""
    return _address((CHOICE, language))


def _selected(settings: Settings) -> str:
    g.is_spoken = True
    known = offered()
    chosen = request.cookies.get(COOKIE)
    if chosen in known:
        return chosen
    preferred = [said.replace("-", "_") for said, quality in request.accept_languages if quality > 0]
    found = negotiate_locale(preferred, known, sep="_")
    return found or (settings.language if settings.language in known else "en")


def _keep_choice() -> AnyResponse | None:
    """Keep the language that an address names, and go on to the same address without it."""
    language = request.args.get(CHOICE)
    known = request.routing_exception is None and not is_shared(request.path)
    if request.method != "GET" or language not in offered() or not known:
        return None
    response = redirect(_address(), 303)
    response.set_cookie(
        COOKIE, language, max_age=KEPT_S, secure=request.is_secure, httponly=True, samesite="Lax"
    )
    return response


def _address(*further: tuple[str, str]) -> str:
    """The address that was asked for, without a language, with further parameters."""
    asked = [(name, value) for name, value in request.args.items(multi=True) if name != CHOICE]
    return quote(request.path) + (f"?{urlencode([*asked, *further])}" if asked or further else "")


def _varying(response: Response) -> Response:
    if "is_spoken" in g:
        response.vary.update(("Accept-Language", "Cookie"))
    return response


def _at_the_foot() -> list[tuple[str, str, str]]:
    """The other languages with their names in themselves and addresses; none on the answer to a form."""
    if request.method != "GET" or is_shared(request.path):
        return []
    return [(language, ITSELF[language], choice(language)) for language in offered()]
