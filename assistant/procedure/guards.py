"""The machine's guards: questions about the facts, asked before every move between steps."""

from __future__ import annotations

from transitions import EventData

from .dialog import Dialogs, Step
from .facts import Facts
from .machine import REROUTES, may_be_held

_FINAL = {
    "gap": "final_gap",
    "clearance": "final_clearance",
    "pedal-height": "final_height",
    "total-travel": "final_total",
    "free-travel": "final_free",
    "brake-contact": "final_contact",
}
"""Quantity -> the step that reads it last."""


class Guards:
    """Mixed into `Job`; each method takes the event that `transitions` passes and answers it."""

    facts: Facts
    dialogs: Dialogs
    state: str
    return_to: str
    after_hold: str
    release_halted: bool
    wanted: str
    fix: bool
    leaving: bool

    def hold_confirmed(self, _: EventData | None = None) -> bool:
        """The helper has said that the pedal is down and held, and nothing has undone it."""
        return self.facts.hold == "held"

    def hands_clear(self, _: EventData | None = None) -> bool:
        """The technician has called clear, and no step since has put hands in."""
        return self.facts.hands == "clear"

    def pedal_up(self, _: EventData | None = None) -> bool:
        """The pedal is up: never pressed, or the helper said released."""
        return self.facts.hold == "up"

    def lock_in(self, _: EventData | None = None) -> bool:
        """The ring's lock plate is in."""
        return self.facts.places["lock_plate"] == "in"

    def key_below(self, _: EventData | None = None) -> bool:
        """The key is with the technician: nobody can start the engine."""
        return self.facts.places["key"] != "helper"

    def key_above(self, _: EventData | None = None) -> bool:
        """The key is with the helper."""
        return not self.key_below()

    def cover_open(self, _: EventData | None = None) -> bool:
        """The inspection cover is off."""
        return self.facts.places["cover"] == "off"

    def cover_closed(self, _: EventData | None = None) -> bool:
        """The inspection cover is on."""
        return not self.cover_open()

    def cover_in_the_way(self, _: EventData | None = None) -> bool:
        """The step wanted next looks into the hole, and the cover is on."""
        needs = ("ring_plan", "ring_gap", "final_gap", "final_clearance")
        return self.cover_closed() and self.wanted in needs

    def gap_right(self, _: EventData | None = None) -> bool:
        """The gap, read since the last ring move, is in (or too close and accepted)."""
        return self.facts.gap_right()

    def gap_unread(self, _: EventData | None = None) -> bool:
        """The ring moved and the gap was not read since."""
        return self.facts.latest("gap") is None

    def gap_wrong(self, _: EventData | None = None) -> bool:
        """The gap is known and not right."""
        return not self.gap_unread() and not self.gap_right()

    def ring_wanted(self, _: EventData | None = None) -> bool:
        """The plan moves the ring at least one lug."""
        plan = self.facts.ring_plan()
        return plan is not None and plan.lugs != 0

    def wants_fix(self, _: EventData | None = None) -> bool:
        """The reading just taken is to be put right on its own step."""
        return self.fix

    def leaves(self, _: EventData | None = None) -> bool:
        """The technician accepts the reading as it is and leaves this change undone."""
        return self.leaving

    def settled(self, _: EventData | None = None) -> bool:
        """The reading just taken stands."""
        return not self.fix

    def release_was_halted(self, _: EventData | None = None) -> bool:
        """The pedal was let up out of a stop: the stop goes on."""
        return self.release_halted

    def unsettled_final(self) -> str:
        """The first final reading that neither is in nor was accepted, or ""."""
        for quantity, step_id in _FINAL.items():
            if step_id not in self.dialogs.by_id:
                continue  # not on this kind of truck
            taken = self.facts.staged(quantity, "final")
            if taken is None or self.facts.latest(quantity) is not taken:
                return quantity
            judgement = self.facts.judged(taken)
            if judgement is not None and judgement.decision != "in" and not taken.accepted:
                return quantity
        return ""

    def all_settled(self, _: EventData | None = None) -> bool:
        """Every final reading is in, or accepted and marked."""
        return not self.unsettled_final()

    # --- where a stopped job goes on ---

    def _return_step(self) -> Step | None:
        return self.dialogs.by_id.get(self.return_to)

    def returns_repair(self, _: EventData | None = None) -> bool:
        """The stop came while waiting for a repair."""
        return self.return_to == "repair"

    def returns_to_hold(self, _: EventData | None = None) -> bool:
        """The stop came in a step that needs the pedal down: the hold starts over."""
        step = self._return_step()
        return step is not None and (step.held or step.kind == "hold")

    def returns_to_release(self, _: EventData | None = None) -> bool:
        """The stop came while the pedal was being let up: clear comes first again."""
        step = self._return_step()
        return step is not None and step.kind == "release"

    def returns_past_ring(self, _: EventData | None = None) -> bool:
        """The stop came after the ring was done."""
        return self.past_ring(self.return_to)

    def past_ring(self, step_id: str) -> bool:
        """Whether a step comes after the ring is done."""
        ids = [s.id for s in self.dialogs.steps]
        return step_id in ids and ids.index(step_id) >= ids.index("fork_clearance")

    def __getattr__(self, name: str) -> object:
        # One guard a step for each of these families, without fifty methods.
        for prefix, field in (
            ("returns_", "return_to"),
            ("holds_for_", "after_hold"),
            ("wants_", "wanted"),
        ):
            if name.startswith(prefix):
                target = name[len(prefix) :]
                if target in self.dialogs.by_id or target in REROUTES:
                    return lambda _=None: getattr(self, field) == target
        raise AttributeError(f"{type(self).__name__} has no {name}")

    def pressing_is_danger(self) -> bool:
        """Nobody was asked to press, and a hand may be in the hole."""
        return self.facts.hold == "up" and self.cover_open() and not self.hands_clear()

    def in_hold(self) -> bool:
        """Whether the pedal may be down now."""
        return self.facts.hold != "up" or may_be_held(self.state)
