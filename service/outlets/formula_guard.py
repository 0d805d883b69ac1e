"""Text in a table file that a spreadsheet would run as a formula, and how it comes back as it was.

References
----------
OWASP Foundation (2025): Application Security Verification Standard 5.0.0, requirement 1.2.10: in CSV, text
that starts with one of = + - @, tab or NUL gets a single quote before it. Blanks before these, carriage
return, line feed and the full-width signs are added here.
"""

import re

_RUNS = re.compile(r"'*(?:\s*[=+\-@＝＋－＠]|\s*[\t\r\n\0])")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


def guarded(text: str) -> str:
    """Return the text with a quote before it where a spreadsheet would run it; real numbers stay."""
    return f"'{text}" if _RUNS.match(text) and not _NUMBER.fullmatch(text) else text


def restored(text: str) -> str:
    """Return the text as it was before ``guarded``."""
    return text[1:] if text.startswith("'") and _RUNS.match(text) else text
