"""Walking a record line by line: the rules that make it one chain, in one place.

Both the journal (which goes on from what it finds) and the verifier (which only looks) read
through this, so they cannot come to disagree on what a good record is.
"""

from __future__ import annotations

import base64
import hashlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, Literal

from assistant import named_file
from assistant.record import clips as clip_files
from assistant.record.disk import reason
from assistant.record.events import (
    FORMAT,
    GENESIS,
    MAX_LINE,
    DamagedLine,
    Event,
    RecordError,
    may_follow_closed,
    parse_line,
)

What = Literal["torn", "changed", "missing", "reordered", "not a record"]
_SECTOR = 512


@dataclass(frozen=True, slots=True)
class Fault:
    """The first thing wrong in a record: in which line (from 1), what, and in words."""

    line: int
    what: What
    text: str


class ChainReader:
    """Iterates over the good events of a record, from its start to its end or first fault.

    While iterating: `good` is the length in bytes up to the last good event, `count` the
    events so far, `head` the last hash, `closed` if "closed" was among them. Afterwards
    `fault` is None only if all of the file is good. Lines are read in pieces of at most
    `MAX_LINE` bytes, whatever the file holds; `parse` is `parse_line` or `parse_quickly`.

    Raises:
        OSError: the file cannot be read (while iterating).
    """

    def __init__(self, stream: BinaryIO, parse: Callable[[bytes], Event] = parse_line) -> None:
        self._stream = stream
        self._parse = parse
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
            event = self._parse(line)
        except DamagedLine as error:
            if at == 1 and b"lugcall-record" not in line:
                text = "not a record: line 1 does not open one; name a file that lugcall wrote"
                return Fault(at, "not a record", text)
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
        elif (
            at > 1
            and b"\0" in line
            and _has_unwritten(line, self.good)
            and not self._stream.read(1)
        ):
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


# --- The seal: a short code for a record's head, written by hand on the paper work order.
#
# A hash chain shows any change inside a record but not that its last lines were cut off: what
# is left is a good chain. The code on paper shows that. It is 32 bits of the head's hash:
# enough against accident and a casual edit, not against someone who spends an hour of computing
# on a forgery (some 4e9 tries); for that, keep the whole hash.

# None of these letters is a hex digit, so a hand-written code can be read back kindly.
_LOOKALIKE = str.maketrans("OILSZ", "01152")


def seal_of(head: str) -> str:
    """Give the seal of a head hash (hex): its first 8 digits, like `3F2A-91BC`."""
    return f"{head[:4]}-{head[4:8]}".upper()


def read_seal(text: str) -> str | None:
    """Read a seal as typed from paper, in either case, spaces and dashes ignored.

    Gives it as `seal_of` spells it, or None when it is not 8 hex digits.
    """
    digits = "".join(c for c in text.upper() if not c.isspace() and c not in "-–—_.")
    digits = digits.translate(_LOOKALIKE)
    if len(digits) != 8 or any(c not in "0123456789ABCDEF" for c in digits):
        return None
    return seal_of(digits)


# --- What is kept of a torn last line after it is cut off.

KEPT = 1 << 16
"""Bytes of a torn line that are kept; more would only be noise, its hash is kept too."""


def repair_note(tail: bytes) -> dict[str, Any]:
    """Describe the bytes cut off, as the data of a "repaired" event.

    `cut_bytes` is their count and `cut_sha256` their hash; `cut_text` holds the first
    `kept_bytes` of them, exactly: as they are where they are UTF-8 ("utf-8" in `encoding`),
    else in Base64 (RFC 4648, "base64").
    """
    kept = tail[:KEPT]
    try:
        text, encoding = kept.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        text, encoding = base64.b64encode(kept).decode("ascii"), "base64"
    return {
        "cut_bytes": len(tail),
        "cut_sha256": hashlib.sha256(tail).hexdigest(),
        "cut_text": text,
        "encoding": encoding,
        "kept_bytes": len(kept),
    }


# --- Checking a record without writing to it, for the shop lead.
#
# What this finds: any byte changed, any line lost, doubled or moved, a torn end, a changed clip or
# photo, and, when the seal from the paper work order is given, an end cut off. What it cannot find:
# a record written anew from its first line by someone who also changed the paper. A clip or photo
# that is not there is told, but is no damage: a shop may remove sound, and a photo by its rule,
# which the record then notes. A photo that is gone without such a note is told as missing.

_NOTHING_DONE = ("opened", "unheard", "notice", "repaired")
_BAD = {"changed": "was changed", "unreadable": "cannot be read"}


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found in a file.

    `events` counts the good events before any problem; `closed` says if "closed" is among
    them; `problem` is one line naming the line, or None when `ok`; `head` is the last good
    event's hash (hex) and `seal` its short code, both empty when there is none; `torn` says
    that the problem is a torn last line and nothing else; `begun` that somebody said something in
    it that was taken. `clips` and `photos` count those that are
    there and good, `clips_removed` and `photos_removed` those that are not there, and of these
    `photos_missing` those whose removal no line notes. `paper_seal` is the one given at
    sign-off, on the work order; lines of the lead after it change `seal`, not this. `unfinished`
    says that it was closed without being signed off.
    """

    path: Path
    ok: bool
    events: int
    closed: bool
    problem: str | None
    head: str
    seal: str
    torn: bool = False
    clips: int = 0
    clips_removed: int = 0
    photos: int = 0
    photos_removed: int = 0
    photos_missing: int = 0
    paper_seal: str = field(default="", compare=False)
    unfinished: bool = False
    begun: bool = field(default=False, compare=False)

    @property
    def signed_off(self) -> bool:
        """Whether it was closed, and not unfinished."""
        return self.closed and not self.unfinished

    @property
    def about_clips(self) -> str:
        """In words: `2 clips good, 1 removed`, or "" where the record refers to none."""
        return _beside("clip", self.clips, removed=self.clips_removed)

    @property
    def about_photos(self) -> str:
        """Likewise: `2 photos good, 1 removed, 1 MISSING`."""
        removed = self.photos_removed - self.photos_missing
        return _beside("photo", self.photos, removed=removed, MISSING=self.photos_missing)


def _beside(what: str, good: int, **others: int) -> str:
    """How many of a kind lie beside a record, or "" where none does or did."""
    told = [f"{count} {how}" for how, count in others.items() if count]
    if not good and not told:
        return ""
    return ", ".join([f"{good} {what}{'' if good == 1 else 's'} good", *told])


def verify_file(path: Path, seal: str | None = None, clips: bool = True) -> Verdict:
    """Check all of a record, and that its end is the one whose seal is on paper, if given.

    After "closed", lines of the lead are allowed beyond the one the seal was taken from. Without
    `clips`, only the record itself is checked: no more is needed to go on with it.
    Never raises on what the file is or holds, and holds one line at most in memory.
    """
    try:
        with named_file.opened(path) as stream:
            return _judge(path, ChainReader(stream), seal, clips)
    except OSError as error:
        return _refused(path, f"it cannot be read: {reason(error)[0]}")


def _refused(path: Path, problem: str) -> Verdict:
    return Verdict(path, False, 0, False, problem, "", "")


def _judge(path: Path, reader: ChainReader, seal: str | None, with_clips: bool) -> Verdict:
    wanted = None if seal is None else read_seal(seal)
    paper, changed, beside = "", "", Counter[tuple[clip_files.What, clip_files.State]]()
    gone, noted = list[str](), set[str]()
    sealed_at, sealed_closed, begun, unfinished = 0, False, False, False
    for event in reader:
        begun = begun or _begins(event)
        if event.kind == "closed":
            paper, unfinished = seal_of(event.hash), "unfinished" in event.data
        if seal_of(event.hash) == wanted:
            sealed_at, sealed_closed = reader.count, reader.closed
        noted.update(clip_files.noted_removed(event.kind, event.data))
        if with_clips and (held := clip_files.held(event.kind, event.data)) is not None:
            what, file, digest = held
            state = clip_files.state(path.parent, file, digest)
            beside[what, state] += 1
            if (what, state) == ("photo", "removed"):
                gone.append(file)
            if state in _BAD and not changed:
                changed = f"the {what} of line {reader.count} {_BAD[state]}: {file}"
    fault, end = reader.fault, reader.count
    by_seal = _by_seal(seal, wanted, sealed_at, sealed_closed, end)
    problem = (by_seal if fault is None else fault.text) or changed
    head, code = (reader.head, seal_of(reader.head)) if end else ("", "")
    return Verdict(
        path=path,
        ok=not problem,
        events=end,
        closed=reader.closed,
        problem=problem or None,
        head=head,
        seal=code,
        torn=fault is not None and fault.what == "torn" and not changed,
        clips=beside["clip", "good"],
        clips_removed=beside["clip", "removed"],
        photos=beside["photo", "good"],
        photos_removed=len(gone),
        photos_missing=sum(Path(file).name not in noted for file in gone),
        paper_seal=paper,
        begun=begun,
        unfinished=unfinished,
    )


def _begins(event: Event) -> bool:
    """Whether somebody did something: to open a record, or to open it again, is nothing yet."""
    act = event.data.get("act")
    again = isinstance(act, dict) and act.get("meaning") == "resumed"
    return not (again or event.kind in _NOTHING_DONE or event.kind.startswith("lead-"))


def _by_seal(given: str | None, wanted: str | None, sealed_at: int, closed: bool, end: int) -> str:
    """What is wrong with a whole record by the seal from the paper, taken at a line, or ""."""
    if given is None:
        return ""
    if wanted is None:
        return "the seal given is not one: it is 8 digits 0-9 or A-F, like 3F2A-91BC"
    if not sealed_at:
        return (
            f"line {end} is not the end that was sealed {wanted}: "
            "lines after it are missing, or the paper belongs to another record"
        )
    if sealed_at < end and not closed:
        return f"line {sealed_at} was sealed {wanted}, but {end} lines are here"
    return ""


def read_events(path: Path) -> tuple[list[Event], str | None]:
    """The events up to the first that does not hold, and what is wrong there (None: nothing).

    For reading only: nothing is locked, repaired or written. Raises RecordError when the file
    cannot be read at all.
    """
    try:
        with named_file.opened(path) as stream:
            reader = ChainReader(stream)
            events = list(reader)
    except OSError as error:
        raise RecordError(f"{path} cannot be read: {reason(error)[0]}. Check the name.") from None
    return events, reader.fault.text if reader.fault is not None else None
