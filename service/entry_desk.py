"""What becomes of records that are sent, one kind at a time: against what the site holds and each other."""

import datetime as dt
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from service import hand_entry
from service.records import Appended, InspectionIn
from service.store import schema
from service.store.appending import answers_of, column_names, corrections
from service.store.rows import by_ids, known_elsewhere
from service.view import today_in

Outcome = Literal["taken", "already there", "questioned", "refused"]
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


class Desk:
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
        """Return what becomes of a record; ``taken`` has those that are to be written."""
        refusal = self._known(item) or self._refusal(item)
        if refusal:
            return refusal
        self.taken.append(item)
        self.known[item.id] = cells_of(self.kind.table, item) | answered(item)
        if item.supersedes:
            self.chain[item.id] = item.supersedes
        question = self.kind.question(item) or self.hands.question(item) or self._not_here(item)
        question = question or self._date_question(item)
        return Answer(item.id, "questioned", question) if question else Answer(item.id, "taken")

    def _known(self, item: Appended) -> Answer | None:
        known = self.known.get(item.id)
        if known is None:
            return None
        sent, known = cells_of(self.kind.table, item), dict(known)
        if isinstance(item, InspectionIn):
            sent |= answered(item)
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


def cells_of(table: Any, item: Appended) -> dict[str, Any]:
    """Return a record as the cells of its table, without what the store adds."""
    said = item.model_dump()
    return {name: _cell(said[name]) for name in column_names(table) if name in said}


def _cell(value: Any) -> Any:
    if isinstance(value, list):
        return json.dumps(value)
    return int(value) if isinstance(value, bool) else value


def answered(item: Appended) -> dict[str, Any]:
    """What an inspection says per tree; nothing of another record."""
    if not isinstance(item, InspectionIn):
        return {}
    return {"answers": {tree: said.model_dump() for tree, said in sorted(item.answers.items())}}
