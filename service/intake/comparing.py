"""What changed in a row since its key's last import, and whether a person changed the same here (R2).

The file is compared with what the key said at its last import; only what changed *there* is looked at. Where
the tree still says here what the file said then, the change is taken; where it says something else, a person
(or another file) has changed it since, and the change is put to a person as a proposal.
"""

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from service.intake.content import GROUPS

FAR_M = 20.0  # definitions R2
SAME_DEG, SAME_M = 1e-7, 0.01  # about a centimetre: what files round positions to
_METRES_PER_DEGREE = 111_320.0  # of latitude, mean sphere

Groups = dict[str, Any]


def groups_here(tree: Mapping[str, Any], places: Mapping[str, str]) -> Groups:
    """Return what the tree says now, by group; ``places`` are the names of places by UUID."""
    here: Groups = {
        group: [tree[word] for word in words] if len(words) > 1 else tree.get(words[0])
        for group, words in GROUPS.items()
    }
    here["place"] = places.get(tree["place_id"]) if tree["place_id"] else None
    here["kept"] = json.loads(tree["kept"]) if tree["kept"] else {}
    return here


def changed_there(said: Groups, before: Groups, *, own: bool) -> Groups:
    """Return the groups of ``said`` that say something else than ``before``.

    A name counts as changed when it is written in another way; in a file with our own ids also when the
    matched name was changed by hand.
    """
    return {
        group: said[group]
        for group in GROUPS
        if group in said and not same(group, said[group], before.get(group), strictly=own)
    }


def split(changed: Groups, before: Groups, here: Groups, *, void: bool = False) -> tuple[Groups, Groups]:
    """Return what of a change can be taken, and what has to be put to a person."""
    taken: Groups = {}
    proposed: Groups = {}
    for group, value in changed.items():
        if same(group, value, here.get(group), strictly=True):
            continue
        untouched = same(group, here.get(group), before.get(group), strictly=True)
        (taken if untouched and not void else proposed)[group] = value
    return taken, proposed


def is_other_tree(said: Groups, before: Groups) -> bool:
    """Whether a row can hardly be the tree that its key is known as.

    Another species and a position more than 20 m away, or another tag where there is no position.
    """
    if not said.get("species") or not before.get("species"):
        return False
    if same("species", said["species"], before["species"], strictly=False):
        return False
    if _is_empty(_name(said["species"])) or _is_empty(_name(before["species"])):
        return False
    away = distance_m(said.get("position"), before.get("position"))
    if away is not None:
        return away > FAR_M
    return "tag" in said and "tag" in before and said["tag"] != before["tag"]


def same(group: str, a: Any, b: Any, *, strictly: bool) -> bool:
    """Whether two values of a group say the same; empty, unknown and not said are one."""
    if group == "position":
        return _same_position(a, b)
    if group == "species" and a and b:
        names = slice(0, 3) if strictly else slice(0, 1)
        if not strictly and _is_empty(a[0]) and _is_empty(b[0]):
            names = slice(1, 3)
        return [v or None for v in a[names]] == [v or None for v in b[names]]
    if group == "status" and a and b:
        return bool(a[0] == b[0])
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        return {k: v for k, v in a.items() if v} == {k: v for k, v in b.items() if v}
    return bool(a == b) or (_is_empty(a) and _is_empty(b))


def _same_position(a: Sequence[Any] | None, b: Sequence[Any] | None) -> bool:
    first, second = (a or [None] * 4)[:4], (b or [None] * 4)[:4]
    for at, (u, v) in enumerate(zip(first, second, strict=True)):
        if (u is None) != (v is None):
            return False
        if u is not None and abs(u - v) > (SAME_DEG if at < 2 else SAME_M):
            return False
    return True


def distance_m(a: Any, b: Any) -> float | None:
    """Return the distance of two positions [m] on a plane round the first; None where one has none."""
    if not a or not b:
        return None
    if a[0] is not None and b[0] is not None:
        east = (b[0] - a[0]) * math.cos(math.radians(a[1])) * _METRES_PER_DEGREE
        return math.hypot(east, (b[1] - a[1]) * _METRES_PER_DEGREE)
    if a[2] is not None and b[2] is not None:
        return math.hypot(b[2] - a[2], b[3] - a[3])
    return None


def _name(species: Sequence[Any]) -> Any:
    return species[0] or species[1] or species[2]


def _is_empty(value: Any) -> bool:
    if isinstance(value, list | tuple):
        return all(_is_empty(part) for part in value)
    return value in (None, "", "unknown") or value == {}
