"""The index of one records folder: a database file in the user's cache.

It holds nothing that the records do not, so one that is damaged or of another layout is built anew.
What is committed stays, whenever the process is killed. One process at a time may have it to write:
others wait. Where no file can be written, the index lives in memory for as long as it is asked.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import msgspec
import platformdirs

from assistant import named_file
from assistant.record import RecordError
from assistant.record.clips import FOLDERS
from assistant.record.disk import reason, write_whole
from assistant.record.folder import slug
from assistant.review.columns import COLUMNS, OF_A_JOB
from assistant.review.wording import Row, say

if TYPE_CHECKING:
    import duckdb

LAYOUT = 16
"""Of the file; of another number, it is built anew."""
WAIT_S = 60.0
"""So long we wait for another lead who has the index."""
_SQL_TYPES = {"int": "BIGINT", "float": "DOUBLE", "text": "VARCHAR", "bool": "BOOLEAN",
              "time": "TIMESTAMP"}  # fmt: skip
_STATE = {
    "files": {
        "size": "BIGINT", "mtime": "BIGINT", "ctime": "BIGINT", "events": "BIGINT",
        "opening": "VARCHAR", "trail": "VARCHAR", "sound": "BOOLEAN", "counted": "BOOLEAN",
        "own": "VARCHAR", "own_line": "VARCHAR", "of_job": "BIGINT",
    },
    "kept": {"stamp": "VARCHAR"},
}  # fmt: skip
"""What tables keep for the next refresh, beyond what they show. Of a file: what it is by itself
(`own`), whether its job is in the tables (`counted`), and the job that it tells as well. Of a clip
or photo: size and times of its file when it was looked at last."""
_BUSY = ("lock on file", "file handle conflict", "used by another process")
"""In what DuckDB says of a file that somebody has."""
_spelled, _lines = msgspec.json.Encoder().encode, msgspec.json.Encoder().encode_lines


def index_home() -> Path:
    """Where indexes live: LUGCALL_INDEX if set, else the user's cache; never a records folder."""
    chosen = os.environ.get("LUGCALL_INDEX")
    if chosen:
        return Path(chosen)
    return Path(platformdirs.user_cache_dir("lugcall", appauthor=False)) / "review"


# --- Which folders a lead looks at together: a truck's questions are asked in all of them.

_TOGETHER = "together.json"
MOST_TOGETHER = 20
"""Reviews that are remembered, the last first."""
MOST_BELOW = 200
"""Folders that are looked for below those of a review."""


def note_together(home: Path, folders: Iterable[Path]) -> None:
    """Remember that these folders were looked at in one review, where that can be kept."""
    now = sorted(str(Path(os.path.abspath(folder))) for folder in folders)
    known = _together(home)
    if known[:1] != [now]:
        kept = [now, *(one for one in known if one != now)][:MOST_TOGETHER]
        with suppress(OSError, ValueError):  # a name that is no text is not kept
            write_whole(home / _TOGETHER, _spelled(kept), durable=False)


_LOOKED = "looked.json"


def looked_us(home: Path, folders: Iterable[Path]) -> int:
    """When a lead last looked at all of these folders, microseconds since 1970; 0: not yet."""
    known = _kept_times(home)
    return min((known.get(str(folder), 0) for folder in folders), default=0)


def note_looked(home: Path, folders: Iterable[Path], now_us: int) -> None:
    """Remember that a lead looked at these folders, where that can be kept."""
    times = _kept_times(home) | {str(folder): now_us for folder in folders}
    with suppress(OSError, ValueError):
        write_whole(home / _LOOKED, _spelled(times), durable=False)


def _kept_times(home: Path) -> dict[str, int]:
    try:
        return msgspec.json.decode(named_file.whole(home / _LOOKED), type=dict[str, int])
    except (OSError, ValueError):
        return {}


def roots_of(folder: Path, home: Path | None = None) -> list[Path]:
    """The folders of the reviews in which this folder is, or one above it."""
    own = Path(os.path.abspath(folder))
    up = {str(own), *map(str, own.parents)}
    found = (one for one in _together(home or index_home()) if up.intersection(one))
    return [Path(name) for name in dict.fromkeys(name for one in found for name in one)]


def below(roots: Iterable[Path]) -> Iterator[Path]:
    """Folders and those below them in which records may lie, no more than `MOST_BELOW`."""
    count = 0
    for root in roots:
        for top, folders, _ in os.walk(root):
            folders[:] = sorted(f for f in folders if f[0] != "." and not f.endswith(FOLDERS))
            yield Path(top)
            count += 1
            if count >= MOST_BELOW:
                return


def _together(home: Path) -> list[list[str]]:
    try:
        return msgspec.json.decode(named_file.whole(home / _TOGETHER), type=list[list[str]])
    except (OSError, ValueError):
        return []


class Index:
    """The index of one folder, attached to a connection of DuckDB's, which may have others too.

    In SQL its tables are qualified with `name`. Another lead who has it is waited for, `wait_s`
    seconds at most; `wait` takes one line on that.

    Attributes:
        file: the database, in `home`; not used when `unwritable`.
        unwritable: why it is in memory only; "" when it is on the disk.
        rebuilt: whether the file was damaged, and begun anew.
    """

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        name: str,
        folder: Path,
        home: Path,
        wait: Callable[[str], None] = lambda line: None,
        wait_s: float = WAIT_S,
    ) -> None:
        self._connection, self.name = connection, name
        self._wait, self._wait_s = wait, wait_s
        self.folder = Path(os.path.abspath(folder))
        digest = hashlib.sha256(os.fsencode(self.folder)).hexdigest()[:12]
        self.file = home / f"{slug(self.folder.name)}-{digest}.duckdb"
        self.unwritable, self.rebuilt = "", False

    def write(self) -> None:
        """Attach it to be written.

        Raises:
            RecordError: another lead had it all the time that we waited.
        """
        import duckdb

        self.unwritable = _unwritable(self.file)
        if self.unwritable:
            self.run(f"ATTACH ':memory:' AS {self.name}")
            self._make_tables()
            return
        try:
            self._attach("")
            made = self.run("SELECT 1 FROM duckdb_tables() WHERE database_name = ?", [self.name])
            layout = self.run(f"SELECT layout FROM {self.name}.about")[0]["layout"] if made else 0
        except duckdb.Error:
            layout = -1
        if layout == 0:
            self._make_tables()
        elif layout != LAYOUT:
            self.begin_anew()
            self.rebuilt = layout < 0

    def begin_anew(self) -> None:
        """As `write`, with nothing in it: what was there is of no use."""
        self.rebuilt = True
        self._detach()
        for path in (self.file, self.file.with_name(self.file.name + ".wal")):
            path.unlink(missing_ok=True)
        self._attach("")
        self._make_tables()

    def read_only(self) -> None:
        """Let others have it again, and attach it to be read. Raises as `write` does."""
        if not self.unwritable:
            self._detach()
            self._attach("(READ_ONLY)")

    def _detach(self) -> None:
        import duckdb

        with suppress(duckdb.Error):  # it was not attached
            self.run(f"DETACH {self.name}")

    def _attach(self, how: str) -> None:
        import duckdb

        until, told = time.monotonic() + self._wait_s, False
        while True:
            try:
                self.run(f"ATTACH {quoted(self.file)} AS {self.name} {how}")
                return
            except duckdb.Error as error:
                if not any(words in str(error) for words in _BUSY):
                    raise
            if time.monotonic() > until:
                raise RecordError(
                    f"{self.folder}: another lead has had its index for {self._wait_s:g} s; "
                    "try again when that review is done."
                )
            if not told:
                self._wait(say("folder.waiting", folder=self.folder))
                told = True
            time.sleep(0.05)

    def _make_tables(self) -> None:
        with self.transaction():
            for table in (*OF_A_JOB, "files"):
                of_each = ", ".join(f'"{name}" {kind}' for name, kind in _sql_types(table).items())
                self.run(f"CREATE TABLE {self.name}.{table} ({of_each})")
            about = "layout BIGINT, seen_us BIGINT, changed_us BIGINT, settled_us BIGINT"
            self.run(f"CREATE TABLE {self.name}.about ({about})")
            self.run(f"INSERT INTO {self.name}.about VALUES ({LAYOUT}, 0, 0, 0)")

    # --- Reading and writing it.

    def run(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        """Run a statement, `values` for its question marks; gives its rows as dicts."""
        return rows_of(self._connection.execute(sql, values))

    def stamps(self) -> dict[str, tuple[int | None, ...]]:
        """Size and times of every file at the last look; None where it was no longer there."""
        sql = f"SELECT path, size, mtime, ctime FROM {self.name}.files"
        return {row[0]: row[1:] for row in self._connection.execute(sql).fetchall()}

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

    def when(self, what: Literal["seen_us", "changed_us", "settled_us"]) -> int:
        """When the folder was last seen whole, when anything was last changed in here, and up to
        what change the copies are told apart: microseconds since 1970 in UTC; 0: never."""
        return int(self.run(f"SELECT {what} FROM {self.name}.about")[0][what])

    def note(self, **times_us: int) -> None:
        """Keep one of these times."""
        for what, at_us in times_us.items():
            self.run(f"UPDATE {self.name}.about SET {what} = ?", [at_us])

    def insert(self, table: str, rows: list[Row]) -> None:
        """Add rows; what one does not have is null. Times are given in microseconds."""
        if not rows:
            return
        kinds = _sql_types(table)
        times = {name for name, kind in kinds.items() if kind == "TIMESTAMP"}
        taken = (f'make_timestamp("{k}")' if k in times else f'"{k}"' for k in kinds)
        shape = _spelled(kinds | dict.fromkeys(times, "BIGINT")).decode()
        # As lines of JSON in a file: twice as quick as in the statement, and neither Arrow nor
        # pandas has to be imported.
        with tempfile.NamedTemporaryFile(suffix=".json") as file:
            file.write(_lines(rows))
            file.flush()
            self.run(
                f"INSERT INTO {self.name}.{table} SELECT {', '.join(taken)} FROM read_json("
                f"{quoted(Path(file.name))}, format = 'newline_delimited', columns = {shape})"
            )

    def forget(self, jobs: Iterable[int]) -> None:
        """Remove the rows of these jobs, but for those of their files."""
        jobs = list(jobs)
        for table in OF_A_JOB if jobs else ():
            self.run(f"DELETE FROM {self.name}.{table} WHERE job IN (SELECT unnest(?))", [jobs])


def sql_type(kind: str) -> str:
    """Of a column of this kind."""
    return _SQL_TYPES[kind]


def _sql_types(table: str) -> dict[str, str]:
    """Of the columns of a table, and of what is kept beside them."""
    kinds = {name: _SQL_TYPES[kind] for name, kind in COLUMNS[table].items()}
    return kinds | _STATE.get(table, {})


def rows_of(result: duckdb.DuckDBPyConnection) -> list[Row]:
    """What a statement gave, a dict a row."""
    names = [column[0] for column in result.description or ()]
    return [dict(zip(names, row, strict=True)) for row in result.fetchall()]


@cache
def source_hash(*files: Path) -> str:
    """A short hash of files of the program: what is made by other code is made again."""
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()[:16]


def quoted(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


def _unwritable(file: Path) -> str:
    """Why a file cannot be written or made; "" if it can."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        return reason(error)[0]
    allowed = os.access(file if file.exists() else file.parent, os.W_OK)
    return "" if allowed else "no permission to write there"
