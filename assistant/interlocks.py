"""The rules that no text can switch off.

    Never linkage before internal.
    Never a ring move without the helper confirming that the pedal is down and held; alone, only
        where the card names the shop's own way, by which it is held, and the technician looked.
    Never "release" while hands or a tool may be in the inspection hole.
    Never past the ring with its lock plate out, nor under the truck with the key above.
    Never a hand at hole or linkage before the helper has said that his foot is off the pedal.
    Never a pedal pressed while the shipping wedges of a new clutch may be in; and new parts are
        worked by the pedal only once the technician has called clear.

Each is a guard on every transition into a step of the kind it concerns (`into`), so that back,
resume, correction and a shop's edited order all meet the same gate. The order of the trade
itself is common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.hazards import NEEDS
from assistant.quantity import BY_STEP, CLEARANCE, GAP, PEDAL_HEIGHT, PEDAL_MOVES, RING_LEFT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.texts.dialogs import Meaning, Step, Traits


def _steps(kind: str, *ids: str) -> tuple[tuple[str, str], ...]:
    return tuple((step_id, kind) for step_id in ids)


LOOK = "look_inside"
"""The look into the open hole: brake, bearing, fork pads, oil."""
FUNCTION = ("function_release", "function", "function_brake", "function_slip")
"""What is tried with the engine on and everybody out."""
FIRST_NEW = "new_cover"
"""The first step of all where something was fitted new."""
IN_ONE_BREATH = (
    *("chain_loose", "chain_cable", "chain_fluid", "chain_binding"),
    *("cover_on", "final_fluid", "out_from_under", "hand_key", *FUNCTION),
)
"""Steps that may be answered with the next ones, each in its own words, besides making it safe."""
REQUIRED: tuple[tuple[str, str], ...] = (
    *_steps("act", "chocks", "parking_brake", "neutral", "key", "stands", "eyes", "helper_ready"),
    *_steps("act", "new_cover"),
    *_steps("count", "new_wedges"),
    *_steps("sound", "new_brake"),
    *_steps("clear", "new_ready"),
    *_steps("seat", "new_seat"),
    *_steps("sound", "chain_pedal", "chain_lever", "chain_loose", "chain_binding"),
    *_steps("read", "found_height", "found_total", "found_free", "found_contact"),
    *_steps("act", "cover_off"),
    *_steps("sound", LOOK),
    *_steps("read", "found_gap", "found_clearance"),
    *_steps("plan", "ring_plan"),
    *_steps("act", "ring_show", "ring_unlock"),
    *_steps("clear", "ring_ready"),
    *_steps("hold", "ring_hold"),
    *_steps("turn", "ring_turn"),
    *_steps("act", "ring_tool", "ring_lock"),
    *_steps("clear", "ring_clear"),
    *_steps("release", "ring_release"),
    *_steps("read", "ring_gap", "fork_clearance"),
    *_steps("rod", "fork_rod"),
    *_steps("read", "set_height"),
    *_steps("stop_bolt", "height_stop"),
    *_steps("read", "set_total"),
    *_steps("stop_bolt", "total_stop"),
    *_steps("read", "set_free"),
    *_steps("rod", "free_rod"),
    *_steps("read", "set_contact"),
    *_steps("rod", "contact_rod"),
    *_steps("act", "key_back", "reopen_cover", "lubricate"),
    *_steps("read", "final_gap", "final_clearance", "final_height", "final_total", "final_free"),
    *_steps("read", "final_contact"),
    *_steps("act", "cover_on", "out_from_under", "hand_key"),
    *_steps("sound", *FUNCTION),
    *_steps("act", "engine_off"),
    *_steps("sign", "sign_off"),
)
"""Steps that must be there, in this order, on the usual truck. A shop may add between them."""
_BRAKE = (
    "new_brake",
    "found_contact",
    "set_contact",
    "contact_rod",
    "final_contact",
    "function_brake",
)
_RING = (
    *("ring_show", "ring_unlock", "ring_ready", "ring_hold", "ring_turn", "ring_tool"),
    *("ring_lock", "ring_clear"),
)
_NEW = ("new_cover", "new_wedges", "new_brake", "new_ready", "new_seat")
"""The first set-up of what was fitted new, in order."""
_MORE = {
    "cable": {"chain_loose": (("chain_cable", "sound"),)},
    "hydraulic": {
        "chain_loose": (("chain_fluid", "sound"),),
        "cover_on": (("final_fluid", "act"),),
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
    new = traits.get("new", "nothing")
    none = {"new_wedges": ("nothing", "brake"), "new_brake": ("nothing", "clutch")}
    out: list[tuple[str, str]] = []
    for step_id, kind in REQUIRED:
        if (step_id in _BRAKE and not brake) or (step_id in _RING and not ring):
            continue
        if step_id in _NEW and new in none.get(step_id, ("nothing",)):
            continue
        out.append((step_id, "maker" if step_id == "ring_plan" and not ring else kind))
        out += more.get(step_id, ())
    return tuple(out)


_STAGES = {"found": "found", "ring": "ring", "fork": "set", "set": "set", "final": "final"}
_SETS = {
    "key": ("key", "tech"),
    "new_cover": ("cover", "off"),
    "cover_off": ("cover", "off"),
    "ring_unlock": ("lock_plate", "out"),
    "ring_lock": ("lock_plate", "in"),
    "key_back": ("key", "tech"),
    "reopen_cover": ("cover", "off"),
    "cover_on": ("cover", "on"),
    "hand_key": ("key", "helper"),
    "engine_off": ("key", "tech"),
}
"""What the required steps must note about the truck; no other step may note it."""
DETOURS = ("key_back", "reopen_cover")
"""Steps off the straight path: taken only when something has to be opened up again."""
_OWN = (
    *("clear", "hold", "turn", "release", "plan", "maker", "rod", "stop_bolt", "sign"),
    *("count", "seat"),
)
HOLDING = ("ring_turn", "ring_tool", "ring_lock")
_HELPER = ("helper_ready", "new_seat", "chain_pedal", "ring_hold", "ring_release", *FUNCTION)


def order_problem(steps: Sequence[Step], traits: Traits) -> str:
    """One line on what breaks the trade's order on a truck of this kind, or ""."""
    wanted = required(traits)
    at = {s.id: i for i, s in enumerate(steps)}
    by_id = {s.id: s for s in steps}
    last_id = ""
    for step_id, kind in wanted:
        if step_id not in at:
            return f"step {step_id} is missing; put it back"
        if last_id and at[step_id] < at[last_id]:
            return f"step {step_id} must come after {last_id}"
        if problem := _required_problem(by_id[step_id], kind):
            return f"step {step_id} {problem}"
        last_id = step_id
    ring = range(at.get("ring_hold", 0) + 1, at.get("ring_clear", 0))
    problems = (_step_problem(step, at[step.id] in ring, wanted) for step in steps)
    return next((problem for problem in problems if problem), "")


def _required_problem(step: Step, kind: str) -> str:
    """What is wrong with a step that must be there, or ""."""
    if step.kind != kind:
        return f"must be of kind {kind}"
    if kind == "read":
        stage, _, part = step.id.partition("_")
        if step.reading != BY_STEP[part].name:
            return f"must read {BY_STEP[part].name}"
        if step.stage != _STAGES[stage]:
            return f"must have stage {_STAGES[stage]}"
        if step.optional:
            return "cannot be optional"
    if step.id in _HELPER and step.who != "helper":
        return "is the helper's; set who to helper"
    return ""


def _step_problem(step: Step, inside: bool, wanted: Sequence[tuple[str, str]]) -> str:
    """What is wrong with any step, or ""; `inside`: it stands where the pedal is held."""
    notes = dict([_SETS[step.id]]) if step.id in _SETS else {}
    if step.sets != notes:
        note = " = ".join(*notes.items()) if notes else "nothing"
        return f"step {step.id} must set {note}"
    if inside and step.id not in HOLDING:
        return f"step {step.id} cannot stand while the pedal is held; move it"
    if step.id in HOLDING and not step.held:
        return f"step {step.id} needs needs_hold = true"
    if step.needs_hold and not inside:
        return f"step {step.id} cannot need the hold outside the ring move"
    if step.kind in _OWN and (step.id, step.kind) not in wanted:
        return f"step {step.id}: only lugcall's own steps may be of kind {step.kind}"
    return ""


MEANINGS: dict[str, str] = {
    "stop": "any",
    **dict.fromkeys(("holding", "lost", "released", "foot_off", "ready"), "helper"),
    **dict.fromkeys(("clear", "carry_on", "let_up", "repaired", "sign_off"), "tech"),
    **dict.fromkeys(("accept", "measure", "move"), "tech"),
    **dict.fromkeys(("done", "check", "no", "sound", "not_sound", "skip", "correct", "back"), ""),
    **dict.fromkeys(("repeat", "where", "why", "how_long", "help", "note", "pause"), ""),
    **dict.fromkeys(("complaint", "picture", "danger", "wait", "how", "same", "start_over"), ""),
    **dict.fromkeys(("metric", "inch", "ask_gap", "ask_clearance", "ask_height", "ask_total"), ""),
    **dict.fromkeys(("ask_free", "ask_contact", "ask_torque", "ask_way", "ask_lugs"), ""),
    **dict.fromkeys(("ask_doubts", "ask_finished", "ask_other", "ask_changed"), ""),
    **dict.fromkeys(("unfinished", "trouble"), ""),
    "takes_over": "",
    **dict.fromkeys(("fitted", "counted"), ""),
    **dict.fromkeys(("shop_way", "propped", "unpropped"), "tech"),
}
"""What a language must have words for -> who must keep saying it, or "" where a shop decides."""
TROUBLES = (
    *("seized", "stripped", "frozen", "dropped", "hidden", "cover", "brake_gone", "helper_gone"),
    *("alone", "time_up", "break", "parts", "wrong_card"),
)
"""Kinds of trouble: why a job may not go on; words.toml has phrases for each, `trouble.kinds`."""
FITTED = ("clutch", "brake")
"""What may be fitted new; words.toml has phrases for each, `fitted.kinds`."""
EXACT = (
    *("stop", "let_up", "holding", "clear", "released", "foot_off"),
    *("shop_way", "propped", "unpropped"),
)
"""Meanings that only count word for word: likeness never moves a pedal."""


def words_problem(words: Mapping[str, Meaning]) -> str:
    """One line on what of words.toml would be unsafe, or ""; `texts.core` looks at each phrase."""
    for key, who in MEANINGS.items():
        if key not in words:
            return f"words.toml: [{key}] is missing; add it"
        if who and words[key].who != who:
            return f"words.toml, {key}: who must stay {who}: a life hangs on who says it"
        if key in EXACT and not words[key].exact:
            return f"words.toml, {key}: exact must stay true"
    for key in words:
        if key not in MEANINGS:
            return f"words.toml: [{key}] means nothing to lugcall; remove it"
    for key, kinds in (("trouble", TROUBLES), ("fitted", FITTED)):
        if set(words[key].kinds) != {*kinds}:
            return f"words.toml, {key}.kinds: must be {', '.join(kinds)}"
    return _clash(words)


def _clash(words: Mapping[str, Meaning]) -> str:
    """No phrase of a life-and-limb meaning may mean another of them as well."""
    exact: dict[str, str] = {}
    for key in EXACT:
        for phrase in words[key].phrases:
            if exact.setdefault(phrase, key) != key:
                return f"words.toml: {phrase!r} means {exact[phrase]} and {key}; keep one"
    return ""


_PRESSED = ("new_seat", "chain_pedal", "chain_lever", *FUNCTION)
"""Steps in which the helper presses and lets up, besides readings that move the pedal."""
_AT_REST = (
    "new_ready",
    "ring_ready",
    "ring_hold",
    *HOLDING,
    "ring_clear",
    "ring_release",
    "key_back",
)
"""Steps that bring hands out, have the pedal held, or have nobody below yet."""


def presses(step: Step) -> bool:
    """Whether the helper presses the pedal in this step, and lets it up."""
    return step.id in _PRESSED or step.reading in PEDAL_MOVES


def hands_below(steps: Sequence[Step]) -> frozenset[str]:
    """Ids of the steps that wait for the foot off, since hands go below.

    Whatever a shop adds between chain and function check is taken to send hands below.
    """
    ids = [s.id for s in steps]
    first = ids.index(FIRST_NEW) if FIRST_NEW in ids else ids.index("chain_pedal") + 1
    between = steps[first : ids.index("out_from_under") + 1]
    above = (s.id for s in between if presses(s) or s.reading == PEDAL_HEIGHT)
    return frozenset(s.id for s in between) - {*above, *_AT_REST}


_INSIDE = (GAP, CLEARANCE, RING_LEFT)
"""Readings taken in the hole."""
_OPEN = (LOOK, "new_wedges", "new_brake", "lubricate")
"""Other steps for which it must be open."""


def into(step: Step, steps: Sequence[Step]) -> list[str]:
    """Names of the guards on every way into `step`; `job.machine.GUARDS` says what each tests."""
    ids = [s.id for s in steps]
    at = ids.index(step.id)
    past_ring = at >= ids.index("fork_clearance") and step.id not in DETOURS
    first = ids.index(FIRST_NEW if FIRST_NEW in ids else "chain_pedal")
    below = first <= at <= ids.index("out_from_under") and step.id != "key_back"
    after = at > ids.index("engine_off")
    told = {
        "held": step.held,
        step.kind: step.kind in ("hold", "release"),
        "past_ring": past_ring or step.id == "ring_gap",
        "below": below or after,
        "in_hole": step.reading in _INSIDE or step.phase == "ring" or step.id in _OPEN,
        "pressed": FIRST_NEW in ids and (presses(step) or step.kind == "hold"),
        "seat": step.kind == "seat",
        "function": step.id in FUNCTION,
        "cover_closed": at > ids.index("cover_on"),
    }
    needs = [need for what, it_is in told.items() if it_is for need in NEEDS[what]]
    return list(dict.fromkeys([*needs, *(["gap_right"] if past_ring else [])]))
