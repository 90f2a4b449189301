"""Many files read, by several processes where that pays, each giving rows as Arrow."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures import TimeoutError as TooLate
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import blake2b
from multiprocessing import get_context
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow as pa

from assistant.review.arrow import array, table_of_rows
from assistant.review.one import Before, Found, look_at
from assistant.review.scan import NoAnswer, within
from assistant.review.store import ROWS

CHUNK = 50
"""Files a process takes at once: enough rows for Arrow, few enough for the progress to be seen."""
FEW = 800
"""Fewer files are read by this process: to start others takes longer."""


@dataclass(frozen=True, slots=True)
class Task:
    """Some files of a folder: their shown and real paths, and how each was left."""

    folder: str
    now_us: int
    files: list[tuple[str, str, Before | None]]


@dataclass(slots=True)
class Done:
    """Rows by table, and what the files are; `files` in the order of the task."""

    tables: dict[str, pa.Table] = field(default_factory=dict)
    files: list[tuple[str, Found]] = field(default_factory=list)

    def __reduce__(self) -> tuple[Any, ...]:
        # From one process to the other in Arrow's own form: pickle goes column by column, which
        # takes nine times as long.
        return _unpacked, ({name: _packed(t) for name, t in self.tables.items()}, self.files)


def _packed(table: pa.Table) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    packed: bytes = sink.getvalue().to_pybytes()
    return packed


def _unpacked(tables: dict[str, bytes], files: list[tuple[str, Found]]) -> Done:
    return Done({name: pa.ipc.open_stream(t).read_all() for name, t in tables.items()}, files)


class _NoPandas:
    """Finds no pandas."""

    @staticmethod
    def find_spec(name: str, path: object = None, target: object = None) -> None:
        """None for anything else, which others may find.

        Raises:
            ModuleNotFoundError: it is pandas.
        """
        if name == "pandas":
            raise ModuleNotFoundError("pandas is not wanted here")


def _begin() -> None:
    """Ctrl-C is for the process that started this one; it says what there is to say."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Rows are many and hold no cycles: to look for some among them took a seventh of the time.
    gc.freeze()
    gc.set_threshold(200_000)
    # pyarrow imports pandas, where there is one, at its first list: 0.3 s a process for nothing.
    sys.meta_path.insert(0, _NoPandas)


@contextmanager
def _apart() -> Iterator[None]:
    """A process started meanwhile imports what it does, and not the program that started it too."""
    program = sys.modules["__main__"]
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = program


def _ready() -> None:
    """Does nothing: it is done once a process has started."""


def job_number(folder: str, path: str) -> int:
    """The number of a job: the same each time, for the same file in the same folder."""
    name = f"{folder}\0{path}".encode("utf-8", "surrogateescape")
    return int.from_bytes(blake2b(name, digest_size=8).digest()) >> 1


def do(task: Task, column: Callable[[Any, pa.DataType], pa.Array] = array) -> Done:
    """Read the files of a task; `column` as in `table_of_rows`."""
    rows: dict[str, list[Any]] = {name: [] for name in ROWS}
    counts: dict[str, list[int]] = {name: [] for name in ROWS}
    jobs: list[int] = []
    done = Done()
    shown = task.folder.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    for path, real, before in task.files:
        found = look_at(Path(task.folder, real), task.now_us, before)
        if found.rows:
            found.rows["jobs"][0].update(folder=shown, path=path)
            jobs.append(job_number(task.folder, path))
            for table, some in found.rows.items():
                rows[table] += some
                counts[table].append(len(some))
            found.rows = {}
        done.files.append((path, found))
    done.tables = {
        name: table_of_rows(name, some, jobs, counts[name], column) for name, some in rows.items()
    }
    return done


def _helped(task: Task) -> Done:
    """As `do`, by a helper, which finds no pandas."""
    return do(task, pa.array)


def read_all(task: Task, patience_s: float, processes: int | None = None) -> Iterator[Done]:
    """The files of a task in pieces, as they get done.

    Raises:
        NoAnswer: nothing came for `patience_s`; what was given before still counts.
    """
    pieces = [
        Task(task.folder, task.now_us, task.files[i : i + CHUNK])
        for i in range(0, len(task.files), CHUNK)
    ]
    if len(task.files) <= FEW:
        for piece in pieces:
            box: list[Done] = []
            within(lambda p=piece, b=box: b.append(do(p)), lambda: 0, patience_s)  # type: ignore[misc]
            yield box[0]
        return
    count = processes or os.cpu_count() or 1
    pool = ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_begin)
    waiting: list[Any] = []
    try:
        # To start them is this machine's work: it must not pass for a drive that is silent.
        with _apart():
            started = [pool.submit(_ready) for _ in range(count)]
        for one in started:
            one.result()
        for piece in pieces:
            waiting.append(pool.submit(_helped, piece))
            # A few ahead, not all: finished pieces would wait in memory.
            if len(waiting) > 8:
                yield waiting.pop(0).result(timeout=patience_s)
        while waiting:
            yield waiting.pop(0).result(timeout=patience_s)
        pool.shutdown()
    except TooLate:
        for process in list((pool._processes or {}).values()):
            process.kill()
        raise NoAnswer(f"it has not answered for {patience_s:g} s") from None
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
