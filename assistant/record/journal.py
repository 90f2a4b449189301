"""The journal: a record open for writing, where an event given back is an event on the disk."""

import threading
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from assistant.record.chain import may_follow_closed
from assistant.record.errors import RecordError, Unrecordable
from assistant.record.events import FORMAT, GENESIS, MAX_LINE, Event, seal_event, stamp
from assistant.record.opening import begin, find
from assistant.record.pen import Pen
from assistant.record.repair import repair_note
from assistant.record.seal import seal_of

Clock = Callable[[], datetime]


class Journal:
    """One record, held by this session alone; made by `create` or `open`, not directly.

    Several threads may append. The clock only stamps events: set backwards, it changes
    nothing, since their order is by number.
    """

    def __init__(self, pen: Pen, now: Clock) -> None:
        self._pen = pen
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
        fd, path = begin(folder.absolute(), name_hint, moment, line)
        return cls(Pen(fd, path, [event], len(line)), now)

    @classmethod
    def open(cls, path: Path, now: Clock = datetime.now) -> Self:
        """Go on with a record: lock it, check all of it, cut off and note a torn last line.

        A torn line was never acknowledged. It is cut off first and noted ("repaired", see
        `repair_note`) after, so a second power cut between the two loses the note, never an
        event. Nothing else is ever repaired.

        Raises:
            BrokenChain: a line was changed, lost or moved; `line` has its number.
            RecordBusy, NotARecord, WriteFailed, RecordError: as their messages say.
        """
        path = path.absolute()
        found = find(path)
        journal = cls(Pen(found.fd, path, found.events, found.size), now)
        try:
            journal._pen.settle(torn=bool(found.tail))
            if found.tail:
                journal.append("repaired", repair_note(found.tail))
        except BaseException:
            journal.close()
            raise
        return journal

    @property
    def path(self) -> Path:
        """Where the record is, as an absolute path."""
        return self._pen.path

    @property
    def events(self) -> tuple[Event, ...]:
        """All events on the disk, in order."""
        return tuple(self._pen.events)

    @property
    def head(self) -> str:
        """The hash of the last event (hex)."""
        return self._pen.events[-1].hash

    @property
    def seal(self) -> str:
        """The code of the head for the paper work order, like `3F2A-91BC`."""
        return seal_of(self.head)

    @property
    def finished(self) -> bool:
        """Whether "closed" is among the events; after it only "lead-" kinds may come."""
        before = (e for e in reversed(self._pen.events) if not may_follow_closed(e.kind))
        return next(before).kind == "closed"

    @property
    def failed(self) -> bool:
        """Whether a write failed, after which nothing more can be appended."""
        return self._pen.failed

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
                self._pen.write(events, block)
            return events

    def _sealed(self, group: Iterable[tuple[str, Mapping[str, Any]]]) -> tuple[list[Event], bytes]:
        last, closed, at = self._pen.events[-1], self.finished, stamp(self._now())
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

    def close(self) -> None:
        """Let go of the file and its lock; the record itself is closed by a "closed" event."""
        with self._turn:
            self._pen.put_down()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
