"""The rows of one layer of a site at a day as a file that SQL asks; it never changes once it is there.

Nothing here is a record: the file is made from what was computed and may be thrown away at any time.
"""

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import orjson
import shapely
import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from layers import ground
from layers.column_kinds import Kind
from service.errors import StoreUnavailable
from service.layer_parts import LayerColumn, LayerFacts, LayerPart, columns_named
from service.store.engine import plain_fault

AT_ONCE = 10_000
_TYPES: dict[Kind, sa.types.TypeEngine[Any]] = {
    "float": sa.REAL(),
    "int": sa.Integer(),
    "flag": sa.Integer(),
}
_PLACED = ("lon", "lat", "cell")
_DRAWN = ("wkb", "west", "south", "east", "north")


class LayerTable:
    """A layer in a file: its facts, and the table to ask."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.engine = _opened(path)
        with self.connect() as connection:
            said = connection.exec_driver_sql("SELECT facts FROM about").scalar_one()
        self.facts = _facts(orjson.loads(said))
        self.table = _table(self.facts)
        self._named = {
            column.name: self.table.c[f"c{number}"] for number, column in enumerate(self.facts.columns)
        }

    @contextmanager
    def connect(self) -> Iterator[Connection]:
        """A connection that reads."""
        with self.engine.connect() as connection:
            yield connection

    def column(self, name: str) -> sa.Column[Any]:
        """Return the column of a property; ``KeyError`` if the layer has none of that name."""
        return self._named[name]

    def part_of(self, rows: Sequence[Sequence[Any]]) -> LayerPart:
        """Return rows of number, place (``lon`` and ``lat``, or ``wkb``) and cells as a part of the layer."""
        ids = [row[0] for row in rows]
        if self.facts.points:
            cells = [tuple(row[3:]) for row in rows]
            return LayerPart(ids, cells, [row[1] for row in rows], [row[2] for row in rows], None)
        drawn: np.ndarray = np.empty(len(rows), dtype=object)
        drawn[:] = [row[1] for row in rows]
        return LayerPart(ids, [tuple(row[2:]) for row in rows], [], [], shapely.from_wkb(drawn))

    def parts(self, size: int = 1000, names: Sequence[str] | None = None) -> Iterator[LayerPart]:
        """Return the rows in order, at most ``size`` at a time and no more in memory.

        ``names`` are the columns of which there are cells, all if not given.
        """
        query = self._in_order([self.column(column.name) for column in columns_named(self.facts, names)])
        with self.connect() as connection:
            cursor = connection.connection.cursor()  # plain tuples, twice as fast
            cursor.execute(str(query.compile(dialect=self.engine.dialect)))
            while rows := cursor.fetchmany(size):
                yield self.part_of(rows)

    def part(self, offset: int, limit: int) -> LayerPart:
        """Return at most ``limit`` rows in order after the first ``offset``."""
        with self.connect() as connection:
            query = self._in_order(list(self._named.values())).offset(offset).limit(limit)
            return self.part_of(connection.execute(query).all())

    def _in_order(self, cells: list[sa.Column[Any]]) -> sa.Select[Any]:
        order = self.table.c.fid if self.facts.by_number else self.table.c.place
        place = [self.table.c[name] for name in (("lon", "lat") if self.facts.points else ("wkb",))]
        return sa.select(self.table.c.fid, *place, *cells).order_by(order)

    def arrays(self, names: Sequence[str]) -> dict[str, np.ndarray]:
        """Return columns whole, by feature number: ``fid``, ``lon``, ``lat``, ``cell`` or properties.

        Numbers come as float64 (NaN where missing), ``fid`` as int64, everything else as objects.
        """
        columns = [self.table.c[name] if name in self.table.c else self.column(name) for name in names]
        query = sa.select(*columns).order_by(self.table.c.fid)
        taken: list[list[np.ndarray]] = [[] for _ in names]
        with self.connect() as connection:
            rows = connection.execution_options(yield_per=AT_ONCE).execute(query)
            for part in rows.partitions():
                for pieces, name, column, cells in zip(
                    taken, names, columns, zip(*part, strict=True), strict=True
                ):
                    pieces.append(_array(name, column, cells))
        empty = [_array(name, column, ()) for name, column in zip(names, columns, strict=True)]
        return {
            name: np.concatenate([nothing, *pieces])
            for name, nothing, pieces in zip(names, empty, taken, strict=True)
        }


def write_layer(path: Path, facts: LayerFacts, parts: Iterable[LayerPart]) -> None:
    """Write a layer into a new file, which is there whole or not at all.

    Raises
    ------
    StoreUnavailable
        If it cannot be written.
    """
    fresh = path.with_name(f".{path.name}.{uuid4().hex}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _fill(fresh, facts, parts)
        os.replace(fresh, path)
    except (OSError, sa.exc.OperationalError) as error:
        fresh.unlink(missing_ok=True)
        why = plain_fault(error if isinstance(error, OSError) else error.orig)
        raise StoreUnavailable(f"What was computed cannot be kept in {path.parent}: {why}.") from error


def _fill(path: Path, facts: LayerFacts, parts: Iterable[LayerPart]) -> None:
    engine = sa.create_engine(f"sqlite:///{path}", poolclass=sa.pool.NullPool)
    table = _table(facts)
    filled = [column.name for column in table.c if column.name != "place"]  # which counts by itself
    names, marks = ", ".join(filled), ", ".join("?" for _ in filled)
    with engine.connect() as connection:
        for pragma in ("journal_mode=OFF", "synchronous=OFF", "cache_size=-65536"):
            connection.exec_driver_sql(f"PRAGMA {pragma}")
        connection.exec_driver_sql("CREATE TABLE about (facts TEXT NOT NULL)")
        connection.exec_driver_sql("INSERT INTO about VALUES (?)", (orjson.dumps(asdict(facts)).decode(),))
        connection.execute(sa.schema.CreateTable(table))
        for part in parts:
            rows = _stored(facts, part)
            if rows:
                connection.exec_driver_sql(f"INSERT INTO feature ({names}) VALUES ({marks})", rows)
        for index in table.indexes:
            connection.execute(sa.schema.CreateIndex(index))
        connection.commit()


def _stored(facts: LayerFacts, part: LayerPart) -> list[tuple[Any, ...]]:
    if facts.points:
        lon, lat = (np.array(said, dtype=float) for said in (part.lon, part.lat))
        cells = [None] * len(lon) if facts.local else ground.cell(lon, lat).tolist()
        shape: tuple[Sequence[Any], ...] = (part.lon, part.lat, cells)
    else:
        assert part.shapes is not None
        box = shapely.bounds(part.shapes)
        known = np.isfinite(box).all(axis=1)
        sides = [[v if there else None for v, there in zip(s, known, strict=True)] for s in box.T.tolist()]
        shape = (shapely.to_wkb(part.shapes).tolist(), *sides)
    return [
        (fid, *where, *row)
        for fid, where, row in zip(part.ids, zip(*shape, strict=True), part.rows, strict=True)
    ]


def _table(facts: LayerFacts) -> sa.Table:
    kinds: dict[str, sa.types.TypeEngine[Any]] = {"wkb": sa.LargeBinary(), "cell": sa.Integer()}
    names = _PLACED if facts.points else _DRAWN
    shape: list[sa.Column[Any]] = [sa.Column(name, kinds.get(name, sa.REAL())) for name in names]
    cells: list[sa.Column[Any]] = [
        sa.Column(f"c{number}", _TYPES.get(column.kind, sa.Text()))
        for number, column in enumerate(facts.columns)
    ]
    number: list[sa.schema.SchemaItem] = [sa.Column("fid", sa.Integer, primary_key=True)]
    if not facts.by_number:
        number = [sa.Column("place", sa.Integer, primary_key=True), sa.Column("fid", sa.Integer, unique=True)]
    indexed = [sa.Index("ix_feature_cell", "cell")] if facts.points else []
    return sa.Table("feature", sa.MetaData(), *number, *shape, *cells, *indexed)


def _opened(path: Path) -> Engine:
    return sa.create_engine(
        f"sqlite:///file:{path}?mode=ro&immutable=1&uri=true",
        connect_args={"check_same_thread": False},
        poolclass=sa.pool.QueuePool,
    )


def _facts(said: dict[str, Any]) -> LayerFacts:
    columns = tuple(LayerColumn(**column) for column in said.pop("columns"))
    box = said.pop("box")
    return LayerFacts(columns=columns, box=None if box is None else tuple(box), **said)


def _array(name: str, column: sa.Column[Any], cells: Sequence[Any]) -> np.ndarray:
    if name == "fid":
        return np.array(cells, dtype=np.int64)
    if isinstance(column.type, sa.REAL | sa.Integer) and name != "cell":
        return np.array(cells, dtype=float)
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out
