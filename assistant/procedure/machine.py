"""The state machine, built from the dialogs' steps on `transitions`; guards from `interlocks`."""

from __future__ import annotations

from typing import Any

from transitions import Machine

from . import interlocks
from .dialog import Dialogs, Step

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
