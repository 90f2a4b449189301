"""An open review: the indexes of some folders, asked through DuckDB."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from assistant.record.disk import reason
from assistant.record.events import RecordError
from assistant.review.columns import COLUMNS
from assistant.review.refresh import PATIENCE_S, Progress, Refreshed, refresh
from assistant.review.store import ROWS, Manifest, Store

if TYPE_CHECKING:
    import ibis.expr.types as ir

    from assistant.review.tables import Tables

Snapshot = list[tuple[Store, Manifest]]


class Review:
    """Tables of all the folders' jobs, as of their last refresh. Use `with`, or `close`.

    Attributes:
        refreshed: what was done about each folder; `told` gathers their lines.
    """

    def __init__(self, refreshed: list[Refreshed], snapshot: Snapshot) -> None:
        import ibis

        self.refreshed = refreshed
        self.snapshot = snapshot
        self._backend = ibis.duckdb.connect()
        for name, query in views(snapshot).items():
            self._backend.raw_sql(f"CREATE VIEW {name} AS {query}")
        from assistant.review.tables import tables_of

        self.tables: Tables = tables_of(self._backend)

    @property
    def told(self) -> list[str]:
        """One line each on what the lead should know of the folders."""
        return [line for one in self.refreshed for line in one.told]

    def rows(self, expression: ir.Table) -> list[dict[str, Any]]:
        """The answer as one dict a row.

        Raises:
            RecordError: the index on the disk was damaged since it was opened.
        """
        import duckdb

        try:
            # As SQL of its own: Ibis's way to rows leads through pandas, which is slow to import.
            found = self._backend.raw_sql(self._backend.compile(expression))
            names = [column[0] for column in found.description]
            rows = [dict(zip(names, row, strict=True)) for row in found.fetchall()]
        except (duckdb.IOException, duckdb.InvalidInputException, duckdb.SerializationException):
            places = ", ".join(str(store.place) for store, _ in self.snapshot)
            raise RecordError(f"The index is damaged. Remove {places}, then try again.") from None
        return rows

    def sql(self, query: str) -> None:
        """Run a statement of DuckDB's SQL over the tables, for what gives no rows.

        Raises:
            OSError: what it writes to cannot be written.
        """
        import duckdb

        try:
            self._backend.raw_sql(query)
        except duckdb.IOException as error:
            raise OSError(None, str(error).splitlines()[0]) from error

    def record_path(self, job: int) -> Path:
        """The file of a job; it may no longer be there.

        Raises:
            RecordError: there is no such job.
        """
        files = self.tables.files
        found = self.rows(files.filter(files.job == job).select("folder", "path"))
        if not found:
            raise RecordError(f"There is no job {job} in this review.")
        path = Path(found[0]["folder"], found[0]["path"])
        if not path.exists() and "\\x" in str(path):
            # A name that is no text is kept as text, with its odd bytes spelled out.
            real = str(path).encode("latin-1", "backslashreplace").decode("unicode_escape")
            path = Path(os.fsdecode(real.encode("latin-1", "replace")))
        return path

    def close(self) -> None:
        """Let go of the files."""
        self._backend.disconnect()

    def __enter__(self) -> Review:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def views(snapshot: Snapshot) -> dict[str, str]:
    """For each table, the SQL that reads it from the Parquet parts, without dead jobs."""
    queries = {}
    dead = [
        f"({int(part)}, {job})"
        for _, manifest in snapshot
        for part, jobs in manifest.dead.items()
        for job in jobs
    ]
    for table in ROWS:
        files = [store.part_file(p, table) for store, m in snapshot for p in m.parts]
        alive = f" WHERE (part, job) NOT IN (VALUES {', '.join(dead)})" if dead else ""
        queries[table] = f"SELECT {_names(table)} FROM {_parquet(table, files)}{alive}"
    some = []
    for store, manifest in snapshot:
        if manifest.files:
            seen = f"coalesce(seen_utc, make_timestamp({manifest.scanned_us})) AS seen_utc"
            names = _names("files").replace("seen_utc", seen)
            source = _parquet("files", [store.place / manifest.files])
            some.append(f"SELECT {names} FROM {source}")
    empty = f"SELECT {_names('files')} FROM {_parquet('files', [])}"
    queries["files"] = " UNION ALL ".join(some) or empty
    return queries


_SQL = {"int": "BIGINT", "float": "DOUBLE", "text": "VARCHAR", "bool": "BOOLEAN",
        "time": "TIMESTAMP"}  # fmt: skip


def _names(table: str) -> str:
    return ", ".join(f'"{c.name}"' if c.name in ("to", "at") else c.name for c in COLUMNS[table])


def _parquet(table: str, files: list[Path]) -> str:
    if not files:
        nothing = ", ".join(f'NULL::{_SQL[c.type]} AS "{c.name}"' for c in COLUMNS[table])
        return f"(SELECT {nothing}, 0 AS part WHERE false)"
    quoted = ", ".join("'" + str(f).replace("'", "''") + "'" for f in files)
    return f"read_parquet([{quoted}])"


def open_review(
    folders: Iterable[Path],
    home: Path | None = None,
    patience_s: float = PATIENCE_S,
    progress: Progress | None = None,
    afresh: bool = False,
) -> Review:
    """Bring the indexes of the folders up to date and open them.

    Args:
        folders: of records; each has an index of its own.
        home: where the indexes live; the user's cache if not given.
        patience_s, progress, afresh: see `refresh.refresh`.

    Raises:
        RecordError: the index cannot be written.
    """
    import duckdb
    import pyarrow as pa

    def up_to_date(folder: Path) -> tuple[Store, Refreshed]:
        store = Store(folder, home)
        try:
            return store, refresh(store, patience_s, progress, afresh)
        except pa.ArrowException:  # a damaged table of files
            return _anew(store, patience_s, progress)
        except OSError as error:
            raise RecordError(
                f"The index in {store.place} cannot be written: {reason(error)[0]}. "
                "Free space there, or set LUGCALL_INDEX to another folder."
            ) from error

    done = [up_to_date(folder) for folder in _apart(folders)]
    try:
        return _of(done)
    except (duckdb.Error, OSError):  # a damaged part
        return _of([_anew(store, patience_s, progress) for store, _ in done])


def _apart(folders: Iterable[Path]) -> list[Path]:
    """Each folder once, without those within another."""
    given = list(dict.fromkeys(Path(os.path.abspath(f)) for f in folders))
    return [f for f in given if not any(other in f.parents for other in given)]


def _once(done: list[tuple[Store, Refreshed]]) -> None:
    """Of records that stand in several folders, the longest counts, in this review only."""
    import duckdb

    files = [str(store.part_file(p, "jobs")) for store, one in done for p in one.manifest.parts]
    if len(done) < 2 or not files:
        return
    dead = {(int(p), j) for _, one in done for p, js in one.manifest.dead.items() for j in js}
    seen: set[str] = set()
    query = "SELECT part, job, opening FROM read_parquet(?) ORDER BY events DESC, began_utc, job"
    copies = []
    for part, job, opening in duckdb.execute(query, [files]).fetchall():
        if (part, job) in dead:
            continue
        if opening in seen:
            copies.append((part, job))
        seen.add(opening)
    for part, job in copies:
        # Job numbers differ by folder, so that it does no harm where it is not.
        for _, one in done:
            one.manifest.dead.setdefault(str(part), []).append(job)
    if copies:
        done[0][1].told.append(f"{len(copies)} jobs stand in two folders; each is counted once")


def _of(done: list[tuple[Store, Refreshed]]) -> Review:
    _once(done)
    return Review([one for _, one in done], [(store, one.manifest) for store, one in done])


def _anew(store: Store, patience_s: float, progress: Progress | None) -> tuple[Store, Refreshed]:
    store.forget()
    one = refresh(store, patience_s, progress)
    one.told.insert(0, f"{store.folder}: its index was damaged and is built anew")
    return store, one
