"""The words that stop everybody at a danger: the same on pages, on phones and on paper, in one place each."""

from layers.translating import N_

STOP = N_("Stop. Walk away from this tree together. Tell your leader now.")
CALL = N_("Call {phone}.")
WHEN = N_("As soon as you see one of these:")

# What a leader says was done, in the order in which it is done.
MOVED_AWAY, AREA_CLOSED, CALLED = "moved away", "area closed", "called"
LEADER_DID: dict[str, str] = {
    MOVED_AWAY: N_("everybody moved away"),
    AREA_CLOSED: N_("the place was closed off"),
    CALLED: N_("somebody was called"),
}


def call(phone: str | None, text: str, no_phone: str) -> str:
    """Return whom to call; ``text`` is CALL or its translation, ``no_phone`` stands in for a number."""
    return text.replace("{phone}", phone or no_phone)
