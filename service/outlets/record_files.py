"""The records of a site as plain tables, CSV and Parquet, written together as they are read."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from service.outlets.csv_out import csv_lines
from service.outlets.formula_guard import guarded

ROWS_A_BATCH = 8192
_TYPES = {"whole": pa.int64(), "real": pa.float64(), "text": pa.string(), "bytes": pa.binary()}


def write_tables(
    columns: Sequence[tuple[str, str]], rows: Iterable[tuple[Any, ...]], parquet: Path, csv: Path
) -> int:
    """Write rows into two new files and return how many there are.

    Parameters
    ----------
    columns
        The name of each column and what its cells are: whole, real, text or bytes.

    Raises
    ------
    OSError
        If a file cannot be written.
    """
    schema = pa.schema([pa.field(name, _TYPES[kind]) for name, kind in columns])
    count = 0
    with pq.ParquetWriter(parquet, schema, compression="zstd") as writer, csv.open("wb") as lines:
        lines.write(csv_lines([schema.names]))
        for some in _batches(rows):
            arrays = [
                pa.array(c, field.type) for c, field in zip(zip(*some, strict=True), schema, strict=True)
            ]
            writer.write_batch(pa.RecordBatch.from_arrays(arrays, schema=schema))
            lines.write(csv_lines(map(_cell, row) for row in some))
            count += len(some)
    return count


def _batches(rows: Iterable[tuple[Any, ...]]) -> Iterator[list[tuple[Any, ...]]]:
    waiting = iter(rows)
    while some := list(islice(waiting, ROWS_A_BATCH)):
        yield some


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return guarded(value)
    return value.hex() if isinstance(value, bytes | memoryview) else value
