"""What people say, taken in one record at a time or as a batch: append-only, order-free, exactly once.

Every function is one change of the site; a batch in which nothing is new makes no change.
"""

import math
import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from layers import hands
from service.actors import Actor
from service.entry_desk import Answer as Answer
from service.entry_desk import Desk, cells_of
from service.entry_desk import Kind as Kind
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
from service.store.engine import Store
from service.store.rows import insert_records
from service.store.site_rows import held_site

ODD_HAND_CM = {
    "hand breadths": (4.5, 12.0),
    "hand spans": (9.0, 28.0),
}  # of children and grown-ups, our bounds
ODD_SPREAD = 0.1  # of the totals, as a share of them


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
READING = Kind(schema.reading, "stem_id", _STEM, "measured_on", _odd_size)
OBSERVATION = Kind(schema.observation, "tree_id", _TREE, "observed_on", no_question)
STATUS = Kind(schema.status_event, "subject_id", _EITHER, "happened_on", no_question)
FINDING = Kind(schema.finding, "tree_id", _TREE, "looked_on", no_question)
_INSPECTION = Kind(schema.inspection, None, {}, "inspected_on", no_question)
CALIBRATION = Kind(schema.calibration, None, {}, "calibrated_on", _odd_hand)


def enter_readings(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take readings (``ReadingIn`` or what parses as one); answers in their order.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    return enter(store, slug, actor, READING, ReadingIn, items)


def enter_calibrations(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take hands that crews measured (``CalibrationIn``); answers in their order.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    return enter(store, slug, actor, CALIBRATION, CalibrationIn, items)


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
    return enter(store, slug, actor, STATUS, StatusIn, items)


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
    with store.write() as connection:
        site = held_site(connection, slug)
        return enter_within(
            connection,
            site,
            actor,
            parts,
            lambda note: changes.begin(connection, site.fid, actor, "entry", note).fid,
        )


def enter_within(
    connection: Any,
    site: Any,
    actor: Actor,
    parts: Sequence[Part],
    change: Callable[[str], int],
    said_by: Mapping[str, str] | None = None,
) -> list[list[Answer]]:
    """Take records of several kinds within a transaction that holds the site; answers of each kind.

    ``change`` gives the number of the change that writes, called once something is new; ``said_by`` who said
    a record, by its id, where that is not the actor.
    """
    sent = [(kind, [_checked(model, item) for item in items]) for kind, model, items in parts]
    desks, answers = [], []
    for kind, checked in sent:
        desk = Desk(connection, site, kind, [item for item in checked if isinstance(item, Appended)])
        answers.append([item if isinstance(item, Answer) else desk.answer(item) for item in checked])
        desks.append(desk)
    new = [desk for desk in desks if desk.taken]
    if new:
        made = change(new[0].kind.table.name)
        for desk in new:
            _insert(connection, desk.kind, site.fid, made, actor, desk.taken, said_by or {})
    return answers


def _checked(model: type[Appended], item: Any) -> Appended | Answer:
    if isinstance(item, model):
        return item
    try:
        return parsed(model, item)
    except InvalidRequest as error:
        sent_id = item.get("id", "") if isinstance(item, Mapping) else ""
        return Answer(str(sent_id), "refused", str(error), faults=tuple(error.faults))


def _insert(
    connection: Any,
    kind: Kind,
    site_fid: int,
    change_fid: int,
    actor: Actor,
    items: Sequence[Appended],
    said_by: Mapping[str, str],
) -> None:
    now = changes.now()
    shared = {"site_id": site_fid, "change_id": change_fid, "received_at": now}
    records = [
        {**cells_of(kind.table, item), **shared, "actor": said_by.get(item.id, actor.handle)}
        for item in items
    ]
    insert_records(connection, kind.table, records)
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
