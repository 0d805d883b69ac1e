"""A small bar of what the error of a number is made of: one piece for each cause, as wide as its share.

Pieces that were measured on the ground are filled, assumed ones are hatched, so that grey print tells them
apart; the text beside and the description say the same in words.
"""

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

from layers.chart_drawing import plain
from layers.explaining_words import BETTER
from layers.explanations import Part
from layers.symbology import INK, PAPER
from layers.translating import N_

WIDTH_PX, HEIGHT_PX = 160, 14
_HATCH_PX = (4.0, 6.0)
_TURNS = (45, -45)  # of the hatch, in turn, so that neighbours differ
_TINTS = (INK, "#6d7783")

CAUSE_WORDS: dict[str, str] = {
    "own": N_("each measurement by itself: reading and rounding"),
    "departure": N_("the trunk's own shape between the two heights"),
    "taper": N_("shape of the trunk between the two heights"),
    "instrument": N_("the instrument, on all trees alike"),
    "crew": N_("the team, on all its trees alike"),
    "calibration": N_("how well the hands were measured"),
    "height": N_("height of measuring not said"),
    "area": N_("size of the ground"),
    "edge": N_("trees near the edge of the ground"),
}
"""The plain words for each kind of cause; pages give them translated, under the same keys."""

CAUSES_WORDS: dict[str, str] = {
    "piece": N_("{cause}: {share} %, {basis}"),
    "measured": N_("measured on this ground"),
    "assumed": N_("assumed"),
    "desc": N_("What the give or take is made of, the largest first. {pieces}."),
    "mostly": N_("Mostly {cause}."),
    "better": N_("It would be better known by this: {what}."),
}


def largest_first(parts: Sequence[Part]) -> list[Part]:
    """Return the parts by their share."""
    return sorted(parts, key=lambda part: -part.share)


def better_words(parts: Sequence[Part], words: Mapping[str, str], causes: Mapping[str, str]) -> str:
    """Return what the error is mostly of, and what would make the number better; empty without an error.

    Parameters
    ----------
    parts : sequence of Part
        Parts of the error.
    words, causes : mapping
        ``CAUSES_WORDS`` with ``BETTER``, and ``CAUSE_WORDS``, translated.
    """
    if not parts:
        return ""
    kind = largest_first(parts)[0].kind
    mostly = words["mostly"].replace("{cause}", causes[kind])
    return f"{mostly} {words['better'].replace('{what}', words[kind])}" if kind in BETTER else mostly


def described(parts: Sequence[Part], words: Mapping[str, str], causes: Mapping[str, str]) -> str:
    """Return the pieces of the bar in words."""
    pieces = [
        words["piece"]
        .replace("{cause}", causes[part.kind])
        .replace("{share}", f"{100 * part.share:.0f}")
        .replace("{basis}", words["measured" if part.measured else "assumed"])
        for part in largest_first(parts)
    ]
    return words["desc"].replace("{pieces}", "; ".join(pieces))


def causes_bar(parts: Sequence[Part], words: Mapping[str, str], causes: Mapping[str, str], name: str) -> str:
    """Return the bar as one SVG element with its description; empty without an error.

    Parameters
    ----------
    parts : sequence of Part
        Parts of the error.
    words, causes : mapping
        ``CAUSES_WORDS`` and ``CAUSE_WORDS``, translated.
    name : str
        Letters and digits that no other bar of the page has: hatches are named with it.
    """
    if not parts:
        return ""
    patterns, pieces, at = "", "", 0.0
    for n, part in enumerate(largest_first(parts)):
        wide = part.share * (WIDTH_PX - 2)
        fill = _TINTS[n % 2]
        if not part.measured:
            patterns += _hatch(f"{name}-{n}", n)
            fill = f"url(#{name}-{n})"
        pieces += (
            f'<rect x="{at + 1:.2f}" y="1" width="{wide:.2f}" height="{HEIGHT_PX - 2}" fill="{fill}" '
            f'stroke="{INK}" stroke-width="1"/>'
        )
        at += wide
    told = quoteattr(plain(described(parts, words, causes)))
    title = escape(plain(described(parts, words, causes)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="causes" width="{WIDTH_PX}" '
        f'height="{HEIGHT_PX}" viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}" '
        f'role="img" aria-label={told}><title>{title}</title><defs>{patterns}</defs>{pieces}</svg>'
    )


def _hatch(name: str, number: int) -> str:
    step, turn = _HATCH_PX[number // 2 % 2], _TURNS[number % 2]
    return (
        f'<pattern id="{name}" width="{step:g}" height="{step:g}" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate({turn})"><rect width="{step:g}" height="{step:g}" fill="{PAPER}"/>'
        f'<line x1="0" y1="0" x2="0" y2="{step:g}" stroke="{INK}" stroke-width="1.6"/></pattern>'
    )
