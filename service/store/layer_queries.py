"""Questions to the table of one layer: how many features match, and a page of them after a position."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from layers.cell_ranges import cell_ranges
from service.cql_nodes import All, Drawn, Meets, Node
from service.feature_questions import Box, By, Days
from service.layer_parts import LayerColumn
from service.store.cql_sql import Condition, Conditions, literal, teach
from service.store.layer_tables import LayerTable

Cell = str | int | float | None
FEW = 20  # fewer than one in so many rows are fetched by the index of cells, more by going through all


@dataclass(frozen=True)
class Question:
    """What is asked of every table of a collection, checked; ``times`` are the columns of ``time``."""

    box: Box | None = None
    time: Days | None = None
    times: tuple[str, str] | None = None
    filter: Node | None = None
    order: tuple[By, ...] = ()

    @property
    def everything(self) -> bool:
        """Whether every feature matches."""
        return self.box is None and self.time is None and self.filter is None


@dataclass(frozen=True)
class Position:
    """Where a page begins: after the feature with these values of the order and, if given, this number.

    Without a number, features of equal values come too (``ties``) or do not.
    """

    values: tuple[Cell, ...]
    fid: int | None
    ties: bool = False


def matched(table: LayerTable, question: Question) -> int:
    """Return how many features match."""
    if question.everything:
        return table.facts.rows
    made = _Query(table, question)
    return int(made.run(sa.select(sa.func.count()).select_from(table.table).where(*made.where))[0][0])


def rows_after(
    table: LayerTable,
    question: Question,
    columns: Sequence[LayerColumn],
    after: Position | None,
    limit: int,
) -> list[Sequence[Any]]:
    """Return features in order: as `LayerTable.part_of` reads them, then the values of the order.

    There is a cell for each column, empty where the layer does not have it; features that are not on earth
    have no place.
    """
    made = _Query(table, question)
    keys = [made.conditions.key(by.name) for by in question.order]
    query = made.select(columns, *keys).where(*made.where)
    if after is not None:
        query = query.where(_beyond(keys, question.order, after, made.columns.fid))
    for key, by in zip(keys, question.order, strict=True):
        query = query.order_by((key.desc() if by.descending else key.asc()).nulls_last())
    return made.run(query.order_by(made.columns.fid).limit(limit))


def row_of(table: LayerTable, columns: Sequence[LayerColumn], fid: int) -> list[Sequence[Any]]:
    """Return the feature of a number, as :func:`rows_after`; nothing if there is none."""
    made = _Query(table, Question())
    return made.run(made.select(columns).where(table.table.c.fid == fid))


def first_day(table: LayerTable, times: tuple[str, str]) -> tuple[str | None, bool]:
    """Return the first day of any feature, and whether some began at no known day."""
    made = _Query(table, Question())
    start, end = (made.conditions.column(name) for name in times)
    began = sa.func.coalesce(sa.func.max(sa.and_(start.is_(None), end.is_not(None))), 0)
    day, open_ = made.run(sa.select(sa.func.min(start), began).select_from(table.table))[0]
    return day, bool(open_)


class _Query:
    """The conditions of a question on one table."""

    def __init__(self, table: LayerTable, question: Question) -> None:
        self.table = table
        self.columns = table.table.c
        self.conditions = Conditions(table)
        self.where: list[Condition] = []
        if question.box is not None and not table.facts.local:
            meets = self.conditions.meets(Drawn(box=question.box))
            self.where.append(sa.or_(self.conditions.without_shape(), meets))
        if question.time is not None and question.times is not None:
            self.where += self._touching(question.time, question.times)
        if question.filter is not None:
            self.where.append(self.conditions.of(question.filter))
        if table.facts.points and not table.facts.local:
            self.where += self._by_cell(question)

    def run(self, query: sa.Select[Any]) -> list[Sequence[Any]]:
        with self.table.connect() as connection:
            teach(connection, self.conditions.shapes)
            return list(connection.execute(query).all())

    def select(self, columns: Sequence[LayerColumn], *keys: Condition) -> sa.Select[Any]:
        """Return a query of number, place, a cell for each column, and what is sorted by."""
        facts = self.table.facts
        shape = ("lon", "lat") if facts.points else ("wkb",)
        place = [sa.null() if facts.local else self.columns[name] for name in shape]
        cells = [self.conditions.column(one.name) for one in columns]
        said = (one.label(f"v{at}") for at, one in enumerate([*place, *cells, *keys]))
        return sa.select(self.columns.fid, *said)

    def _touching(self, time: Days, times: tuple[str, str]) -> list[Condition]:
        """Return that a feature's time has a day in common with an interval; without time it has."""
        first, last = time
        start, end = (self.conditions.column(name) for name in times)
        out: list[Condition] = []
        if last is not None:
            out.append(sa.or_(start.is_(None), start <= literal(last)))
        if first is not None:
            out.append(sa.or_(end.is_(None), end >= literal(first)))
        return out

    def _by_cell(self, question: Question) -> list[Condition]:
        """Return that a feature is in the cells round what is asked, where that leaves few."""
        out: list[Condition] = []
        for box, placeless in _boxes(question):
            near = [self.columns.cell.between(low, high) for low, high in cell_ranges(box)]
            near += [self.columns.cell.is_(None)] if placeless else []
            if not near:  # a box without inside
                continue
            found = sa.union_all(*(sa.select(self.columns.fid).where(one) for one in near))
            most = self.table.facts.rows // FEW + 1
            counted = self.run(sa.select(sa.func.count()).select_from(found.limit(most).subquery()))
            if counted[0][0] < most:
                out.append(self.columns.fid.in_(found))
        return out


def _boxes(question: Question) -> list[tuple[Box, bool]]:
    """Return boxes round all that can match, each with whether features without a place match too."""
    out: list[tuple[Box, bool]] = [] if question.box is None else [(question.box, True)]
    terms = question.filter.of if isinstance(question.filter, All) else (question.filter,)
    return out + [(term.drawn.bounds, False) for term in terms if isinstance(term, Meets)]


def _beyond(
    keys: Sequence[Condition], order: Sequence[By], after: Position, fid: sa.Column[Any]
) -> Condition:
    """Return that a feature comes after a position; those without a value come last."""
    level: list[Condition] = []
    beyond: list[Condition] = []
    for key, by, value in zip(keys, order, after.values, strict=True):
        if value is None:
            level.append(key.is_(None))
            continue
        further = key < literal(value) if by.descending else key > literal(value)
        beyond.append(sa.and_(*level, sa.or_(further, key.is_(None))))
        level.append(key == literal(value))
    if after.fid is not None:
        beyond.append(sa.and_(*level, fid > after.fid))
    elif after.ties:
        beyond.append(sa.and_(sa.true(), *level))
    return sa.or_(sa.false(), *beyond)
