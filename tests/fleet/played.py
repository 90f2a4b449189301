"""A visit played through the real session: a pair that knows the job, and what goes wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

from assistant.card import Card, card_from_text
from assistant.conversation import Session
from assistant.job.job import Job
from assistant.texts.dialogs import Dialogs
from tests.heard import heard, unheard

from .truth import LASH_IN, LUG_IN, RATIO, Visit, free_text

CARD = """# An invented truck of an invented fleet.
unit = "{unit}"

[ring]
lug = "0.027 in"

[rod]
thread = "1/2-20"
longer = "more clearance"

[figures]
source = "fleet card (invented)"
gap = {{ low = "1/2 in", high = "9/16 in" }}
clearance = {{ low = "3/32 in", high = "5/32 in", target = "1/8 in" }}
free-travel = {{ low = "1-1/8 in", high = "2 in", target = "1-1/2 in" }}
"""
INTERVAL_MILES = 30_000
"""To the next check, as told at sign-off."""
TURN_S = 8
"""Seconds between two utterances."""
_ANSWERS = {
    "act": "tech: done",
    "clear": "tech: clear",
    "hold": "helper: holding",
    "release": "helper: released",
    "plan": "tech: check",
    "stop_bolt": "tech: done",
    "sign": "tech: sign off {code}",
}
_OTHER = {"pedal-height": "8.5", "total-travel": "8.25", "brake-contact": "0.625"}


@dataclass
class Now:
    """A clock that is set by hand."""

    at: datetime

    def __call__(self) -> datetime:
        return self.at


class Pair:
    """The two at the truck, which stands as `gap_in` and `clearance_in` say."""

    def __init__(self, visit: Visit) -> None:
        self.visit = visit
        self.gap_in, self.clearance_in = visit.gap_in, visit.clearance_in

    def answer(self, job: Job) -> str:
        """What is said next."""
        step = job.step
        if job.pending is not None:
            return "tech: check"
        if job.choice:
            return "tech: accept the lead said so"
        assert step is not None
        if step.kind == "read":
            return f"{step.who}: {self._called(step.reading, step.id)}"
        if step.kind == "turn":
            plan = job.facts.plans.ring()
            lugs = plan.lugs if plan is not None else 0
            self.gap_in -= lugs * LUG_IN
            self.clearance_in += lugs * LUG_IN
            return f"tech: {abs(lugs)} lugs {'tighter' if lugs >= 0 else 'looser'}"
        if step.kind == "rod":
            plan_ = job.facts.plans.rod()
            self.clearance_in += plan_.fork_in if plan_ else 0.0
            self.clearance_in = min(max(self.clearance_in, 0.115), 0.135)
            return "tech: done"
        if step.id == "helper_ready":
            return "helper: ready"
        if step.kind == "sound":
            return f"{step.who}: sound"
        return _ANSWERS[step.kind].format(code=self.visit.code)

    def _called(self, quantity: str, step: str) -> str:
        if step == "next_due":
            return f"{self.visit.miles + INTERVAL_MILES} miles"
        if quantity == "odometer":
            return "skip" if self.visit.skips else f"{self.visit.miles} miles"
        if quantity == "gap":
            return f"{self.gap_in:.3f}"
        if quantity == "clearance":
            return f"{max(0.002, self.clearance_in):.3f}"
        if quantity == "free-travel":
            return free_text(RATIO * self.clearance_in + LASH_IN)
        return _OTHER[quantity]


def play(visit: Visit, folder: Path, dialogs: Dialogs, at_most: int = 300) -> Path:
    """The visit's record, signed off, in `folder`; not synced, as it may be lost with the power."""
    with patch("assistant.record.journal.sync_data"):
        return _play(visit, folder, dialogs, at_most)


def _play(visit: Visit, folder: Path, dialogs: Dialogs, at_most: int) -> Path:
    card: Card = card_from_text(CARD.format(unit=visit.unit), f"{visit.unit.lower()}.toml")
    clock = Now(visit.at)
    session, _ = Session.begin(card, dialogs, folder, clock)
    pair, misheard, wrong = Pair(visit), visit.misheard, visit.wrong
    for turn in range(at_most):
        job = session.job
        if job.finished:
            session.close()
            return session.journal.path
        step = job.step
        held = step is not None and step.kind == "release"
        clock.at += timedelta(seconds=visit.long_hold_s if held else TURN_S)
        who, _, words = pair.answer(job).partition(": ")
        if misheard and turn >= 4 and job.pending is None:
            misheard -= 1
            _miss(session, visit, who, words)
            clock.at += timedelta(seconds=TURN_S)
        if job.step_id == "found_clearance" and wrong and job.pending is None:
            wrong = False
            _say(session, visit, "tech", f"correct the gap to {visit.gap_in + 0.004:.3f}")
            continue
        _say(session, visit, who, words)
    raise AssertionError(f"no end from {session.job.at}")


def _say(session: Session, visit: Visit, who: str, words: str) -> None:
    heard(session, who, words, ear(visit, "accept", 0.93, words) if visit.mic else None)


def _miss(session: Session, visit: Visit, who: str, words: str) -> None:
    if visit.mic:
        unheard(session, who, ear(visit, "again", 0.31, words))
    else:
        session.hear(who, "mumble mumble")


def ear(visit: Visit, decision: str, probability: float, words: str) -> dict[str, Any]:
    """What the ears keep of an utterance."""
    heard = {"words": words, "probability": probability, "engines": ["whisper", "vosk"]}
    return {
        "mic": visit.mic,
        "shared": True,
        "decision": decision,
        "probability": probability,
        "alternatives": [heard],
        "seconds": 0.61,
    }
