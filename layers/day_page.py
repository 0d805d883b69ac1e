"""The day page of a round: which lines are empty that must not be; the kit, counted from the teams."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from layers.round_plan import PUPILS
from layers.translating import N_

TREE_CHECK, WIND = "tree check", "wind"
LINES: dict[str, str] = {
    TREE_CHECK: N_("nobody is written down who looked at the trees within the days set"),
    WIND: N_("the wind limit of this ground, or the wind of the day, is not written down"),
}
CHECKED_WITHIN_DAYS = 14  # assumption, no source: after a storm nothing older holds anyway

KIT: dict[str, str] = {
    "girth tape": N_("tape measures"),
    "diameter tape": N_("tapes that show the width"),
    "caliper": N_("calipers"),
    "string and ruler": N_("strings with a ruler"),
    "sighting": N_("rulers or sticks to sight along"),
    "chalk": N_("pieces of chalk"),
    "pole": N_("height poles"),
    "board": N_("clipboards"),
    "pencil": N_("pencils"),
    "first aid": N_("first aid box"),
    "phone": N_("charged phones"),
}
_EVERY_TEAM = (("chalk", 2), ("pole", 1), ("board", 1), ("pencil", 2))
_SPARE = 1  # of what breaks or gets lost: common practice, no source


def empty_lines(page: Mapping[str, Any], wind_limit: str | None, day: str) -> list[str]:
    """Return which lines that a round needs before it starts are empty: words of LINES.

    Parameters
    ----------
    page : mapping
        ``tree_check_by``, ``tree_check_on``, ``tree_check_days`` and ``wind_reading`` as they were written.
    wind_limit : str, optional
        The site's own, in words.
    day : str
        The day of the start. A tree check that is older than it may be, or lies ahead, is none.
    """
    out = []
    days = page.get("tree_check_days")
    within = CHECKED_WITHIN_DAYS if days is None else int(days)
    on = page.get("tree_check_on")
    oldest = (dt.date.fromisoformat(day) - dt.timedelta(days=within)).isoformat()
    if not page.get("tree_check_by") or not on or not oldest <= on <= day:
        out.append(TREE_CHECK)
    if not wind_limit or not page.get("wind_reading"):
        out.append(WIND)
    return out


def kit(kinds: Sequence[str], instrument: str) -> list[tuple[str, int]]:
    """Return what is taken along: (word of KIT, how many), by the kinds of the teams and the instrument.

    One spare of each instrument; a phone and a first aid box for each three teams, at least one.
    """
    teams = len(kinds)
    out = [(instrument, teams + _SPARE)] if instrument in KIT else []
    out += [(word, each * teams + (_SPARE if word == "pencil" else 0)) for word, each in _EVERY_TEAM]
    leaders = max(1, -(-teams // 3))
    return [*out, ("first aid", leaders), ("phone", max(leaders, kinds.count(PUPILS)))]
