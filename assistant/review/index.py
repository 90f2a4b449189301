"""The index of one records folder: a database file in the user's cache.

It holds nothing that the records do not, so one that is damaged or of another layout is built anew.
What is committed stays, whenever the process is killed. One process at a time may have it to write:
others wait. Where no file can be written, the index lives in memory for as long as it is asked.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
import platformdirs

from assistant.record import RecordError
from assistant.record.disk import reason
from assistant.record.folder import slug
from assistant.review.columns import COLUMNS, OF_A_JOB
from assistant.review.wording import say

if TYPE_CHECKING:
    import duckdb

LAYOUT = 4
"""Of the file; of another number, it is built anew."""
WAIT_S = 60.0
"""So long we wait for another lead who has the index."""
SQL_TYPES = {"int": "BIGINT", "float": "DOUBLE", "text": "VARCHAR", "bool": "BOOLEAN",
             "time": "TIMESTAMP"}  # fmt: skip
_STATE = {"size": "BIGINT", "mtime": "BIGINT", "ctime": "BIGINT", "events": "BIGINT",
          "opening": "VARCHAR"}  # fmt: skip
"""What the table of files keeps for the next refresh, beyond what it shows."""
_BUSY = ("lock on file", "file handle conflict", "used by another process")
"""In what DuckDB says of a file that somebody has."""
Row = dict[str, Any]
Tell = Callable[[str], None]
_spelled = msgspec.json.Encoder().encode


def index_home() -> Path:
    """Where indexes live: LUGCALL_INDEX if set, else the user's cache; never a records folder."""
    chosen = os.environ.get("LUGCALL_INDEX")
    if chosen:
        return Path(chosen)
    return Path(platformdirs.user_cache_dir("lugcall", appauthor=False)) / "review"


class Index:
    """The index of one folder, attached to a connection of DuckDB's.

    Args:
        connection: may have other indexes too.
        name: what its tables are qualified with in SQL.
        folder: of the records.
        home: where indexes live; see `index_home`.

    Attributes:
        file: the database; not used when `unwritable`.
        unwritable: why it is in memory only; "" when it is on the disk.
        rebuilt: whether the file was damaged, and begun anew.
    """

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        name: str,
        folder: Path,
        home: Path | None = None,
    ) -> None:
        self._connection = connection
        self.name = name
        self.folder = Path(os.path.abspath(folder))
        digest = hashlib.sha256(os.fsencode(self.folder)).hexdigest()[:12]
        self.file = (home or index_home()) / f"{slug(self.folder.name)}-{digest}.duckdb"
        self.unwritable = ""
        self.rebuilt = False

    def write(self, tell: Tell, wait_s: float = WAIT_S) -> None:
        """Attach it to be written.

        Args:
            tell: takes one line, when it has to be waited for.
            wait_s: how long at most.

        Raises:
            RecordError: another lead had it all that time.
        """
        import duckdb

        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            self._in_memory(reason(error)[0])
            return
        for path in (self.file.parent, self.file):
            if path.exists() and not os.access(path, os.W_OK):
                self._in_memory("no permission to write there")
                return
        try:
            self._attach("", tell, wait_s)
            layout = self._layout()
        except duckdb.Error:
            layout = -1
        if layout < 0:
            self.begin_anew(tell, wait_s)
        elif layout == 0:
            self._make_tables()
        elif layout != LAYOUT:
            self.begin_anew(tell, wait_s)
            self.rebuilt = False

    def begin_anew(self, tell: Tell, wait_s: float = WAIT_S) -> None:
        """As `write`, with nothing in it: what was there is of no use."""
        self.rebuilt = True
        self.detach()
        for path in (self.file, self.file.with_name(self.file.name + ".wal")):
            path.unlink(missing_ok=True)
        self._attach("", tell, wait_s)
        self._make_tables()

    def read_only(self, tell: Tell, wait_s: float = WAIT_S) -> None:
        """Let others write and read it again, and attach it to be read. Raises as `write` does."""
        if not self.unwritable:
            self.detach()
            self._attach("(READ_ONLY)", tell, wait_s)

    def detach(self) -> None:
        """Let go of the file."""
        import duckdb

        with suppress(duckdb.Error):  # it was not attached
            self.run(f"DETACH {self.name}")

    def _in_memory(self, why: str) -> None:
        self.unwritable = why
        self.run(f"ATTACH ':memory:' AS {self.name}")
        self._make_tables()

    def _attach(self, how: str, tell: Tell, wait_s: float) -> None:
        import duckdb

        until, told = time.monotonic() + wait_s, False
        while True:
            try:
                self.run(f"ATTACH {quoted(str(self.file))} AS {self.name} {how}")
                return
            except duckdb.Error as error:
                if not any(words in str(error) for words in _BUSY):
                    raise
            if time.monotonic() > until:
                raise RecordError(
                    f"{self.folder}: another lead has had its index for {wait_s:g} s; "
                    "try again when that review is done."
                )
            if not told:
                tell(say("folder.waiting", folder=self.folder))
                told = True
            time.sleep(0.05)

    def _layout(self) -> int:
        """Of the file; 0 when nothing is in it yet."""
        if not self.rows("SELECT 1 FROM duckdb_tables() WHERE database_name = ?", [self.name]):
            return 0
        return int(self.rows(f"SELECT layout FROM {self.name}.about")[0]["layout"])

    def _make_tables(self) -> None:
        with self.transaction():
            for table, columns in COLUMNS.items():
                kinds = {c.name: SQL_TYPES[c.type] for c in columns}
                kinds |= _STATE if table == "files" else {}
                of_each = ", ".join(f'"{name}" {kind}' for name, kind in kinds.items())
                self.run(f"CREATE TABLE {self.name}.{table} ({of_each})")
            self.run(f"CREATE TABLE {self.name}.about (layout BIGINT, seen_us BIGINT)")
            self.run(f"INSERT INTO {self.name}.about VALUES ({LAYOUT}, 0)")

    # --- Reading and writing it.

    def run(self, sql: str, values: Sequence[Any] = ()) -> None:
        """Run a statement; `values` for its question marks."""
        self._connection.execute(sql, values)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        """The answer to a query."""
        return rows_of(self._connection.execute(sql, values))

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All of it, or nothing."""
        self.run("BEGIN")
        try:
            yield
        except BaseException:
            self.run("ROLLBACK")
            raise
        self.run("COMMIT")

    @property
    def seen_us(self) -> int:
        """When the folder was last seen whole, microseconds since 1970 in UTC; 0: never."""
        return int(self.rows(f"SELECT seen_us FROM {self.name}.about")[0]["seen_us"])

    @seen_us.setter
    def seen_us(self, now_us: int) -> None:
        self.run(f"UPDATE {self.name}.about SET seen_us = ?", [now_us])

    def insert(self, table: str, rows: list[Row]) -> None:
        """Add rows; what one does not have is null. Times are given in microseconds."""
        if not rows:
            return
        kinds = {c.name: c.type for c in COLUMNS[table]}
        given = {name: "BIGINT" if kind == "time" else SQL_TYPES[kind]
                 for name, kind in kinds.items()}  # fmt: skip
        given |= _STATE if table == "files" else {}
        taken = ", ".join(
            f'make_timestamp(r."{name}")' if kinds.get(name) == "time" else f'r."{name}"'
            for name in given
        )
        # As JSON: neither Arrow nor pandas has to be imported, and it is as quick.
        shape = _spelled([given]).decode()
        self.run(
            f"INSERT INTO {self.name}.{table} SELECT {taken} FROM "
            f"(SELECT unnest(from_json(?::JSON, '{shape}')) AS r)",
            [_spelled(rows).decode()],
        )

    def forget(self, jobs: Iterable[int]) -> None:
        """Remove the rows of these jobs, but for those of their files."""
        jobs = list(jobs)
        for table in OF_A_JOB if jobs else ():
            self.run(f"DELETE FROM {self.name}.{table} WHERE job IN (SELECT unnest(?))", [jobs])


def rows_of(result: duckdb.DuckDBPyConnection) -> list[Row]:
    """What a query gave, a dict a row."""
    names = [column[0] for column in result.description or ()]
    return [dict(zip(names, row, strict=True)) for row in result.fetchall()]


def quoted(text: str) -> str:
    """As a string of SQL's."""
    return "'" + text.replace("'", "''") + "'"
