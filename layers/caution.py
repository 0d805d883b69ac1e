"""The short caution that goes with every list, map, sheet and file of things to look at: one text, once."""

from layers.translating import N_

CAUTION = N_(
    "This list comes from what was measured and written down. It is not an inspection. A tree that is not on "
    "it has not been found sound; a tree that is on it has not been found bad. A qualified person decides. "
    "Branch hanging, fresh crack, new lean, soil lifting: keep people away and call {phone} now."
)
NO_PHONE = N_("the site's number")


def caution(phone: str | None, text: str = CAUTION, no_phone: str = NO_PHONE) -> str:
    """Return the caution with the number to call; ``text`` and ``no_phone`` may be translations."""
    return text.replace("{phone}", phone or no_phone)
