"""The rules that no text can switch off.

    Never linkage before internal.
    Never a ring move without the helper confirming that the pedal is down and held.
    Never "release" while hands or a tool may be in the inspection hole.
    Never past the ring with its lock plate out, nor under the truck with the key above.

Each is a guard on every transition into a step of the kind it concerns (`into`), so that back,
resume, correction and a shop's edited order all meet the same gate. The order of the trade
itself is common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.texts.dialogs import Step
    from assistant.texts.variants import Traits

REQUIRED: tuple[tuple[str, str], ...] = (
    ("chocks", "act"),
    ("parking_brake", "act"),
    ("neutral", "act"),
    ("key", "act"),
    ("stands", "act"),
    ("eyes", "act"),
    ("helper_ready", "act"),
    ("chain_pedal", "sound"),
    ("chain_lever", "sound"),
    ("chain_loose", "sound"),
    ("chain_binding", "sound"),
    ("found_height", "read"),
    ("found_total", "read"),
    ("found_free", "read"),
    ("found_contact", "read"),
    ("cover_off", "act"),
    ("found_gap", "read"),
    ("found_clearance", "read"),
    ("ring_plan", "plan"),
    ("ring_show", "act"),
    ("ring_unlock", "act"),
    ("ring_ready", "clear"),
    ("ring_hold", "hold"),
    ("ring_turn", "turn"),
    ("ring_tool", "act"),
    ("ring_lock", "act"),
    ("ring_clear", "clear"),
    ("ring_release", "release"),
    ("ring_gap", "read"),
    ("fork_clearance", "read"),
    ("fork_rod", "rod"),
    ("set_height", "read"),
    ("height_stop", "stop_bolt"),
    ("set_total", "read"),
    ("total_stop", "stop_bolt"),
    ("set_free", "read"),
    ("free_rod", "rod"),
    ("set_contact", "read"),
    ("contact_rod", "rod"),
    ("key_back", "act"),
    ("reopen_cover", "act"),
    ("final_gap", "read"),
    ("final_clearance", "read"),
    ("final_height", "read"),
    ("final_total", "read"),
    ("final_free", "read"),
    ("final_contact", "read"),
    ("cover_on", "act"),
    ("lubricate", "act"),
    ("out_from_under", "act"),
    ("hand_key", "act"),
    ("function", "sound"),
    ("sign_off", "sign"),
)
"""Steps that must be there, in this order, on the usual truck. A shop may add between them."""
_BRAKE = ("found_contact", "set_contact", "contact_rod", "final_contact")
_RING = (
    *("ring_show", "ring_unlock", "ring_ready", "ring_hold", "ring_turn", "ring_tool"),
    *("ring_lock", "ring_clear"),
)
_MORE = {
    "cable": {"chain_loose": (("chain_cable", "sound"),)},
    "hydraulic": {
        "chain_loose": (("chain_fluid", "sound"),),
        "lubricate": (("final_fluid", "act"),),
    },
}
"""Linkage -> what must come after which step."""


def required(traits: Traits) -> tuple[tuple[str, str], ...]:
    """Steps, and their kinds, that must be there on a truck of this kind, in this order.

    A clutch that adjusts itself keeps the release: a pedal pressed by mistake still comes up only
    when it is told to.
    """
    brake = traits["transmission"] != "synchronized"
    ring = traits["clutch"] != "self-adjusting"
    more = _MORE.get(traits["linkage"], {})
    out: list[tuple[str, str]] = []
    for step_id, kind in REQUIRED:
        if (step_id in _BRAKE and not brake) or (step_id in _RING and not ring):
            continue
        out.append((step_id, "maker" if step_id == "ring_plan" and not ring else kind))
        out += more.get(step_id, ())
    return tuple(out)


_READS = {
    "height": "pedal-height",
    "total": "total-travel",
    "free": "free-travel",
    "contact": "brake-contact",
    "gap": "gap",
    "clearance": "clearance",
}
_STAGES = {"found": "found", "ring": "ring", "fork": "set", "set": "set", "final": "final"}
_SETS = {
    "key": ("key", "tech"),
    "cover_off": ("cover", "off"),
    "ring_unlock": ("lock_plate", "out"),
    "ring_lock": ("lock_plate", "in"),
    "key_back": ("key", "tech"),
    "reopen_cover": ("cover", "off"),
    "cover_on": ("cover", "on"),
    "hand_key": ("key", "helper"),
}
"""What the required steps must note about the truck; no other step may note it."""
DETOURS = ("key_back", "reopen_cover")
"""Steps off the straight path: taken only when something has to be opened up again."""
_OWN = ("hold", "turn", "release", "plan", "maker", "rod", "stop_bolt", "sign")
HOLDING = ("ring_turn", "ring_tool", "ring_lock")
_HELPER = ("helper_ready", "chain_pedal", "ring_hold", "ring_release")


def order_problem(steps: Sequence[Step], traits: Traits) -> str:
    """One line on what breaks the trade's order on a truck of this kind, or ""."""
    wanted_steps = required(traits)
    at = {s.id: i for i, s in enumerate(steps)}
    kinds = {s.id: s for s in steps}
    last, last_id = -1, ""
    for step_id, kind in wanted_steps:
        if step_id not in at:
            return f"step {step_id} is missing; put it back"
        step = kinds[step_id]
        if step.kind != kind:
            return f"step {step_id} must be of kind {kind}"
        if at[step_id] < last:
            return f"step {step_id} must come after {last_id}"
        last, last_id = at[step_id], step_id
        part = step_id.split("_")[1] if "_" in step_id else ""
        if kind == "read" and step.reading != _READS[part]:
            return f"step {step_id} must read {_READS[part]}"
        if kind == "read" and step.stage != _STAGES[step_id.split("_")[0]]:
            return f"step {step_id} must have stage {_STAGES[step_id.split('_')[0]]}"
        if kind == "read" and step.optional:
            return f"step {step_id} cannot be optional"
        if step_id in _HELPER and step.who != "helper":
            return f"step {step_id} is the helper's; set who to helper"
    for step in steps:
        wanted = (_SETS[step.id],) if step.id in _SETS else ()
        if step.sets != wanted:
            note = " = ".join(wanted[0]) if wanted else "nothing"
            return f"step {step.id} must set {note}"
        if step.who not in ("tech", "helper"):
            return f"step {step.id}: who must be tech or helper"
        inside = "ring_hold" in at and at["ring_hold"] < at[step.id] < at["ring_clear"]
        if inside and step.id not in HOLDING:
            return f"step {step.id} cannot stand while the pedal is held; move it"
        if step.id in HOLDING and not step.held:
            return f"step {step.id} needs needs_hold = true"
        if step.needs_hold and not inside:
            return f"step {step.id} cannot need the hold outside the ring move"
        if step.kind in _OWN and (step.id, step.kind) not in wanted_steps:
            return f"step {step.id}: only lugcall's own steps may be of kind {step.kind}"
        if step.kind == "clear" and step.id not in ("ring_ready", "ring_clear"):
            return f"step {step.id}: only lugcall's own steps may be of kind clear"
    return ""


def into(step: Step, steps: Sequence[Step]) -> list[str]:
    """Names of the guards (methods of the machine's model) on every way into `step`."""
    guards = []
    if step.held:
        guards.append("hold_confirmed")
    if step.kind in ("hold", "release"):
        guards.append("hands_clear")
    ids = [s.id for s in steps]
    at = ids.index(step.id)
    if step.id == "ring_gap":
        guards += ["pedal_up", "lock_in"]
    if at >= ids.index("fork_clearance") and step.id not in DETOURS:
        guards += ["gap_right", "pedal_up", "lock_in"]
    if ids.index("chain_pedal") <= at <= ids.index("out_from_under") and step.id != "key_back":
        guards.append("key_below")
    if step.reading in ("gap", "clearance") or step.phase == "ring":
        guards.append("cover_open")
    if at > ids.index("cover_on"):
        guards.append("cover_closed")
    return guards
