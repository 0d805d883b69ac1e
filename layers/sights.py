"""The fixed list of what people can say they saw of a tree: the words of data and the plain words of pages.

Forms, sheets and imports offer these words and no others; anything else goes into a note. The plain words are
the message ids of translation.
"""

from dataclasses import dataclass

from layers.translating import N_


@dataclass(frozen=True)
class Sight:
    """One thing that can be seen from the ground.

    ``rule`` is the question that it raises (None: none). ``danger`` marks the six sights that stop a helper
    at once. ``is_note`` marks what raises a question only beside another sight.
    """

    word: str
    plain: str
    rule: str | None
    danger: bool = False
    is_note: bool = False


_ALL = (
    Sight("hanging or broken branch", N_("a branch hangs or is broken"), "branch", danger=True),
    Sight("new lean", N_("it leans and did not before"), "lean", danger=True),
    Sight("lifted or cracked soil", N_("the soil at its foot is lifted or cracked"), "soil", danger=True),
    Sight("fresh crack", N_("a fresh crack in the wood"), "crack", danger=True),
    Sight("large fungus at the foot", N_("a large fungus at its foot"), "fungus", danger=True),
    Sight("on a wire", N_("something of it touches a wire"), "wire", danger=True),
    Sight("dead", N_("dead: no living leaves, buds or bark"), "dead"),
    Sight("no leaves", N_("looks dead: no leaves"), "dead"),
    Sight("dying back", N_("dead twigs at the tips, thin crown"), "dying back"),
    Sight("dead branch", N_("a dead branch"), "dying back"),
    Sight("crack", N_("a crack in the trunk, in a fork or in a large branch"), "crack"),
    Sight("hollow", N_("a hole in the trunk or in a large branch"), "hollow"),
    Sight("soft wood", N_("soft or crumbling wood"), "hollow"),
    Sight("fungus", N_("a fungus on the trunk, on a branch or at the foot"), "fungus"),
    Sight("torn roots", N_("roots up, or bark torn at the foot"), "soil"),
    Sight("lean", N_("it leans"), "lean", is_note=True),
    Sight("none of these", N_("looked for all of these from the ground and saw none"), None),
)

SIGHTS: dict[str, Sight] = {sight.word: sight for sight in _ALL}
DANGERS: tuple[Sight, ...] = tuple(sight for sight in _ALL if sight.danger)
NONE_SEEN = "none of these"
IN_DOUBT = "no leaves"
