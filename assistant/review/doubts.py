"""What a lead should look at in one job: the rules, the same wherever a job is shown.

The words are in `dialogs/en/desk.toml`. What only many records together show, such as an odometer
that runs backwards, comes to them in `beside`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any, NamedTuple

from assistant.quantity import BEARING_TRAVEL, spoken_name
from assistant.record.history import LEAD, JobHistory
from assistant.review.planned import compared, units_of
from assistant.review.wording import lugs, say, signed, span
from assistant.sentences import step_name

LONG_S = 120.0
"""A pedal held longer tires a leg: common practice, no source."""
MANY_AGAIN = 3
"""Misheard this often at one step. Common practice, no source."""
MANY_BACK = 4
"""Gone back this often in one job: from memory of no data, a first guess."""
BACK_US = 1_000_000
"""The clock may go back by so much, as clocks that are set by the network do."""
AHEAD_US = 86_400 * 1_000_000
FIRST_US = 1_577_836_800_000_000
"""2020: no record is older. A clock that lost its battery begins again long before."""
KINDS = (
    "copy", "chain", "photo", "pedal", "stop", "alone", "ring", "out", "unfinished", "unsound",
    "accepted", "plan", "skipped", "odometer", "clock", "ratio", "hold", "again", "edited", "torn",
    "other", "note", "default",
)  # fmt: skip
"""Every kind of doubt, the gravest first; `desk.toml` has their headings."""
WEIGHTS = {kind: len(KINDS) - place - 1 for place, kind in enumerate(KINDS)}
"""How grave each is; one that weighs nothing is told, but nobody need look at the job for it."""
NEVER_SEEN = ("copy", "chain", "photo", "torn")
"""What no act of the lead covers: it is of the file as it is."""
_ALONE = ("alone", "helper_gone")
"""What is said of a pedal at which nobody is."""
_PEOPLE = {"tech": "technician", "helper": "helper"}


class Doubt(NamedTuple):
    """One of them: its kind, in words, and the event that shows it: number from 0, time."""

    kind: str
    text: str
    n: int
    us: int

    @property
    def line(self) -> int:
        """Where it is in the record, from 1."""
        return self.n + 1

    @property
    def weight(self) -> int:
        return WEIGHTS[self.kind]


def doubts_of(history: JobHistory, now_us: int) -> list[Doubt]:
    """All of a job's, the gravest first; `now_us` is our own clock, for what is dated ahead."""
    found = [
        *_damage(history),
        *_holds(history),
        *_turns(history),
        *_ring(history),
        *_left(history),
        *_planned(history),
        *_often(history),
        *_clock(history, now_us),
        *_remarks(history),
        *_notes(history),
        *_figures(history),
    ]
    return sorted(found, key=lambda doubt: (-doubt.weight, doubt.n))


def seen_up_to(history: JobHistory) -> int:
    """The event up to which a lead has looked at a job: his act covers the lines before it. -1:
    none, also where it was reopened after."""
    for act in reversed(history.acts):
        if act.act == "reopened":
            return -1
        if act.act in ("reviewed", "accepted"):
            return act.n
    return -1


def is_open(doubt: Doubt, seen: int) -> bool:
    """Whether somebody should still look at it; `seen` as `seen_up_to` gives it."""
    return doubt.weight > 0 and (doubt.kind in NEVER_SEEN or doubt.n > seen)


def standing(history: JobHistory) -> str:
    """The kind of the lead's last act that says how he left the job, or ""."""
    return f"{LEAD}{history.standing}" if history.standing else ""


def is_long(held_s: float | None) -> bool:
    return held_s is not None and held_s > LONG_S


def _doubt(kind: str, line: Any, sentence: str, /, **blanks: object) -> Doubt:
    """A doubt in a sentence of `desk.toml`."""
    return Doubt(kind, say(f"doubts.{sentence}", **blanks), line.n, line.us)


def _damage(history: JobHistory) -> Iterator[Doubt]:
    last = history.lines[-1]
    if history.problem:
        kind, sentence = ("torn", "torn") if history.torn else ("chain", "broken")
        yield _doubt(kind, last, sentence, fault=history.problem, line=last.line + 1)
    for line in history.lines:
        if line.kind == "repaired":
            yield _doubt("torn", line, "repaired")


def _holds(history: JobHistory) -> Iterator[Doubt]:
    for hold in history.holds:
        if hold.end == "lost":
            yield _doubt("pedal", hold.last, "hold_lost")
        elif hold.end == "open" and hold.held is not None:
            yield _doubt("pedal", hold.last, "hold_open")
        if is_long(hold.seconds):
            yield _doubt("hold", hold.last, "long_hold", span=span(hold.seconds or 0))


def _turns(history: JobHistory) -> Iterator[Doubt]:
    """Stopped, not sound, skipped, corrected: turn by turn."""
    for turn in history.turns:
        if turn.corrected is not None:
            was, now = turn.corrected.was, turn.corrected.now
            what = spoken_name(now.quantity)
            yield _doubt("edited", turn, "edited", what=what, was=was.figures, now=now.figures)
        if turn.act is not None and turn.meaning == "trouble" and turn.act.text in _ALONE:
            yield _doubt("alone", turn, "alone", step=step_name(turn.step))
        if turn.act is None or not turn.moved:
            continue
        step, meaning, text = step_name(turn.step), turn.act.meaning, turn.act.text
        if meaning == "stop":
            who = _PEOPLE.get(turn.act.who, "?")
            yield _doubt("stop", turn, "stop", who=who, step=step)
        elif meaning == "not_sound":
            yield _doubt("unsound", turn, "not_sound", step=step)
        elif meaning == "skip":
            yield _doubt("skipped", turn, "skipped" if text else "skipped_so", step=step, why=text)


def _ring(history: JobHistory) -> Iterator[Doubt]:
    for move in history.moves:
        ring, found = move.turn.ring, move.finding
        if ring is not None and ring.moved != ring.told:
            count = {"told": lugs(ring.told), "moved": signed(ring.moved)}
            yield _doubt("ring", move.turn, "ring_count", **count)
        if found is not None and found.kind != "as planned":
            yield _doubt("ring", move.turn, "ring_found", found=finding(found.kind))


def finding(kind: str) -> str:
    """What a ring move really did, in words."""
    return say(f"finding.{kind.replace(' ', '_')}") if kind in _FINDINGS else kind


_FINDINGS = ("as planned", "other count", "did not move", "wrong way")


def _left(history: JobHistory) -> Iterator[Doubt]:
    """As left: unfinished; too close and accepted, or out."""
    if history.closed is not None and (left := history.closed.unfinished) is not None:
        rest = left.rest or left.at.replace("_", " ")
        yield _doubt("unfinished", history.closed, "unfinished", why=left.why, rest=rest)
    final = (r for r in history.readings if r.kept.stage == "final" and not r.replaced)
    stands = {reading.kept.quantity: reading for reading in final}
    for reading in stands.values():
        kept, accepted = reading.kept, reading.reason or reading.kept.accepted
        if kept.decision not in ("", "in"):
            chance = say("doubts.chance", chance=kept.judged.probability) if kept.judged else ""
            why = say("doubts.why", why=accepted) if accepted else ""
            kind = "out" if kept.decision == "out" else "accepted"
            yield _doubt(kind, reading.turn, "left", what=spoken_name(kept.quantity),
                         figures=kept.figures, decision=kept.decision, chance=chance,
                         why=why)  # fmt: skip


def _planned(history: JobHistory) -> Iterator[Doubt]:
    """Where the plan of the as-found readings led elsewhere than it should have."""
    taken = {reading.kept.quantity: reading.turn for reading in history.readings}
    for one in compared(history):
        if one.far:
            what, planned = spoken_name(one.quantity), one.planned(units_of(history))
            line = taken.get(one.quantity, history.lines[-1])
            yield _doubt("plan", line, "plan", what=what, left=one.left.figures, planned=planned)


def _often(history: JobHistory) -> Iterator[Doubt]:
    """What is worth a look only when it came often."""
    misheard = list(history.misunderstood())
    last = {line.step: line for line in misheard}
    for step, times in Counter(line.step for line in misheard).items():
        if times >= MANY_AGAIN:
            yield _doubt("again", last[step], "again", times=times, step=step_name(step))
    back = [turn for turn in history.turns if turn.meaning == "back"]
    if len(back) >= MANY_BACK:
        yield _doubt("edited", back[-1], "gone_back", times=len(back))


def _clock(history: JobHistory, now_us: int) -> Iterator[Doubt]:
    began, last_us = history.lines[0], history.lines[0].us
    if began.us < FIRST_US:
        yield _doubt("clock", began, "old", day=began.at[:10])
    for line in history.lines:
        if line.us < last_us - BACK_US:
            gone = span((last_us - line.us) / 1e6)
            yield _doubt("clock", line, "back", span=gone, line=line.line)
        if not line.kind.startswith(LEAD):
            last_us = line.us
    ahead = next((line for line in history.lines if line.us > now_us + AHEAD_US), None)
    if ahead is not None:
        yield _doubt("clock", ahead, "ahead", line=ahead.line)


_TOLD_BY_TURNS = ("ring move", "not sound")


def _remarks(history: JobHistory) -> Iterator[Doubt]:
    """What lugcall itself put down at sign-off, and no line tells better."""
    closed = history.closed
    if closed is None:
        return
    for text in closed.doubts:
        if " accepted: " not in text and not text.startswith(_TOLD_BY_TURNS):
            kind = "ratio" if text.startswith("pedal ratios") else "other"
            yield Doubt(kind, text, closed.n, closed.us)


def _notes(history: JobHistory) -> Iterator[Doubt]:
    """What the people at the truck wanted somebody to know; an answer to a lead's question stands
    with his question."""
    answers = {put.answer.n for put in history.questions if put.answer is not None}
    for turn in history.turns:
        if turn.act is None or turn.n in answers:
            continue
        if turn.meaning == "note" and turn.act.text:
            who = _PEOPLE.get(turn.who, "?")
            yield _doubt("note", turn, "note", who=who, text=turn.act.text)


def _figures(history: JobHistory) -> Iterator[Doubt]:
    """Figures that are nobody's own."""
    figures = history.opened.figures
    common = [q for q, f in figures.items() if "no source" in f.source and q != BEARING_TRAVEL]
    if common:
        names = ", ".join(map(spoken_name, common))
        yield _doubt("default", history.lines[0], "common", names=names)
