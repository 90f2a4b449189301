"""One file of a folder: what it is, and its rows; only what is new of it is read.

A record still open is put aside as it stands, so that what is added later is read from there. It
is read once more as a whole when it is closed, or when a lead adds to it: that checks all of it.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from assistant.record.chain import Fault
from assistant.record.disk import reason
from assistant.review.finish import chain_word, finished
from assistant.review.fold import Fold
from assistant.review.quick import Walk
from assistant.review.versions import FORMATS, version_told

TAIL = 4096
"""Bytes before the place to go on from that must still be the same."""
LATER = "made by a later lugcall; update lugcall to read it; skipped"
_ALL = ", ".join(map(str, FORMATS))
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Before:
    """How a file was left: bytes read, events, last hash, hash of its tail, and the fold."""

    good: int
    count: int
    head: str
    tail: str
    aside: bytes


@dataclass(slots=True)
class Found:
    """What a file is now.

    `status` as in the table of files; `line` is what is wrong, in one line; `rows` by table, empty
    when there is no job in it. `read` counts the bytes read; the rest is for `Before`.
    """

    status: str
    line: str = ""
    rows: dict[str, list[Any]] = field(default_factory=dict)
    good: int = 0
    count: int = 0
    head: str = ""
    opening: str = ""
    tail: str = ""
    aside: bytes | None = None
    read: int = 0


def look_at(path: Path, now_us: int, before: Before | None = None) -> Found:
    """Read a file, from where it was left if that still fits. Never raises on what it holds."""
    try:
        with path.open("rb") as stream:
            if before is not None and _tail(stream, before.good) == before.tail:
                found = _read(stream, path, now_us, before)
                if found is not None:
                    return found
            stream.seek(0)
            whole = _read(stream, path, now_us, None)
            assert whole is not None
            return whole
    except OSError as error:
        return Found("unreadable", f"cannot be read: {reason(error)[0]}")


def _read(stream: BinaryIO, path: Path, now_us: int, before: Before | None) -> Found | None:
    """None when the record was closed meanwhile, so that it is to be read as a whole."""
    if before is None:
        walk, fold, start = Walk(stream), Fold(now_us), 0
    else:
        stream.seek(before.good)
        walk = Walk(stream, before.good, before.count, before.head)
        fold, start = Fold.taken_up(before.aside, now_us), before.good
    try:
        fold.take_in(walk)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        return Found("foreign", "holds what lugcall does not write; left out")
    if before is not None and walk.closed:
        return None
    if not walk.count:
        fault, later = walk.fault, version_told(stream)
        if later is not None and later > FORMATS[-1]:
            return Found("later", f"{LATER} (its format is {later}; read here: {_ALL})")
        if fault is None or fault.what == "not a record":
            return Found("foreign", fault.text if fault is not None else "not a record")
        # Its first line is that of a record: no job can be told from it, but it is no stranger.
        return Found(chain_word(fault), _told(fault))
    aside = None if walk.closed else fold.put_aside()
    return Found(
        "record" if walk.fault is None else chain_word(walk.fault),
        _told(walk.fault),
        finished(fold, walk.fault, walk.count, walk.head),
        walk.good,
        walk.count,
        walk.head,
        str(fold.job["opening"]),
        _tail(stream, walk.good),
        aside,
        walk.good - start,
    )


def _told(fault: Fault | None) -> str:
    if fault is None:
        return ""
    if fault.what == "torn":
        return f"its last line is not whole: being written now, or cut off (line {fault.line})"
    return f"BROKEN CHAIN: {fault.text}"


def _tail(stream: BinaryIO, good: int) -> str:
    stream.seek(max(0, good - TAIL))
    return hashlib.sha256(stream.read(min(good, TAIL))).hexdigest()
