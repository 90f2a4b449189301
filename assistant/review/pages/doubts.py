"""What a lead should look at in one job, each with the line of the record that shows it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from assistant.quantity import BEARING_TRAVEL, spoken_name
from assistant.record.history import JobHistory, Repaired, Turn
from assistant.review import wording
from assistant.review.rows import FIRST_US
from assistant.review.wording import lugs, say, signed, span, step_name

KINDS = (
    "accepted", "out", "skipped", "hold", "stop", "again", "edited", "ring", "default", "clock",
    "other",
)  # fmt: skip
"""Every kind of doubt, the gravest first; `desk.toml` has their headings."""
_PEOPLE = {"tech": "technician", "helper": "helper"}
_SECOND_US = 1_000_000


@dataclass(frozen=True, slots=True)
class Doubt:
    """One of them: one of `KINDS`, in words, and where (line from 1)."""

    kind: str
    text: str
    line: int


def doubts_of(history: JobHistory) -> list[Doubt]:
    """All of them, the gravest kind first."""
    found = [
        *_left(history),
        *(doubt for turn in history.turns for doubt in _turn(turn)),
        *_holds(history),
        *_often(history),
        *_ring(history),
        *_defaults(history),
        *_clock(history),
        *_remarks(history),
    ]
    return sorted(found, key=lambda d: (KINDS.index(d.kind), d.line))


def _left(history: JobHistory) -> Iterator[Doubt]:
    """As left: too close and accepted, or out."""
    final = (r for r in history.readings if r.kept.stage == "final" and not r.replaced)
    at = {(r.kept.quantity, r.kept.figures): r.turn.line for r in final}
    for kept in history.as_left().values():
        chance = kept.judged.probability if kept.judged else None
        told = wording.left(kept.quantity, kept.figures, kept.decision, chance, kept.accepted)
        if told is not None:
            closing = history.closed.line if history.closed else 0
            yield Doubt(*told, at.get((kept.quantity, kept.figures), closing))


def _turn(turn: Turn) -> Iterator[Doubt]:
    step = step_name(turn.step)
    if turn.meaning == "skip" and turn.moved:
        assert turn.act is not None
        yield Doubt("skipped", wording.skipped(step, turn.act.text), turn.line)
    elif turn.meaning == "stop" and turn.moved:
        assert turn.act is not None
        who = _PEOPLE.get(turn.act.who, "?")
        yield Doubt("stop", say("doubts.stop", who=who, step=step), turn.line)
    elif turn.meaning == "not_sound":
        yield Doubt("other", say("doubts.not_sound", step=step), turn.line)
    if turn.corrected is not None:
        was, now = turn.corrected.was, turn.corrected.now
        yield Doubt("edited", wording.edited(now.quantity, was.figures, now.figures), turn.line)


def _holds(history: JobHistory) -> Iterator[Doubt]:
    for hold in history.holds:
        if hold.end == "lost":
            yield Doubt("hold", say("doubts.hold_lost"), hold.last.line)
        elif hold.end == "open" and hold.held is not None:
            yield Doubt("hold", say("doubts.hold_open"), hold.last.line)
        long = wording.long_hold(hold.seconds)
        if long is not None:
            yield Doubt("hold", long, hold.last.line)


def _often(history: JobHistory) -> Iterator[Doubt]:
    """What is worth a look only when it came often, and a record that was cut off."""
    misheard = list(history.misunderstood())
    for step, times in Counter(line.step for line in misheard).items():
        many = wording.many_again(step, times)
        if many is not None:
            yield Doubt("again", many, next(line.line for line in misheard if line.step == step))
    back = [turn for turn in history.turns if turn.meaning == "back"]
    often = wording.gone_back(len(back))
    if often is not None:
        yield Doubt("edited", often, back[-1].line)
    for line in history.lines:
        if isinstance(line, Repaired):
            yield Doubt("edited", say("doubts.resumed"), line.line)


def _ring(history: JobHistory) -> Iterator[Doubt]:
    for move in history.moves:
        ring = move.turn.ring
        if ring is not None and ring.moved != ring.told:
            text = say("doubts.ring_count", told=lugs(ring.told), moved=signed(ring.moved))
            yield Doubt("ring", text, move.turn.line)
        if move.finding is not None and move.finding.kind != "as planned":
            text = say("doubts.ring_found", found=move.finding.kind)
            yield Doubt("ring", text, move.turn.line)


def _defaults(history: JobHistory) -> Iterator[Doubt]:
    figures = history.opened.figures
    common = [q for q, f in figures.items() if "no source" in f.source and q != BEARING_TRAVEL]
    if common:
        names = ", ".join(map(spoken_name, common))
        yield Doubt("default", say("doubts.common", names=names), 1)


def _clock(history: JobHistory) -> Iterator[Doubt]:
    for before, line in pairwise(history.lines):
        if before.us - line.us > _SECOND_US:
            back = span((before.us - line.us) / 1e6)
            yield Doubt("clock", say("doubts.clock_back", span=back), line.line)
    began = history.lines[0]
    if began.us < FIRST_US:
        yield Doubt("clock", say("doubts.long_ago", day=began.at[:10]), 1)
    if began.time > datetime.now().astimezone() + timedelta(days=1):
        yield Doubt("clock", say("doubts.future", day=began.at[:10]), 1)


def _remarks(history: JobHistory) -> Iterator[Doubt]:
    """What lugcall itself put down at sign-off, but for what is told above already."""
    for text in history.closed.doubts if history.closed else ():
        if " accepted: " not in text and not text.startswith(("ring move", "not sound at")):
            yield Doubt("other", text, history.closed.line if history.closed else 0)
