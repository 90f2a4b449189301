"""Stop, pause, carry on; the hold and its release. What is said here moves or frees a pedal."""

from __future__ import annotations

from assistant.act import Act
from assistant.job import words
from assistant.job.base import JobBase, Replies
from assistant.job.machine import HALTED


class Holding(JobBase):
    """Acts around the pedal."""

    def _on_stop(self, act: Act) -> Replies:
        if self.state == HALTED:
            self._unsure()
            return [
                self._say(
                    "both",
                    "already_stopped",
                    signal="DANGER",
                    cue="STOP",
                    state=words.truck_state(self.dialogs, self.facts),
                ),
                *self.prompt(),
            ]
        held = self.facts.hold != "up"
        state = words.truck_state(self.dialogs, self.facts)
        self._halt()
        helper = "stopped_helper_held" if held else "stopped_helper_up"
        if self.key_above():
            # The engine may be running, and in gear: a foot off the pedal would move the truck.
            helper = "stopped_helper_engine"
        return [
            self._say("tech", "stopped", signal="DANGER", cue="STOP", state=state),
            self._say("helper", helper, signal="DANGER", cue="STOP"),
            *self.prompt(),
        ]

    def _halt(self) -> None:
        if not (self.state == "ring_release" and self.release_halted):
            # A stop while the pedal is let up out of a stop still returns to where that was.
            self.return_to = self.state
        self.release_halted = False
        self._trigger("halt")
        self._unsure()

    def _unsure(self) -> None:
        """After a stop nothing about the pedal or the hands is taken on trust."""
        if self.facts.hold != "up":
            self.facts.hold = "unsure"
        if self.cover_open() or self.facts.hold != "up":
            self.facts.hands = "in"

    def _alarm(self) -> None:
        """The pedal moves, or may, with hands in the hole: everything halts."""
        self.facts.hold = "unsure"
        self.alarmed = True
        if self.state != HALTED:
            self._halt()

    def _on_pause(self, act: Act) -> Replies:
        state = words.truck_state(self.dialogs, self.facts)
        if self.state == HALTED:
            return [self._say("both", "already_stopped", state=state), *self.prompt()]
        if self.facts.hold != "up":
            self._halt()
            return [
                self._say("tech", "pause_held", signal="WARNING", state=state),
                self._say("helper", "stopped_helper_held", signal="WARNING", cue="STOP"),
                *self.prompt(),
            ]
        self._halt()
        return [self._say("both", "paused", state=state)]

    def _on_carry_on(self, act: Act) -> Replies:
        if self.state != HALTED:
            return [self._say(act.who, "nothing_stopped"), *self.prompt()]
        back = self.dialogs.by_id.get(self.return_to)
        if back is not None and back.held:
            self.after_hold = back.id
        self.release_halted = False
        self.alarmed = False
        if not self._trigger("carry_on"):
            return [self._say(act.who, "not_now", hint=self._stopped_next())]
        self.return_to = ""
        return [self._say("both", "carry_on"), *self.prompt(entering=True)]

    def _on_let_up(self, act: Act) -> Replies:
        if self.state != HALTED or self.facts.hold == "up":
            return self._hint(act)
        if not self.hands_clear():
            return [self._say("tech", "confirm_clear_first")]
        self.release_halted = True
        if not self._trigger("let_up"):
            return self._hint(act)
        return self.prompt(entering=True)

    def _on_resumed(self, act: Act) -> Replies:
        """The program was started again on this record: trust no pedal and no hand."""
        out: Replies = []
        if self.facts.hold != "up":
            if self.state != HALTED:
                self._halt()
            self._unsure()
            out.append(self._say("both", "resumed_hold", signal="WARNING"))
        elif self.cover_open():
            self.facts.hands = "in"
        state = words.truck_state(self.dialogs, self.facts)
        return [self._say("both", "resumed", state=state), *out, *self.prompt(entering=True)]

    def _on_holding(self, act: Act) -> Replies:
        if self.state == "ring_hold":
            self.facts.hold = "held"
            return self._advance(self._say("helper", "hold_standing"))
        if self.facts.hold == "held":
            return [self._say("helper", "hold_standing")]
        if self.pressing_is_danger():
            self._alarm()
            return [
                self._say("tech", "pedal_moving", signal="DANGER", cue="STOP"),
                self._say("helper", "stopped_helper_held", signal="DANGER", cue="STOP"),
                *self.prompt(),
            ]
        if self.state == HALTED:
            # He may be holding still, or have pressed again: down, but not to be relied on.
            self.facts.hold = "unsure"
            return [self._say("helper", "stopped_helper_held", signal="DANGER", cue="STOP")]
        return self._not_now("helper")

    def _on_lost(self, act: Act) -> Replies:
        if self.facts.hold == "up":
            return self._not_now("helper")
        self._alarm()
        state = words.truck_state(self.dialogs, self.facts)
        return [
            self._say("tech", "hold_lost", signal="DANGER", cue="STOP"),
            self._say("helper", "hold_lost_helper", signal="DANGER"),
            self._say("tech", "already_stopped", state=state),
            *self.prompt(),
        ]

    def _on_clear(self, act: Act) -> Replies:
        if self.state == HALTED:
            self.facts.hands = "clear"
            return [self._say("tech", "clear_heard"), *self.prompt()]
        step = self.step
        if step is None or step.kind != "clear":
            return self._hint(act)
        self.facts.hands = "clear"
        return self._advance(self._say("tech", "clear_heard"))

    def _on_released(self, act: Act) -> Replies:
        if self.state == "ring_release":
            self.facts.hold = "up"
            return self._advance(self._say("both", "release_ok"))
        if self.state == HALTED:
            alarm = not (self.alarmed or self.hands_clear() or self.facts.hold == "up")
            self.facts.hold = "up"
            self.alarmed = self.alarmed or alarm
            out = [self._say("tech", "hold_lost", signal="DANGER", cue="STOP")] if alarm else []
            return [*out, self._say("both", "release_ok"), *self.prompt()]
        if self.facts.hold != "up":
            return self._on_lost(act)
        return self._not_now("helper")
