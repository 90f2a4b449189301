"""What a lead should look at in one job: the rules, for the index and for the job's page.

The words are in `dialogs/en/desk.toml`. Most of it stands in both; of clock, ring and chain the
page, which has room, tells more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from assistant.quantity import BEARING_TRAVEL, spoken_name
from assistant.record.history import LEAD, JobHistory
from assistant.review.wording import lugs, say, signed, span, step_name

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
ON_PAGE = (
    "accepted", "out", "skipped", "hold", "stop", "again", "edited", "ring", "default", "clock",
    "other",
)  # fmt: skip
"""Every kind of doubt on a page, the gravest first; `desk.toml` has their headings."""
_PAGE_KIND = {"long hold": "hold", "say-agains": "again", "edits": "edited"}
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


def doubts_in_index(history: JobHistory, fault: str, now_us: int) -> list[Doubt]:
    """What the table of doubts holds; `fault`: what is wrong with the chain, or "". `now_us` is our
    own clock, for records dated in the future."""
    found = [*_clock(history, now_us), *_turns(history)]
    repaired = (line for line in history.lines if line.kind == "repaired")
    found += (_told("chain", line, "repaired") for line in repaired)
    for text in _remarks(history):
        kind = "ratio" if text.startswith("pedal ratios") else "remark"
        kind = "ring" if text.startswith("ring move") else kind
        found.append(_doubt(kind, text, history.closed))
    found.sort(key=lambda doubt: doubt.n)
    if fault:
        found.append(_doubt("chain", fault, history.lines[-1]))
    return [*found, *_left(history), *_often(history)]


def doubts_on_page(history: JobHistory) -> list[Doubt]:
    """What a job's page tells, the gravest kind first."""
    both = (*_left(history), *_turns(history), *_often(history))
    found = [
        *_page_only(history),
        *(doubt._replace(kind=_PAGE_KIND.get(doubt.kind, doubt.kind)) for doubt in both),
    ]
    for text in _remarks(history):
        if not text.startswith(("ring move", "not sound at")):
            found.append(_doubt("other", text, history.closed))
    return sorted(found, key=lambda doubt: (ON_PAGE.index(doubt.kind), doubt.n))


def _doubt(kind: str, text: str, line: Any) -> Doubt:
    return Doubt(kind, text, line.n, line.us)


def _told(kind: str, line: Any, sentence: str, /, **blanks: object) -> Doubt:
    """A doubt in a sentence of `desk.toml`."""
    return _doubt(kind, say(f"doubts.{sentence}", **blanks), line)


# --- In both.


def _left(history: JobHistory) -> Iterator[Doubt]:
    """As left: too close and accepted, or out."""
    final = (r for r in history.readings if r.kept.stage == "final" and not r.replaced)
    stands = {reading.kept.quantity: reading for reading in final}
    for reading in stands.values():
        kept, accepted = reading.kept, reading.reason or reading.kept.accepted
        if kept.decision not in ("", "in"):
            chance = say("doubts.chance", chance=kept.judged.probability) if kept.judged else ""
            why = say("doubts.why", why=accepted) if accepted else ""
            kind = "out" if kept.decision == "out" else "accepted"
            yield _told(kind, reading.turn, "left", what=spoken_name(kept.quantity),
                        figures=kept.figures, decision=kept.decision, chance=chance,
                        why=why)  # fmt: skip


def _turns(history: JobHistory) -> Iterator[Doubt]:
    """Corrected, held for long, skipped: turn by turn."""
    ended = {hold.ended.n: hold for hold in history.holds if hold.ended is not None}
    for turn in history.turns:
        if turn.corrected is not None:
            was, now = turn.corrected.was, turn.corrected.now
            what = spoken_name(now.quantity)
            yield _told("edits", turn, "edited", what=what, was=was.figures, now=now.figures)
        held_s = ended[turn.n].seconds if turn.n in ended else None
        if is_long(held_s):
            yield _told("long hold", turn, "long_hold", span=span(held_s or 0))
        if turn.act is not None and turn.act.meaning == "skip" and turn.moved:
            which = "skipped" if turn.act.text else "skipped_so"
            yield _told("skipped", turn, which, step=step_name(turn.step), why=turn.act.text)


def is_long(held_s: float | None) -> bool:
    return held_s is not None and held_s > LONG_S


def _often(history: JobHistory) -> Iterator[Doubt]:
    """What is worth a look only when it came often."""
    misheard = list(history.misunderstood())
    for step, times in Counter(line.step for line in misheard).items():
        if times >= MANY_AGAIN:
            first = next(line for line in misheard if line.step == step)
            yield _told("say-agains", first, "again", times=times, step=step_name(step))
    back = [turn for turn in history.turns if turn.meaning == "back"]
    if len(back) >= MANY_BACK:
        yield _told("edits", back[-1], "gone_back", times=len(back))


def _remarks(history: JobHistory) -> Iterator[str]:
    """What lugcall itself put down at sign-off; what was accepted is told by its reading."""
    for text in history.closed.doubts if history.closed else ():
        if " accepted: " not in text:
            yield text


def _went_back(history: JobHistory) -> Iterator[tuple[Any, str]]:
    """Lines before which the clock went back, and by how much in words."""
    last_us = history.lines[0].us
    for line in history.lines:
        if line.us < last_us - BACK_US:
            yield line, span((last_us - line.us) / 1e6)
        if not line.kind.startswith(LEAD):
            last_us = line.us


# --- In the index only.


def _clock(history: JobHistory, now_us: int) -> Iterator[Doubt]:
    began = history.lines[0]
    if began.us < FIRST_US:
        yield _told("clock", began, "old", year=began.at[:4])
    for line, back in _went_back(history):
        yield _told("clock", line, "back", span=back, line=line.line)
    ahead = next((line for line in history.lines if line.us > now_us + AHEAD_US), None)
    if ahead is not None:
        yield _told("clock", ahead, "ahead", line=ahead.line)


# --- On the page only.


def _page_only(history: JobHistory) -> Iterator[Doubt]:
    for turn in history.turns:
        step = step_name(turn.step)
        if turn.act is not None and turn.act.meaning == "stop" and turn.moved:
            who = _PEOPLE.get(turn.act.who, "?")
            yield _told("stop", turn, "stop", who=who, step=step)
        elif turn.meaning == "not_sound":
            yield _told("other", turn, "not_sound", step=step)
    for hold in history.holds:
        if hold.end == "lost":
            yield _told("hold", hold.last, "hold_lost")
        elif hold.end == "open" and hold.held is not None:
            yield _told("hold", hold.last, "hold_open")
    for line in history.lines:
        if line.kind == "repaired":
            yield _told("edited", line, "resumed")
    yield from _ring(history)
    yield from _opened(history)


def _ring(history: JobHistory) -> Iterator[Doubt]:
    for move in history.moves:
        ring, found = move.turn.ring, move.finding
        if ring is not None and ring.moved != ring.told:
            count = {"told": lugs(ring.told), "moved": signed(ring.moved)}
            yield _told("ring", move.turn, "ring_count", **count)
        if found is not None and found.kind != "as planned":
            yield _told("ring", move.turn, "ring_found", found=found.kind)


def _opened(history: JobHistory) -> Iterator[Doubt]:
    """Figures that are nobody's own, and a clock that is wrong."""
    began, figures = history.lines[0], history.opened.figures
    common = [q for q, f in figures.items() if "no source" in f.source and q != BEARING_TRAVEL]
    if common:
        names = ", ".join(map(spoken_name, common))
        yield _told("default", began, "common", names=names)
    for line, back in _went_back(history):
        yield _told("clock", line, "clock_back", span=back)
    if began.us < FIRST_US:
        yield _told("clock", began, "long_ago", day=began.at[:10])
    if began.time > datetime.now().astimezone() + timedelta(days=1):
        yield _told("clock", began, "future", day=began.at[:10])
