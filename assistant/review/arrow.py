"""Rows as Arrow tables, by the list of columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa

from assistant.review.columns import COLUMNS

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


@cache
def names(table: str) -> tuple[str, ...]:
    """The columns between the job and the part."""
    return tuple(c.name for c in COLUMNS[table] if c.name != "job")


@cache
def places(table: str) -> dict[str, int]:
    """Where each column stands in a row that is a list: the job and the part come by themselves."""
    return {name: place for place, name in enumerate(names(table))}


def table_of_rows(
    table: str, rows: Sequence[Any], jobs: Sequence[int], counts: Sequence[int]
) -> pa.Table:
    """Rows of some jobs as a table that has no part yet.

    Args:
        table: which one.
        rows: of all the jobs one after another: dicts, or lists in columns' order.
        jobs: their numbers; `counts`: how many of the rows are each one's.
    """
    kinds = schema(table)
    if rows and isinstance(rows[0], dict):
        columns: Any = [[row.get(name) for row in rows] for name in names(table)]
    else:
        columns = zip(*rows, strict=True) if rows else [()] * len(names(table))
    arrays = [pa.array(column, kinds.field(i + 1).type) for i, column in enumerate(columns)]
    job = pa.array(np.repeat(np.array(jobs, np.int64), counts), pa.int64())
    return pa.Table.from_arrays([job, *arrays], names=["job", *names(table)])


def in_part(tables: Sequence[pa.Table], part: int) -> pa.Table:
    """Tables of the same kind one after another, as one of a part."""
    table = pa.concat_tables(tables).combine_chunks()
    return table.append_column("part", pa.repeat(pa.scalar(part, pa.int64()), table.num_rows))


def table_of(table: str, rows: Iterable[dict[str, Any]]) -> pa.Table:
    """Rows as a table; what a row does not have is null."""
    rows = list(rows)
    columns = [pa.array([row.get(f.name) for row in rows], f.type) for f in schema(table)]
    return pa.Table.from_arrays(columns, schema=schema(table))
