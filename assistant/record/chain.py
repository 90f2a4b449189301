"""Walking a record line by line: the rules that make it one chain, in one place.

Both the journal (which goes on from what it finds) and the verifier (which only looks) read
through this, so they cannot come to disagree on what a good record is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal

from assistant.record.errors import DamagedLine
from assistant.record.events import FORMAT, GENESIS, MAX_LINE, Event, parse_line

What = Literal["torn", "changed", "missing", "reordered", "not a record"]
_SECTOR = 512


@dataclass(frozen=True, slots=True)
class Fault:
    """The first thing wrong in a record: in which line (from 1), what, and in words."""

    line: int
    what: What
    text: str


def may_follow_closed(kind: str) -> bool:
    """Say if an event may come after "closed": a shop lead's, or a repair of such a one."""
    return kind.startswith("lead-") or kind == "repaired"


class ChainReader:
    """Iterates over the good events of a record, from its start to its end or first fault.

    While iterating: `good` is the length in bytes up to the last good event, `count` the
    events so far, `head` the last hash, `closed` if "closed" was among them. Afterwards
    `fault` is None only if all of the file is good. Lines are read in pieces of at most
    `MAX_LINE` bytes, whatever the file holds.

    Raises:
        OSError: the file cannot be read (while iterating).
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.good = 0
        self.count = 0
        self.head = GENESIS
        self.closed = False
        self.fault: Fault | None = None

    def __iter__(self) -> Iterator[Event]:
        while line := self._stream.readline(MAX_LINE + 1):
            checked = self._check(line)
            if isinstance(checked, Fault):
                self.fault = checked
                return
            self.good += len(line)
            self.count += 1
            self.head = checked.hash
            self.closed = self.closed or checked.kind == "closed"
            yield checked
        if not self.count:
            self.fault = Fault(1, "not a record", "not a record: the file is empty")

    def _check(self, line: bytes) -> Event | Fault:
        at = self.count + 1
        if torn := self._torn(line, at):
            return torn
        try:
            event = parse_line(line)
        except DamagedLine as error:
            if at == 1 and b"lugcall-record" not in line:
                return Fault(at, "not a record", "not a record: line 1 does not open one")
            return Fault(at, "changed", f"line {at} was changed or damaged: {error}")
        if event.n != self.count:
            return self._misplaced(event, at)
        if event.prev != self.head:
            text = f"line {at} does not follow from the line before: one of the two was changed"
            return Fault(at, "changed", text)
        if at == 1 and (event.kind != "opened" or event.data.get("format") != FORMAT):
            text = f"not a record that this lugcall reads: line 1 does not open a {FORMAT}"
            return Fault(at, "not a record", text)
        if self.closed and not may_follow_closed(event.kind):
            text = f"line {at} was added after the record was closed, which only a lead may do"
            return Fault(at, "changed", text)
        return event

    def _torn(self, line: bytes, at: int) -> Fault | None:
        if len(line) > MAX_LINE:
            return None
        cause = "the plug was pulled while it was written"
        if not line.endswith(b"\n"):
            if _is_event(line[:-1] + b"\n"):
                # All of an event but for its last byte: no torn write ends like this, so it
                # may have been acknowledged, and must not be cut off.
                return Fault(at, "changed", f"line {at} was changed or damaged: its last byte")
            if at == 1 and not line.startswith(b'{"at":'[: len(line)]):
                return None
            remedy = "lugcall resume repairs it; nothing acknowledged is lost"
        elif at > 1 and _has_unwritten(line, self.good) and not self._stream.read(1):
            # A bad sector looks the same, so this one does not promise that nothing is lost.
            cause += ", or its place on the disk is bad: it holds zero bytes"
            remedy = "lugcall resume cuts it off"
        else:
            return None
        if at == 1:
            remedy = "the session had not begun; nothing acknowledged is lost; start a new one"
        return Fault(at, "torn", f"line {at} is torn ({cause}); {remedy}")

    def _misplaced(self, event: Event, at: int) -> Fault:
        if event.n < self.count:
            text = f"line {at} is reordered or repeated: it is event {event.n}, not {self.count}"
            return Fault(at, "reordered", text)
        while line := self._stream.readline(MAX_LINE + 1):
            if _is_event(line) and parse_line(line).n == self.count:
                text = f"line {at} is reordered: event {self.count} comes after {event.n}"
                return Fault(at, "reordered", text)
        text = f"line {at} is missing: event {self.count} is not there, {event.n} comes instead"
        return Fault(at, "missing", text)


def _is_event(line: bytes) -> bool:
    try:
        parse_line(line)
    except DamagedLine:
        return False
    return True


def _has_unwritten(line: bytes, offset: int) -> bool:
    """Say if a line, at this offset of its file, has zeros up to an edge between sectors.

    Some file systems, after a power cut, show zeros where a part of a grown file had not yet
    reached the disk. That part ends where a sector ends; a mere changed byte does not.
    """
    edges = range(-offset % _SECTOR or _SECTOR, len(line), _SECTOR)
    return any(not line[max(0, edge - _SECTOR) : edge].strip(b"\0") for edge in edges)
