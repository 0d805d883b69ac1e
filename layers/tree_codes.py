"""Short codes of grounds and trees, for tags: derived from their ids, so that nothing further is kept.

A code is the beginning of a hash of the id, in letters and digits that are not taken for each other, and a
check letter. It holds no vowel, so that no word comes about. All codes of a ground are as long as its number
of trees asks for; a tree whose letters another tree has too gets more of them. So neither the order in which
trees came in nor who works the codes out changes them. An older, shorter code stays the beginning of the
longer one: it still leads to its tree, or to the few that begin so, among which a person chooses.

References
----------
.. [1] ISO/IEC 7064:2003, Check character systems, hybrid systems (section 10): one check letter out of the
   letters of the code; every single wrong letter is found. The standard names MOD 11,10, 27,26 and 37,36;
   ours is the same with 24 letters (any even number finds every wrong letter).
"""

import hashlib
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LETTERS = "23456789CDFHJKLMNPRTVWXY"
SITE_LETTERS = 3
TREE_LETTERS = 4
# One more tree makes an older code stand for two trees in at most so many cases; common practice, no source.
ROOM_PER_TREE = 400
_SAID_AS = str.maketrans("0OQ1IZSBGU", "DDDLL2586V")  # what is written or read in place of a letter
_BITS = 256
_MOST = 50  # letters that 256 bits hold with a little to spare
_LONGEST_TEXT = 400


@dataclass(frozen=True)
class TagCode:
    """What stands on a tag, without check letters: the letters of the ground (or none said), of the tree."""

    site: str | None
    tree: str


def check_letter(data: str, letters: str = LETTERS) -> str:
    """Return the check letter of a code by a hybrid system of ISO/IEC 7064.

    Raises
    ------
    ValueError
        If a letter of ``data`` is not among ``letters``.
    """
    size = len(letters)
    product = size
    for letter in data:
        product = 2 * ((product + letters.index(letter)) % size or size) % (size + 1)
    return letters[(1 - product) % size]


def site_code(site_id: str) -> str:
    """Return the code of a ground: four letters, the last of them the check letter."""
    return _checked(_letters(site_id, SITE_LETTERS))


def tree_codes(tree_ids: Iterable[str]) -> dict[str, str]:
    """Return the code of every tree of a ground, by its id; five letters or more, the last a check letter.

    Parameters
    ----------
    tree_ids : iterable of str
        The ids of all trees that the ground has, in any order.
    """
    left = sorted(set(tree_ids))
    count = _letters_for(len(left))
    codes: dict[str, str] = {}
    while left:
        begun = {tree: _letters(tree, count) for tree in left}
        having = Counter(begun.values())
        alone = count >= _MOST
        codes |= {tree: _checked(said) for tree, said in begun.items() if alone or having[said] == 1}
        left = [tree for tree in left if tree not in codes]
        count += 1
    return codes


def tag_code(site_id: str, tree_code: str) -> str:
    """Return what a tag of a tree carries: the codes of its ground and of itself."""
    return f"{site_code(site_id)}-{tree_code}"


def read_code(text: str) -> TagCode | None:
    """Return what a tag says, as typed or as read from its picture; None where it is no code.

    Small letters, look-alikes (O for D, 1 for L, Z for 2 ...) and an address before the code are taken; a
    wrong letter is found by the check letters. The ground may be left away.
    """
    said = text.strip()[:_LONGEST_TEXT].rstrip("/").rsplit("/", 1)[-1].upper().translate(_SAID_AS)
    parts = [part for part in re.split(r"[^0-9A-Z]+", said) if part]
    if len(parts) == 1 and len(parts[0]) > SITE_LETTERS + 1 + TREE_LETTERS:
        whole = _parts_read([parts[0][: SITE_LETTERS + 1], parts[0][SITE_LETTERS + 1 :]])
        return whole or _parts_read(parts)
    return _parts_read(parts)


def named_by(code: TagCode, tree_ids: Iterable[str]) -> list[str]:
    """Return the trees that a code stands for: one, several where it is older than one of them, or none."""
    return [tree for tree in tree_ids if _letters(tree, len(code.tree)) == code.tree]


def is_of_site(code: TagCode, site_id: str) -> bool:
    """Return whether a code is of a ground; one that says no ground may be of any."""
    return code.site is None or code.site == _letters(site_id, SITE_LETTERS)


def _parts_read(parts: Sequence[str]) -> TagCode | None:
    read = [_unchecked(part) for part in parts]
    if not 1 <= len(read) <= 2 or any(part is None for part in read):
        return None
    site, tree = (None, read[0]) if len(read) == 1 else (read[0], read[1])
    if tree is None or not TREE_LETTERS <= len(tree) <= _MOST:
        return None
    return TagCode(site, tree) if site is None or len(site) == SITE_LETTERS else None


def _unchecked(said: str) -> str | None:
    """The letters before the check letter, None where it does not fit."""
    if len(said) < 2 or any(letter not in LETTERS for letter in said):
        return None
    return said[:-1] if check_letter(said[:-1]) == said[-1] else None


def _checked(data: str) -> str:
    return data + check_letter(data)


def _letters_for(trees: int) -> int:
    count = TREE_LETTERS
    while len(LETTERS) ** count < ROOM_PER_TREE * trees:
        count += 1
    return count


def _letters(id: str, count: int) -> str:
    """The first letters of a hash of an id, read as a fraction."""
    left = int.from_bytes(hashlib.sha256(id.encode("utf-8", "replace")).digest(), "big")
    said = ""
    for _ in range(count):
        left *= len(LETTERS)
        said += LETTERS[left >> _BITS]
        left &= (1 << _BITS) - 1
    return said
