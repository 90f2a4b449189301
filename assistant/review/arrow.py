"""Rows as Arrow tables, by the list of columns."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa

from assistant.review.columns import COLUMNS, names

_TYPES = {
    "int": pa.int64(),
    "float": pa.float64(),
    "text": pa.string(),
    "bool": pa.bool_(),
    "time": pa.timestamp("us"),
}
STATE = (
    ("size", pa.int64()), ("mtime", pa.int64()), ("ctime", pa.int64()), ("part", pa.int64()),
    ("good", pa.int64()), ("count", pa.int64()), ("head", pa.string()), ("opening", pa.string()),
    ("tail", pa.string()), ("aside", pa.binary()),
)  # fmt: skip
"""What the table of files keeps for the next refresh, beyond what it shows."""


@cache
def schema(table: str) -> pa.Schema:
    """The columns of a table, with the part a row stands in; files with their state."""
    fields = [pa.field(c.name, _TYPES[c.type]) for c in COLUMNS[table]]
    more = STATE if table == "files" else (("part", pa.int64()),)
    return pa.schema([*fields, *(pa.field(*one) for one in more)])


def _bits(values: Iterable[Any]) -> pa.Buffer:
    some = np.array([bool(value) for value in values], np.bool_)
    return pa.py_buffer(np.packbits(some, bitorder="little").tobytes())


def table_of_rows(
    table: str,
    rows: Sequence[Any],
    jobs: Sequence[int],
    counts: Sequence[int],
    column: Callable[[Any, pa.DataType], pa.Array],
) -> pa.Table:
    """Rows of some jobs as a table that has no part yet.

    Args:
        table: which one.
        rows: of all the jobs one after another: dicts, or lists in columns' order.
        jobs: their numbers; `counts`: how many of the rows are each one's.
        column: makes a column of values: `array`, or `pa.array`.
    """
    kinds = schema(table)
    if rows and isinstance(rows[0], dict):
        columns: Any = [[row.get(name) for row in rows] for name in names(table)]
    else:
        columns = zip(*rows, strict=True) if rows else [()] * len(names(table))
    arrays = [column(values, kinds.field(i + 1).type) for i, values in enumerate(columns)]
    job = array(np.repeat(np.array(jobs, np.int64), counts), pa.int64())
    return pa.Table.from_arrays([job, *arrays], names=["job", *names(table)])


def in_part(tables: Sequence[pa.Table], part: int) -> pa.Table:
    """Tables of the same kind one after another, as one of a part."""
    table = pa.concat_tables(tables).combine_chunks()
    return table.append_column("part", same(part, table.num_rows))


def same(number: int, times: int) -> pa.Array:
    """The same whole number again and again."""
    return array(np.full(times, number, np.int64), pa.int64())


def array(values: Any, kind: pa.DataType) -> pa.Array:
    """As `pa.array`, for the types of the columns, None among the values.

    That one imports pandas, to see whether a list of Python's is one of its own: 0.3 s. Where
    pandas is not to be found it is the quicker one, for many values.
    """
    count, valid, numbers = len(values), None, values
    if not isinstance(values, np.ndarray):
        there = [value is not None for value in values]
        if not all(there):
            valid = _bits(there)
        if kind in (pa.string(), pa.binary()):
            some = [value.encode() if isinstance(value, str) else value or b"" for value in values]
            ends = np.cumsum([0, *map(len, some)], dtype=np.int32)
            buffers = [valid, pa.py_buffer(ends), pa.py_buffer(b"".join(some))]
            return pa.Array.from_buffers(kind, count, buffers)
        if kind == pa.bool_():
            return pa.Array.from_buffers(kind, count, [valid, _bits(values)])
        type_ = np.float64 if kind == pa.float64() else np.int64
        numbers = np.array([value or 0 for value in values], type_)
    return pa.Array.from_buffers(kind, count, [valid, pa.py_buffer(numbers)])


def table_of(table: str, rows: Iterable[dict[str, Any]]) -> pa.Table:
    """Rows as a table; what a row does not have is null."""
    rows = list(rows)
    columns = [array([row.get(f.name) for row in rows], f.type) for f in schema(table)]
    return pa.Table.from_arrays(columns, schema=schema(table))
