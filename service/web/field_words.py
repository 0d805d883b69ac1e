"""All texts of the phone page, by the keys of its scripts; ``{name}`` stands for what a script fills in."""

from flask_babel import gettext as _

from layers import stop_card
from layers.sights import DANGERS
from layers.translating import N_

FRAME = {
    "field": N_("Measuring"),
    "back": N_("Back"),
    "danger": N_("Danger"),
    "all_sent": N_("all sent"),
    "unsent": N_("not sent: {num}"),
    "needs_scripts": N_("This page needs JavaScript. Switch it on, or measure with the paper sheets."),
    "tree": N_("Tree {tag}"),
    "tree_without": N_("A tree without a number"),
    "in_memory": N_(
        "{num} measurements are only on this screen: the phone is full. Leave this page open, write the "
        "numbers on paper as well, make room on the phone, then tap “Send now”."
    ),
    "full": N_(
        "This phone is full. What you enter is still kept, but there is little room left: delete "
        "pictures or films on the phone, or send what is here soon."
    ),
    "little_room": N_(
        "There is little room left on this phone. Delete pictures or films before you go on, or send often."
    ),
    "no_database": N_(
        "This browser keeps nothing (a private window?). Open the page in an ordinary window, or leave "
        "it open until everything is sent."
    ),
    "word_ended": N_(
        "The word of this team has ended, or it is not known any more. Everything you entered is still "
        "here. Ask your leader for the new word; then it is sent."
    ),
    "enter_word": N_("Type the new word"),
    "clock_off": N_(
        "The clock of this phone is off by about {num} minutes. Both times are kept; set the clock right "
        "if you can."
    ),
    "new_version": N_("A new version of this page is here. What you entered stays."),
    "load_it": N_("Load it"),
    "plain_http": N_(
        "This page came without a secure connection, or the browser cannot keep it: it works as long as "
        "it stays open, but it cannot be opened without a network. Do not close it before everything is "
        "sent."
    ),
    "no_gps": N_(
        "Without a secure connection a phone tells no position: find trees by number and on the map."
    ),
    "stays_here": N_("What is not sent yet is kept on this phone. Send it before the end of the week."),
    "languages": N_("Language"),
}

JOIN: dict[str, str] = {}

PARTS = (FRAME, JOIN)


def words() -> dict[str, str]:
    """Return all texts in the language of the page."""
    said = {key: str(_(text)) for part in PARTS for key, text in part.items()}
    card = {"stop": stop_card.STOP, "stop_call": stop_card.CALL, "stop_when": stop_card.WHEN}
    said |= {key: str(_(text)) for key, text in card.items()}
    said |= {f"did_{word.replace(' ', '_')}": str(_(text)) for word, text in stop_card.LEADER_DID.items()}
    said |= {f"sight_{sight.word.replace(' ', '_')}": str(_(sight.plain)) for sight in DANGERS}
    return said
