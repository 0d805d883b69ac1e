"""What is said of a record from a phone that waits for a person, or that a person should look at.

Kept in English, filled in; pages and phones say it anew in their language (``service.answers``).
"""

from layers.translating import N_

NO_NUMBER = N_("No tree had the number %(tag)s before this day. Say which tree was meant.")
NUMBER_TWICE = N_("%(count)s trees have the number %(tag)s. Say which of them was meant.")
WHICH_TRUNK = N_("Tree %(tag)s has %(count)s trunks. Say which of them was meant.")
NO_TRUNK = N_("Tree %(tag)s has no trunk that could be measured. Say which tree was meant.")
NOT_ARRIVED = N_("The tree that it is about has not arrived. It is taken in as soon as that comes.")
CROSSED_OUT = N_("The tree that it is about was crossed out. Say which tree was meant, or drop it.")
NO_PARENT = N_("What it corrects has not arrived. It is taken in as soon as that comes.")
OF_OTHERS = N_("It corrects what another team said. Take it if that is right, or drop it.")
OTHER_TREE = N_("It corrects a record of another trunk or tree. Say which was meant, or drop it.")
KNOWN_TREE = N_("This tree is here already with other facts. Take over what the phone says, or drop it.")
NEWER = N_(
    "A newer page of the phone sent it than this program can read. Bring the program up to date first."
)
STRANGE = N_(
    "This program does not know records of the kind %(kind)s. Drop it, or bring the program up to date."
)
SAVED_TEAM = N_("It is of no team of these measuring days. Say whose it is, or drop it.")
FAR_OFF = N_("Its place lies far from all trees here: it is kept as written, and the tree has no position.")
GONE = N_("This tree is recorded as taken out. Please check the number; the measurement is kept.")
CLOCK = N_("The clock of this phone said %(phone)s when it was %(server)s here. Please check the day.")
DIFFERENT = N_("This id is known with other content; nothing was changed.")
ELSEWHERE = N_("This id is known on another ground; send it with an id of its own.")
DROPPED = N_("It was dropped by whoever looks after the ground: %(text)s")
TOO_LONG = N_("This entry is longer than any form makes one. Enter it again in fewer words.")
NOT_AN_ITEM = N_("This entry has no id, kind or content of its own. Enter it again.")
SENTENCES = (
    *(NO_NUMBER, NUMBER_TWICE, WHICH_TRUNK, NO_TRUNK, NOT_ARRIVED, CROSSED_OUT, NO_PARENT, OF_OTHERS),
    *(OTHER_TREE, KNOWN_TREE, NEWER, STRANGE, SAVED_TEAM, FAR_OFF, GONE, CLOCK, DIFFERENT, ELSEWHERE),
    *(DROPPED, TOO_LONG, NOT_AN_ITEM),
)
