"""A lead's questions that wait for the next session on a truck.

Quick, since a session begins with it: only the newest records of that truck are looked at, and of
each only its first lines (what was asked there) and its last (where a lead's acts stand).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from assistant.record import Event, parse_line
from assistant.record.chain import may_follow_closed
from assistant.record.events import DamagedLine
from assistant.record.folder import SUFFIX, slug
from assistant.review.acts import PREFIX, acts_in

NEWEST = 8
"""Records of one truck that are looked at."""
_NEAR = 1 << 16
KEY = "question"
"""Where the notice that put a question to the technician keeps which one it was: its hash."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A question not yet put: whose (code), its words, and the hash of its line."""

    lead: str
    text: str
    hash: str


def waiting(folder: Path, unit: str) -> list[Waiting]:
    """The open questions on a truck, oldest first; none when the folder cannot be read.

    A question is over once it was put in a later session (a "notice" with its hash), or once a lead
    did something else with the record after it.
    """
    if not unit:
        return []
    put: set[str] = set()
    found: list[Waiting] = []
    for path in _newest(folder, unit):
        head, tail = _ends(path)
        if not head or head[0].data.get("unit") != unit:
            continue
        put |= {str(e.data[KEY]) for e in head if e.kind == "notice" and KEY in e.data}
        found += [one for one in _open(tail) if one.hash not in put]
    return found[::-1]


def _newest(folder: Path, unit: str) -> list[Path]:
    try:
        with os.scandir(folder) as entries:
            names = [e.name for e in entries if e.name.endswith(SUFFIX) and slug(unit) in e.name]
    except OSError:
        return []
    return [folder / name for name in sorted(names, reverse=True)[:NEWEST]]


def _ends(path: Path) -> tuple[list[Event], list[Event]]:
    """The first events of a record, and the last; what is damaged is left out."""
    try:
        with path.open("rb") as stream:
            head = stream.read(_NEAR)
            size = stream.seek(0, os.SEEK_END)
            stream.seek(max(0, size - _NEAR))
            tail = stream.read(_NEAR)
    except OSError:
        return [], []
    return _events(head), _events(tail)


def _events(block: bytes) -> list[Event]:
    out = []
    for line in block.splitlines(keepends=True):
        try:
            out.append(parse_line(line))
        except DamagedLine:
            continue
    return out


def _open(tail: list[Event]) -> list[Waiting]:
    """The questions after which the lead did nothing else, newest first."""
    out: list[Waiting] = []
    for event in reversed(tail):
        if not event.kind.startswith(PREFIX):
            if may_follow_closed(event.kind):
                continue
            break
        if event.kind != f"{PREFIX}question":
            break
        act = acts_in([event])[0]
        out.append(Waiting(act.lead, act.text, event.hash))
    return out
