"""Reading a form: what was typed, as the records want it, and every fault beside its field."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from flask import flash, redirect, request
from flask_babel import gettext as _
from flask_babel import ngettext
from werkzeug.wrappers import Response

from service.entry import Answer
from service.errors import InvalidRequest, StaleVersion
from service.web.display import say

_FRACTION = re.compile(r"(?:(\d{1,6})[ -])?(\d{1,3})/(2|4|8|10|16|32)")  # as tapes in inches are read
_NUMBER = re.compile(r"[+-]?\d{1,9}(?:[.,]\d{1,9})?")


@dataclass
class Form:
    """What was typed, and what is wrong with it: {field: sentence}; "" is the form as a whole."""

    values: dict[str, str]
    faults: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str | None:
        """A field's text without blanks around it; None when it was left empty."""
        return self.values.get(name, "").strip() or None

    def number(self, name: str) -> float | None:
        """A field's number: with a decimal point, a comma or a fraction (37 1/2); None when left empty.

        What is no number is noted as a fault.
        """
        said = self.text(name)
        if said is None:
            return None
        if broken := _FRACTION.fullmatch(said):
            whole, above, below = broken.groups("0")
            return int(whole) + int(above) / int(below)
        if not self.is_number(said):
            self.faults[name] = _("%(said)s is not a number; type digits, for example 94.2.", said=said[:40])
            return None
        return float(said.replace(",", "."))

    def version(self) -> int:
        """The version of a record that was seen; 0, which no record has, where the form names none."""
        return int(self.number("version") or 0)

    @staticmethod
    def is_number(said: str) -> bool:
        """Whether a text is a number with a decimal point or comma, and nothing else."""
        return _NUMBER.fullmatch(said) is not None

    def texts(self, *names: str) -> dict[str, str | None]:
        """Several fields' texts by name."""
        return {name: self.text(name) for name in names}


def typed() -> Form:
    """Return what the request's form holds."""
    return Form({name: value for name, value in request.form.items() if name != "csrf_token"})


def blank(**values: Any) -> Form:
    """Return a form that was not sent yet, with what is filled in beforehand."""
    return Form({name: str(value) for name, value in values.items() if value is not None and value == value})


def tried(form: Form, act: Callable[[], Any], names: Mapping[str, str] = MappingProxyType({})) -> Any:
    """Do what a form asks for and return its result; None where it has faults, which are noted in it.

    ``names`` are the form's own names of fields that a record calls otherwise.
    """
    if form.faults:
        return None
    try:
        return act()
    except StaleVersion:
        form.faults[""] = _("Somebody changed this meanwhile. Look at it again, then type your change anew.")
    except InvalidRequest as error:
        for where, message in error.faults:
            named = where.strip("/").split("/")[0]
            shown = names.get(named, named)
            form.faults.setdefault(shown if shown in form.values else "", say(message))
    return None


def refused(form: Form, answers: Iterable[Answer]) -> bool:
    """Note the refused records of a form as faults; return whether there was one."""
    reasons = [say(answer.why or "") for answer in answers if answer.outcome == "refused"]
    if reasons:
        form.faults.setdefault("", " ".join(reasons))
    return bool(reasons)


def told(answers: Iterable[Answer], kept: str) -> None:
    """Say on the next page what became of what was sent."""
    answers = list(answers)
    flash(kept)
    for why in [answer.why for answer in answers if answer.outcome == "questioned"]:
        flash(_("Please check: %(why)s", why=say(why or "")))


def query(**values: str | None) -> str:
    """Return what follows the question mark of an address; what is empty is left away."""
    return urlencode({name: value for name, value in values.items() if value})


def counted(count: int) -> str:
    """Return "n records" in words."""
    return str(ngettext("%(num)s entry", "%(num)s entries", count))


def away(address: str) -> Response:
    """Answer a form that was taken: go and look."""
    return redirect(address, 303)


def chosen(values: Mapping[str, str], prefix: str) -> dict[str, str]:
    """Return the fields whose name starts with ``prefix``, without it."""
    return {name[len(prefix) :]: value for name, value in values.items() if name.startswith(prefix) and value}
