"""Rows as Arrow tables, by the list of columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

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


def filed(table: str, job: int, part: int, row: Any) -> tuple[Any, ...]:
    """A row of a job, a dict or a list in columns' order, as `table_of_rows` takes it."""
    values = map(row.get, names(table)) if isinstance(row, dict) else row
    return (job, *values, part)


def table_of_rows(table: str, rows: Sequence[tuple[Any, ...]]) -> pa.Table:
    """Rows with all their columns in order, as a table."""
    kinds = schema(table)
    columns = zip(*rows, strict=True) if rows else [()] * len(kinds)
    arrays = [pa.array(c, f.type) for c, f in zip(columns, kinds, strict=True)]
    return pa.Table.from_arrays(arrays, schema=kinds)


def table_of(table: str, rows: Iterable[dict[str, Any]]) -> pa.Table:
    """Rows as a table; what a row does not have is null."""
    rows = list(rows)
    columns = [pa.array([row.get(f.name) for row in rows], f.type) for f in schema(table)]
    return pa.Table.from_arrays(columns, schema=schema(table))
