"""The mark on texts that people read: collected for translators, translated where they are shown."""

from typing import Any


def N_(text: str) -> str:
    """Return the text; it is collected for translation."""
    return text


def filled(template: str, **values: Any) -> str:
    """Return a text with its named places, ``%(name)s``, filled in; values without a place are left away."""
    return template % values
