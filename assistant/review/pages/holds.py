"""When the pedal was asked for, held and let up; and for how long."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from assistant.record import Event
from assistant.review.doubtful import long_hold


@dataclass(frozen=True, slots=True)
class Hold:
    """One time the pedal was to be held. Times are from the record; None: it did not come so far.

    `end` is "released", "lost" (let up, or not sure, before it was asked for), "stopped" (somebody
    said stop) or "open" (the record ends here). `line` is where it was asked for, from 1.
    """

    line: int
    asked: datetime
    held: datetime | None = None
    told: datetime | None = None
    ended: datetime | None = None
    end: str = "open"
    last_line: int = 0

    @property
    def seconds(self) -> float | None:
        """How long the pedal was down, or None when that is not known."""
        if self.held is None or self.ended is None:
            return None
        return max(0.0, (self.ended - self.held).total_seconds())

    @property
    def long(self) -> bool:
        """Whether the helper's leg had to hold for long."""
        return long_hold(self.seconds) is not None


def holds_of(events: Iterable[Event]) -> list[Hold]:
    """All of them, in order."""
    out: list[Hold] = []
    for event in events:
        if event.kind != "turn" or "hold" not in event.data:
            continue
        state, at, line = event.data["hold"], event.time, event.n + 1
        if state == "asked" or not out or out[-1].ended is not None:
            if state in ("asked", "held"):
                out.append(Hold(line, at, at if state == "held" else None, last_line=line))
            continue
        now = out[-1]
        if state == "held":
            out[-1] = replace(now, held=now.held or at, last_line=line)
        elif state == "releasing":
            out[-1] = replace(now, told=at, last_line=line)
        elif state == "up":
            out[-1] = replace(now, ended=at, end="released", last_line=line)
        elif state == "unsure":
            stopped = (event.data.get("act") or {}).get("meaning") == "stop"
            end = "stopped" if stopped else "lost"
            out[-1] = replace(now, ended=at, end=end, last_line=line)
    return out
