"""Readings and counts taken in, confirmed, kept, accepted."""

from __future__ import annotations

from assistant.act import Act
from assistant.job import outcome, words
from assistant.job.base import Replies
from assistant.job.correcting import Correcting
from assistant.job.facts import RingMove, Taken
from assistant.job.machine import FIX
from assistant.texts.dialogs import Step


class Taking(Correcting):
    """Acts that carry a reading, or decide about one."""

    def _on_reading(self, act: Act) -> Replies:
        expected = self.expects()
        if not expected or act.reading is None:
            return self._hint(act)
        if expected == "lugs":
            if act.who != "tech":
                return self._only(act, "tech", "the count")
            if act.reading["count"] is None:
                return self._hint(act)
            return self._take_count(act, float(act.reading["count"]))
        if act.reading["value_in"] is None and expected != "odometer":
            return self._hint(act)
        stage, step_id = self._stage_now()
        taken = Taken.of(step_id, stage, expected, act.who, act.reading)
        step = self.step
        other = step is not None and act.who != step.who  # an echo of the other's reading, perhaps
        if outcome.is_critical(taken) or self.correcting or other or act.doubt:
            self.pending = taken
            return [self._confirm(taken)]
        return self._keep(taken)

    def _stage_now(self) -> tuple[str, str]:
        step = self.step
        if step is not None and step.kind == "read":
            changed = bool(self.facts.moves or self.facts.linkage)
            if step.stage == "found" and changed:
                return "again", step.id  # read once more after changes: not as found
            return step.stage, step.id
        return ("ring" if self.facts.moves or self.facts.by_maker else "found"), self.state

    def _take_count(self, act: Act, count: float) -> Replies:
        plan = self.facts.plans.ring()
        told = plan.lugs if plan is not None else 0
        sign = 1 if told >= 0 else -1
        if self.correcting == "lugs":  # the plan is of the next move by now
            last = self.facts.moves[-1]
            sign = 1 if (last.moved or last.told) >= 0 else -1
        if act.way:
            sign = 1 if act.way == "tighter" else -1
        moved = sign * int(count)
        figures = words.moved(moved)
        self.pending = Taken(
            self.state,
            "ring",
            "lugs",
            act.who,
            None,
            None,
            None,
            float(moved),
            "lugs",
            figures,
            figures,
        )
        return [self._confirm(self.pending)]

    def _commit(self) -> Replies:
        taken = self.pending
        assert taken is not None
        self.pending = None
        if self.correcting:
            if taken.quantity != self.correcting:
                return self.prompt()
            return self._commit_correction(taken)
        if taken.quantity == "lugs":
            return self._ring_moved(taken)
        return self._keep(taken)

    def _ring_moved(self, taken: Taken) -> Replies:
        plan = self.facts.plans.ring()
        told = plan.lugs if plan else 0
        moved = int(taken.count or 0)
        self.facts.moves.append(RingMove(told, moved, len(self.facts.readings)))
        self.facts.turning = False
        out = []
        if moved != told:
            out.append(
                self._say("tech", "lugs_differ", moved=words.moved(moved), told=words.moved(told))
            )
        return self._advance(*out)

    def _keep(self, taken: Taken) -> Replies:
        """Take a reading in, judge it, and go where it leads."""
        found = self.facts.as_found("odometer")
        if taken.stage == "due" and found is not None and (taken.count or 0) < (found.count or 0):
            said = self._say(taken.who, "due_past", figures=taken.figures, found=found.figures)
            return [said]
        self.facts.readings.append(taken)
        result = outcome.after(self, taken)
        if result.route == "stay":
            self.choice = result.choice
            return [*result.said, *self.prompt()]
        if self.state == "ring_plan" and not self.gap_right():
            return [*result.said, *self.prompt()]  # the plan is new: it is shown before it is done
        self.fix = result.route == "fix"
        return self._advance(*result.said)

    def _on_accept(self, act: Act) -> Replies:
        step = self.step
        gap_decision = self._gap_judgement()
        if step is not None and step.kind in ("plan", "maker"):
            if gap_decision != "too close":
                return [self._say(act.who, "accept_no"), *self.prompt()]
            return self._accepted(self.facts.latest("gap"), act)
        if step is not None and step.kind in ("rod", "stop_bolt"):
            return self._leave(step, act)
        if not self.choice or step is None:
            return [self._say(act.who, "accept_nothing"), *self.prompt()]
        if self.choice == "out" and step.reading == "gap":
            return [self._say(act.who, "accept_no"), *self.prompt()]
        if self.choice == "out" and not act.text:
            return [self._say(act.who, "accept_why")]
        return self._accepted(self.facts.latest(step.reading), act)

    def _leave(self, step: Step, act: Act) -> Replies:
        """Accept the reading that this change was for, and why; leave the change undone."""
        if not act.text:
            return [self._say(act.who, "accept_why")]
        quantity = next(q for q, fix in FIX.items() if fix == step.id)
        taken = self.facts.latest(quantity)
        if taken is None:
            return self._hint(act)
        self.facts.left.add(quantity)
        self.leaving = True
        return self._accepted(taken, act)

    def _accepted(self, taken: Taken | None, act: Act) -> Replies:
        assert taken is not None
        taken.accepted = act.text or "too close to call"
        self.choice = ""
        return self._advance(self._say(act.who, "accepted"))

    def _on_move(self, act: Act) -> Replies:
        step = self.step
        if step is not None and step.kind == "plan":
            return self._advance()
        if self.choice and step is not None and outcome.can_fix(self, step.reading):
            self.fix = True
            return self._advance()
        return self._hint(act)

    def _on_measure(self, act: Act) -> Replies:
        self.choice = ""
        step = self.step
        if step is not None and step.kind in ("plan", "maker"):
            self.correcting = ""
            return [self._say("tech", "what_correct", quantity="gap")]
        return self.prompt()
