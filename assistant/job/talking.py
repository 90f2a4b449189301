"""Talk about the job: back, repeat, where, why, how long, note, help; and the sign-off."""

from __future__ import annotations

from assistant.act import Act, Said
from assistant.job import asides as complaining
from assistant.job import asides as picturing
from assistant.job import prompts, words
from assistant.job.answering import Answering
from assistant.job.base import Replies
from assistant.job.facts import Taken
from assistant.job.machine import HALTED, REPAIR
from assistant.readings import QUANTITIES


class Talking(Answering):
    """Acts that ask about the job, or close it."""

    def _on_back(self, act: Act) -> Replies:
        if self.pending is not None or self.correcting or self.choice:
            self.pending, self.correcting, self.choice = None, "", ""
            return self.prompt()
        if self.facts.hold != "up":
            return [self._say(act.who, "back_no"), *self.prompt()]
        if self.facts.places["lock_plate"] == "out":
            return [self._say(act.who, "back_lock"), *self.prompt()]
        if self.state in (HALTED, REPAIR):
            return self._hint(act)
        if self.state == "ring_gap":
            moved = words.moved(self.facts.lugs_total)
            return [self._say(act.who, "back_moved", moved=moved), *self.prompt()]
        out = []
        if self.facts.moves and self.step is not None and self.step.phase == "ring":
            out.append(self._say(act.who, "back_moved", moved=words.moved(self.facts.lugs_total)))
        if not self._trigger("back"):
            first = self.state == self.dialogs.steps[0].id
            reply = "back_start" if first else "back_blocked"
            return [self._say(act.who, reply), *self.prompt()]
        return [*out, *self.prompt(entering=True)]

    def _on_repeat(self, act: Act) -> Replies:
        return self.prompt()

    def _on_where(self, act: Act) -> Replies:
        step = self.dialogs.by_id.get(self.step_id)
        if step is None:
            return self.prompt()
        phase = self.dialogs.phase_of(step)
        seen = [f"{words.spoken(t.quantity)} {t.figures}" for t in self._newest()]
        state = words.truck_state(self.dialogs, self.facts)
        where = self._say(act.who, "where", heading=phase.heading, phase=phase.name, name=state)
        facts = [self._say(act.who, "facts", facts=", ".join(seen) + ".")] if seen else []
        return [where, *facts, *self.prompt()]

    def _newest(self) -> list[Taken]:
        out = []
        for name in QUANTITIES:
            taken = self.facts.latest(name)
            if taken is not None:
                out.append(taken)
        return out

    def _on_why(self, act: Act) -> Replies:
        step = self.dialogs.by_id.get(self.step_id)
        if step is None or self.state == HALTED:
            return self.prompt()
        return [Said(act.who, prompts.why(self.dialogs, self.facts, step), "reply:why")]

    def _on_complaint(self, act: Act) -> Replies:
        if self.facts.hold != "up":
            return self._hint(act)  # no talk over a held pedal
        return complaining.complain(self, act.who, act.text)

    def _on_picture(self, act: Act) -> Replies:
        if self.facts.hold != "up":
            return self._hint(act)
        return picturing.picture(self, act.who)

    def _on_how_long(self, act: Act) -> Replies:
        steps = self.dialogs.steps
        ids = [s.id for s in steps]
        at = ids.index(self.step_id) if self.step_id in ids else 0
        left = [
            s
            for s in steps[at:]
            if s.kind != "stop_bolt" and not (s.phase == "ring" and self.gap_right())
        ]
        total = f"{max(1.0, sum(s.minutes for s in left)):,.0f}"
        return [self._say(act.who, "how_long", minutes=total)]

    def _on_note(self, act: Act) -> Replies:
        if not act.text:
            return [self._say(act.who, "note_empty")]
        self.facts.notes.append((act.who, act.text))
        return [self._say(act.who, "noted")]

    def _on_help(self, act: Act) -> Replies:
        meanings = self.dialogs.words
        phrases = [meanings[m].phrases[0] for m in self.allowed()]
        if self.expects():
            phrases.insert(0, f"the {words.spoken(self.expects())}")
        phrases += ["stop", "back", "repeat", "why", "where are we", "correct that", "note"]
        return [self._say(act.who, "help", phrases=", ".join(dict.fromkeys(phrases)))]
