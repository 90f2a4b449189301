"""Checking a record without writing to it, for the shop lead.

What this finds: any byte changed, any line lost, doubled or moved, a torn end, a changed clip, and,
when the seal from the paper work order is given, an end cut off. What it cannot find: a record
written anew from its first line by someone who also changed the paper. A clip that is not there is
told, but is no damage: a shop may remove sound.
"""

import stat
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.record import clips as clip_files
from assistant.record.chain import ChainReader, read_seal, seal_of
from assistant.record.disk import reason
from assistant.record.events import Event, RecordError

_BAD = {"changed": "was changed", "unreadable": "cannot be read"}


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found in a file.

    `events` counts the good events before any problem; `closed` says if "closed" is among
    them; `problem` is one line naming the line, or None when `ok`; `head` is the last good
    event's hash (hex) and `seal` its short code, both empty when there is none; `torn` says
    that the problem is a torn last line and nothing else. `clips` counts the clips that are
    there and good, `clips_removed` those that are not there. `paper_seal` is the one given at
    sign-off, on the work order; lines of the lead after it change `seal`, not this.
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
    paper_seal: str = field(default="", compare=False)

    @property
    def about_clips(self) -> str:
        """In words: `2 clips good, 1 removed`, or "" where the record refers to none."""
        good = f"{self.clips} clip{'' if self.clips == 1 else 's'} good"
        if not self.clips_removed:
            return good if self.clips else ""
        return f"{good}, {self.clips_removed} removed"


def verify_file(path: Path, seal: str | None = None, clips: bool = True) -> Verdict:
    """Check all of a record, and that its end is the one whose seal is on paper, if given.

    After "closed", lines of the lead are allowed beyond the one the seal was taken from. Without
    `clips`, only the record itself is checked: no more is needed to go on with it.
    Never raises on what the file is or holds, and holds one line at most in memory.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return _refused(path, "not a record: it is not a file")
        with path.open("rb") as stream:
            return _judge(path, ChainReader(stream), seal, clips)
    except (OSError, ValueError) as error:
        # ValueError: a path no system takes, such as one with a zero byte.
        what = reason(error)[0] if isinstance(error, OSError) else "no such name is possible"
        return _refused(path, f"it cannot be read: {what}")


def _refused(path: Path, problem: str) -> Verdict:
    return Verdict(path, False, 0, False, problem, "", "")


def _judge(path: Path, reader: ChainReader, seal: str | None, with_clips: bool) -> Verdict:
    wanted = None if seal is None else read_seal(seal)
    sealed_at = 0
    sealed_when_closed = False
    clips: Counter[clip_files.State] = Counter()
    changed = paper = ""
    for event in reader:
        if event.kind == "closed":
            paper = seal_of(event.hash)
        if with_clips and "sha256" in (clip := _clip(event)):
            state = clip_files.state(path.parent, str(clip.get("file")), str(clip.get("sha256")))
            clips[state] += 1
            if state in _BAD and not changed:
                changed = f"the clip of line {reader.count} {_BAD[state]}: {clip.get('file')}"
        if wanted is not None and seal_of(event.hash) == wanted:
            sealed_at, sealed_when_closed = reader.count, reader.closed
    fault = reader.fault
    problem = None if fault is None else fault.text
    if problem is None and seal is not None:
        if wanted is None:
            problem = "the seal given is not one: it is 8 digits 0-9 or A-F, like 3F2A-91BC"
        elif not sealed_at:
            problem = (
                f"line {reader.count} is not the end that was sealed {wanted}: "
                "lines after it are missing, or the paper belongs to another record"
            )
        elif sealed_at < reader.count and not sealed_when_closed:
            problem = f"line {sealed_at} was sealed {wanted}, but {reader.count} lines are here"
    problem = problem or changed or None
    return Verdict(
        path=path,
        ok=problem is None,
        events=reader.count,
        closed=reader.closed,
        problem=problem,
        head=reader.head if reader.count else "",
        seal=seal_of(reader.head) if reader.count else "",
        torn=fault is not None and fault.what == "torn" and not changed,
        clips=clips["good"],
        clips_removed=clips["removed"],
        paper_seal=paper,
    )


def _clip(event: Event) -> dict[str, Any]:
    clip = event.data.get("clip") if event.kind == "turn" else None
    return clip if isinstance(clip, dict) else {}


def read_events(path: Path) -> tuple[list[Event], str | None]:
    """The events up to the first that does not hold, and what is wrong there (None: nothing).

    For reading only: nothing is locked, repaired or written. Raises RecordError when the file
    cannot be read at all.
    """
    try:
        with path.open("rb") as stream:
            reader = ChainReader(stream)
            events = list(reader)
    except OSError as error:
        raise RecordError(f"{path} cannot be read: {error.strerror}. Check the name.") from None
    return events, reader.fault.text if reader.fault is not None else None
