"""What phones send, taken in: at least once sent, kept once, in any order and any split; one change a batch.

What cannot be taken in yet, or needs a person, is set aside with a sentence and never lost; what waits for
something that comes later is taken in by itself when it comes.
"""

import datetime as dt
import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

from service import waiting_words as words
from service.actors import Actor
from service.crew_words import CrewPass
from service.entry import Part, enter_within
from service.errors import InvalidRequest
from service.field_meaning import KINDS, Ground, Waits, checked
from service.field_records import (
    MOST_CHARACTERS,
    Batch,
    Content,
    Entry,
    FieldAnswer,
    Item,
    Team,
    canonical,
    entry_of,
)
from service.field_trees import Told, TreeDesk
from service.records import parsed
from service.store import changes, schema
from service.store.engine import Store
from service.store.field_rows import ask, removed_trees, waiting
from service.store.round_rows import crews_of_site
from service.store.rows import by_ids, insert_records, known_elsewhere, revise_many
from service.store.site_rows import held_site

CLOCK_S = 600.0  # a clock that is farther off says nothing of the day
_NEW = ("taken", "questioned")
_OF_A_DAY = {"reading": "measured_on", "observation": "observed_on"}


def take_batch(store: Store, actor: Actor, crew: CrewPass, batch: Batch) -> list[FieldAnswer]:
    """Take in what a phone of a team sent; answers in the order of its items.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    actor.require("measure")
    with store.write() as connection:
        site = held_site(connection, crew.slug)
        team_of = _teams(connection, site, crew)
        return Taking(connection, site, actor).take(batch.items, lambda item: team_of(item.crew), batch)


def _teams(connection: Any, site: Any, crew: CrewPass) -> Callable[[str | None], Team | None]:
    """Whose an item of a phone is, by the code that it names, also of earlier days.

    The word of a team lets nobody speak for a team of another kind: that waits for a person.
    """
    own = Team(crew.code, crew.kind, crew.round_id)
    rows = crews_of_site(connection, site.fid)
    rows.sort(key=lambda row: row.round_id == crew.round_id)
    teams = {row.code: Team(row.code, row.kind, row.round_id) for row in rows}

    def team_of(code: str | None) -> Team | None:
        found = teams.get(code or "", own)
        return found if found.kind == own.kind else None

    return team_of


class Taking:
    """Takes items in within a transaction that holds the site, as one change."""

    def __init__(self, connection: Any, site: Any, actor: Actor) -> None:
        self.connection, self.site, self.actor = connection, site, actor
        self.answers: dict[str, FieldAnswer] = {}
        self.said_by: dict[str, str] = {}
        self._change: int | None = None

    def change(self, note: str) -> int:
        """Return the number of the change that writes; it is made when something is written."""
        if self._change is None:
            self._change = changes.begin(self.connection, self.site.fid, self.actor, "entry", note).fid
        return self._change

    def take(
        self, items: Sequence[Any], team_of: Callable[[Item], Team | None], batch: Batch
    ) -> list[FieldAnswer]:
        """Take items in; ``team_of`` says whose an item is, None for nobody's: that waits for a person."""
        out: list[FieldAnswer | str] = []
        entries: dict[str, Entry] = {}
        nobodys: set[str] = set()
        for data in items:
            item = _item(data)
            if isinstance(item, FieldAnswer):
                out.append(item)
                continue
            entry, team = _entry(item, team_of(item), batch.format)
            if isinstance(entry, FieldAnswer):
                out.append(entry)
                continue
            before = entries.setdefault(entry.id, entry)
            if (before.sent_kind, before.sent) != (entry.sent_kind, entry.sent):
                out.append(FieldAnswer(entry.id, "refused", words.DIFFERENT))
                continue
            if team is None:
                nobodys.add(entry.id)
            out.append(entry.id)
        self._take(list(entries.values()), nobodys, _clock_off(batch.sent_at))
        return [self.answers[one] if isinstance(one, str) else one for one in out]

    def _take(self, entries: list[Entry], nobodys: set[str], clock_off: dt.timedelta | None) -> None:
        fresh = self._not_kept_aside(entries)
        aside = {e.id: why for e in fresh if (why := self.cannot_be_read(e))}
        nobodys -= {e.id for e in fresh if e.kind == "danger"}  # never held back
        aside |= {e.id: words.SAVED_TEAM for e in fresh if e.id in nobodys and e.id not in aside}
        readable = [e for e in fresh if e.id not in aside]
        waits = self._take_with_waiting(readable)
        self._ask_of_clock(readable, clock_off)
        self._set_aside([e for e in fresh if e.id in aside or e.id in waits], {**aside, **waits})

    def _take_with_waiting(self, entries: Sequence[Entry]) -> dict[str, str]:
        """Take in what can be and what waited for it, as long as one frees the other; why the rest waits."""
        waits: dict[str, str] = {}
        while entries:
            waits = self.take_known(entries)
            came = any(e.id not in waits and self.answers[e.id].outcome in _NEW for e in entries)
            if not came or not self.take_waiting():
                break
            entries = [entry for entry in entries if entry.id in waits]
        return waits

    def take_known(self, entries: Sequence[Entry]) -> dict[str, str]:
        """Take in what can be; return why the rest waits, by id."""
        told, pending = [], []
        for entry in entries:
            try:
                values = checked(entry)
            except InvalidRequest as error:
                said = " ".join(message for _where, message in error.faults)
                self.answers[entry.id] = FieldAnswer(entry.id, "refused", said)
                continue
            if isinstance(values, dict):
                pending.append((entry, values))
            else:
                told.append(Told(entry, values))
        waits: dict[str, str] = {}
        for id, answer in TreeDesk(self.connection, self.site, self.change).take(told).items():
            if answer.outcome == "set aside":
                waits[id] = answer.why or ""
            else:
                self.answers[id] = answer
        while pending:
            ground = Ground(self.connection, self.site, pending)
            meant = [(entry, values, ground.meaning(entry, values)) for entry, values in pending]
            ready = [(entry, said) for entry, _values, said in meant if not isinstance(said, Waits)]
            pending = [(entry, values) for entry, values, said in meant if isinstance(said, Waits)]
            if not ready:
                waits |= {entry.id: said.why for entry, _v, said in meant if isinstance(said, Waits)}
                break
            self._enter(ready, ground)
        return waits

    def _enter(self, ready: Sequence[tuple[Entry, dict[str, Any]]], ground: Ground) -> None:
        """Enter records of all kinds together."""
        parts: list[Part] = []
        for kind, (of, model) in KINDS.items():
            mine = [said for entry, said in ready if entry.kind == kind]
            if mine:
                parts.append((of, model, mine))
        found = enter_within(self.connection, self.site, self.actor, parts, self.change, self.said_by)
        for answer in itertools.chain.from_iterable(found):
            why = answer.why
            if answer.outcome == "refused" and answer.known is not None:
                why = words.DIFFERENT
            self.answers[answer.id] = FieldAnswer(answer.id, answer.outcome, why)
        self._ask_of_removed(ready, ground)

    def _ask_of_removed(self, ready: Sequence[tuple[Entry, dict[str, Any]]], ground: Ground) -> None:
        """A measurement of a tree that was taken out is kept and asked about, as on the page to check."""
        mine = {e.id: said["stem_id"] for e, said in ready if e.kind == "reading" and not said.get("void")}
        new = {id: stem for id, stem in mine.items() if self.answers[id].outcome in _NEW}
        known = {id: ground.stems[id] for id in new.values() if id in ground.stems}
        left = set(new.values()) - set(known)
        more = by_ids(self.connection, schema.stem, self.site.fid, left) if left else {}
        stems = {**known, **more}
        gone = removed_trees(self.connection, self.site.fid, [row.tree_id for row in stems.values()])
        for id, stem in new.items():
            if stems[stem].tree_id in gone:
                self._question(id, words.GONE)

    def _question(self, id: str, why: str) -> None:
        before = self.answers[id]
        said = why if before.why is None else f"{before.why} {why}"
        self.answers[id] = replace(before, outcome="questioned", why=said)

    def _ask_of_clock(self, entries: Sequence[Entry], off: dt.timedelta | None) -> None:
        """The day of what is new is asked about where the phone's clock may have had another day."""
        if off is None or abs(off.total_seconds()) <= CLOCK_S:
            return
        now = dt.datetime.now(ZoneInfo(self.site.time_zone))
        why = words.CLOCK % {
            "phone": (now - off).isoformat(" ", "minutes"),
            "server": now.isoformat(" ", "minutes"),
        }
        asked = []
        for entry in entries:
            answer, day = self.answers.get(entry.id), _OF_A_DAY.get(entry.kind)
            if day is None or answer is None or answer.outcome not in _NEW or entry.content.get("void"):
                continue
            if entry.content.get(day) != _day_by(entry.recorded_at, off, self.site.time_zone):
                self._question(entry.id, why)
                asked.append((entry.kind, entry.id, "clock", why))
        if asked:
            ask(self.connection, self.site.fid, self.change("reading"), asked)

    def _not_kept_aside(self, entries: Sequence[Entry]) -> list[Entry]:
        """Those that were not set aside before; the others are answered."""
        ids = [entry.id for entry in entries]
        kept = by_ids(self.connection, schema.set_aside, self.site.fid, ids)
        strange = known_elsewhere(self.connection, schema.set_aside, self.site.fid, ids)
        for entry in entries:
            row = kept.get(entry.id)
            if entry.id in strange:
                self.answers[entry.id] = FieldAnswer(entry.id, "refused", words.ELSEWHERE)
            elif row is not None:
                self.answers[entry.id] = _kept_answer(entry, row)
        return [entry for entry in entries if entry.id not in kept and entry.id not in strange]

    def cannot_be_read(self, entry: Entry) -> str | None:
        """Return why this program does not know what an item means; None where it does."""
        if not entry.is_readable:
            return words.NEWER
        if entry.kind != "tree" and entry.kind not in KINDS:
            return words.STRANGE % {"kind": entry.kind}
        return None

    def take_waiting(self) -> int:
        """Take in what waited for something that has come meanwhile; return how much that is."""
        rows = waiting(self.connection, self.site.fid)
        entries = [entry_of_row(row) for row in rows]
        entries = [e for e in entries if self.cannot_be_read(e) is None and e.team.code is not None]
        row_of = {row.id: row for row in rows}
        mine, self.answers = self.answers, {}
        self.said_by |= {row.id: row.actor for row in rows}
        try:
            waits = self.take_known(entries)
            done = [id for id, answer in self.answers.items() if answer.outcome != "refused"]
        finally:
            self.answers = mine
        cells = {"settled": "taken", "settled_on": changes.now()[:10]}
        revised = [(row_of[id], {**cells, "became": became(row_of[id])}) for id in done]
        revised += [(row_of[id], {"why": why}) for id, why in waits.items() if why != row_of[id].why]
        if revised:
            revise_many(self.connection, schema.set_aside, revised, self.change("set aside"))
        return len(done)

    def _set_aside(self, entries: Sequence[Entry], why: Mapping[str, str]) -> None:
        if not entries:
            return
        now = changes.now()
        shared = {"site_id": self.site.fid, "change_id": self.change("set aside"), "version": 1, "void": 0}
        rows = [
            {
                "id": entry.id,
                "kind": entry.sent_kind,
                "content": entry.sent,
                "why": why[entry.id],
                "sent_format": entry.sent_format,
                "crew": entry.team.code,
                "crew_kind": entry.team.kind,
                "round_id": entry.team.round_id,
                "recorded_at": entry.recorded_at,
                "received_at": now,
                "actor": self.actor.handle,
                **shared,
            }
            for entry in entries
        ]
        insert_records(self.connection, schema.set_aside, rows)
        for entry in entries:
            self.answers[entry.id] = FieldAnswer(entry.id, "set aside", why[entry.id])


def became(row: Any) -> str:
    """Return the id of the record that something set aside becomes: its own, or that of its tree."""
    entry = entry_of_row(row)
    return str(entry.content["tree_id"]) if entry.kind == "tree" else str(row.id)


def entry_of_row(row: Any) -> Entry:
    """Return an item from where it was set aside."""
    team = Team(row.crew, row.crew_kind, row.round_id)
    return entry_of(row.id, row.kind, row.content, row.sent_format, team, row.recorded_at)


def _kept_answer(entry: Entry, row: Any) -> FieldAnswer:
    if (row.kind, row.content) != (entry.sent_kind, entry.sent):
        return FieldAnswer(entry.id, "refused", words.DIFFERENT)
    if row.settled == "dropped":
        return FieldAnswer(entry.id, "already there", words.DROPPED % {"text": row.settled_why or ""})
    if row.settled == "taken":
        return FieldAnswer(entry.id, "already there")
    return FieldAnswer(entry.id, "set aside", row.why)


def _item(data: Any) -> Item | FieldAnswer:
    try:
        return parsed(Item, data)
    except InvalidRequest as error:
        id = data.get("id") if isinstance(data, dict) else None
        said = " ".join(message for _where, message in error.faults)
        return FieldAnswer(str(id or "")[:100], "refused", f"{words.NOT_AN_ITEM} {said}")


def _entry(item: Item, team: Team | None, format: int) -> tuple[Entry | FieldAnswer, Team | None]:
    content: Content = item.content
    try:
        text = canonical(content)
        text.encode("utf-8")
    except (ValueError, RecursionError):
        return FieldAnswer(item.id, "refused", words.NOT_AN_ITEM), team
    if len(text) > MOST_CHARACTERS:
        return FieldAnswer(item.id, "refused", words.TOO_LONG), team
    if "\\u0000" in text:
        return FieldAnswer(item.id, "refused", words.NOT_AN_ITEM), team
    mine = team or Team(None, None, None)
    try:
        made = entry_of(item.id, item.kind, text, item.format or format, mine, item.recorded_at)
    except (KeyError, TypeError, ValueError, AttributeError):
        return FieldAnswer(item.id, "refused", words.NOT_AN_ITEM), team
    return made, team


def _day_by(recorded_at: str | None, off: dt.timedelta, time_zone: str) -> str | None:
    """The day on which something was entered, by the clock of the server; None where that is not known."""
    said = dt.datetime.fromisoformat(recorded_at) if recorded_at else None
    if said is None or said.tzinfo is None:
        return None
    return (said + off).astimezone(ZoneInfo(time_zone)).date().isoformat()


def _clock_off(sent_at: str | None) -> dt.timedelta | None:
    """How far the clock of a phone is behind; None where it said no time with its offset from UTC."""
    if sent_at is None:
        return None
    said = dt.datetime.fromisoformat(sent_at)
    return None if said.tzinfo is None else dt.datetime.now(dt.UTC) - said
