"""Slips by which teams come in: team, word, and a picture that opens the page for measuring with the word.

The word is not kept, so that slips are made within the answer that shows it once, and printed from there.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import segno
from markupsafe import Markup

from service.web.addresses import for_phones
from service.web.round_facts import TeamFact


@dataclass(frozen=True)
class Slip:
    """A slip: code and kind of a team, its word; the address to be opened, its picture, or neither."""

    code: str
    kind: str
    word: str
    address: str | None
    picture: Markup | None


def slips_of(teams: Iterable[tuple[TeamFact, str]]) -> list[Slip]:
    """Return the slips of teams and their words."""
    address = for_phones()
    return [_slip(team, word, address) for team, word in teams]


def joined_by(address: str, word: str) -> str:
    """Return the address that opens the page for measuring with a word.

    The word stands after the #, which a browser sends to no server: it is in no log.
    """
    return f"{address}#{word.replace(' ', '-')}"


def _slip(team: TeamFact, word: str, address: str | None) -> Slip:
    picture = None if address is None else _picture(joined_by(address, word))
    return Slip(team.code, team.kind, word, address, picture)


def _picture(said: str) -> Markup:
    """A QR code as SVG, with its quiet zone; made of nothing but digits, so that nothing in it is read."""
    svg = segno.make_qr(said, error="m").svg_inline(omitsize=True, svgclass="qr", lineclass=None)
    return Markup(svg.replace("<svg ", '<svg aria-hidden="true" ', 1))
