"""Getting hold of a record's file: a new one, or one to go on with after a check."""

import os
import stat
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from assistant.record.chain import ChainReader
from assistant.record.disk import lock, make_folder, reason, sync_folder, write_all
from assistant.record.errors import BrokenChain, NotARecord, RecordError
from assistant.record.events import Event
from assistant.record.naming import file_name

_FLAGS = os.O_RDWR | os.O_APPEND | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_ATTEMPTS = 1000


@dataclass(frozen=True, slots=True)
class Found:
    """A record's file, open and locked: its good events, their bytes, and the torn rest."""

    fd: int
    events: list[Event]
    size: int
    tail: bytes


def begin(folder: Path, hint: str, moment: datetime, line: bytes) -> tuple[int, Path]:
    """Make a new record's file with its first line, both durable, and lock it.

    Raises:
        RecordError: that failed; nothing is left behind.
    """
    try:
        make_folder(folder)
        fd, path = _new_file(folder, hint, moment)
        try:
            lock(fd, path.name)
            write_all(fd, line)
            # All of the file and then its name: fdatasync would do for neither yet.
            os.fsync(fd)
            sync_folder(folder)
        except BaseException:
            path.unlink(missing_ok=True)
            os.close(fd)
            raise
    except OSError as error:
        what, remedy = reason(error)
        raise RecordError(
            f"A record cannot be begun in {folder}: {what}. "
            f"Do not start work; {remedy}, or set LUGCALL_RECORDS to another folder."
        ) from error
    return fd, path


def _new_file(folder: Path, hint: str, moment: datetime) -> tuple[int, Path]:
    for attempt in range(1, _ATTEMPTS):
        path = folder / file_name(moment, hint, attempt)
        try:
            return os.open(path, _FLAGS | os.O_CREAT | os.O_EXCL, 0o644), path
        except FileExistsError:
            continue
    raise RecordError(f"Too many records began this second in {folder}. Wait, then try again.")


def find(path: Path) -> Found:
    """Open and lock an existing record and check every line of it.

    Raises:
        RecordBusy: another session has it.
        NotARecord: it is something else, or its session never got to begin.
        BrokenChain: a line was changed, lost or moved; nothing is written to such a file.
        RecordError: it cannot be opened for writing.
    """
    try:
        # Asked first: only to open a pipe or a device can hang, or do something.
        if not stat.S_ISREG(os.stat(path).st_mode):
            raise NotARecord(f"{path.name} is not a file. Name a record, which ends in .jsonl.")
        fd = os.open(path, _FLAGS)
        try:
            lock(fd, path.name)
            return _read(fd, path)
        except BaseException:
            os.close(fd)
            raise
    except OSError as error:
        what, remedy = reason(error)
        raise RecordError(
            f"The record {path.name} cannot be opened: {what}. "
            f"Stop work; {remedy}, then: lugcall resume"
        ) from error


def _read(fd: int, path: Path) -> Found:
    with open(fd, "rb", closefd=False) as stream:
        reader = ChainReader(stream)
        events = list(reader)
    fault = reader.fault
    if fault is None:
        return Found(fd, events, reader.good, b"")
    if fault.what == "torn" and events:
        # A torn line is never longer than the longest line, so this is all of it.
        torn = os.fstat(fd).st_size - reader.good
        return Found(fd, events, reader.good, os.pread(fd, torn, reader.good))
    if fault.what in ("torn", "not a record"):
        raise NotARecord(f"{path.name}: {fault.text}. Leave it as it is; start a new session.")
    raise BrokenChain(
        f"The record {path.name} is damaged: {fault.text}. "
        "Leave it as it is, show it to the shop lead and start a new session.",
        fault.line,
    )
