"""The questions that recorded facts raise about a tree, each with its version, source and who may answer.

A rule raises a question; it never says what a tree is, and it makes no work but looking.
"""

from dataclasses import dataclass
from typing import Literal

from layers.translating import N_

Kind = Literal["sign", "circumstance", "gap"]

COMMON_PRACTICE = N_("common practice, no source")
USFS_DEFECTS = "US Forest Service, How to recognize hazardous defects in trees, NA-FR-01-96 (read in a copy)"
REACH_SOURCE = N_(
    "Zones of one tree height, and of one and a half for dead or brittle trees, on a public inspection form "
    "and in training notes on targets"
)
DROP_SOURCE = N_("Zone inside the drip line on a public inspection form")
NOT_INSPECTION = "A measurement is not a look: common practice, no source"
VOLUNTEERS_NAMES = (
    "Roman et al. 2017, Urban Forestry & Urban Greening 22:124-135, as reported: volunteers and experts "
    "agreed on about 85 % of species"
)

REACH_SHARE = 1.0  # of the height [-]
REACH_SHARE_DEAD = 1.5
POSITION_NOT_SAID_M = 5.0  # assumption: a phone under crowns is 5 to 10 m off; common practice, no source

USES = ("most of the day", "every day", "now and then", "hardly ever")
USE_NOT_SAID = "not said"
BUSY = USES[:2]

INTERVAL_MONTHS = {
    "most of the day": 12,
    "every day": 12,
    "now and then": 24,
    "hardly ever": 36,
    USE_NOT_SAID: 12,
}
INTERVAL_SOURCE = (
    "US Forest Service, Northeastern Area, example tactical approach: once a year as a minimum where people "
    "gather; German guideline on tree inspection (FLL), as reported: grown trees every 2 or 3 years"
)
OUR_REMINDER = N_("our reminder, nobody qualified has set this for your ground")

# Days until an answer is due, by use: ours, common practice, no source.
SIGN_DAYS = {"most of the day": 7, "every day": 7, "now and then": 30, "hardly ever": 90, USE_NOT_SAID: 7}
FIRST_LOOK_DAYS = 90
GAP_DAYS = 365

QUALIFIED = N_("a qualified person")
MEASURER = N_("anyone who was shown how to measure a height")
NAMER = N_("somebody who knows the kinds of trees")
MANAGER = N_("the manager of the ground")


@dataclass(frozen=True)
class Rule:
    """One question; ``short`` is the word that stands for it in lists, ``worse`` when an answer lapses."""

    word: str
    kind: Kind
    question: str
    short: str
    source: str
    who: str
    worse: str
    version: int = 1


_SEEN_AGAIN = N_("the same was seen again after the look")

RULES: dict[str, Rule] = {
    rule.word: rule
    for rule in (
        Rule(
            "branch",
            "sign",
            N_("Does a branch hang, or is one broken?"),
            N_("branch hanging or broken"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "soil",
            "sign",
            N_("Is the soil at its foot lifted or cracked, or are roots torn?"),
            N_("soil lifted or cracked"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "crack",
            "sign",
            N_("Is there a crack in the trunk, in a fork or in a large branch?"),
            N_("crack"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "lean",
            "sign",
            N_("Does it lean more than before, or lean beside other signs?"),
            N_("leaning, with other signs or newly"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "wire",
            "sign",
            N_("Does something of it touch a wire? Only people trained for lines may go near."),
            N_("touching a wire"),
            "29 CFR 1910.269: all lines, and parts of trees touching them, count as live",
            N_("the owner of the line"),
            _SEEN_AGAIN,
        ),
        Rule(
            "dead",
            "sign",
            N_("Is it dead?"),
            N_("dead, or looked dead"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "fungus",
            "sign",
            N_("Is there a fungus on the trunk, on a branch or at the foot?"),
            N_("fungus"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "hollow",
            "sign",
            N_("Is there a hole or soft wood in the trunk or in a large branch?"),
            N_("hollow or soft wood"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "dying back",
            "sign",
            N_("Is the crown dying back, or are there dead branches?"),
            N_("dying back"),
            USFS_DEFECTS,
            QUALIFIED,
            _SEEN_AGAIN,
        ),
        Rule(
            "reach",
            "circumstance",
            N_("Lying down, could it reach what is underneath?"),
            N_("could reach what is underneath"),
            REACH_SOURCE,
            QUALIFIED,
            N_("it was measured higher since, or more people are there now"),
        ),
        Rule(
            "reach not known",
            "circumstance",
            N_("No height is recorded: how far would it reach?"),
            N_("reach not known, treated as far"),
            COMMON_PRACTICE,
            MEASURER,
            N_("never: a height settles it"),
        ),
        Rule(
            "crown over",
            "circumstance",
            N_("Do its branches hang over what is underneath?"),
            N_("crown over what is underneath"),
            DROP_SOURCE,
            QUALIFIED,
            N_("the crown was measured wider since, or more people are there now"),
        ),
        Rule(
            "use",
            "circumstance",
            N_("People are here often: when was it last looked at?"),
            N_("people are here often"),
            INTERVAL_SOURCE,
            MANAGER,
            N_("more people are there now"),
        ),
        Rule(
            "look",
            "gap",
            N_("When does a qualified person look at it?"),
            N_("no look by a qualified person within the interval"),
            f"{INTERVAL_SOURCE}. {NOT_INSPECTION}",
            QUALIFIED,
            N_("never: only an inspection settles it"),
        ),
        Rule(
            "height",
            "gap",
            N_("How high is it?"),
            N_("no height"),
            COMMON_PRACTICE,
            MEASURER,
            N_("never: a height settles it"),
        ),
        Rule(
            "name",
            "gap",
            N_("What kind of tree is it?"),
            N_("name in doubt"),
            VOLUNTEERS_NAMES,
            NAMER,
            N_("the name was changed"),
        ),
    )
}

SIGN_RULES = tuple(word for word, rule in RULES.items() if rule.kind == "sign")

# Every question that is asked of a tree; "reach" and "reach not known" are two answers to one question.
QUESTIONS = (*SIGN_RULES, "reach", "crown over", "use", "look", "height", "name")

# Why a question could not be asked.
NOTHING_WRITTEN = N_("nobody wrote down what was seen")
NO_HEIGHT = N_("no height")
NO_CROWN = N_("no crown")
NO_POSITION = N_("no position")
NO_TARGETS = N_("nothing underneath is drawn")
NO_USE = N_("not said how much people are here")
REASONS = (NOTHING_WRITTEN, NO_HEIGHT, NO_CROWN, NO_POSITION, NO_TARGETS, NO_USE)

_SOUTH = frozenset({"AU", "NZ", "ZA", "AR", "CL", "UY", "PY", "BO", "BW", "LS", "SZ", "MZ", "ZW", "MG", "MU"})
_LEAF_MONTHS = {"north": range(5, 10), "south": (11, 12, 1, 2, 3), "tropics": range(1, 13)}
TROPIC_DEG = 23.44


def interval_months(use: str | None, own: dict[str, int]) -> tuple[int, bool]:
    """Return after how many months [months] a qualified look is due, and whether the site set that itself."""
    word = use if use in USES else USE_NOT_SAID
    if word in own:
        return own[word], True
    if word == USE_NOT_SAID and own:
        return min(min(own.values()), INTERVAL_MONTHS[word]), False
    return INTERVAL_MONTHS[word], False


def leaves_expected(month: int | None, lat_deg: float | None, country: str | None) -> bool | None:
    """Return whether a broadleaved tree should be in leaf in a month; ``None`` when that cannot be said.

    Notes
    -----
    May to September in the north, November to March in the south, always between the tropics; where there
    is no latitude the country decides. Common practice, no source.
    """
    if month is None:
        return None
    if lat_deg is not None and lat_deg == lat_deg:
        half = "tropics" if abs(lat_deg) < TROPIC_DEG else "north" if lat_deg > 0 else "south"
    elif country:
        half = "south" if country.upper() in _SOUTH else "north"
    else:
        return None
    return month in _LEAF_MONTHS[half]
