"""What phones sent and a person has to mend: taken in as it was meant, with its own id, or dropped."""

from dataclasses import dataclass, replace
from typing import Any

from service import waiting_words as words
from service.actors import Actor
from service.entry import enter_within
from service.errors import InvalidRequest, NotFound
from service.field_entry import Taking, became, entry_of_row
from service.field_meaning import ABOUT, KINDS, checked
from service.field_records import Content, Entry, Team
from service.field_trees import Told, tree_cells
from service.store import changes, schema
from service.store.engine import Connection, Row, Store
from service.store.field_rows import first_place, settled_lately, stems_of, trees_with_tags, waiting
from service.store.rows import by_ids, revise
from service.store.site_rows import find_site, held_site

MOST_SETTLED = 50  # that are shown
_OF_PLACE = (*("lon_deg", "lat_deg", "x_m", "y_m", "cell", "position_source", "position_accuracy_m"),)
MEANT = "Choose the tree and the trunk that were meant."


@dataclass(frozen=True)
class SetAside:
    """Something that waits, or waited: what was sent, by whom, when by both clocks, why, what became of it.

    ``can_mean`` are trees that carry the number that was typed: (tree id, trunks as (id, number)).
    """

    id: str
    version: int
    kind: str
    content: Content
    team: str | None
    team_kind: str | None
    recorded_at: str | None
    received_at: str
    why: str
    is_readable: bool
    can_mean: tuple[tuple[str, tuple[tuple[str, int], ...]], ...] = ()
    settled: str | None = None
    settled_why: str | None = None
    settled_on: str | None = None
    became: str | None = None


def all_waiting(store: Store, slug: str) -> list[SetAside]:
    """Return what waits for a person on a ground, the first that came first.

    Raises
    ------
    NotFound
        If there is no such site.
    """
    with store.read() as connection:
        site = find_site(connection, slug)
        rows = waiting(connection, site.fid)
        entries = [entry_of_row(row) for row in rows]
        tags = {str(e.content["tag"]).strip() for e in entries if e.content.get("tag")}
        trees = trees_with_tags(connection, site.fid, tags) if tags else {}
        meant = {tag: _with_trunks(connection, site.fid, found) for tag, found in trees.items()}
    return [
        _told(row, entry, meant.get(str(entry.content.get("tag") or "").strip(), ()))
        for row, entry in zip(rows, entries, strict=True)
    ]


def lately_settled(store: Store, slug: str) -> list[SetAside]:
    """Return what was settled last, the latest first; raises as :func:`all_waiting`."""
    with store.read() as connection:
        rows = settled_lately(connection, find_site(connection, slug).fid, MOST_SETTLED)
    return [_told(row, entry_of_row(row), ()) for row in rows]


def _with_trunks(
    connection: Connection, site_fid: int, found: list[Row[Any]]
) -> tuple[tuple[str, tuple[tuple[str, int], ...]], ...]:
    return tuple(
        (row.id, tuple((stem.id, stem.number) for stem in stems_of(connection, site_fid, row.id)))
        for row in found
    )


def _told(row: Row[Any], entry: Entry, meant: Any) -> SetAside:
    return SetAside(
        row.id,
        row.version,
        entry.kind,
        entry.content,
        row.crew,
        row.crew_kind,
        row.recorded_at,
        row.received_at,
        row.why,
        entry.is_readable and (entry.kind == "tree" or entry.kind in KINDS),
        meant,
        row.settled,
        row.settled_why,
        row.settled_on,
        row.became,
    )


def drop(store: Store, slug: str, actor: Actor, id: str, seen_version: int, why: str) -> None:
    """Drop what waits, with a reason; it stays in sight as dropped.

    Raises
    ------
    InvalidRequest
        If no reason is given, or somebody settled it meanwhile.
    NotFound
        If nothing of that id was set aside here.
    StaleVersion
        If somebody changed it meanwhile.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    if not why.strip():
        raise InvalidRequest([("/why", "Say why it is dropped; that is kept with it.")])
    with store.write() as connection:
        site = held_site(connection, slug)
        _open(connection, site.fid, id)
        made = changes.begin(connection, site.fid, actor, "edit", "set aside")
        cells = {"settled": "dropped", "settled_why": why.strip()[:2000], "settled_on": changes.now()[:10]}
        revise(connection, schema.set_aside, site.fid, id, seen_version, cells, made.fid)


def take(
    store: Store,
    slug: str,
    actor: Actor,
    id: str,
    seen_version: int,
    *,
    stem_id: str | None = None,
    tree_id: str | None = None,
    team: str | None = None,
) -> str:
    """Take in what waits, about the trunk or tree that was meant; return the id of the record.

    ``team`` is the code of whoever said it, where nobody knows. What waited for it is taken in with it.

    Raises
    ------
    InvalidRequest
        If it says not which trunk or tree, cannot be taken, or somebody settled it meanwhile.
    NotFound
        If nothing of that id was set aside here.
    StaleVersion
        If somebody changed it meanwhile.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    with store.write() as connection:
        site = held_site(connection, slug)
        row = _open(connection, site.fid, id)
        entry = _of_team(entry_of_row(row), team)
        taking = Taking(connection, site, actor)
        taking.said_by[entry.id] = row.actor
        _require_readable(taking, entry)
        values = checked(entry)
        if isinstance(values, dict):
            _enter(taking, entry, _meant(entry, values, stem_id, tree_id))
        else:
            _take_over(taking, Told(entry, values))
        cells = {"settled": "taken", "settled_on": changes.now()[:10], "became": became(row)}
        change = taking.change("set aside")
        revise(connection, schema.set_aside, site.fid, id, seen_version, cells, change)
        taking.take_waiting()
    return str(cells["became"])


def _open(connection: Connection, site_fid: int, id: str) -> Row[Any]:
    row = by_ids(connection, schema.set_aside, site_fid, [id]).get(id)
    if row is None or row.void:
        raise NotFound("set aside record", id)
    if row.settled is not None:
        raise InvalidRequest("Somebody settled it meanwhile. Look at the list again.")
    return row


def _of_team(entry: Entry, team: str | None) -> Entry:
    if not team or entry.team.code:
        return entry
    own = Team(team, entry.team.kind, entry.team.round_id)
    return replace(entry, team=own)


def _require_readable(taking: Taking, entry: Entry) -> None:
    why = taking.cannot_be_read(entry)
    if why is not None:
        raise InvalidRequest(why)


def _meant(entry: Entry, values: dict[str, Any], stem_id: str | None, tree_id: str | None) -> dict[str, Any]:
    """The record with what a person said that it is about."""
    out = {name: value for name, value in values.items() if name not in ("tag", "x", "y")}
    about = ABOUT.get(entry.kind)
    if about is None:
        return out
    out[about] = (stem_id if about == "stem_id" else tree_id) or out.get(about)
    if not out[about]:
        raise InvalidRequest([(f"/{about}", MEANT)])
    return out


def _enter(taking: Taking, entry: Entry, values: dict[str, Any]) -> None:
    of, model = KINDS[entry.kind]
    parts = [(of, model, [values])]
    (answers,) = enter_within(
        taking.connection, taking.site, taking.actor, parts, taking.change, taking.said_by
    )
    if answers[0].outcome == "refused":
        raise InvalidRequest(answers[0].why or words.DIFFERENT)


def _take_over(taking: Taking, told: Told) -> None:
    """What a phone says of a tree that is here already, as a new version of it; or the tree, if it is not."""
    tree_id = told.said.tree_id
    row = by_ids(taking.connection, schema.tree, taking.site.fid, [tree_id]).get(tree_id)
    if row is None:
        if taking.take_known([told.entry]):
            raise InvalidRequest(words.KNOWN_TREE)
        return
    first = first_place(taking.connection, taking.site.fid)
    cells = tree_cells(told, taking.site.frame, first)
    said = {name: value for name, value in cells.items() if name not in ("id", "place_id", "status")}
    placed = cells["lon_deg"] is not None or cells["x_m"] is not None
    said = {name: value for name, value in said.items() if placed or name not in _OF_PLACE}
    change = taking.change("tree")
    revise(taking.connection, schema.tree, taking.site.fid, tree_id, row.version, said, change)
