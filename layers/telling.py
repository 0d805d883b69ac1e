"""Sentences that were made of data, said on a page: translated, in the units and days of the ground.

Data and files hold English sentences with metric lengths and ISO days. Each was filled into one of the
templates below; a page finds the template again, and says it anew in its own words. A sentence of no
template stays as it is.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

from layers import (
    canopy,
    circumstances,
    conversion,
    explaining_words,
    figure_rows,
    girth,
    group_curves,
    growth_curves,
    growth_groups,
    growth_words,
    line_distance,
    screening,
    screening_rules,
    seen,
    sights,
)
from layers.map_words import MAP_WORDS
from layers.translating import N_
from layers.units import M_PER_FT, feet_and_inches

FEET, FEET_AND_INCHES = N_("%(feet)s ft"), N_("%(feet)s ft %(inches)s in")
ROUND, ACROSS = N_("%(value)s %(unit)s round"), N_("%(value)s %(unit)s across")
AT_HEIGHT, HEIGHT_NOT_SAID = N_("at %(height)s"), N_("height not said")
INSTRUMENTS = {
    "girth tape": N_("tape round the trunk"),
    "diameter tape": N_("tape that shows the width"),
    "caliper": N_("caliper"),
    "string and ruler": N_("string and ruler"),
    "hand breadths": N_("hand breadths"),
    "hand spans": N_("hand spans"),
    "sighting": N_("sighting from a distance"),
    "eye": N_("by eye"),
    "unknown": N_("instrument not said"),
}

# Sentences of layers that only hand them on; they are held to these by a test.
OF_THE_PROFILE = (
    N_("coefficient of the species %(name)s"),
    N_("coefficient of the genus %(name)s"),
    N_("species not known, coefficient of mixed hardwood"),
    N_("no coefficient for %(name)s, that of other softwoods"),
    N_("no coefficient for %(name)s, that of mixed hardwood"),
)
OF_SIZES = (
    N_("only a diameter class was said, which is no size"),
    N_("no size was said"),
    N_("the unit of the size is not known"),
    N_("not measured"),
    N_("%(times)s readings of the same round combined"),
)
OF_CREWS = (N_("pupils"), N_("volunteers"), N_("trained staff"))
OF_LEVELS = (N_("walk-over"), N_("formal"), N_("detailed"))
OF_CLASSES = (
    N_("any size"),
    N_("under %(to)s %(unit)s"),
    N_("%(from)s to under %(to)s %(unit)s"),
    N_("%(from)s %(unit)s and more"),
)
RULE_WORDS = tuple(
    dict.fromkeys(
        text
        for rule in screening_rules.RULES.values()
        for text in (rule.question, rule.short, rule.worse, rule.who)
    )
)
SENTENCES: tuple[str, ...] = (
    *conversion.SENTENCES,
    *girth.SENTENCES,
    *canopy.SENTENCES,
    *seen.SENTENCES,
    *circumstances.SENTENCES,
    *figure_rows.SENTENCES,
    *growth_words.SENTENCES,
    *growth_groups.SENTENCES,
    *growth_curves.SENTENCES,
    *group_curves.SENTENCES,
    *line_distance.SENTENCES,
    *(equation.words for equation in explaining_words.EQUATIONS.values()),
    *explaining_words.SENTENCES,
    *RULE_WORDS,
    *(screening.QUALIFIED_HERE, screening_rules.COMMON_PRACTICE),
    *(screening_rules.REACH_SOURCE, screening_rules.DROP_SOURCE),
    *(text for key, text in MAP_WORDS.items() if key.startswith(("kind.", "use."))),
    *(sight.plain for sight in sights.SIGHTS.values()),
    *OF_THE_PROFILE,
    *OF_SIZES,
    *OF_CREWS,
    *OF_LEVELS,
    *OF_CLASSES,
)

_PLACE = re.compile(r"%\((\w+)\)s")
_METRES = r"\d+(?:\.\d+)? m"
_PATTERNS = {
    **dict.fromkeys(("height", "standard", "highest", "fitted"), _METRES),
    **dict.fromkeys(("reach", "tall", "wide", "apart", "known"), _METRES),
    **dict.fromkeys(("day", "due", "until"), r"\d{4}(?:-\d\d)?(?:-\d\d)?|no date"),
    **dict.fromkeys(("times", "months", "from", "to"), r"\d+(?:\.\d+)?"),
    "share": r"\d+%",
    "unit": "cm|in",
    "text": ".*",
}
_SOME_TEXT = ".+?"
_DECIMAL = re.compile(r"\d+\.(\d+)")
_SAID_SIZE = re.compile(
    r"(?P<quantity>girth|diameter) (?P<size>\S+(?: and \S+)?) (?P<unit>mm|cm|m|in|ft|hands|spans), "
    rf"(?P<instrument>[^,;]+), (?:height not said|at (?P<height>{_METRES}))"
)


def _plain_number(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}"


@dataclass(frozen=True)
class Voice:
    """How a page speaks: units ("metric" or "us"), translation, numbers with decimals, ISO days in words."""

    units: str = "metric"
    translate: Callable[[str], str] = str
    number: Callable[[float, int], str] = _plain_number
    day: Callable[[str], str] = str

    def height(self, metres: float) -> str:
        """Return a height of measuring: 1.30 m, or 4 ft 6 in."""
        if self.units != "us":
            return self.numbers(conversion.metres(metres))
        feet, inches = feet_and_inches(metres)
        if not inches:
            return self.translate(FEET) % {"feet": feet}
        shown = self.number(inches, 0 if inches == int(inches) else 1)
        return self.translate(FEET_AND_INCHES) % {"feet": feet, "inches": shown}

    def length(self, said: str) -> str:
        """Return a length that was said as "14.3 m"; in feet on a ground in US customary units."""
        if self.units != "us":
            return self.numbers(said)
        return self.translate(FEET) % {"feet": self.number(float(said.removesuffix(" m")) / M_PER_FT, 1)}

    def numbers(self, said: str) -> str:
        """Return a text of data with its decimal numbers as the page writes them."""
        return _DECIMAL.sub(lambda found: self.number(float(found[0]), len(found[1])), said)

    def size(self, quantity: str, value: str, unit: str, height_m: float | None) -> str:
        """Return a reading as it was said: 94.2 in round, at 4 ft 6 in."""
        shape = ACROSS if quantity == "diameter" else ROUND
        said = self.translate(shape) % {"value": self.numbers(value), "unit": unit}
        if height_m is None:
            return f"{said}, {self.translate(HEIGHT_NOT_SAID)}"
        return f"{said}, {self.translate(AT_HEIGHT) % {'height': self.height(height_m)}}"


class _Template:
    """A template with the pattern of its sentences."""

    def __init__(self, text: str) -> None:
        self.text = text
        parts = _PLACE.split(text)
        self.begin = parts[0].replace("%%", "%")
        self.names = parts[1::2]
        pattern = ""
        for n, part in enumerate(parts):
            if n % 2:
                pattern += f"(?P<{part}>{_PATTERNS.get(part, _SOME_TEXT)})"
            else:
                pattern += re.escape(part.replace("%%", "%"))
        self.whole = re.compile(pattern, re.DOTALL)
        self.first = re.compile(rf"{pattern}(?P<_between>; | )(?P<_rest>.+)", re.DOTALL)


class Catalogue:
    """Templates, and how a sentence of one of them is said."""

    def __init__(self, templates: Iterable[str]) -> None:
        self.templates = tuple(dict.fromkeys(templates))

    @cached_property
    def _bare(self) -> frozenset[str]:
        return frozenset(text for text in self.templates if not _PLACE.search(text))

    @cached_property
    def _known(self) -> list[_Template]:
        """Those that say most first: of two that fit, the one with more words of its own is meant."""
        found = [_Template(text) for text in self.templates]
        return sorted(found, key=lambda one: -len(_PLACE.sub("", one.text)))

    def told(self, sentence: str, voice: Voice) -> str:
        """Return a sentence in the words of a page; as it is where none of the templates made it."""
        said = self._told(sentence, voice)
        return sentence if said is None else said

    def knows(self, sentence: str) -> bool:
        """Return whether a sentence, or every one of several, was made of the templates."""
        return self._told(sentence, Voice()) is not None

    def _told(self, sentence: str, voice: Voice) -> str | None:
        if sentence in self._bare:
            return voice.translate(sentence).replace("%%", "%")
        near = [one for one in self._known if sentence.startswith(one.begin)]
        for template in near:
            found = template.whole.fullmatch(sentence)
            if found is not None:
                return self._filled(template, found, voice)
        size = _SAID_SIZE.match(sentence)
        if size is not None:
            rest = sentence[size.end() :]
            further = self._told(rest.removeprefix("; "), voice) if rest else ""
            if further is not None:
                return _size(size, voice) + ("; " + further if rest else "")
        for template in near:
            found = template.first.fullmatch(sentence)
            rest_said = None if found is None else self._told(found["_rest"], voice)
            if found is not None and rest_said is not None:
                return self._filled(template, found, voice) + found["_between"] + rest_said
        return None

    def _filled(self, template: _Template, found: re.Match[str], voice: Voice) -> str:
        values = {name: self._value(name, found[name], voice) for name in template.names}
        return voice.translate(template.text) % values

    def _value(self, name: str, said: str, voice: Voice) -> str:
        if name in ("height", "standard", "highest", "fitted"):
            return voice.height(float(said.removesuffix(" m")))
        if _PATTERNS.get(name) == _METRES:
            return voice.length(said)
        if name in ("day", "due", "until"):
            return voice.translate(seen.NO_DATE) if said == seen.NO_DATE else voice.day(said)
        if _DECIMAL.fullmatch(said):
            return voice.numbers(said)
        return said if name in ("text", "name") else self.told(said, voice)


def _size(found: re.Match[str], voice: Voice) -> str:
    instrument = found["instrument"]
    height = found["height"]
    value = found["size"].replace(" and ", " / ")
    metres = None if height is None else float(height.removesuffix(" m"))
    by = voice.translate(INSTRUMENTS.get(instrument, instrument))
    return f"{voice.size(found['quantity'], value, found['unit'], metres)}, {by}"


LAYERS = Catalogue(SENTENCES)
