"""The lead's desk: many records read at once, into tables to ask and pages to look at.

- ``columns``: what there is to ask; ``questions``: often asked, as Ibis expressions;
- ``beside``: what only files and jobs together show, such as copies that tell otherwise;
- ``rows``: one record as rows, its chain checked; ``doubts``: what a lead should look at;
  ``planned``: what the plan led to expect;
- ``index``, ``refresh``: the index of a folder, and keeping it fresh;
- ``export``: CSV, Parquet, and the same tables on Spark.

Only DuckDB is imported for an index that is up to date: Ibis takes longer than all the rest.
"""

from __future__ import annotations

import json
import os
import re
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, suppress
from datetime import date, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.record import RecordError
from assistant.record.disk import write_whole
from assistant.review.columns import COLUMNS, OF_A_JOB
from assistant.review.index import (
    WAIT_S,
    Index,
    index_home,
    looked_us,
    note_looked,
    note_together,
    rows_of,
    source_hash,
    sql_type,
)
from assistant.review.wording import Row, say, say_many

if TYPE_CHECKING:
    import duckdb
    import ibis.expr.types as ir

    from assistant.review.due import FleetDue
    from assistant.review.questions import Tables
    from assistant.review.refresh import Refresh

__all__ = ["Review", "open_review"]
_HERE = Path(__file__).parent
_EPOCH = datetime(1970, 1, 1)
_OF_DUE = re.compile(r"\bFROM \"?due\b")
"""In a query that needs the table of trucks, which is worked out for it."""


class Answers:
    """What an engine that has the tables can be asked.

    Attributes:
        told: one line each on what the lead should know of the folders.
        home: where the indexes are, and what else is kept.
        looked: when a lead last looked at all the folders (UTC); None: not yet.
    """

    engine = "duckdb"

    def __init__(self, told: list[str], home: Path, looked: datetime | None = None) -> None:
        self.told = told
        self.home = home
        self.looked = looked

    def run(self, sql: str) -> list[Row]:
        """The answer to a query as one dict a row."""
        raise NotImplementedError

    @cached_property
    def tables(self) -> Tables:
        """To make expressions of."""
        from assistant.review.questions import tables

        return tables()

    def rows(self, expression: ir.Table) -> list[Row]:
        """The answer to an expression over `tables`, as one dict a row. Raises as `run` does."""
        from assistant.review.questions import sql_of

        return self.run(sql_of(expression, self.engine))

    def ask(self, question: str, most: int | None = None) -> list[Row]:
        """The first rows of a question of `questions.QUESTIONS`."""
        sql = self._sql(question)
        return self.run(sql if most is None else f"{sql} LIMIT {most}")

    def count(self, question: str) -> int:
        """How many rows a question has."""
        return int(
            self.run(f"SELECT count(*) AS rows FROM ({self._sql(question)}) AS q")[0]["rows"]
        )

    def _sql(self, question: str) -> str:
        """A question's SQL, kept in the folder of indexes, so that Ibis makes it but once."""
        import duckdb

        file = self.home / f"{self.engine}-questions.json"
        made_by = source_hash(
            *(_HERE / f"{name}.py" for name in ("questions", "columns", "doubts"))
        )
        key = f"{made_by} {duckdb.__version__}"
        try:
            kept = json.loads(file.read_text("utf-8"))
            sql = kept["sql"][question] if kept["version"] == key else None
        except (OSError, ValueError, KeyError, TypeError):
            sql = None
        if sql is None:
            from assistant.review.questions import QUESTIONS, sql_of

            made = {name: sql_of(ask(self.tables), self.engine) for name, ask in QUESTIONS.items()}
            sql = made[question]
            with suppress(OSError):  # it is only kept to be quicker the next time
                write_whole(file, json.dumps({"version": key, "sql": made}).encode(), durable=False)
        return str(sql)

    def fresh(self) -> set[int]:
        """The jobs that are new or changed since a lead last looked; none before the first look."""
        if self.looked is None:
            return set()
        since = f"fresh_utc > TIMESTAMP '{self.looked:%Y-%m-%d %H:%M:%S.%f}'"
        sql = f"SELECT f.job FROM files AS f JOIN jobs AS j ON f.job = j.job WHERE {since}"
        return {row["job"] for row in self.run(sql)}

    def files(self, jobs: Iterable[int]) -> dict[int, str]:
        """The file of each of these jobs."""
        some = ", ".join(map(str, set(jobs))) or "NULL"
        where = "folder || '/' || path AS file"
        found = self.run(f"SELECT job, {where} FROM jobs WHERE job IN ({some})")
        return {row["job"]: row["file"] for row in found}

    def of_jobs(self, table: str, jobs: Sequence[int]) -> list[Row]:
        """The rows of these jobs in a table."""
        some = ", ".join(map(str, jobs)) or "NULL"
        return self.run(f"SELECT * FROM {table} WHERE job IN ({some})")


class Review(Answers, AbstractContextManager["Review"]):
    """Tables of all the folders' jobs, as of their last refresh. Use `with`, or `close`."""

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        indexes: Sequence[Index],
        refreshed: list[Refresh],
        home: Path,
    ) -> None:
        told, last_us = (
            (line for one in refreshed for line in one.told),
            looked_us(home, _of(indexes)),
        )
        super().__init__(
            [*told], home, _EPOCH + timedelta(microseconds=last_us) if last_us else None
        )
        self.refreshed = refreshed
        self._connection = connection
        self._indexes = indexes
        from assistant.review.beside import Beside

        beside = Beside(connection, indexes)
        if beside.same:
            self.told.append(say_many("folder.twice", beside.same))
        for table in (*OF_A_JOB, "files"):
            connection.execute(f"CREATE VIEW {table} AS {beside.view(table)}")

    @cached_property
    def due(self) -> FleetDue:
        """When its trucks are due; worked out when it is first asked for."""
        from assistant.review.due import FleetDue

        made = FleetDue(self, self._indexes)
        today = date.today()
        rows = [truck.row(today) for truck in made.trucks]
        kinds = [(name, sql_type(kind)) for name, kind in COLUMNS["due"].items()]
        values = [[row[name] for row in rows] for name, _ in kinds]
        of_each = ", ".join(f'unnest(?::{kind}[]) AS "{name}"' for name, kind in kinds)
        self._connection.execute(f"CREATE TABLE due AS SELECT {of_each}", values)
        return made

    def run(self, sql: str) -> list[Row]:
        """As `Answers.run`.

        Raises:
            RecordError: the index on the disk was damaged since it was opened.
            OSError: what the statement writes to cannot be written.
        """
        import duckdb

        if _OF_DUE.search(sql):
            _ = self.due
        try:
            return rows_of(self._connection.execute(sql))
        except duckdb.IOException as error:
            raise OSError(None, str(error).splitlines()[0]) from error
        except duckdb.Error as error:
            if "orrupt" not in str(error):
                raise
            files = ", ".join(str(index.file) for index in self._indexes)
            raise RecordError(f"The index is damaged. Remove {files}, then try again.") from None

    def note_looked(self) -> None:
        """A lead has looked at all of it now: what is here is not new any more."""
        note_looked(self.home, _of(self._indexes), time.time_ns() // 1000)

    def record_path(self, job: int) -> Path:
        """The file of a job; it may no longer be there.

        Raises:
            RecordError: there is no such job.
        """
        found = self.of_jobs("jobs", [job])
        if not found:
            raise RecordError(f"There is no job {job} in this review.")
        path = Path(found[0]["folder"], found[0]["path"])
        if not path.exists() and "\\x" in str(path):
            # A name that is no text is kept as text, with its odd bytes spelled out.
            real = str(path).encode("latin-1", "backslashreplace").decode("unicode_escape")
            path = Path(os.fsdecode(real.encode("latin-1", "replace")))
        return path

    def close(self) -> None:
        self._connection.close()

    def __exit__(self, *_: object) -> None:
        self.close()


def open_review(
    folders: Iterable[Path],
    home: Path | None = None,
    wait: Callable[[str], None] = lambda line: None,
    wait_s: float | None = None,
    **how: Any,
) -> Review:
    """Bring the indexes of the folders up to date and open them.

    Args:
        folders: of records; each has an index of its own.
        home, wait, wait_s: see `index.Index`; the user's cache, and a minute, if not given.
        how: see `refresh.Refresh`.

    Raises:
        RecordError: another lead had an index all that time, or it cannot be written.
    """
    import duckdb

    home = home or index_home()
    connection = duckdb.connect()
    indexes, done = [], []
    try:
        for number, folder in enumerate(_apart(folders)):
            name = f"folder{number}"
            index = Index(connection, name, folder, home, wait, wait_s or WAIT_S)
            done.append(_up_to_date(index, how))
            indexes.append(index)
        note_together(home, _of(indexes))
        return Review(connection, indexes, done, home)
    except BaseException:
        connection.close()
        raise


def _up_to_date(index: Index, how: dict[str, Any]) -> Refresh:
    """Refresh an index; one that turns out to be damaged is built anew. It can then be read."""
    import duckdb

    from assistant.review.refresh import Refresh

    index.write()
    try:
        try:
            done = Refresh(index, **how)
        except duckdb.Error:
            index.begin_anew()
            done = Refresh(index, **how)
        index.read_only()
    except (duckdb.Error, OSError) as error:
        raise RecordError(
            f"The index {index.file} cannot be written: {str(error).splitlines()[0]}. "
            "Free space there, or set LUGCALL_INDEX to another folder."
        ) from None
    if index.rebuilt:
        done.told.insert(0, say("folder.rebuilt", folder=index.folder))
    if index.unwritable:
        done.told.append(say("folder.in_memory", folder=index.folder, why=index.unwritable))
    return done


def _of(indexes: Iterable[Index]) -> list[Path]:
    return [index.folder for index in indexes]


def _apart(folders: Iterable[Path]) -> list[Path]:
    """Each folder once, without those within another."""
    given = list(dict.fromkeys(Path(os.path.abspath(f)) for f in folders))
    return [f for f in given if not any(other in f.parents for other in given)]
