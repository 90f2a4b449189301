"""Corrections: a reading is replaced where it stands, and what it upset is put right."""

from __future__ import annotations

from assistant.act import Said
from assistant.job import outcome, prompts, words
from assistant.job.base import Replies
from assistant.job.facts import RingMove, Taken
from assistant.job.holding import Holding


class Correcting(Holding):
    """Acts that change what was said before."""

    def last_quantity(self) -> str:
        """The quantity that a bare "correct that" is about."""
        readings, moves = self.facts.readings, self.facts.moves
        if moves and moves[-1].at == len(readings):
            return "lugs"
        return readings[-1].quantity if readings else ""

    def _correctable(self, quantity: str) -> Taken | RingMove | None:
        if quantity == "lugs":
            return self.facts.moves[-1] if self.facts.moves else None
        return next((t for t in reversed(self.facts.readings) if t.quantity == quantity), None)

    def _commit_correction(self, new: Taken) -> Replies:
        quantity, self.correcting = self.correcting, ""
        old = self._correctable(quantity)
        if isinstance(old, RingMove):
            old.moved = int(new.count or 0)
        elif old is not None:
            was = old.figures
            # By identity: two readings of one value are still two readings.
            index = next(i for i, t in enumerate(self.facts.readings) if t is old)
            new.step, new.stage = old.step, old.stage
            self.facts.readings[index] = new
            self.facts.notes.append(("lugcall", f"{quantity} corrected from {was}"))
        said = [
            self._say("both", "corrected", quantity=words.spoken(quantity), figures=new.figures)
        ]
        if new.value_in is not None:
            verdict = prompts.judged(self.dialogs, self.facts, new, self.facts.judged(new))
            said.append(self._say("tech", "facts", facts=verdict))
        return self._after_correction(*said)

    def _after_correction(self, *said: Said) -> Replies:
        """Whatever the correction upset is put right: the ring first."""
        self.choice = ""
        step = self.step
        if step is None:
            return [*said, *self.prompt()]
        if self.past_ring(step.id) and not self.gap_right():
            target = "ring_gap" if self.gap_unread() else "ring_plan"
            return self._reroute(target, *said, self._say("both", "gap_not_right"))
        if step.kind == "turn":
            plan = self.facts.plans.ring()
            if plan is not None:
                changed = self._say(
                    "tech", "plan_change", lugs=words.lugs(plan.lugs), way=words.way(plan.lugs)
                )
                return [*said, changed, *self.prompt()]
        ids = [s.id for s in self.dialogs.steps]
        upset = self.unsettled_final()
        final = f"final_{outcome.SHORT[upset]}" if upset else ""
        if final and self.facts.staged(upset, "final") and ids.index(step.id) > ids.index(final):
            return self._reroute(final, *said)
        return [*said, *self.prompt()]
