"""The mark on texts that people read: collected for translators, translated where they are shown."""


def N_(text: str) -> str:
    """Return the text; it is collected for translation."""
    return text
