"""The state machine, built from the dialogs' steps on `transitions`; guards from `interlocks`."""

from __future__ import annotations

from typing import Any

from transitions import EventData, Machine

from assistant import interlocks
from assistant.job.facts import Facts
from assistant.texts.dialogs import Dialogs, Step

HALTED = "halted"
REPAIR = "repair"
SIGNED = "signed_off"

FIX = {
    "gap": "ring_plan",
    "clearance": "fork_rod",
    "pedal-height": "height_stop",
    "total-travel": "total_stop",
    "free-travel": "free_rod",
    "brake-contact": "contact_rod",
}
"""Where a reading that is out is put right."""

_AGAIN = {
    "fork_rod": "fork_clearance",
    "height_stop": "set_height",
    "total_stop": "set_total",
    "free_rod": "set_free",
    "contact_rod": "set_free",
}
"""A change on the linkage is read again at once."""

REROUTES = (
    "ring_plan",
    "ring_gap",
    "final_gap",
    "final_clearance",
    "final_height",
    "final_total",
    "final_free",
    "final_contact",
)
_SIDE = ("rod", "stop_bolt")
_HELD = ("ring_hold", "ring_turn", "ring_tool", "ring_lock", "ring_clear", "ring_release")
"""Steps in which the pedal may be down."""


def build(model: object, dialogs: Dialogs, initial: str) -> Machine:
    """The machine for `model`, which has the guards as methods. States are step ids."""
    steps = dialogs.steps
    states = [s.id for s in steps] + [HALTED, REPAIR, SIGNED]
    return Machine(
        model=model,
        states=states,
        initial=initial,
        transitions=transitions(dialogs),
        auto_transitions=False,
        send_event=True,
        after_state_change="entered",
    )


def transitions(dialogs: Dialogs) -> list[dict[str, Any]]:
    """Every edge of the procedure, each with the guards of the step it leads into."""
    steps = dialogs.steps
    out: list[dict[str, Any]] = []
    guards_of = {s.id: interlocks.into(s, steps) for s in steps}

    def edge(trigger: str, source: str, dest: str, *conditions: str) -> None:
        out.append(
            {
                "trigger": trigger,
                "source": source,
                "dest": dest,
                "conditions": list(dict.fromkeys([*conditions, *guards_of.get(dest, ())])),
            }
        )

    # Stopped in the release, and the pedal came up meanwhile: nothing is left to release.
    edge("carry_on", HALTED, "ring_gap", "returns_to_release")
    ids = [s.id for s in steps]
    for i, step in enumerate(steps):
        after = steps[i + 1].id if i + 1 < len(steps) else SIGNED
        _forward(edge, steps, step, after)
        if step.kind == "sound":
            edge("not_sound", step.id, REPAIR)
        edge("halt", step.id, HALTED)
        edge("carry_on", HALTED, step.id, f"returns_{step.id}")
        before = _before(steps, i)
        if before and step.id not in _HELD and step.id not in interlocks.DETOURS:
            edge("back", step.id, before)
    # A failed function check left the key above: make it safe again before going under.
    edge("repaired", REPAIR, "chain_pedal")
    edge("repaired", REPAIR, "chocks")
    edge("halt", REPAIR, HALTED)
    edge("carry_on", HALTED, REPAIR, "returns_repair")
    # What a stop in mid-hold, or a correction, may no longer step straight back into.
    if "ring_hold" in ids:  # not on a clutch that adjusts itself
        edge("carry_on", HALTED, "ring_ready", "returns_to_hold")
        edge("carry_on", HALTED, "ring_clear", "returns_to_release")
    edge("carry_on", HALTED, "ring_plan", "returns_past_ring", "gap_wrong")
    edge("carry_on", HALTED, "ring_gap", "returns_past_ring", "gap_unread")
    edge("let_up", HALTED, "ring_release")
    first = ids.index("fork_clearance")
    for step in steps[first:]:
        if step.id in interlocks.DETOURS:
            continue
        edge("reroute", step.id, "key_back", "key_above")
        edge("reroute", step.id, "reopen_cover", "cover_in_the_way")
        for target in REROUTES:
            if target != step.id and target in ids:
                edge("reroute", step.id, target, f"wants_{target}")
    return out


def _forward(edge: Any, steps: tuple[Step, ...], step: Step, after: str) -> None:
    """The ways on from a step when it is done, first that opens wins."""
    if step.id in ("found_clearance", "ring_gap"):
        edge("advance", step.id, "fork_clearance", "gap_right")
        edge("advance", step.id, "ring_plan", "gap_wrong")
    elif step.id == "ring_plan":
        edge("advance", step.id, "fork_clearance", "gap_right")
        if step.kind == "maker":
            edge("advance", step.id, "ring_gap")
        else:
            edge("advance", step.id, after, "ring_wanted")
    elif step.kind == "hold":
        for target in ("ring_turn", "ring_tool", "ring_lock"):
            edge("advance", step.id, target, f"holds_for_{target}")
    elif step.kind == "release":
        edge("advance", step.id, HALTED, "release_was_halted")
        edge("advance", step.id, after)
    elif step.id in interlocks.DETOURS:
        if step.id == "key_back":
            edge("advance", step.id, "reopen_cover", "cover_in_the_way")
        ids = [s.id for s in steps]
        for target in REROUTES:
            if target in ids:
                edge("advance", step.id, target, f"wants_{target}")
    elif step.id in _AGAIN:
        # The reading stands as it is, accepted: on, without another change.
        edge("advance", step.id, _past_side(steps, step), "leaves")
        edge("advance", step.id, _AGAIN[step.id])
    elif step.kind == "read" and step.stage in ("set", "final"):
        if step.reading in FIX:
            edge("advance", step.id, FIX[step.reading], "wants_fix")
        edge("advance", step.id, _past_side(steps, step), "settled")
    elif step.kind == "sign":
        edge("advance", step.id, after, "all_settled")
    else:
        edge("advance", step.id, after)


def _past_side(steps: tuple[Step, ...], step: Step) -> str:
    """The next step in order that is not a change on rod or stop."""
    at = next(i for i, s in enumerate(steps) if s.id == step.id) + 1
    while steps[at].kind in _SIDE or steps[at].id in interlocks.DETOURS:
        at += 1
    return steps[at].id


def _before(steps: tuple[Step, ...], i: int) -> str:
    """Where "back" leads: the last step that moved nothing."""
    if steps[i].id == "ring_gap":
        return ""
    for step in reversed(steps[:i]):
        if step.kind in ("rod", "stop_bolt", "plan", "maker", "clear", "hold", "turn", "release"):
            continue
        if step.id in interlocks.DETOURS:
            continue
        if step.id in _HELD or (
            step.id in ("ring_show", "ring_unlock", "ring_gap") and steps[i].phase != "ring"
        ):
            continue
        return step.id
    return ""


def may_be_held(step_id: str) -> bool:
    """Whether the pedal may be down in this step."""
    return step_id in _HELD


# --- The machine's guards: questions about the facts, asked before every move between steps.

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
        plan = self.facts.plans.ring()
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
