"""What makes a trunk awkward, as plain choices of a form; and how it is said on the page of a tree."""

from dataclasses import dataclass
from typing import Any

from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers import awkward_stems
from layers.awkward_stems import FACTS
from service.web import display
from service.web.form import Form

PREFIX = "awkward-"
OPENED = "awkward_shown"  # a form that had these fields: what is not ticked is not so
_AMOUNTS = {"vine": "vine_cm", "missing bark": "bark_share"}

SIDES = [
    ("", _l("not said")),
    ("uphill", _l("uphill side")),
    ("downhill", _l("downhill side")),
    ("between", _l("between the two")),
    ("upper side of the lean", _l("upper side of the lean")),
    ("under side of the lean", _l("under side of the lean")),
]
RULES_USED = [
    ("", _l("as asked")),
    ("above it", _l("just above the awkward place")),
    ("below it", _l("just below the awkward place")),
    ("narrowest below the fork", _l("at the narrowest place below the fork")),
    ("above the fork", _l("above the fork, each trunk by itself")),
    ("mean of above and below", _l("mean of two, equally far above and below")),
    ("beneath the vine", _l("tape beneath the vine")),
    ("at the foot", _l("at the foot")),
]


@dataclass(frozen=True)
class AwkwardFact:
    """A fact about a trunk as a page says it: what it is, the rule for it, the rule's source."""

    plain: str
    rule: str
    source: str


def fields() -> list[tuple[str, str, str]]:
    """Return the choices of the form: name of the field, the fact in plain words, the rule for it."""
    return [(name_of(word), _(fact.plain), _(fact.rule)) for word, fact in FACTS.items()]


def name_of(word: str) -> str:
    """Return the name of a fact's field."""
    return PREFIX + word.replace(" ", "-")


def typed(sent: Form, height_m: float | None) -> dict[str, Any]:
    """Return what a form says of an awkward trunk: ``awkward``, ``side``, ``rule``, ``tilt_deg``.

    Empty where the form did not have these fields.
    """
    if sent.text(OPENED) is None:
        return {}
    facts: dict[str, float | None] = {word: None for word in FACTS if sent.text(name_of(word))}
    for word, field in _AMOUNTS.items():
        amount = sent.number(field)
        if amount is not None:
            facts[word] = amount
    kept = sent.text("awkward_kept")
    facts |= {word: amount for word, amount in awkward_stems.facts_of(kept).items() if word not in FACTS}
    values: dict[str, Any] = {"awkward": awkward_stems.joined(facts), "tilt_deg": sent.number("tilt_deg")}
    for word, fault in awkward_stems.faults_of(facts, height_m).items():
        sent.faults.setdefault(_AMOUNTS.get(word, "height_m"), fault)
    return {**values, **sent.texts("side", "rule")}


def shown(reading: Any) -> dict[str, str]:
    """Return the fields of a form that say what a reading says of an awkward trunk."""
    facts = awkward_stems.facts_of(None if display.is_missing(reading["awkward"]) else reading["awkward"])
    values = {name_of(word): "yes" for word in facts if word in FACTS}
    for word, field in _AMOUNTS.items():
        amount = facts.get(word)
        if amount is not None:
            values[field] = f"{amount:g}"
    others = {word: amount for word, amount in facts.items() if word not in FACTS}
    values["awkward_kept"] = awkward_stems.joined(others) or ""
    for name in ("side", "rule", "tilt_deg"):
        if not display.is_missing(reading[name]):
            values[name] = f"{reading[name]:g}" if name == "tilt_deg" else str(reading[name])
    return values


def is_said(values: dict[str, str]) -> bool:
    """Return whether a form says anything of an awkward trunk, so that its part of the form stands open."""
    named = ("side", "rule", "tilt_deg", *_AMOUNTS.values())
    return any(value and (name.startswith(PREFIX) or name in named) for name, value in values.items())


def facts_said(reading: Any) -> list[AwkwardFact]:
    """Return the facts of a reading with their rules and sources, in the words of pages."""
    facts = awkward_stems.facts_of(None if display.is_missing(reading.awkward) else reading.awkward)
    out = []
    for word, amount in facts.items():
        fact = FACTS.get(word)
        if fact is None:
            out.append(AwkwardFact(word, "", ""))
            continue
        plain = _(fact.plain)
        if amount is not None and word == "vine":
            plain = _("%(fact)s, %(cm)s cm thick", fact=plain, cm=f"{amount:g}")
        if amount is not None and word == "missing bark":
            plain = _(
                "%(fact)s, %(percent)s %% of the width is left", fact=plain, percent=f"{100 * amount:g}"
            )
        out.append(AwkwardFact(str(plain), _(fact.rule), _(fact.source)))
    return out


def done_so(reading: Any) -> str:
    """Return where the tape went, on which side and how tilted, in words; empty where nothing was said."""
    said = []
    for name, words in (("rule", dict(RULES_USED)), ("side", dict(SIDES))):
        value = getattr(reading, name)
        if not display.is_missing(value) and value:
            said.append(str(words.get(value, value)))
    if not display.is_missing(reading.tilt_deg):
        said.append(str(_("tape tilted by %(deg)s°", deg=f"{reading.tilt_deg:g}")))
    return ", ".join(said)
