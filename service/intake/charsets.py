"""The character sets that files of other offices are in, loaded before no file can be opened any more."""

import codecs

_PAGES = (
    *(f"cp{n}" for n in (437, 737, 850, 852, 857, 865, 866, 874, 932, 936, 949, 950, *range(1250, 1259))),
    *(f"iso8859-{n}" for n in range(1, 17) if n != 12),
    *("utf-8", "mac_roman", "koi8-r", "gbk", "big5"),
)


def ready() -> None:
    """Load them, as long as files can be opened."""
    for page in _PAGES:
        codecs.lookup(page)
