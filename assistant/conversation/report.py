"""What a turn changed, as the record keeps it beside the words: readings, judgements, moves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.act import Act
from assistant.card import Card
from assistant.card.show import figure_data
from assistant.job.job import Job
from assistant.job.state import Facts, Taken
from assistant.record import Journal
from assistant.record.clips import ClipError, keep

if TYPE_CHECKING:
    from assistant.act import Samples


def figures(card: Card) -> dict[str, Any]:
    """Every limit in force and whose it is; lengths in inches."""
    return {name: figure_data(f) for name, f in card.figures.items() if f is not None}


def taken(facts: Facts, reading: Taken) -> dict[str, Any]:
    """One reading with its judgement."""
    data: dict[str, Any] = {
        "quantity": reading.quantity,
        "stage": reading.stage,
        "who": reading.who,
        "figures": reading.figures,
        "value_in": reading.value_in,
        "low_in": reading.low_in,
        "high_in": reading.high_in,
    }
    if reading.count is not None:
        data["count"], data["kind"] = reading.count, reading.kind
    judgement = facts.judged(reading)
    figure = facts.figure(reading.quantity)
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


@dataclass(frozen=True)
class Before:
    """How the job stood before a turn."""

    step: str
    readings: tuple[Taken, ...]
    moves: tuple[int, ...]
    linkage: int
    hold: str
    hands: str

    @classmethod
    def of(cls, job: Job) -> Before:
        """Take note of a job."""
        f = job.facts
        return cls(
            job.step_id,
            tuple(f.readings),
            tuple(m.moved for m in f.moves),
            len(f.linkage),
            f.hold,
            f.hands,
        )

    def changes(self, job: Job) -> dict[str, Any]:
        """What is different now."""
        facts = job.facts
        out: dict[str, Any] = {"step": self.step}
        for i, reading in enumerate(facts.readings):
            if i >= len(self.readings):
                out["taken"] = taken(facts, reading)
            elif reading is not self.readings[i]:
                out["corrected"] = {
                    "was": taken(facts, self.readings[i]),
                    "is": taken(facts, reading),
                }
        moved = tuple(m.moved for m in facts.moves)
        if moved != self.moves:
            last = facts.moves[-1]
            out["ring"] = {
                "told": last.told,
                "moved": last.moved,
                "total": facts.lugs_total,
                "predicted_in": _rounded(facts.plans.gap_expected_in()),
            }
        if len(facts.linkage) > self.linkage:
            change = facts.linkage[-1]
            out["linkage"] = {"step": change.step, "what": change.what}
        finding = self._finding(facts, out)
        if finding is not None:
            out["finding"] = finding
        if facts.hold != self.hold:
            out["hold"] = facts.hold
        if facts.hands != self.hands:
            out["hands"] = facts.hands
        return out

    @staticmethod
    def _finding(facts: Facts, out: dict[str, Any]) -> dict[str, Any] | None:
        """What the ring really did, once a gap is read after a move."""
        if out.get("taken", {}).get("quantity") != "gap" or not facts.moves:
            return None
        _, findings = facts.plans.findings()
        last = findings[-1]
        if last is None:
            return None
        return {
            "kind": last.kind,
            "probability": round(last.probability, 4),
            "lugs_moved": last.lugs_moved,
            "predicted_in": round(last.predicted_in, 6),
            "measured_in": round(last.measured_in, 6),
        }


def _rounded(value_in: float | None) -> float | None:
    return None if value_in is None else round(value_in, 6)


def closing(job: Job) -> dict[str, Any]:
    """The whole job in one event: as found beside as left."""
    facts = job.facts
    stages: dict[str, dict[str, Any]] = {"found": {}, "final": {}}
    for reading in facts.readings:
        if reading.stage in stages:
            stages[reading.stage][reading.quantity] = taken(facts, reading)
    due = facts.staged("odometer", "due")
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

KEPT = ("taken", "corrected", "ring")
"""What a turn's event says when a reading or a count was kept in it."""


class Carried:
    """Which sound belongs to the reading that is read back. Nothing else is kept of any sound."""

    def __init__(self) -> None:
        self._asked: list[Samples] = []
        self._of: Taken | None = None
        self._sound: list[Samples] = []

    def ask(self, sound: Samples | None, goes_on: bool) -> None:
        """A question was asked back; if it `goes_on`, its answer completes what was said."""
        if not goes_on:
            self._asked = []
        elif sound is not None:
            self._asked = [*self._asked, sound]

    def take(
        self, act: Act, sound: Samples | None, changes: dict[str, Any], job: Job
    ) -> list[Samples]:
        """The sounds of the reading that this turn kept, in order; mostly one, or none.

        Args:
            act: the turn's, already applied to `job`.
            sound: the turn's own sound, if it was spoken.
            changes: what the turn changed, as the record keeps it.
            job: how it stands now.
        """
        now = [*self._asked, *([] if sound is None else [sound])]
        self._asked = []
        kept: list[Samples] = []
        if any(name in changes for name in KEPT):
            kept = now if act.reading is not None else self._sound
        if job.pending is None:
            self._of, self._sound = None, []
        elif job.pending is not self._of:
            self._of, self._sound = job.pending, now
        return kept


def clip_of(journal: Journal, sounds: list[Samples]) -> dict[str, Any]:
    """Put the sounds beside the record as one; gives what the turn's event holds of them."""
    import numpy as np

    try:
        return keep(journal.path.parent, journal.path.name, np.concatenate(sounds))
    except ClipError as error:
        return {"lost": str(error)}  # a reading is not given up for its sound
