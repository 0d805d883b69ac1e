"""What people say, taken in one record at a time or as a batch: append-only, order-free, exactly once.

Every function is one change of the site; a batch in which nothing is new makes no change.
"""

import datetime as dt
import json
import math
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from layers import hands
from service import hand_entry
from service.actors import Actor
from service.errors import InvalidRequest
from service.records import (
    ODD_GIRTH_CM,
    Appended,
    CalibrationIn,
    FindingIn,
    InspectionIn,
    ObservationIn,
    ReadingIn,
    StatusIn,
    parsed,
)
from service.store import changes, schema
from service.store.appending import answers_of, column_names, corrections
from service.store.engine import Store
from service.store.rows import by_ids, insert_records, known_elsewhere
from service.store.site_rows import held_site
from service.view import today_in

Outcome = Literal["taken", "already there", "questioned", "refused"]
ODD_HAND_CM = {
    "hand breadths": (4.5, 12.0),
    "hand spans": (9.0, 28.0),
}  # of children and grown-ups, our bounds
ODD_SPREAD = 0.1  # of the totals, as a share of them
_BOOKKEEPING = {"fid", "site_id", "change_id", "received_at", "actor"}


@dataclass(frozen=True)
class Answer:
    """What became of one record that was sent; every fault with its place where it could not be read."""

    id: str
    outcome: Outcome
    why: str | None = None
    sent: dict[str, Any] | None = None
    known: dict[str, Any] | None = None
    faults: tuple[tuple[str, str], ...] | None = None


@dataclass(frozen=True)
class Kind:
    """A kind of append-only record: its table, what it is about, its day, and what to ask about it.

    ``subject_column`` None: a correction may name other subjects. ``subject_tables`` by what the record says
    it is about ("" where it does not say); a subject of no table need not be here. ``keeps_all``: what is
    about something unknown, or of a day far ahead, is questioned and never refused.
    """

    table: Any
    subject_column: str | None
    subject_tables: Mapping[str, Any]
    day_column: str | None
    question: Callable[[Any], str | None]
    keeps_all: bool = False


Part = tuple[Kind, type[Appended], Sequence[Any]]  # records of one kind that are sent with others


def _odd_size(item: ReadingIn) -> str | None:
    if item.value is not None and item.girth_cm() > ODD_GIRTH_CM:
        return f"{item.value:g} {item.unit} is more than 10 m round the trunk. Please check number and unit."
    return None


def _odd_hand(item: CalibrationIn) -> str | None:
    each, _error, placement = hands.breadth(item.totals_cm, item.counts)
    low, high = ODD_HAND_CM[item.instrument]
    if not low <= each <= high:
        return f"That makes {each:.1f} cm each, unusual for {item.instrument}. Please check the lengths."
    if placement * math.sqrt(item.counts) > ODD_SPREAD * each * item.counts:
        return "The lengths differ much among each other. Please lay the hands once more."
    return None


def no_question(_item: Any) -> str | None:
    """Ask nothing about a record but what is asked of all."""
    return None


_STEM, _TREE = {"": schema.stem}, {"": schema.tree}
_EITHER = {"tree": schema.tree, "stem": schema.stem}
_READING = Kind(schema.reading, "stem_id", _STEM, "measured_on", _odd_size)
OBSERVATION = Kind(schema.observation, "tree_id", _TREE, "observed_on", no_question)
_STATUS = Kind(schema.status_event, "subject_id", _EITHER, "happened_on", no_question)
FINDING = Kind(schema.finding, "tree_id", _TREE, "looked_on", no_question)
_INSPECTION = Kind(schema.inspection, None, {}, "inspected_on", no_question)
_CALIBRATION = Kind(schema.calibration, None, {}, "calibrated_on", _odd_hand)


def enter_readings(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take readings (``ReadingIn`` or what parses as one); answers in their order.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    return enter(store, slug, actor, _READING, ReadingIn, items)


def enter_calibrations(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take hands that crews measured (``CalibrationIn``); answers in their order.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    return enter(store, slug, actor, _CALIBRATION, CalibrationIn, items)


def enter_observations(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take observations (``ObservationIn``); answers in their order.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    return enter(store, slug, actor, OBSERVATION, ObservationIn, items)


def enter_statuses(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take status events (``StatusIn``); those of helpers are in doubt until a manager settles them.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    if actor.role != "manager":
        items = [{**_as_mapping(item), "in_doubt": True} for item in items]
    return enter(store, slug, actor, _STATUS, StatusIn, items)


def enter_findings(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take answers of qualified people to flags (``FindingIn``); answers in their order.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    return enter(store, slug, actor, FINDING, FindingIn, items)


def enter_inspections(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take inspections (``InspectionIn``) with their answers per tree.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    return enter(store, slug, actor, _INSPECTION, InspectionIn, items)


def _as_mapping(item: Any) -> Mapping[str, Any]:
    return item.model_dump() if isinstance(item, Appended) else dict(item)


def enter(
    store: Store, slug: str, actor: Actor, kind: Kind, model: type[Appended], items: Sequence[Any]
) -> list[Answer]:
    """Take records of one kind; answers in their order. Raises as the functions above."""
    return enter_together(store, slug, actor, [(kind, model, items)])[0]


def enter_together(store: Store, slug: str, actor: Actor, parts: Sequence[Part]) -> list[list[Answer]]:
    """Take records of several kinds as one change, named after the first; answers of each kind.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    actor.require("measure")
    sent = [(kind, [_checked(model, item) for item in items]) for kind, model, items in parts]
    with store.write() as connection:
        site = held_site(connection, slug)
        desks, answers = [], []
        for kind, checked in sent:
            desk = _Desk(connection, site, kind, [item for item in checked if isinstance(item, Appended)])
            answers.append([item if isinstance(item, Answer) else desk.answer(item) for item in checked])
            desks.append(desk)
        new = [desk for desk in desks if desk.taken]
        if new:
            made = changes.begin(connection, site.fid, actor, "entry", new[0].kind.table.name)
            for desk in new:
                _insert(connection, desk.kind, site.fid, made.fid, actor, desk.taken)
    return answers


def _checked(model: type[Appended], item: Any) -> Appended | Answer:
    if isinstance(item, model):
        return item
    try:
        return parsed(model, item)
    except InvalidRequest as error:
        sent_id = item.get("id", "") if isinstance(item, Mapping) else ""
        return Answer(str(sent_id), "refused", str(error), faults=tuple(error.faults))


class _Desk:
    """Decides about the records of one batch, against what the site holds and what came before in it."""

    def __init__(self, connection: Any, site: Any, kind: Kind, items: Sequence[Appended]) -> None:
        self.kind = kind
        self.connection = connection
        self.taken: list[Appended] = []
        today = dt.date.fromisoformat(today_in(site.time_zone))
        self.tomorrow = (today + dt.timedelta(days=1)).isoformat()
        self.in_a_year = (today + dt.timedelta(days=366)).isoformat()
        table = kind.table
        wanted = {item.id for item in items} | {item.supersedes for item in items if item.supersedes}
        self.known: dict[str, Mapping[str, Any]] = {
            id: dict(row._mapping) for id, row in by_ids(connection, table, site.fid, wanted).items()
        }
        self.elsewhere = known_elsewhere(connection, table, site.fid, {item.id for item in items})
        self.subjects = self._subjects(connection, site.fid, items)
        self.hands = hand_entry.HandDesk(connection, site.fid, items)
        self.chain = (
            corrections(connection, table, site.fid) if any(item.supersedes for item in items) else {}
        )

    def _subjects(self, connection: Any, site_fid: int, items: Sequence[Appended]) -> set[tuple[str, str]]:
        """What the batch is about and the site has: (table, id)."""
        wanted: dict[str, tuple[Any, set[str]]] = {}
        for table, id in (subject for item in items for subject in self._about(item)):
            wanted.setdefault(table.name, (table, set()))[1].add(id)
        return {
            (name, id)
            for name, (table, ids) in wanted.items()
            for id in by_ids(connection, table, site_fid, ids)
        }

    def _about(self, item: Appended) -> list[tuple[Any, str]]:
        """The records that an item is about: (table, id)."""
        if isinstance(item, InspectionIn):
            zone = [(schema.area, item.area_id)] if item.area_id else []
            return [*zone, *((schema.tree, tree_id) for tree_id in item.answers)]
        table = self.kind.subject_tables.get(getattr(item, "subject", ""))
        id = getattr(item, self.kind.subject_column) if self.kind.subject_column else None
        return [] if table is None or id is None else [(table, id)]

    def answer(self, item: Appended) -> Answer:
        refusal = self._known(item) or self._refusal(item)
        if refusal:
            return refusal
        self.taken.append(item)
        self.known[item.id] = _cells(self.kind.table, item) | _answered(item)
        if item.supersedes:
            self.chain[item.id] = item.supersedes
        question = self.kind.question(item) or self.hands.question(item) or self._not_here(item)
        question = question or self._date_question(item)
        return Answer(item.id, "questioned", question) if question else Answer(item.id, "taken")

    def _known(self, item: Appended) -> Answer | None:
        known = self.known.get(item.id)
        if known is None:
            return None
        sent, known = _cells(self.kind.table, item), dict(known)
        if isinstance(item, InspectionIn):
            sent |= _answered(item)
            known.setdefault("answers", answers_of(self.connection, item.id))
        differing = [name for name in sent if name not in _BOOKKEEPING and sent[name] != known.get(name)]
        if not differing:
            return Answer(item.id, "already there")
        why = f"This id is known with another {' and '.join(differing)}; nothing was changed."
        return Answer(item.id, "refused", why, sent, {name: known.get(name) for name in sent})

    def _refusal(self, item: Appended) -> Answer | None:
        if item.id in self.elsewhere:
            return Answer(
                item.id, "refused", "This id is known on another ground; send it with an id of its own."
            )
        not_here = None if self.kind.keeps_all else self._not_here(item)
        if not_here:
            return Answer(item.id, "refused", not_here)
        if item.supersedes:
            parent, of = self.known.get(item.supersedes), self.kind.subject_column
            if parent is not None and of is not None and parent[of] != getattr(item, of):
                return Answer(
                    item.id, "refused", "It corrects a record of something else; name the right one."
                )
            if self._closes_a_cycle(item):
                return Answer(item.id, "refused", "It would correct a record that corrects it.")
        day = getattr(item, self.kind.day_column) if self.kind.day_column else None
        if day and day > self.in_a_year and not self.kind.keeps_all:
            return Answer(item.id, "refused", f"{day} is more than a year ahead; check the date.")
        return None

    def _not_here(self, item: Appended) -> str | None:
        for table, id in self._about(item):
            if (table.name, id) not in self.subjects:
                return f"There is no {table.name} {id} on this site."
        return None

    def _date_question(self, item: Appended) -> str | None:
        day = getattr(item, self.kind.day_column) if self.kind.day_column else None
        return f"{day} lies ahead. Please check the date." if day and day > self.tomorrow else None

    def _closes_a_cycle(self, item: Appended) -> bool:
        at = item.supersedes
        while at is not None:
            if at == item.id:
                return True
            at = self.chain.get(at)
        return False


def _cells(table: Any, item: Appended) -> dict[str, Any]:
    said = item.model_dump()
    return {name: _cell(said[name]) for name in column_names(table) if name in said}


def _cell(value: Any) -> Any:
    if isinstance(value, list):
        return json.dumps(value)
    return int(value) if isinstance(value, bool) else value


def _answered(item: Appended) -> dict[str, Any]:
    """What an inspection says per tree; nothing of another record."""
    if not isinstance(item, InspectionIn):
        return {}
    return {"answers": {tree: said.model_dump() for tree, said in sorted(item.answers.items())}}


def _insert(
    connection: Any,
    kind: Kind,
    site_fid: int,
    change_fid: int,
    actor: Actor,
    items: Sequence[Appended],
) -> None:
    now = changes.now()
    shared = {"site_id": site_fid, "change_id": change_fid, "received_at": now, "actor": actor.handle}
    insert_records(connection, kind.table, [{**_cells(kind.table, item), **shared} for item in items])
    answers = [
        {
            "id": str(uuid.uuid5(uuid.UUID(item.id), tree_id)),
            "site_id": site_fid,
            "change_id": change_fid,
            "inspection_id": item.id,
            "tree_id": tree_id,
            "answer": said.answer,
            "note": said.note,
        }
        for item in items
        if isinstance(item, InspectionIn)
        for tree_id, said in item.answers.items()
    ]
    insert_records(connection, schema.inspection_answer, answers)
