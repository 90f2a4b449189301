"""The readings of one job in the order they were taken, corrections put where they belong."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from assistant.record import Event
from assistant.review.doubtful import NAMES

DECIDED = {"in": "IN", "out": "OUT", "too close": "TOO CLOSE", "": ""}


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading; lengths in inches, `line` in the record from 1.

    `decision` is "in", "out", "too close" or "" (no limit); `was` are its figures before a
    correction, or "".
    """

    line: int
    at: str
    quantity: str
    stage: str
    who: str
    figures: str
    value_in: float | None
    low_in: float | None
    high_in: float | None
    decision: str
    probability: float | None
    limit_low_in: float | None
    limit_high_in: float | None
    source: str
    accepted: str
    was: str = ""

    @property
    def name(self) -> str:
        """What was read, in words."""
        return NAMES.get(self.quantity, self.quantity)

    @property
    def verdict(self) -> str:
        """`IN`, `OUT`, `TOO CLOSE, accepted`, or ""."""
        return DECIDED.get(self.decision, self.decision) + (", accepted" if self.accepted else "")


def reading_of(taken: dict[str, Any], line: int, at: str, was: str = "") -> Reading:
    """From what the record keeps of a reading.

    Raises:
        KeyError, TypeError: it is not what lugcall writes.
    """
    judged = taken.get("judged") or {}
    return Reading(
        line=line,
        at=at,
        quantity=str(taken["quantity"]),
        stage=str(taken["stage"]),
        who=str(taken["who"]),
        figures=str(taken["figures"]),
        value_in=_length(taken["value_in"]),
        low_in=_length(taken["low_in"]),
        high_in=_length(taken["high_in"]),
        decision=str(judged.get("decision", "")),
        probability=judged.get("probability"),
        limit_low_in=_length(judged.get("low_in")),
        limit_high_in=_length(judged.get("high_in")),
        source=str(judged.get("source", "")),
        accepted=str(taken.get("accepted", "")),
        was=was,
    )


def _length(value: object) -> float | None:
    if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
        raise TypeError("a length that is no number")
    return None if value is None else float(value)


def readings_of(events: Iterable[Event]) -> list[Reading]:
    """All readings; a corrected one stands where it was, with what it was before."""
    out: list[Reading] = []
    for event in events:
        if event.kind != "turn":
            continue
        line, data = event.n + 1, event.data
        if "taken" in data:
            out.append(reading_of(data["taken"], line, event.at))
        if "corrected" in data:
            was = reading_of(data["corrected"]["was"], line, event.at)
            now = reading_of(data["corrected"]["is"], line, event.at, was.figures)
            at = _place(out, was)
            if at is None:
                out.append(now)
            else:
                out[at] = now
    return out


def _place(readings: list[Reading], was: Reading) -> int | None:
    for i in reversed(range(len(readings))):
        r = readings[i]
        if (r.quantity, r.stage, r.figures) == (was.quantity, was.stage, was.figures):
            return i
    return None


def closing_readings(closed: dict[str, Any], line: int, at: str) -> list[Reading]:
    """As left, as the closing line has it: with what was accepted, and why."""
    return [reading_of(taken, line, at) for taken in closed["as_left"].values()]
