"""What a lead should look at in one job, each with the line of the record that shows it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from assistant.record import Event
from assistant.review import doubtful
from assistant.review.doubtful import NAMES
from assistant.review.fold import FIRST_US
from assistant.review.pages.holds import Hold
from assistant.review.pages.moves import Move
from assistant.review.pages.readings import Reading
from assistant.review.pages.talk import misheard_by, misunderstood
from assistant.review.worded import lugs, signed, span

KINDS = {
    "accepted": "accepted, not clearly in",
    "out": "left out of limits",
    "skipped": "skipped",
    "hold": "pedal hold",
    "stop": "stopped",
    "again": "many say-agains",
    "edited": "edited",
    "ring": "ring did not do as told",
    "default": "no maker's figure",
    "clock": "clock",
    "other": "noted by lugcall",
}
"""Every kind of doubt and its heading."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One of them: a key of `KINDS`, in words, and where (line from 1; 0: all of the record)."""

    kind: str
    text: str
    line: int = 0


def doubts_of(
    events: Sequence[Event],
    readings: Sequence[Reading],
    left: Sequence[Reading],
    moves: Sequence[Move],
    holds: Sequence[Hold],
) -> list[Doubt]:
    """All of them, the gravest kind first as `KINDS` is ordered."""
    found = [
        *_left(left, readings),
        *_turns(events),
        *_holds(holds),
        *_again(events),
        *_edits(events),
        *_ring(moves),
        *_defaults(events),
        *_clock(events),
        *_remarks(events),
    ]
    order = list(KINDS)
    return sorted(found, key=lambda d: (order.index(d.kind), d.line))


def _left(left: Sequence[Reading], readings: Sequence[Reading]) -> Iterator[Doubt]:
    """As left: too close and accepted, or out."""
    at = {(r.quantity, r.figures): r.line for r in readings if r.stage == "final"}
    for r in left:
        told = doubtful.left(r.quantity, r.figures, r.decision, r.probability, r.accepted)
        if told is not None:
            yield Doubt(*told, at.get((r.quantity, r.figures), r.line))


def _turns(events: Sequence[Event]) -> Iterator[Doubt]:
    for event in events:
        act: dict[str, Any] = event.data.get("act") or {}
        step = str(event.data.get("step", "")).replace("_", " ")
        moved = event.data.get("after") != event.data.get("step")
        if act.get("meaning") == "skip" and moved:
            yield Doubt("skipped", doubtful.skipped(step, act.get("text") or ""), event.n + 1)
        elif act.get("meaning") == "stop" and moved:
            who = {"tech": "technician", "helper": "helper"}.get(str(act.get("who")), "?")
            yield Doubt("stop", f"stop by the {who} at {step}", event.n + 1)
        elif act.get("meaning") == "not_sound":
            yield Doubt("other", f"not sound at {step}; repaired before going on?", event.n + 1)


def _holds(holds: Sequence[Hold]) -> Iterator[Doubt]:
    for hold in holds:
        if hold.end == "lost":
            yield Doubt("hold", "the pedal was let up before it was asked for", hold.last_line)
        elif hold.end == "open" and hold.held is not None:
            yield Doubt("hold", "the record ends with the pedal held", hold.last_line)
        long = doubtful.long_hold(hold.seconds)
        if long is not None:
            yield Doubt("hold", long, hold.last_line)


def _again(events: Sequence[Event]) -> Iterator[Doubt]:
    for step, times in misheard_by(events, "step").items():
        many = doubtful.many_again(step, times)
        if many is not None:
            here = (e for e in events if e.data.get("step") == step and misunderstood(e))
            yield Doubt("again", many, next(here).n + 1)


def _edits(events: Sequence[Event]) -> Iterator[Doubt]:
    back = [e for e in events if (e.data.get("act") or {}).get("meaning") == "back"]
    often = doubtful.gone_back(len(back))
    if often is not None:
        yield Doubt("edited", often, back[-1].n + 1)
    for event in events:
        changed = event.data.get("corrected")
        if event.kind == "turn" and changed:
            was, now = changed["was"]["figures"], changed["is"]["figures"]
            text = doubtful.edited(changed["is"]["quantity"], was, now)
            yield Doubt("edited", text, event.n + 1)
        if event.kind == "repaired":
            yield Doubt("edited", "a torn last line was cut off and the job resumed", event.n + 1)


def _ring(moves: Sequence[Move]) -> Iterator[Doubt]:
    for move in moves:
        if move.told is not None and move.moved is not None and move.moved != move.told:
            text = f"ring told {lugs(move.told)}, moved {signed(move.moved)} as called"
            yield Doubt("ring", text, move.line)
        if move.found not in ("", "as planned"):
            yield Doubt("ring", f"by the gap, the ring move: {move.found}", move.line)


def _defaults(events: Sequence[Event]) -> Iterator[Doubt]:
    opened = events[0].data
    figures = opened.get("figures") or {}
    judged = {q: f for q, f in figures.items() if "no source" in str(f.get("source", ""))}
    names = [NAMES.get(q, q) for q in judged if q != "bearing-travel"]
    if names:
        yield Doubt("default", f"common practice, not the maker's: {', '.join(names)}", 1)


def _clock(events: Sequence[Event]) -> Iterator[Doubt]:
    for before, event in pairwise(events):
        back = before.time - event.time
        if back > timedelta(seconds=1):
            text = f"the clock went back by {span(back.total_seconds())}"
            yield Doubt("clock", text, event.n + 1)
    if events[0].time.timestamp() * 1e6 < FIRST_US:
        yield Doubt("clock", f"begun long ago: {events[0].at[:10]}", 1)
    if events[0].time > datetime.now().astimezone() + timedelta(days=1):
        yield Doubt("clock", f"begun in the future: {events[0].at[:10]}", 1)


def _remarks(events: Sequence[Event]) -> Iterator[Doubt]:
    """What lugcall itself put down at sign-off, but for what is told above already."""
    for event in events:
        if event.kind == "closed":
            for text in event.data["doubts"]:
                told = " accepted: " in text or text.startswith(("ring move", "not sound at"))
                if not told:
                    yield Doubt("other", str(text), event.n + 1)
