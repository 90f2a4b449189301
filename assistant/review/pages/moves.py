"""Each move of ring, rod or stop bolt, with the reading before it and the one after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from assistant.record import Event
from assistant.review.pages.readings import Reading

MOVES = {
    "fork_rod": "clearance",
    "height_stop": "pedal-height",
    "total_stop": "total-travel",
    "free_rod": "free-travel",
    "contact_rod": "brake-contact",
    "ring_plan": "gap",
}
"""The step of a change, and the reading that it is made for."""


@dataclass(frozen=True, slots=True)
class Move:
    """One move. `line` is where it was recorded, from 1.

    `predicted_in` is what lugcall expected to be read after it (inches), as recorded before that
    was read; None where the record has no such figure. `found` says what a ring move really did.
    """

    line: int
    what: str
    did: str
    told: int | None
    moved: int | None
    quantity: str
    before: Reading | None
    after: Reading | None
    predicted_in: float | None
    found: str
    found_chance: float | None


def moves_of(events: Sequence[Event], readings: Sequence[Reading]) -> list[Move]:
    """All moves, in order."""
    turns = [e for e in events if e.kind == "turn"]
    lines = [e.n + 1 for e in turns if "ring" in e.data or "linkage" in e.data]
    out = []
    for event in turns:
        line, data = event.n + 1, event.data
        later = [x for x in lines if x > line]
        until = later[0] if later else len(events) + 1
        if "ring" in data:
            out.append(_ring(data["ring"], line, until, turns, readings))
        if "linkage" in data:
            out.append(_linkage(data["linkage"], line, until, readings))
    return out


def _ring(
    ring: dict[str, Any], line: int, until: int, turns: Sequence[Event], readings: Sequence[Reading]
) -> Move:
    moved, told = int(ring["moved"]), int(ring["told"])
    finding: dict[str, Any] = {}
    for event in turns:
        if "finding" in event.data and line < event.n + 1 < until:
            finding = event.data["finding"]
            break
    way = "tighter" if moved > 0 else "looser" if moved < 0 else "not moved"
    did = f"{abs(moved)} lug{'' if abs(moved) == 1 else 's'} {way}" if moved else way
    predicted = ring.get("predicted_in")
    return Move(
        line=line,
        what="ring",
        did=did,
        told=told,
        moved=moved,
        quantity="gap",
        before=_near(readings, "gap", 0, line, last=True),
        after=_near(readings, "gap", line, until, last=False),
        predicted_in=None if predicted is None else float(predicted),
        found=str(finding.get("kind", "")),
        found_chance=finding.get("probability"),
    )


def _linkage(change: dict[str, Any], line: int, until: int, readings: Sequence[Reading]) -> Move:
    step = str(change["step"])
    quantity = MOVES.get(step, "")
    return Move(
        line=line,
        what={"ring_plan": "maker's procedure"}.get(step, step.replace("_", " ")),
        did=str(change["what"]),
        told=None,
        moved=None,
        quantity=quantity,
        before=_near(readings, quantity, 0, line, last=True),
        after=_near(readings, quantity, line, until, last=False),
        predicted_in=None,
        found="",
        found_chance=None,
    )


def _near(
    readings: Sequence[Reading], quantity: str, start: int, end: int, last: bool
) -> Reading | None:
    """The last, or first, reading of a quantity between two lines."""
    found = [r for r in readings if r.quantity == quantity and start < r.line < end]
    return (found[-1] if last else found[0]) if found else None
