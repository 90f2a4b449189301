"""The same tables on Spark, over the same Parquet parts: for more records than one machine holds.

Needs the extra `spark` and a Java runtime. Nothing else of the review imports this.
"""

from __future__ import annotations

from typing import Any

from assistant.review.columns import COLUMNS
from assistant.review.desk import Snapshot
from assistant.review.store import ROWS
from assistant.review.tables import Tables, tables_of


def tables_on(session: Any, snapshot: Snapshot) -> tuple[Tables, Any]:
    """Tables on a Spark session, and the Ibis backend that runs expressions on them.

    Args:
        session: a pyspark SparkSession that reaches the index's folder.
        snapshot: `Review.snapshot`.
    """
    import ibis

    backend = ibis.pyspark.connect(session)
    dead = [
        (int(part), job)
        for _, manifest in snapshot
        for part, jobs in manifest.dead.items()
        for job in jobs
    ]
    for table in ROWS:
        files = [str(store.part_file(p, table)) for store, m in snapshot for p in m.parts]
        frame = _frame(session, table, files)
        if dead:
            gone = session.createDataFrame(dead, "part bigint, job bigint")
            frame = frame.join(gone, ["part", "job"], "left_anti")
        _named(frame, table)
    _files(session, snapshot)
    return tables_of(backend), backend


_SPARK = {"int": "bigint", "float": "double", "text": "string", "bool": "boolean",
          "time": "timestamp_ntz"}  # fmt: skip


def _frame(session: Any, table: str, files: list[str]) -> Any:
    columns = ", ".join(f"`{c.name}` {_SPARK[c.type]}" for c in COLUMNS[table])
    # Told, not found out: that would be a job of its own for every table.
    schema = f"{columns}, part bigint"
    if files:
        return session.read.schema(schema).parquet(*files)
    return session.createDataFrame([], schema)


def _named(frame: Any, table: str) -> None:
    frame.select(*(c.name for c in COLUMNS[table])).createOrReplaceTempView(table)


def _files(session: Any, snapshot: Snapshot) -> None:
    from pyspark.sql import functions as f

    whole = _frame(session, "files", [])
    names = [c.name for c in COLUMNS["files"]]
    whole = whole.select(*names)
    for store, manifest in snapshot:
        if manifest.files:
            frame = _frame(session, "files", [str(store.place / manifest.files)]).select(*names)
            scanned = f.expr(f"cast(timestamp_micros({manifest.scanned_us}) as timestamp_ntz)")
            frame = frame.withColumn("seen_utc", f.coalesce(f.col("seen_utc"), scanned))
            whole = whole.union(frame)
    _named(whole, "files")
