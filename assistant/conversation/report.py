"""What a turn changed, as the record keeps it beside the words: readings, judgements, moves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.act import Act
from assistant.card import Card
from assistant.card.show import figure_data
from assistant.job.job import Job
from assistant.job.state import Facts, Taken
from assistant.quantity import GAP, ODOMETER
from assistant.record import Journal
from assistant.record.clips import ClipError, keep

if TYPE_CHECKING:
    from assistant.act import Samples


def figures(card: Card) -> dict[str, Any]:
    """Every limit in force and whose it is; lengths in inches."""
    return {name: figure_data(f) for name, f in card.figures.items() if f is not None}


_READING = ("quantity", "stage", "who", "figures", "value_in", "low_in", "high_in")


def taken(facts: Facts, reading: Taken) -> dict[str, Any]:
    """One reading with its judgement."""
    data = {name: getattr(reading, name) for name in _READING}
    if reading.count is not None:
        data |= {"count": reading.count, "kind": reading.kind}
    judgement, figure = facts.judged(reading), facts.figure(reading.quantity)
    if judgement is not None and figure is not None:
        data["judged"] = {
            "decision": judgement.decision,
            "probability": round(judgement.probability, 4),
            "low_in": figure.limits.low_in,
            "high_in": figure.limits.high_in,
            "source": figure.source,
        }
    if reading.accepted:
        data["accepted"] = reading.accepted
    return data


class Before:
    """How a job stands before a turn."""

    def __init__(self, job: Job) -> None:
        facts = job.facts
        self.step = job.step_id
        self._readings = list(facts.readings)
        self._moved = [m.moved for m in facts.moves]
        self._linkage = len(facts.linkage)
        self._pedal = {"hold": facts.hold, "hands": facts.hands}

    def changes(self, job: Job) -> dict[str, Any]:
        """What is different now."""
        facts, was = job.facts, self._readings
        out: dict[str, Any] = {"step": self.step}
        for i, reading in enumerate(facts.readings):
            if i >= len(was):
                out["taken"] = taken(facts, reading)
                if reading.quantity == GAP and facts.moves:
                    out |= _finding(facts)
            elif reading is not was[i]:
                out["corrected"] = {"was": taken(facts, was[i]), "is": taken(facts, reading)}
        if [m.moved for m in facts.moves] != self._moved:
            gap_in = facts.plans.gap_expected_in()
            out["ring"] = {
                "told": facts.moves[-1].told,
                "moved": facts.moves[-1].moved,
                "total": facts.lugs_total,
                "predicted_in": None if gap_in is None else round(gap_in, 6),
            }
        if len(facts.linkage) > self._linkage:
            out["linkage"] = {"step": facts.linkage[-1].step, "what": facts.linkage[-1].what}
        now = {"hold": facts.hold, "hands": facts.hands}
        return out | {name: now[name] for name in now if now[name] != self._pedal[name]}


def _finding(facts: Facts) -> dict[str, Any]:
    """What the ring really did, once a gap is read after a move."""
    _, findings = facts.plans.findings()
    last = findings[-1]
    if last is None:
        return {}
    finding = {
        "kind": last.kind,
        "probability": round(last.probability, 4),
        "lugs_moved": last.lugs_moved,
        "predicted_in": round(last.predicted_in, 6),
        "measured_in": round(last.measured_in, 6),
    }
    return {"finding": finding}


def closing(job: Job) -> dict[str, Any]:
    """The whole job in one event: as found beside as left."""
    facts = job.facts
    stages: dict[str, dict[str, Any]] = {"found": {}, "final": {}}
    for reading in facts.readings:
        if reading.stage in stages:
            stages[reading.stage][reading.quantity] = taken(facts, reading)
    due = facts.staged(ODOMETER, "due")
    return {
        "code": facts.code,
        "as_found": stages["found"],
        "as_left": stages["final"],
        "lugs": facts.lugs_total,
        "lugs_by_gap": facts.plans.lugs_by_gap(),
        "ring_moves": [{"told": m.told, "moved": m.moved} for m in facts.moves],
        "linkage": [{"step": c.step, "what": c.what} for c in facts.linkage],
        "doubts": list(facts.doubts),
        "notes": [{"who": w, "text": t} for w, t in facts.notes],
        "next_due": {"count": due.count, "kind": due.kind} if due is not None else None,
    }


# --- The sound that carried a reading, held in memory until the reading is confirmed, or dropped.

_KEPT = ("taken", "corrected", "ring")
"""What a turn's event says when a reading or a count was kept in it."""


class Carried:
    """Which sound belongs to the reading that is read back. Nothing else is kept of any sound."""

    def __init__(self) -> None:
        self._asked: list[Samples] = []
        self._of: Taken | None = None
        self._sound: list[Samples] = []

    def ask(self, sound: Samples | None, goes_on: bool) -> None:
        """A question was asked back; if it `goes_on`, its answer completes what was said."""
        now = [] if sound is None else [sound]
        self._asked = [*self._asked, *now] if goes_on else []

    def take(
        self, act: Act, sound: Samples | None, changes: dict[str, Any], waiting: Taken | None
    ) -> list[Samples]:
        """The sounds of the reading that this turn kept, in order; mostly one, or none.

        Args:
            act: the turn's, applied already.
            sound: the turn's own sound, if it was spoken.
            changes: what the turn changed, as the record keeps it.
            waiting: what waits for its check now.
        """
        now = [*self._asked, *([] if sound is None else [sound])]
        before, self._asked = self._sound, []
        if waiting is None or waiting is not self._of:
            self._of, self._sound = waiting, [] if waiting is None else now
        if not any(name in changes for name in _KEPT):
            return []
        return now if act.reading is not None else before


def clip_of(journal: Journal, sounds: list[Samples]) -> dict[str, Any]:
    """Put the sounds beside the record as one; gives what the turn's event holds of them."""
    import numpy as np

    try:
        return keep(journal.path.parent, journal.path.name, np.concatenate(sounds))
    except ClipError as error:
        return {"lost": str(error)}  # a reading is not given up for its sound
