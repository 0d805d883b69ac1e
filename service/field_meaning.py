"""What an item of a phone means on a ground: a record of it, or why it has to wait.

Whether something waits depends on nothing but what the site holds, never on what came in before: a number is
looked for among the trees that were not written down by phones, a correction waits for what it corrects.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from layers.stop_card import LEADER_DID
from service import waiting_words as words
from service.danger import REPORT
from service.danger_records import DangerIn
from service.entry import CALIBRATION, OBSERVATION, READING, STATUS, Kind, no_question
from service.errors import InvalidRequest
from service.field_ground import place_of
from service.field_records import HELPER_SAYS, Entry, PhotoIn, StatusSent, TreeSent
from service.field_trees import is_by_phone
from service.records import Appended, CalibrationIn, ObservationIn, ReadingIn, StatusIn, parsed
from service.store import schema
from service.store.field_rows import first_place, removed_trees, stems_of, trees_with_tags
from service.store.rows import by_ids

PHOTO = Kind(schema.photo, None, {}, None, no_question)
KINDS: dict[str, tuple[Kind, type[Appended]]] = {  # in the order in which they are taken in
    "danger": (REPORT, DangerIn),
    "calibration": (CALIBRATION, CalibrationIn),
    "reading": (READING, ReadingIn),
    "observation": (OBSERVATION, ObservationIn),
    "status": (STATUS, StatusIn),
    "photo": (PHOTO, PhotoIn),
}
ABOUT = {"reading": "stem_id", "observation": "tree_id", "status": "subject_id"}
_DAY = {"reading": "measured_on", "observation": "observed_on", "status": "happened_on", "danger": "seen_on"}
_NOT_SAID_BY_PHONES = ("crew", "crew_kind", "round_id", "source", "id", "recorded_at", "received_at", "actor")
_ANY = "00000000-0000-0000-0000-000000000000"  # stands in for what is looked up, while the rest is checked
_HAS_TEAM = ("reading", "observation", "danger", "photo")


@dataclass(frozen=True)
class Waits:
    """An item that cannot be taken in yet, with why."""

    why: str


def checked(entry: Entry) -> TreeSent | dict[str, Any]:
    """Return an item as a tree, or as the values of a record of which the subject may be missing.

    Raises
    ------
    InvalidRequest
        With every fault that its team can mend.
    """
    said = {name: value for name, value in entry.content.items() if name not in _NOT_SAID_BY_PHONES}
    if entry.kind == "tree":
        return parsed(TreeSent, said)
    values = _values(entry, said)
    about = ABOUT.get(entry.kind)
    whole = {name: value for name, value in values.items() if name not in ("tag", "x", "y")}
    if about:
        whole[about] = whole.get(about) or _ANY
        if not (values.get(about) or values.get("supersedes") or str(values.get("tag") or "").strip()):
            raise InvalidRequest([(f"/{about}", "Say which tree it is.")])
    parsed(KINDS[entry.kind][1], whole)
    return values


def _values(entry: Entry, said: dict[str, Any]) -> dict[str, Any]:
    team = entry.team
    if entry.kind == "status":
        said = _status(said)
    values: dict[str, Any] = {**said, "id": entry.id, "recorded_at": entry.recorded_at}
    if entry.kind in _HAS_TEAM:
        values |= {"crew": team.code, "crew_kind": team.kind, "round_id": team.round_id}
    if entry.kind == "calibration":
        values |= {"crew": team.code or "not said", "crew_kind": team.kind}
    if entry.kind == "status":
        values |= {"in_doubt": True, "source": ", ".join(filter(None, ["phone", team.code]))}
    day = _DAY.get(entry.kind)
    if day and not values.get(day) and entry.recorded_at and not values.get("void"):
        values[day] = entry.recorded_at[:10]
        values |= {} if entry.kind == "danger" else {"date_precision": "day"}
    if entry.kind == "danger" and not any(values.get(name) for name in ("tree_id", "place")):
        values["place"] = _place_said(values)
    return values


def _status(said: dict[str, Any]) -> dict[str, Any]:
    """A status in doubt, from the words that helpers have for it."""
    told = parsed(StatusSent, said)
    if told.says is None and not told.void:
        raise InvalidRequest([("/says", "Say what it is like: not found, looks dead, or only a stump.")])
    values: dict[str, Any] = {
        "subject_id": told.tree_id,
        "tag": told.tag,
        "status": HELPER_SAYS.get(told.says or "", "unknown"),
        "as_said": told.says,
        "supersedes": told.supersedes,
        "void": told.void,
        "reason": told.reason or told.note,
    }
    return {name: value for name, value in values.items() if value is not None}


def _place_said(values: Mapping[str, Any]) -> str:
    """A danger is never held back: where nobody said where it is, that is said in its place."""
    tag = str(values.get("tag") or "").strip()[:40]
    return f"tree number {tag}" if tag else f"not said; ask {values.get('crew') or 'the team'}"


class Ground:
    """What items of phones are about, as far as the site holds it, within one transaction."""

    def __init__(self, connection: Any, site: Any, values: list[tuple[Entry, dict[str, Any]]]) -> None:
        self.connection, self.site = connection, site
        self.trees = self._rows(schema.tree, [v.get(n) for _, v in values for n in ("tree_id", "subject_id")])
        self.stems = self._rows(schema.stem, [v.get("stem_id") for _, v in values])
        self.trees |= self._rows(schema.tree, [row.tree_id for row in self.stems.values()])
        tags = [str(v["tag"]).strip() for _, v in values if v.get("tag")]
        self.tagged = self._standing(trees_with_tags(connection, site.fid, tags)) if tags else {}
        self.parents: dict[str, Any] = {}
        self.known: dict[str, Any] = {}
        for kind, (of, _model) in KINDS.items():
            mine = [v for e, v in values if e.kind == kind]
            self.parents |= self._rows(of.table, [v.get("supersedes") for v in mine])
            self.known |= self._rows(of.table, [v["id"] for v in mine if v.get("tag")])
        self._first: tuple[tuple[float, float] | None] | None = None

    def _standing(self, tagged: dict[str, list[Any]]) -> dict[str, list[Any]]:
        """Trees by number: those that were taken out only where no other one has the number."""
        ids = [row.id for rows in tagged.values() for row in rows]
        gone = removed_trees(self.connection, self.site.fid, ids)
        return {
            tag: [row for row in rows if row.id not in gone and not is_by_phone(row.kept)] or rows
            for tag, rows in tagged.items()
        }

    def _rows(self, table: Any, ids: list[Any]) -> dict[str, Any]:
        wanted = [id for id in ids if isinstance(id, str)]
        return dict(by_ids(self.connection, table, self.site.fid, wanted)) if wanted else {}

    def meaning(self, entry: Entry, values: dict[str, Any]) -> dict[str, Any] | Waits:
        """Return the record of an item with what it is about, or why it waits."""
        out = {name: value for name, value in values.items() if name not in ("tag", "x", "y")}
        if entry.kind == "danger" and not values.get("void"):
            return self._danger(out, values)
        about = ABOUT.get(entry.kind)
        parent = None
        if values.get("supersedes"):
            parent = self.parents.get(values["supersedes"])
            if parent is None:
                return Waits(words.NO_PARENT)
            if not _is_own(parent, entry):
                return Waits(words.OF_OTHERS)
        if about is None:
            return out
        if parent is not None:
            if values.get(about) not in (None, getattr(parent, about)):
                return Waits(words.OTHER_TREE)
            return {**out, about: getattr(parent, about)}
        if values.get(about):
            return self._named(out, about)
        known = self.known.get(entry.id)
        if known is not None:  # taken in before, when the number led to one tree
            return {**out, about: getattr(known, about)}
        found = self._tagged(str(values["tag"]).strip(), about == "stem_id")
        return found if isinstance(found, Waits) else {**out, about: found}

    def _named(self, out: dict[str, Any], about: str) -> dict[str, Any] | Waits:
        stem = self.stems.get(out["stem_id"]) if about == "stem_id" else None
        tree = self.trees.get(stem.tree_id if stem else out[about])
        if (about == "stem_id" and stem is None) or tree is None:
            return Waits(words.NOT_ARRIVED)
        return Waits(words.CROSSED_OUT) if tree.void or (stem is not None and stem.void) else out

    def _tagged(self, tag: str, is_of_trunk: bool) -> str | Waits:
        """The trunk or tree that a number means, among the trees that were here before phones came."""
        found = [row for row in self.tagged.get(tag, []) if not is_by_phone(row.kept)]
        if not found:
            return Waits(words.NO_NUMBER % {"tag": tag})
        if len(found) > 1:
            return Waits(words.NUMBER_TWICE % {"tag": tag, "count": len(found)})
        if not is_of_trunk:
            return str(found[0].id)
        stems = stems_of(self.connection, self.site.fid, found[0].id)
        if len(stems) == 1:
            return str(stems[0].id)
        return Waits((words.WHICH_TRUNK if stems else words.NO_TRUNK) % {"tag": tag, "count": len(stems)})

    def _danger(self, out: dict[str, Any], values: dict[str, Any]) -> dict[str, Any]:
        """A danger stands on top at once, whatever is known of its tree."""
        x, y = values.get("x"), values.get("y")
        if isinstance(x, int | float) and isinstance(y, int | float):
            spot = place_of(self.site.frame, self._first_place(), float(x), float(y))
            if spot:
                out = {
                    name: value for name, value in out.items() if name not in ("lon_deg", "lat_deg")
                } | spot
        if self.site.frame == "local":
            out = {name: value for name, value in out.items() if name not in ("lon_deg", "lat_deg")}
        tag = str(values.get("tag") or "").strip()
        found = [row for row in self.tagged.get(tag, []) if not is_by_phone(row.kept)]
        if not out.get("tree_id") and len(found) == 1:
            out["tree_id"] = found[0].id
        if isinstance(out.get("leader_did"), list):
            out["leader_did"] = [word for word in out["leader_did"] if word in LEADER_DID]
        return out

    def _first_place(self) -> tuple[float, float] | None:
        if self._first is None:
            self._first = (first_place(self.connection, self.site.fid),)
        return self._first[0]


def _is_own(parent: Any, entry: Entry) -> bool:
    """Whether a record was said by the team that corrects it; nobody's belongs to nobody."""
    if entry.kind == "status":
        return bool(parent.source == ", ".join(filter(None, ["phone", entry.team.code])))
    if entry.kind == "calibration":
        return bool(parent.crew == entry.team.code)
    return bool(parent.crew == entry.team.code and parent.round_id == entry.team.round_id)
