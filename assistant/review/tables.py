"""The tables of the review as Ibis expressions: the same on DuckDB and on Spark.

    from assistant.review import open_review
    with open_review([folder, ...]) as review:      # builds or refreshes the index first
        t = review.tables                           # Tables: t.jobs, t.readings, t.moves, ...
        rows = review.rows(t.jobs.filter(t.jobs.unit == "T-104"))      # list of dicts

Every table has a column `job` and is joined on it; `review.record_path(job)` is a job's file.
What each column holds is in `columns.COLUMNS`; what is often asked is in `fleet`, as functions from
`Tables` to an Ibis expression. Times are naive and in UTC. A job whose file is gone stays in
all tables; `files.status` is then "missing" and `files.seen_utc` says when it was last seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import ibis.expr.types as ir


@dataclass(frozen=True, slots=True)
class Tables:
    """One row a ...; all are Ibis tables with the columns of `columns.COLUMNS`.

    Attributes:
        jobs: job.
        readings: reading taken, corrected ones with `replaced`; `as_found` and `as_left` mark those
            that stand.
        moves: change on ring or linkage, predicted against measured.
        holds: time the helper held the pedal.
        hearing: utterance, typed or spoken, taken or not.
        steps: step of a job.
        cautions: caution spoken.
        doubts: thing the lead should look at.
        lead_acts: event the lead appended.
        files: file in the folders, records or not.
    """

    jobs: ir.Table
    readings: ir.Table
    moves: ir.Table
    holds: ir.Table
    hearing: ir.Table
    steps: ir.Table
    cautions: ir.Table
    doubts: ir.Table
    lead_acts: ir.Table
    files: ir.Table


def tables_of(connection: Any) -> Tables:
    """The tables of an Ibis connection, DuckDB or Spark, that has them under their own names."""
    from ibis.expr.operations import DatabaseTable, Namespace
    from ibis.expr.schema import Schema

    from assistant.review.columns import COLUMNS

    # The columns are known: to ask the engine for those of ten tables takes a tenth of a second.
    def table(name: str) -> Any:
        schema = Schema({column.name: _TYPES[column.type] for column in COLUMNS[name]})
        return DatabaseTable(name, schema, connection, Namespace()).to_expr()

    return Tables(**{name: table(name) for name in COLUMNS})


_TYPES = {"int": "int64", "float": "float64", "text": "string", "bool": "boolean",
          "time": "timestamp(6)"}  # fmt: skip
