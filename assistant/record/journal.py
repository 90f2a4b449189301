"""The journal: a record open for writing, where an event given back is an event on the disk."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from assistant import named_file
from assistant.record import disk
from assistant.record.chain import ChainReader, repair_note, seal_of
from assistant.record.events import (
    FORMAT,
    GENESIS,
    MAX_LINE,
    BrokenChain,
    Event,
    NotARecord,
    RecordError,
    TornEnd,
    Unrecordable,
    WriteFailed,
    may_follow_closed,
    seal_event,
    stamp,
)
from assistant.record.folder import file_name

Clock = Callable[[], datetime]


class Journal(contextlib.AbstractContextManager["Journal"]):
    """One record, held by this session alone; made by `create` or `open`, not directly.

    Several threads may append. The clock only stamps events: set backwards, it changes
    nothing, since their order is by number.
    """

    def __init__(self, found: OpenRecord, now: Clock) -> None:
        self.path = found.path
        """Where the record is, as an absolute path."""
        self.failed = False
        """Whether a write failed, after which nothing more can be appended. What the disk holds is
        then no longer sure (after a failed sync the system may forget what it could not write), so
        there is no second try."""
        self._events = found.events
        self._fd: int | None = found.fd
        self._size = found.size
        """Bytes of the good events."""
        self._now = now
        self._turn = threading.Lock()

    @classmethod
    def create(
        cls, folder: Path, name_hint: str, data: Mapping[str, Any], now: Clock = datetime.now
    ) -> Self:
        """Begin a record in `folder`, made if missing, with an "opened" event of `data`.

        Raises:
            Unrecordable: `data` cannot be spelled.
            RecordError: the record could not be begun; no file is left behind.
        """
        moment = now()
        opened = {**data, "format": FORMAT}
        event, line = seal_event(0, stamp(moment), "opened", opened, GENESIS)
        fd, path = _begin(folder.absolute(), name_hint, moment, line)
        return cls(OpenRecord(fd, path, [event], len(line)), now)

    @classmethod
    def open(cls, path: Path, now: Clock = datetime.now, cuts_open: bool = True) -> Self:
        """Go on with a record: lock it, check all of it, cut off and note a torn last line.

        Without `cuts_open`, a torn line is cut only behind the sign-off: before it, it is the
        technician's, and his session says so.

        A torn line was never acknowledged. It is cut off first and noted ("repaired", see
        `repair_note`) after, so a second power cut between the two loses the note, never an
        event. Nothing else is ever repaired.

        Raises:
            BrokenChain: a line was changed, lost or moved; `line` has its number.
            TornEnd: a torn line was not to be cut.
            RecordBusy, NotARecord, WriteFailed, RecordError: as their messages say.
        """
        found = _find(path.absolute())
        journal = cls(found, now)
        try:
            if found.tail and not (cuts_open or journal.finished):
                raise TornEnd(
                    f"The last line of {path.name} is torn; lugcall resume repairs it, "
                    "and loses nothing that was acknowledged."
                )
            journal._settle(torn=bool(found.tail))
            if found.tail:
                journal.append("repaired", repair_note(found.tail))
        except BaseException:
            journal.close()
            raise
        return journal

    @property
    def events(self) -> tuple[Event, ...]:
        """All events on the disk, in order."""
        return tuple(self._events)

    @property
    def head(self) -> str:
        """The hash of the last event (hex)."""
        return self._events[-1].hash

    @property
    def seal(self) -> str:
        """The code of the head for the paper work order, like `3F2A-91BC`."""
        return seal_of(self.head)

    @property
    def finished(self) -> bool:
        """Whether "closed" is among the events; after it only "lead-" kinds may come."""
        before = (e for e in reversed(self._events) if not may_follow_closed(e.kind))
        return next(before).kind == "closed"

    def append(self, kind: str, data: Mapping[str, Any]) -> Event:
        """Write one event and give it back once it is on the disk; errors as `append_all`."""
        return self.append_all([(kind, data)])[0]

    def append_all(self, group: Iterable[tuple[str, Mapping[str, Any]]]) -> list[Event]:
        """Write events with one write and one sync; give them back once all are on the disk.

        The group is quick, not atomic: a power cut may leave its first events and not its
        last. None of them was acknowledged then.

        Raises:
            Unrecordable: an event cannot be spelled; none was written, the journal goes on.
            WriteFailed: the disk did not take them; the journal takes no more.
            RecordError: the record is closed, or this journal is.
        """
        with self._turn:
            events, block = self._sealed(group)
            if events:
                self._write(events, block)
            return events

    def close(self) -> None:
        """Let go of the file and its lock; all that was written is synced. The record itself is
        closed by a "closed" event."""
        with self._turn:
            fd, self._fd = self._fd, None
            if fd is not None:
                with contextlib.suppress(OSError):
                    os.close(fd)

    def __exit__(self, *raised: object) -> None:
        self.close()

    def _sealed(self, group: Iterable[tuple[str, Mapping[str, Any]]]) -> tuple[list[Event], bytes]:
        last, closed, at = self._events[-1], self.finished, stamp(self._now())
        events: list[Event] = []
        lines: list[bytes] = []
        for kind, data in group:
            if closed and not may_follow_closed(kind):
                raise RecordError("This record is closed for good. Start a new session.")
            last, line = seal_event(last.n + 1, at, kind, data, last.hash)
            closed = closed or kind == "closed"
            events.append(last)
            lines.append(line)
        block = b"".join(lines)
        if len(block) > MAX_LINE:
            # Keeps a torn tail within what the reader takes for one.
            raise Unrecordable(f"These events are over {MAX_LINE} bytes. Record them in parts.")
        return events, block

    def _settle(self, torn: bool) -> None:
        """Cut off a torn last line, and sync what was found.

        A killed session may have left whole events, or the file's own name, that never
        reached the disk; this session is about to build on them.
        """
        fd = self._ready()
        try:
            if torn:
                os.ftruncate(fd, self._size)
            os.fsync(fd)
            disk.sync_folder(self.path.parent)
        except OSError as error:
            raise self._failure(error) from error

    def _write(self, events: list[Event], block: bytes) -> None:
        """Write the events' lines with one call and one sync; return when they are durable.

        Where they are not, they are taken back as far as the disk allows it.
        """
        fd = self._ready()
        size, count = self._size, len(self._events)
        touched = False
        try:
            self._check_ours(fd, size)
            touched = True
            disk.write_all(fd, block)
            disk.sync_data(fd)
            # Asked again after the sync: what is acknowledged can be found by its name.
            self._check_ours(fd, size + len(block))
            self._size = size + len(block)
            self._events.extend(events)
        except WriteFailed:
            # The file is not ours alone: to cut it could harm what another put there.
            self.failed = True
            raise
        except OSError as error:
            self._take_back(fd, size)
            raise self._failure(error) from error
        except BaseException:
            # An interrupt (Ctrl-C) is no fault of the disk: if all can be taken back, the
            # journal goes on, so that the interrupt itself can be recorded.
            self._size = size
            del self._events[count:]
            self.failed = touched and not self._take_back(fd, size)
            raise

    def _ready(self) -> int:
        if self.failed:
            raise WriteFailed(
                "This record failed to be written before, so nothing is added to it now. "
                "Stop work; put right what failed, then: lugcall resume"
            )
        if self._fd is None:
            raise RecordError("This session has let go of its record. Use: lugcall resume")
        return self._fd

    def _check_ours(self, fd: int, size: int) -> None:
        if not disk.same_file(fd, self.path):
            raise WriteFailed(
                "The record could not be written: its file was deleted, moved or replaced. "
                "Stop work; put the file back, then: lugcall resume"
            )
        if os.fstat(fd).st_size != size:
            raise WriteFailed(
                "The record could not be written: another program changed its file. "
                "Stop work; find out which, then: lugcall verify"
            )

    @staticmethod
    def _take_back(fd: int, size: int) -> bool:
        with contextlib.suppress(OSError):
            os.ftruncate(fd, size)
            disk.sync_data(fd)
            return True
        # What stays is a torn or an unacknowledged line; the next session deals with both.
        return False

    def _failure(self, error: OSError) -> WriteFailed:
        self.failed = True
        what, remedy = disk.reason(error)
        return WriteFailed(
            f"The record could not be written: {what}. Stop work; {remedy}, then: lugcall resume"
        )


# --- Getting hold of a record's file: a new one, or one to go on with after a check.

_FLAGS = os.O_RDWR | os.O_APPEND | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_ATTEMPTS = 1000


@dataclass(frozen=True, slots=True)
class OpenRecord:
    """A record's file, open and locked: its good events, their bytes, and the torn rest."""

    fd: int
    path: Path
    events: list[Event]
    size: int
    tail: bytes = b""


def _begin(folder: Path, hint: str, moment: datetime, line: bytes) -> tuple[int, Path]:
    """Make a new record's file with its first line, both durable, and lock it; or leave nothing."""
    try:
        disk.make_folder(folder)
        fd, path = _new_file(folder, hint, moment)
        try:
            disk.lock(fd, path.name)
            disk.write_all(fd, line)
            # All of the file and then its name: fdatasync would do for neither yet.
            os.fsync(fd)
            disk.sync_folder(folder)
        except BaseException:
            path.unlink(missing_ok=True)
            os.close(fd)
            raise
    except OSError as error:
        what, remedy = disk.reason(error)
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


def _find(path: Path) -> OpenRecord:
    """Open and lock an existing record and check every line of it.

    Raises:
        RecordBusy: another session has it.
        NotARecord: it is something else, or its session never got to begin.
        BrokenChain: a line was changed, lost or moved; nothing is written to such a file.
        RecordError: it cannot be opened for writing.
    """
    try:
        fd = named_file.descriptor(path, _FLAGS)
        try:
            disk.lock(fd, path.name)
            return _read(fd, path)
        except BaseException:
            os.close(fd)
            raise
    except named_file.Unfit as error:
        raise NotARecord(
            f"{path.name} is no record: {error.strerror}. Name a record, which ends in .jsonl."
        ) from None
    except OSError as error:
        what, remedy = disk.reason(error)
        raise RecordError(
            f"The record {path.name} cannot be opened: {what}. "
            f"Stop work; {remedy}, then: lugcall resume"
        ) from error


def _read(fd: int, path: Path) -> OpenRecord:
    with named_file.reading(fd, closefd=False) as stream:
        reader = ChainReader(stream)
        events = list(reader)
    fault = reader.fault
    if fault is None:
        return OpenRecord(fd, path, events, reader.good)
    if fault.what == "torn" and events:
        # A torn line is never longer than the longest line, so this is all of it.
        torn = os.fstat(fd).st_size - reader.good
        return OpenRecord(fd, path, events, reader.good, os.pread(fd, torn, reader.good))
    if fault.what in ("torn", "not a record"):
        raise NotARecord(f"{path.name}: {fault.text}. Leave it as it is; start a new session.")
    raise BrokenChain(
        f"The record {path.name} is damaged: {fault.text}. "
        "Leave it as it is, show it to the shop lead and start a new session.",
        fault.line,
    )
