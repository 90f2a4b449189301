"""Plain answers: done, ready, sound, skip, check, no, correct."""

from __future__ import annotations

from dataclasses import replace

from assistant import interlocks
from assistant.act import Act
from assistant.job import asides as complaining
from assistant.job import prompts, words
from assistant.job.base import Replies
from assistant.job.facts import LinkageMove
from assistant.job.machine import HALTED, REPAIR
from assistant.job.taking import Taking
from assistant.texts.dialogs import Step


class Answering(Taking):
    """Acts that answer the present step in one word."""

    def _on_done(self, act: Act) -> Replies:
        step = self.step
        if self.pending is not None:
            return self._on_check(act)
        if step is None or self.choice or self.correcting:
            return self._hint(act)
        if step.kind in ("act", "rod", "stop_bolt"):
            if step.who == "helper" and act.who != "helper":
                return self._only(act, "helper", "ready" if step.id == "helper_ready" else "done")
            if step.who == "tech" and act.who != "tech":
                return self._only(act, "tech", "done")
            return self._act_done(step)
        if step.kind == "turn":
            if act.who != "tech":
                return self._only(act, "tech", "the count")
            if self.turn_again:
                return [self._turn_prompt()]  # "done" leaves open how much, all in all
            plan = self.facts.plans.ring()
            return self._take_count(act, float(abs(plan.lugs) if plan else 0))
        if step.kind == "plan":
            return self._on_check(act)
        if step.kind == "maker":
            return self._maker_done(act)
        return self._hint(act)

    def _maker_done(self, act: Act) -> Replies:
        """The maker's procedure was carried out: what was read of the bearing is history."""
        if act.who != "tech":
            return self._only(act, "tech", "done")
        at = len(self.facts.readings)
        self.facts.linkage.append(LinkageMove("ring_plan", "maker's procedure", 0.0, at))
        return self._advance()

    def _act_done(self, step: Step) -> Replies:
        for place, value in step.sets:
            self.facts.places[place] = value
        if step.id in interlocks.DETOURS:
            said = self._advance()
            if self.state not in interlocks.DETOURS:
                self.wanted = ""
            return said
        if step.kind in ("rod", "stop_bolt"):
            plan = prompts.rod_plan(self.facts, step) if step.kind == "rod" else None
            what = prompts.blanks(self.dialogs, self.facts, step)
            text = f"{what.get('rod', '')} {what.get('rod_way', '')}".strip()
            self.facts.linkage.append(
                LinkageMove(
                    step.id,
                    text or what.get("stop_move", ""),
                    plan.rod.travel_in if plan else 0.0,
                    len(self.facts.readings),
                )
            )
        return self._advance()

    def _on_ready(self, act: Act) -> Replies:
        return self._on_done(act) if self.state == "helper_ready" else self._hint(act)

    def _on_sound(self, act: Act) -> Replies:
        step = self.step
        return self._advance() if step is not None and step.kind == "sound" else self._hint(act)

    def _on_not_sound(self, act: Act) -> Replies:
        step = self.step
        if step is None or step.kind != "sound":
            return self._hint(act)
        self.facts.remarks.append(f"not sound at {step.id.replace('_', ' ')}, before repair")
        self._trigger("not_sound")
        more = [self._say("both", "need_bleed")] if step.id == "chain_fluid" else []
        if act.text:  # "it grinds into gear": what may be behind it
            more += complaining.complain(self, "tech", act.text)
        return [self._say("both", "need_repair", signal="WARNING"), *more]

    def _on_repaired(self, act: Act) -> Replies:
        if self.state != REPAIR:
            return self._hint(act)
        self._trigger("repaired")
        return [self._say("both", "repair_done"), *self.prompt(entering=True)]

    def _on_skip(self, act: Act) -> Replies:
        step = self.step
        if step is None or not step.optional:
            return [self._say(act.who, "skip_no"), *self.prompt()]
        return self._advance()

    def _on_check(self, act: Act) -> Replies:
        if self.pending is not None:
            if self.pending.who == "tech" and act.who != "tech":
                return self._only(act, "tech", "check")
            return self._commit()
        if self.signing and act.who == "tech":
            return self._on_sign_off(replace(act, text=self.signing))
        step = self.step
        if step is None or self.choice or self.correcting:
            return self._hint(act)
        if step.kind == "plan":
            if act.who != "tech":
                return self._only(act, "tech", "check")
            judgement = self._gap_judgement()
            if judgement == "too close" and act.meaning == "check":
                return self._hint(act)
            return self._advance()
        if step.kind in ("act", "rod", "stop_bolt") and step.phase != "safe":
            return self._on_done(act)
        return self._hint(act)  # making it safe wants "done", not a stray "yep"

    def _on_no(self, act: Act) -> Replies:
        if self.pending is not None:
            self.pending = None
            return [self._say(act.who, "dropped"), *self.prompt()]
        if self.signing:
            self.signing = ""
            return [self._say(act.who, "dropped"), *self.prompt()]
        return self._hint(act)

    def _on_sign_off(self, act: Act) -> Replies:
        step = self.step
        if step is None or step.kind != "sign":
            return self._hint(act)
        if not act.text:
            return [self._say(act.who, "sign_code")]
        if act.doubt and act.text != self.signing:
            self.signing = act.text
            return [self._say(act.who, "confirm_code", code=" ".join(act.text))]
        if not self.all_settled():
            return self._blocked()
        self.facts.code = act.text
        if not self._trigger("advance"):
            self.facts.code = ""
            return self._blocked()
        doubts = len(self.facts.doubts)
        return [self._say("both", "signed_doubts", doubts=doubts)] if doubts else []

    def _on_unclear(self, act: Act) -> Replies:
        return self._hint(act, not_now=False)

    def _on_correct(self, act: Act) -> Replies:
        if self.pending is not None and not act.quantity and act.reading is None:
            return self._on_no(act)
        if self.state == HALTED:
            return [self._say(act.who, "not_now", hint=self._stopped_next())]
        quantity = act.quantity or self.last_quantity()
        if not quantity or self._correctable(quantity) is None:
            return [self._say(act.who, "nothing_to_correct"), *self.prompt()]
        self.pending = None
        self.correcting = quantity
        if act.reading is None:
            return [self._say(act.who, "what_correct", quantity=words.spoken(quantity))]
        return self._on_reading(act)
