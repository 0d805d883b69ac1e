"""Collections over all sites that an actor may see: what they hold, asked by position, time and filter.

Everything is read from editions (`service.editions`), site after site by short name and feature number, so
that no page takes longer than the first and pages stay right while others edit.
"""

import hashlib
import heapq
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache
from itertools import islice, pairwise
from threading import Lock
from typing import Any, TypeVar

from layers.inputs import Records, SiteTerms
from service.actors import Actor, visible
from service.cql_nodes import All
from service.cql_parameters import equal
from service.cql_types import checked
from service.editions import Edition, edition
from service.errors import InvalidRequest, NotFound
from service.feature_kinds import Collection, of_collection, queryable
from service.feature_questions import Asked, Box, By, Extent, Items
from service.feature_tokens import Place, place_of, token_of
from service.layer_parts import LayerColumn
from service.outlets.held_layer import HeldLayer
from service.outlets.layer_rows import layer_rows
from service.store.engine import Store
from service.store.layer_queries import Position, Question, first_day, matched, row_of, rows_after
from service.store.site_list import site_states
from service.view import SiteView, today_in

MAX_ORDER = 8
KEPT_COUNTS = 4096
KEPT_LISTS = 32

Columns = tuple[LayerColumn, ...]
Made = TypeVar("Made")
Found = tuple[str, Sequence[Any]]  # the site, and a row of its table
Page = tuple[list[Sequence[Any]], Place | None]


def site_names(store: Store, actor: Actor) -> list[str]:
    """Return the short names of the sites that an actor may see, in their order."""
    return [slug for slug, *_ in _states(store, actor)]


def properties(store: Store, actor: Actor, collection: Collection) -> Columns:
    """Return the properties that every feature of a collection has, over all sites that an actor may see.

    The words of the nomenclature come first, then headers that files brought (``own`` is False).
    """
    return _columns(collection, _editions(store, actor, collection, Asked()))


def items(store: Store, actor: Actor, collection: Collection, asked: Asked) -> Items:
    """Return a page of the features that match what is asked, and how many there are on all pages.

    Raises
    ------
    InvalidRequest
        If a property, a type, the filter, the order or the token does not fit the collection; each fault
        under the name of the parameter.
    StoreUnavailable
        If what was computed cannot be kept.
    """
    editions = _editions(store, actor, collection, asked)
    plain = asked.site is None and asked.as_of is None and not (collection.by_day and asked.time)
    columns = _columns(
        collection, editions if plain else _editions(store, actor, collection, Asked()) + editions
    )
    question = _question(collection, columns, asked)
    kinds = [next(c.kind for c in columns if c.name == by.name) for by in asked.order]
    after = None if asked.after is None else place_of(asked.after, kinds)
    page = _in_order if asked.order else _by_number
    rows, more = page(editions, question, columns, after, asked.limit)
    return Items(
        matched=sum(_matched(one, question) for one in editions),
        returned=len(rows),
        columns=columns,
        parts=[editions[0].table.part_of(rows)] if rows else [],
        next=None if more is None else token_of(more),
        tag=_tag(editions, columns, asked),
    )


def item(store: Store, actor: Actor, collection: Collection, fid: int, as_of: str | None = None) -> Items:
    """Return one feature, as a page of one.

    Raises
    ------
    NotFound
        If the collection has none of that number.
    """
    editions = _editions(store, actor, collection, Asked(as_of=as_of))
    columns = _columns(collection, editions)
    for one in editions if abs(fid) < 2**63 else ():
        rows = row_of(one.table, columns, fid)
        if rows:
            return Items(1, 1, columns, [one.table.part_of(rows)], None, _tag([one], columns, fid))
    raise NotFound("feature", f"{collection.id}/{fid}")


def extent(store: Store, actor: Actor, collection: Collection) -> Extent:
    """Return where and from when on the features of a collection are; the end of time is open."""
    editions = _editions(store, actor, collection, Asked())
    box = covering([one.facts.box for one in editions if one.facts.box is not None])
    if collection.times is None or collection.by_day:
        return Extent(box, (None, None))
    began = [_first_day(one, collection.times) for one in editions]
    days = [day for day, _ in began if day is not None]
    return Extent(box, (None if any(open_ for _, open_ in began) or not days else min(days), None))


def covering(boxes: Sequence[Box]) -> Box | None:
    """Return the narrowest box round all, west > east where that goes across 180 degrees; None round none."""
    if not boxes:
        return None
    spans: list[tuple[float, float]] = []
    for west, east in sorted((box[0], box[2]) for box in boxes):
        if spans and west <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(east, spans[-1][1]))
        else:
            spans.append((west, east))
    south, north = min(box[1] for box in boxes), max(box[3] for box in boxes)
    gaps = [nxt[0] - one[1] for one, nxt in pairwise(spans)]
    across = spans[0][0] + 360.0 - spans[-1][1]
    if not gaps or across >= max(gaps):
        return spans[0][0], south, spans[-1][1], north
    widest = gaps.index(max(gaps))
    return spans[widest + 1][0], south, spans[widest][1], north


def _states(store: Store, actor: Actor) -> list[tuple[str, str, str]]:
    """Return the short name, the day and the state of each site that an actor may see, by short name."""
    with store.read() as connection:
        rows = site_states(connection)
    return sorted((row.slug, today_in(row.time_zone), repr(row)) for row in rows if visible(row.slug, actor))


def _editions(store: Store, actor: Actor, collection: Collection, asked: Asked) -> list[Edition]:
    """Return the editions of the sites that are asked, by short name; kept until a site changes."""
    days = []
    for slug, today, state in _states(store, actor):
        if asked.site in (None, slug):
            day = asked.as_of or today
            if asked.as_of is None and collection.by_day and asked.time and asked.time[1] is not None:
                day = min(asked.time[1], today)
            days.append((slug, day, state))

    def made() -> list[Edition]:
        out = []
        for slug, day, _ in days:
            with suppress(NotFound):  # thrown away a moment ago
                out.append(edition(store, slug, actor, collection.layer, day))
        return out

    key = (store.serial, actor, collection.layer, *days)
    found = _kept(_last, KEPT_LISTS, key, made)
    if all(one.used() for one in found):
        return found
    with _lock:
        _last.pop(key, None)
    return _kept(_last, KEPT_LISTS, key, made)


def _columns(collection: Collection, editions: Iterable[Edition]) -> Columns:
    """Return the columns of the nomenclature, then what files brought to some sites."""
    named = {column.name: column for column in _nomenclature(collection.layer)}
    for one in editions:
        for column in of_collection(one.facts.columns):
            named.setdefault(column.name, column)
    return (*(c for c in named.values() if c.own), *(c for c in named.values() if not c.own))


@cache
def _nomenclature(layer: str) -> Columns:
    """Return the columns that a layer has on any ground."""
    terms = SiteTerms(site_id="", slug="", name="")
    empty = SiteView(terms, Records(), "2000-01-01", 0, "", invented=True)
    return of_collection(HeldLayer(layer_rows(empty, layer)).facts.columns)


def _question(collection: Collection, columns: Columns, asked: Asked) -> Question:
    """Return what is asked of every table, checked against the columns."""
    queryables = {column.name for column in columns if queryable(column)}
    odd = [by.name for by in asked.order if by.name not in queryables]
    if odd or len(asked.order) > MAX_ORDER:
        said = f"There is no property {odd[0][:60]!r} to sort by." if odd else "That is too much to sort by."
        raise InvalidRequest([("sortby", said)])
    terms = [equal(columns, name, text) for name, text in asked.equals.items()]
    if asked.filter is not None:
        terms.append(checked(asked.filter, columns))
    return Question(
        box=asked.box,
        time=None if collection.times is None else asked.time,
        times=collection.times,
        filter=terms[0] if len(terms) == 1 else All(tuple(terms)) if terms else None,
        order=asked.order,
    )


def _by_number(
    editions: list[Edition], question: Question, columns: Columns, after: Place | None, limit: int
) -> Page:
    """Return the features of site after site by their numbers, and the last one's place if more follow."""
    rows: list[Sequence[Any]] = []
    last = None
    for one in editions:
        site = one.facts.site
        if after is not None and site < after.site:
            continue
        start = Position((), after.fid) if after is not None and site == after.site else None
        found = rows_after(one.table, question, columns, start, limit + 1 - len(rows))
        if len(rows) + len(found) > limit:
            rows += found[:-1]
            return rows, Place(site, rows[-1][0]) if len(found) > 1 else last
        if found:
            rows, last = rows + found, Place(site, found[-1][0])
    return rows, None


def _in_order(
    editions: list[Edition], question: Question, columns: Columns, after: Place | None, limit: int
) -> Page:
    """Return the features of all sites in the order that is asked, then by site and number."""
    found = []
    for one in editions:
        site, start = one.facts.site, None
        if after is not None:
            number = after.fid if site == after.site else None
            start = Position(after.values, number, ties=site > after.site)
        rows = rows_after(one.table, question, columns, start, limit + 1)
        found.append([(site, row) for row in rows])
    merged = heapq.merge(*found, key=lambda row: _rank(row, question.order))
    first = list(islice(merged, limit + 1))
    keys = len(question.order)
    page = [row[:-keys] for _, row in first[:limit]]
    if len(first) <= limit:
        return page, None
    site, row = first[limit - 1]
    return page, Place(site, row[0], tuple(row[-keys:]))


def _rank(found: Found, order: Sequence[By]) -> tuple[Any, ...]:
    site, row = found
    values = zip(row[-len(order) :], order, strict=True)
    ranks = [(1, 0) if v is None else (0, _Down(v) if by.descending else v) for v, by in values]
    return (*ranks, site, row[0])


class _Down:
    """A value that sorts the other way round."""

    def __init__(self, value: Any) -> None:
        self.value = value

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Down) and bool(self.value == other.value)

    def __lt__(self, other: "_Down") -> bool:
        return bool(other.value < self.value)


_counts: OrderedDict[Any, Any] = OrderedDict()
_last: OrderedDict[Any, list[Edition]] = OrderedDict()
_lock = Lock()


def _kept(kept: OrderedDict[Any, Made], most: int, key: Any, make: Callable[[], Made]) -> Made:
    """Return what was made for a key before, else make it; the least used goes."""
    with _lock:
        if key in kept:
            kept.move_to_end(key)
            return kept[key]
    made = make()
    with _lock:
        kept[key] = made
        while len(kept) > most:
            kept.popitem(last=False)
    return made


def _matched(one: Edition, question: Question) -> int:
    asked = replace(question, order=())
    return int(_kept(_counts, KEPT_COUNTS, (one.tag, asked), lambda: matched(one.table, asked)))


def _first_day(one: Edition, times: tuple[str, str]) -> tuple[str | None, bool]:
    found: tuple[str | None, bool] = _kept(
        _counts, KEPT_COUNTS, (one.tag, times), lambda: first_day(one.table, times)
    )
    return found


def _tag(editions: Sequence[Edition], columns: Columns, asked: Asked | int) -> str:
    """Return a text that is another one whenever the answer is: its columns are those of all sites."""
    said = repr((asked, [one.tag for one in editions], columns))
    return hashlib.blake2b(said.encode("utf-8", "surrogatepass"), digest_size=12).hexdigest()
