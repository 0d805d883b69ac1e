"""The cautions: the long one in points; the short one is :mod:`layers.caution`.

They are shown where people measure, where flags, reach, roots or tasks are shown, and in full in reports.
Local law and codes and qualified practice come before everything here.
"""

from dataclasses import dataclass

from layers.caution import CAUTION
from layers.screening_rules import COMMON_PRACTICE
from layers.translating import N_

SHORT = CAUTION
SHORT_ID = "caution"  # texts with this id are exempt from the list of words that are never used


@dataclass(frozen=True)
class Point:
    """One point of the long caution; ``key`` is its lasting name in links."""

    key: str
    title: str
    text: str
    source: str


LONG: tuple[Point, ...] = (
    Point(
        "screening",
        N_("A list, not an inspection"),
        N_(
            "What is shown rests on what was seen or written down, as things were on that date. It is no "
            "inspection and promises nothing: decay, roots and cracks inside cannot be seen from here, and "
            "even trained assessors rate the same tree differently."
        ),
        N_("Forests 2023, 14:1043 (18 assessors, 30 trees); the rest common practice, no source"),
    ),
    Point(
        "law",
        N_("Local law comes first"),
        N_(
            "Permits, protected trees, nesting birds, bats and local codes come before everything here. "
            "Numbers from other places are examples."
        ),
        COMMON_PRACTICE,
    ),
    Point(
        "work",
        N_("Work is for trained people"),
        N_(
            "Climbing, ladders, chainsaws, pruning or felling large trees, and work beside roads or wires "
            "are only for people who are qualified and licensed for it."
        ),
        COMMON_PRACTICE,
    ),
    Point(
        "wires",
        N_("Overhead wires"),
        N_(
            "Every wire, and every part of a tree that touches one, counts as live; wood conducts. People "
            "who are not trained for lines, and their tools and poles, stay at least 3.05 m (10 ft) away, "
            "and farther from high voltage (US rules; yours may ask for more)."
        ),
        N_("29 CFR 1910.269; 29 CFR 1910.333(c)(3)(i), as reported in a trade article"),
    ),
    Point(
        "falling",
        N_("Where wood comes down"),
        N_(
            "While a tree is felled, all others stay at least two tree lengths away; while branches are "
            "cut, well outside the place where they land."
        ),
        N_("OSHA sheet on storm work, as reported"),
    ),
    Point(
        "digging",
        N_("Digging"),
        N_(
            "Before digging, also for stakes and planting, have cables and pipes marked (in the US call "
            "811 some days ahead). Ask before digging anywhere near a tree."
        ),
        COMMON_PRACTICE,
    ),
    Point(
        "wind",
        N_("Wind"),
        N_(
            "Keep people away from under trees in strong wind, and afterwards until somebody has looked "
            "for hanging or broken branches."
        ),
        COMMON_PRACTICE,
    ),
    Point(
        "pupils",
        N_("Pupils and helpers"),
        N_(
            "An adult leads, has been there before, and the leader's rules come first. Trees above 50 cm "
            "of girth are looked over first for hanging branches, unexpected loss of leaves, fungi, wounds "
            "and one-sided crowns; smaller ones are not measured in strong wind either. Nobody runs or "
            "climbs. Stay in groups; mind sun, heat, traffic and the edge of the ground."
        ),
        N_("BEAGLE school project, beagle.miljolare.no (50 cm); the rest common practice, no source"),
    ),
    Point(
        "nature",
        N_("Ticks, plants, stings"),
        N_(
            "Long sleeves and trousers; look for ticks afterwards. Thorns, nettles and some plants hurt; "
            "do not eat or touch fungi; wash hands. Ask about allergies before going out."
        ),
        N_("OPAL sample risk assessment"),
    ),
    Point(
        "tapes",
        N_("Tapes and branches"),
        N_("Steel hooks and edges of tapes can cut hands and eyes. Low branches are at the height of eyes."),
        N_("Forest Measurements, open textbook, section 3.4"),
    ),
    Point(
        "privacy",
        N_("No names of children"),
        N_(
            "Children and volunteers are codes: no names, no faces, no homes. Local rules on children's "
            "data apply (in the US, for example, COPPA and FERPA)."
        ),
        COMMON_PRACTICE,
    ),
    Point(
        "numbers",
        N_("What numbers can tell"),
        N_(
            "A position under trees is often metres off. A girth can change with the tape and the weather "
            "by more than a year's growth. Growth says nothing about whether a branch or trunk may break."
        ),
        COMMON_PRACTICE,
    ),
    Point(
        "roots",
        N_("Circles round trees"),
        N_(
            "A circle round a tree is drawn by a rule of thumb: roots go much farther, often two or three "
            "times the height of the tree. Outside the circle is no permission."
        ),
        N_("North Carolina Urban Forest Council, as reported"),
    ),
    Point(
        "dead wood",
        N_("Dead wood is a home"),
        N_(
            "Dead wood is habitat. Taking it away is not the only answer: move the bench or the path, keep "
            "people out, prune, or look again by a date."
        ),
        COMMON_PRACTICE,
    ),
    Point(
        "call now",
        N_("If you see one of these"),
        N_(
            "Hanging branch, new lean, soil lifting, fresh crack, large fungus, something on a wire, or "
            "anything new after a storm: keep people away and call a qualified person now."
        ),
        COMMON_PRACTICE,
    ),
)
