"""Records of a played visit's form, for other visits, written quickly.

A played record is the stamp. Unit, odometer, next check and free travel as found are put in as
bytes, times are moved, and every line is hashed anew. What the stamp's readings led to stays as it
was played, so the chain is whole and the schema is the session's own.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from assistant.readings import read
from assistant.record import GENESIS, Event, read_events
from assistant.record.events import _encode, stamp
from assistant.texts.dialogs import Dialogs

from .played import INTERVAL_MILES, play
from .truth import Visit, free_text, visits

LOWER_IN = 1.125
"""Limit of free travel on the fleet's card: a stamp found below it is used for those below."""


def tokens(visit: Visit) -> list[str]:
    """What stands in a record for this visit only, always in the same order."""
    free = free_text(visit.free_in)
    # As the reader reckons them, so that they are spelled as it spells them.
    got = read(free, "free-travel")
    ends = [repr(got.low_in), repr(got.high_in)]
    miles = [visit.miles, visit.miles + INTERVAL_MILES]
    told = [text for m in miles for text in (f"{m:,}", f"{m}.0", f"{m}")]
    return [visit.unit, visit.unit.lower(), *ends, free, *told]


@dataclass
class Stamp:
    """A played record, ready to be written for other visits."""

    visit: Visit
    events: list[Event]

    def __post_init__(self) -> None:
        self._began = self.events[0].time
        own = [t.encode() for t in tokens(self.visit)]
        self._lines = []
        for event in self.events:
            data = _encode(event.data).encode()
            here = [i for i, token in enumerate(own) if token in data]
            tail = f'"kind":"{event.kind}","n":{event.n},"prev":"'.encode()
            # In one pass: what was put in must not be taken for another of the stamp's own.
            own_here = re.compile(b"|".join(re.escape(own[i]) for i in here)) if here else None
            self._lines.append((event.time - self._began, data, own_here, tail))
        self._own = own

    def bytes_for(self, visit: Visit, began: datetime | None = None) -> bytes:
        """The record of another visit, begun when that came."""
        began = began or visit.at
        new = dict(zip(self._own, (t.encode() for t in tokens(visit)), strict=True))
        prev, lines = GENESIS.encode(), []
        for after, data, own_here, tail in self._lines:
            if own_here is not None:
                data = own_here.sub(lambda found: new[found[0]], data)
            head = b'{"at":"' + stamp(began + after).encode() + b'","data":' + data + b","
            end = tail + prev + b'"}'
            digest = hashlib.sha256(head + end).hexdigest().encode()
            lines.append(head + b'"hash":"' + digest + b'",' + end + b"\n")
            prev = digest
        return b"".join(lines)


def stamps(folder: Path, dialogs: Dialogs, count: int = 8, seed: int = 11) -> list[Stamp]:
    """Played visits to stamp from; both in and below the limit of free travel."""
    some = [v for v in visits(count, count, seed) if not v.skips]
    made = []
    for visit in some:
        events, problem = read_events(play(visit, folder, dialogs))
        assert problem is None
        made.append(Stamp(visit, events))
    return made


def write(made: list[Stamp], trucks: int, jobs: int, folder: Path, seed: int = 5) -> list[Visit]:
    """Records of a whole fleet in ten bays' folders; gives the truth of each visit."""
    bays = [folder / f"bay-{i}" for i in range(10)]
    for bay in bays:
        bay.mkdir(parents=True, exist_ok=True)
    below = [s for s in made if s.visit.free_in < LOWER_IN]
    within = [s for s in made if s.visit.free_in >= LOWER_IN]
    truth = []
    for visit in visits(trucks, jobs, seed):
        some = (below if visit.free_in < LOWER_IN else within) or made
        stamped = some[visit.number % len(some)]
        name = f"{visit.at:%Y%m%d-%H%M%S}-{visit.unit.lower()}-{visit.number}.jsonl"
        (bays[visit.number % 10] / name).write_bytes(stamped.bytes_for(visit))
        truth.append(visit)
    return truth
