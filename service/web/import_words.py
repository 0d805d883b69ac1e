"""The words for bringing a list in: our columns, choices of options, what became of rows."""

from collections.abc import Iterable
from typing import Any

from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers.telling import Voice
from service.answers import PAGES
from service.intake.sentences import IMPORTS
from service.web import display

COLUMN_WORDS: dict[str, Any] = {
    "tag": _l("tree number"),
    "external_id": _l("key in your list"),
    "row_id": _l("row number"),
    "species": _l("kind, botanical"),
    "genus": _l("genus"),
    "epithet": _l("second part of the botanical name"),
    "cultivar": _l("variety"),
    "common_name": _l("kind, everyday name"),
    "girth": _l("distance round the trunk"),
    "diameter": _l("width of the trunk"),
    "class": _l("class of width"),
    "height": _l("height of the tree"),
    "crown": _l("width of the crown"),
    "measuring_height": _l("height of measuring"),
    "place": _l("part of the ground"),
    "quarter": _l("quarter"),
    "street": _l("street"),
    "measured_on": _l("day of measuring"),
    "status": _l("state"),
    "record_kind": _l("what stands there"),
    "planted_on": _l("day of planting"),
    "lon": _l("longitude"),
    "lat": _l("latitude"),
    "x": _l("east (x)"),
    "y": _l("north (y)"),
    "geometry": _l("shape"),
    "point": _l("position"),
    "name": _l("name"),
    "kind": _l("what it is"),
    "use": _l("how much people are there"),
    "area_ha": _l("hectares"),
    "keeper": _l("whose"),
}
SAID_BY_HAND = (
    "tag", "species", "girth", "diameter", "class", "height", "crown", "place", "measured_on", "status",
    "lon", "lat", "x", "y",
)  # fmt: skip
SIZES = (
    "girth-cm",
    "girth-in",
    "girth-mm",
    "girth-m",
    "diameter-cm",
    "diameter-in",
    "diameter-mm",
    "diameter-m",
)
_QUANTITIES = {"girth": _l("distance round the trunk"), "diameter": _l("width of the trunk")}
_UNITS = {
    "cm": _l("centimetres"),
    "in": _l("inches"),
    "mm": _l("millimetres"),
    "m": _l("metres"),
    "ft": _l("feet"),
}
LAYERS = {"trees": _l("trees"), "areas": _l("areas"), "targets": _l("what is underneath")}
OPTION_WORDS: dict[str, Any] = {
    "layer": _l("What the list holds"),
    "place": _l("Part of the ground (a name, or a heading of the list)"),
    "size": _l("What the sizes are"),
    "height_m": _l("Height of measuring, in metres"),
    "measured_on": _l("Day of measuring (a day, or a heading of the list)"),
    "crs": _l("Coordinates (EPSG:n, or local for metres on a plan)"),
    "kind": _l("What all areas or things underneath are"),
}
OUTCOME_WORDS = {
    "taken": _l("taken"),
    "already_there": _l("already there"),
    "questioned": _l("please check"),
    "refused": _l("not taken in"),
}
RECORD_WORDS = {
    "trees": _l("trees"),
    "stems": _l("trunks"),
    "readings": _l("measurements of trunks"),
    "observations": _l("other measurements and sights"),
    "places": _l("parts of the ground, stumps, gaps"),
    "areas": _l("areas"),
    "targets": _l("things underneath"),
}


GUESS_WORDS = {
    "encoding": _l("letters of the file"),
    "delimiter": _l("what parts the columns"),
    "header row": _l("row of the headings"),
    "crs": _l("coordinates"),
    "coordinates": _l("coordinates"),
    "position": _l("position"),
    "size": _l("sizes"),
    "key": _l("how rows are told apart"),
    "tag": _l("tree numbers"),
    "dates": _l("days"),
    "frame": _l("place on earth"),
    "site": _l("ground"),
    "breast height": _l("height at which trunks are compared"),
    "yearly sizes": _l("sizes of several years"),
    "places": _l("parts of the ground"),
    "layer": _l("what the list holds"),
    "status": _l("states"),
    "names": _l("kinds of trees"),
    "file": _l("what the list is"),
    "height of measuring": _l("height of measuring"),
    "stems": _l("several trunks"),
}


QUESTION_WORDS = {
    "same tag": _l("same tree number"),
    "same position": _l("same position"),
    "same key": _l("same key"),
    "not the same kind": _l("not the same kind of thing"),
    "another tree": _l("another tree"),
    "changed here and there": _l("changed here and there"),
    "corrected here and there": _l("corrected here and there"),
    "two statuses": _l("two states"),
    "size": _l("size"),
    "large_size": _l("large size"),
    "position": _l("position"),
    "swapped": _l("latitude and longitude exchanged"),
    "far_off": _l("far from the others"),
    "area": _l("size of an area"),
    "date": _l("day"),
    "kind": _l("kind"),
    "name": _l("name"),
    "status": _l("state"),
    "use": _l("how much people are there"),
}


def question_words(what: str) -> str:
    """The plain words for what a row is asked about."""
    return str(QUESTION_WORDS.get(what, what))


def row_words(sentence: str) -> str:
    """What is asked about a row, or why it was not taken, in the words of the page."""
    return display.say(sentence) if PAGES.knows(sentence) else why_words(sentence)


def guess_words(what: str) -> str:
    """The plain words for what a guess is about."""
    return str(GUESS_WORDS.get(what, what))


def column_guesses(guesses: Iterable[Any]) -> dict[str, Any]:
    """The guess about each column, by its heading in the list."""
    said = [guess if isinstance(guess, dict) else vars(guess) for guess in guesses]
    return {guess["value"].rpartition(" = ")[0]: guess for guess in said if guess["what"] == "column"}


def column_words(word: str) -> str:
    """The plain words for one of our columns."""
    return (
        str(COLUMN_WORDS.get(word.split(" ")[0], word))
        if word not in COLUMN_WORDS
        else str(COLUMN_WORDS[word])
    )


def choice_words(option: str, choice: str) -> str:
    """The plain words for one choice of an option."""
    quantity, _dash, unit = choice.partition("-")
    if option == "size" and quantity in _QUANTITIES and unit in _UNITS:
        return str(_("%(quantity)s, in %(unit)s", quantity=_QUANTITIES[quantity], unit=_UNITS[unit]))
    if option == "crs" and choice == "local":
        return str(_("metres on a plan without a place on earth"))
    if option == "layer" and choice in LAYERS:
        return str(LAYERS[choice])
    if option == "columns":
        word, _sign, heading = choice.partition("=")
        if word == "kept":
            return str(_("%(heading)s is something else: keep it as written", heading=heading))
        return str(_("%(heading)s is: %(meaning)s", heading=heading, meaning=column_words(word)))
    return choice


def why_words(sentence: str) -> str:
    """A sentence of an import in the words of the page; as it is where none of the templates made it."""
    voice = Voice(translate=lambda text: str(_(text)))
    if IMPORTS.knows(sentence) or not known(sentence):
        return IMPORTS.told(sentence, voice)
    told = "; ".join(IMPORTS.told(part, voice) for part in _reasons(sentence))
    return f"{told[:1].upper()}{told[1:]}."


def known(sentence: str) -> bool:
    """Whether a sentence was made of the templates, or each of the reasons in it."""
    return IMPORTS.knows(sentence) or all(map(IMPORTS.knows, _reasons(sentence)))


def _reasons(sentence: str) -> list[str]:
    return (sentence[:1].lower() + sentence[1:].removesuffix(".")).split("; ")


def sure_words(sure: float) -> str:
    """How sure a guess is, in words."""
    if sure >= 0.95:
        return str(_("almost certain"))
    if sure >= 0.8:
        return str(_("likely"))
    return str(_("a guess; please check"))
