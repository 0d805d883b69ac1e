"""Settling what was questioned: a person says that it holds, puts it right, or crosses it out.

One change of the site each: the record of settling, and the readings that correct or cross out. What was
settled is not asked again; taking the change back asks it again.
"""

import uuid
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from layers.questioned import ASK_AGAIN
from service.actors import Actor
from service.errors import InvalidRequest, NotFound
from service.records import Number, ReadingIn, Sent, Words, parsed
from service.store import changes, schema
from service.store.engine import Store
from service.store.rows import by_ids, insert_records
from service.store.settled import has_question, is_corrected, readings_of_crew
from service.store.site_rows import held_site
from service.store.undoing import written_by

MOST_DIGITS = 18
_NOT_KEPT = (
    "fid",
    "id",
    "site_id",
    "change_id",
    "received_at",
    "actor",
    "recorded_at",
    "supersedes",
    "reason",
)


class SettlingIn(Sent):
    """A person's answer to a question about a reading, a whole crew, or a row of a list.

    ``supersede`` names what is otherwise: ``value``, ``unit``, ``quantity``, ``height_m``; of a crew
    ``factor``, by which its numbers are multiplied, or another unit or quantity.
    """

    subject: Literal["reading", "crew", "question"]
    subject_id: Annotated[Words, Field(min_length=1)]
    what: Annotated[Words, Field(min_length=1)]
    answer: Literal["accept", "supersede", "void"]
    value: Number | None = None
    factor: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    unit: Words | None = None
    quantity: Literal["girth", "diameter"] | None = None
    height_m: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] | None = None
    reason: Words | None = None

    @model_validator(mode="after")
    def _says_what_is_otherwise(self) -> "SettlingIn":
        given = (self.value, self.factor, self.unit, self.quantity, self.height_m)
        if self.answer == "supersede" and all(one is None for one in given):
            raise ValueError("say what it should be: another number, unit, or round or across")
        if self.subject == "question" and self.answer != "accept":
            raise ValueError("what a list asked can only be left as it is here; change the tree on its page")
        return self


def settle(store: Store, slug: str, actor: Actor, said: SettlingIn) -> int:
    """Settle a question; return how many readings were corrected or crossed out.

    Raises
    ------
    NotFound
        If there is no such site, reading, crew or question.
    NotPermitted
        If the actor may not manage.
    InvalidRequest
        If the reading was corrected or crossed out meanwhile, or what it should be cannot be.
    """
    actor.require("manage")
    with store.write() as connection:
        site = held_site(connection, slug)
        rows = _asked_about(connection, site.fid, said)
        written = [] if said.answer == "accept" else [_correction(row, said) for row in rows]
        made = changes.begin(connection, site.fid, actor, "entry", "settling")
        shared = {"site_id": site.fid, "change_id": made.fid, "actor": actor.handle}
        insert_records(connection, schema.reading, [{**row, **shared} for row in written])
        answered = {**_about(said), "answer": said.answer, "at": changes.now()}
        insert_records(connection, schema.settling, [{"id": said.id, **answered, **shared}])
    return len(written)


def ask_again(connection: Any, site_fid: int, undone: int, made: Any, actor: Actor) -> int:
    """Ask again what the settlings of a change answered; return their number."""
    table = schema.settling
    rows = written_by(connection, table, undone)
    shared = {"site_id": site_fid, "change_id": made.fid, "actor": actor.handle, "at": changes.now()}
    records = [
        {
            "id": str(uuid.uuid5(uuid.UUID(row.id), f"undo {made.change_no}")),
            **{name: getattr(row, name) for name in ("subject", "subject_id", "what")},
            "answer": ASK_AGAIN,
            **shared,
        }
        for row in rows
    ]
    insert_records(connection, table, records)
    return len(records)


def _about(said: SettlingIn) -> dict[str, str]:
    return {"subject": said.subject, "subject_id": said.subject_id, "what": said.what}


def _asked_about(connection: Any, site_fid: int, said: SettlingIn) -> list[Mapping[str, Any]]:
    """The readings that the question is about; none for a question of a list."""
    id = said.subject_id
    if said.subject == "question":
        if not (id.isdecimal() and len(id) < MOST_DIGITS and has_question(connection, site_fid, int(id))):
            raise NotFound("question on this ground", id)
        return []
    if said.subject == "crew":
        return _of_crew(connection, site_fid, id)
    row = by_ids(connection, schema.reading, site_fid, [id]).get(id)
    if row is None:
        raise NotFound("measurement on this ground", id)
    if is_corrected(connection, site_fid, id):
        raise InvalidRequest(
            "It was corrected or crossed out meanwhile. Look at it again, then settle it anew."
        )
    return [dict(row._mapping)]


def _of_crew(connection: Any, site_fid: int, key: str) -> list[Mapping[str, Any]]:
    round_id, _, rest = key.partition(":")
    crew, quantity, unit = [*rest.rsplit(":", 2), "", ""][:3]
    rows = readings_of_crew(connection, site_fid, round_id, crew, quantity, unit)
    if not rows:
        raise NotFound("measurements of this crew", key)
    return [dict(row._mapping) for row in rows]


def _correction(row: Mapping[str, Any], said: SettlingIn) -> dict[str, Any]:
    """The reading that stands in front of a settled one, or crosses it out."""
    kept = {name: value for name, value in row.items() if name not in _NOT_KEPT and value is not None}
    kept |= {"supersedes": row["id"], "void": said.answer == "void", "recorded_at": changes.now()}
    kept["reason"] = said.reason or f"settled: {said.what}"
    if said.answer == "supersede":
        kept |= _otherwise(row, said)
    content = parsed(ReadingIn, kept).model_dump()
    known = {name: value for name, value in content.items() if name in schema.reading.c}
    return {**known, "void": int(content["void"]), "received_at": changes.now()}


def _otherwise(row: Mapping[str, Any], said: SettlingIn) -> dict[str, Any]:
    """What is otherwise in a correction; what was typed first stays beside it."""
    changed: dict[str, Any] = {}
    if said.value is not None and said.value != row["value"]:
        changed |= {"value": said.value, "value_2": None, "parts": None}
    if said.factor is not None:
        for name in ("value", "value_2"):
            changed[name] = None if row[name] is None else row[name] * said.factor
        changed["parts"] = None
    names = ("unit", "quantity", "height_m")
    changed |= {name: given for name in names if (given := getattr(said, name)) is not None}
    if said.quantity == "girth":
        changed["value_2"] = None  # a girth has no second axis
    if all(row[name] == given for name, given in changed.items()):
        raise InvalidRequest("This is what was read. Type what it should be, or let it stay.")
    first = row["value"] if row["first_entry"] is None else row["first_entry"]
    return {**changed, "first_entry": first}
