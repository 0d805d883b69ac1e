"""Every word that the back of a helpers' sheet prints, in English; awkward trunks as everywhere else."""

from layers.awkward_stems import FACTS
from layers.translating import N_

AWKWARD = ("slope", "lean", "fork below", "fork above", "swelling", "vine")

BACK_WORDS: dict[str, str] = {
    "back.title": N_("How to measure"),
    "back.level": N_("Level all round, snug, not pulled in: like this."),
    "back.slant": N_("It slants: it reads too much."),
    "back.slack": N_("It hangs: it reads too much."),
    "back.look": N_("First look at the tree from some steps away. One of the six signs on the front: stop."),
    "back.guess": N_("Guess, and write the guess before anybody measures."),
    "back.find": N_("Find the height: {height} above the ground, with the pole or a mark of chalk."),
    "back.round": N_(
        "One holds the zero, one goes round and looks from all sides that it is level. Leave ivy on: slip "
        "the tape beneath it where that goes, and tick it."
    ),
    "back.across": N_("Measure across, level, and once more at a right angle to that. Write both."),
    "back.read": N_(
        "Where is the zero: at the very end or a little further in? One reads aloud, one writes."
    ),
    "back.goes": N_(
        "Pinch the string where it meets and lay it along the ruler: whole goes and the rest, such as "
        "3x30 + 12.5."
    ),
    "back.again": N_(
        "Let go and go round again; write both. If they differ by more than 1 in 100, go round a third time "
        "and keep the two smallest."
    ),
    "back.tick": N_("Not found, looks dead, saw something: tick it, and write below the table what you saw."),
    "back.if": N_("If the tree is not so simple"),
    **{f"awkward.{key}": FACTS[key].plain for key in AWKWARD},
    **{f"awkward.{key}.rule": FACTS[key].rule for key in AWKWARD},
}
