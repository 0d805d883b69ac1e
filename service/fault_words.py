"""What is at fault with a value that was sent, in a sentence that says what to do."""

from collections.abc import Mapping
from typing import Any

_LIMITS = {"gt": "greater than", "ge": "at least", "lt": "less than", "le": "at most"}
_NUMBERS = ("float_", "int_", "finite_number")
_KINDS = {
    "string_type": "is no text; send text in quotes",
    "bool_": "is neither true nor false; send one of the two",
    "list_type": "is no list; send a list in square brackets",
    "dict_type": "is no object; send one in curly brackets",
    "model_": "is no object; send one in curly brackets",
}


def sentence_of(fault: Mapping[str, Any]) -> str:
    """Return the sentence for a fault as pydantic tells it (``type``, ``input``, ``msg``, ``ctx``)."""
    said, known = repr(fault["input"])[:60], fault.get("ctx") or {}
    if fault["type"] == "literal_error":
        return f"{said} is not known here; use one of these: {known['expected']}."
    if fault["type"] == "missing":
        return "This is needed; send it."
    if fault["type"] == "extra_forbidden":
        return "There is no such word here; leave it out, or check its spelling."
    if fault["type"].startswith(_NUMBERS):
        return f"{said} is no number that can be used here; send a plain number."
    for kind, words in _KINDS.items():
        if fault["type"].startswith(kind):
            return f"{said} {words}."
    for limit, words in _LIMITS.items():
        if limit in known:
            return f"{said} is out of range; it has to be {words} {known[limit]}."
    text = str(fault["msg"]).removeprefix("Value error, ")
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")
