"""The order of the job: a state machine on `transitions`, built from the dialogs' steps.

Every edge names its guards: those of `GUARDS`, one for each step of the three families below it,
and on every way into a step what `interlocks` says that it needs of `hazards`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Any, cast

from transitions import EventData, Machine

from assistant import interlocks
from assistant.hazards import NEEDS
from assistant.job.state import HALTED, LEAVING, LEFT, REPAIR, SIGNED, JobState
from assistant.quantity import GAP, JUDGED, QUANTITIES
from assistant.texts.dialogs import Step

REROUTES = (
    "ring_plan",
    "ring_gap",
    "fork_clearance",
    "set_height",
    "set_total",
    *(QUANTITIES[q].read_at("final") for q in JUDGED),
)
"""Where a correction may lead back to."""
_AGAIN = {
    "fork_rod": "fork_clearance",
    "height_stop": "set_height",
    "total_stop": "set_total",
    "free_rod": "set_free",
    "contact_rod": "set_free",
}
"""A change on the linkage is read again at once."""
_AGAIN_BY = {"new_seat": "new_ready"}
"""Where a stop leads back to, if not to the step it came in: clear comes first again."""
MAY_BE_HELD = ("ring_hold", "ring_turn", "ring_tool", "ring_lock", "ring_clear", "ring_release")
"""Steps in which the pedal may be down."""
_IN_THE_HOLE = ("ring_plan", "ring_gap", "fork_clearance", "final_gap", "final_clearance")

Guard = Callable[[JobState], bool]

GUARDS: dict[str, Guard] = {
    "key_above": lambda job: job.facts.hazards.key_above,
    # The step wanted next looks into the hole, and the cover is on.
    "cover_in_the_way": lambda job: job.facts.hazards.cover_closed and job.wanted in _IN_THE_HOLE,
    "gap_right": lambda job: job.facts.gap_right(),
    # The ring moved and the gap was not read since.
    "gap_unread": lambda job: job.facts.latest(GAP) is None,
    "gap_wrong": lambda job: job.facts.latest(GAP) is not None and not job.facts.gap_right(),
    # The plan moves the ring at least one lug.
    "ring_wanted": lambda job: bool((plan := job.facts.plans.ring()) and plan.lugs),
    # The reading just taken is to be put right on its own step, or stands.
    "wants_fix": lambda job: job.fix,
    "settled": lambda job: not job.fix,
    # The technician accepts the reading as it is and leaves its change undone.
    "leaves": lambda job: job.undone,
    # The pedal was let up out of a stop: the stop goes on.
    "release_was_halted": lambda job: job.release_halted,
    # What was fitted new is to be set up first.
    "unseated": lambda job: job.facts.new != "nothing" and not job.facts.seated,
    # Every final reading is in, or accepted and marked.
    "all_settled": lambda job: not job.unsettled(),
    "returns_repair": lambda job: job.return_to == REPAIR,
    "returns_leaving": lambda job: job.return_to == LEAVING,
    # The stop came in a step that needs the pedal down: the hold starts over.
    "returns_to_hold": lambda job: bool(
        (step := _stopped(job)) and (step.held or step.kind == "hold")
    ),
    # The stop came while the pedal was let up: clear comes first again.
    "returns_to_release": lambda job: (
        (step := _stopped(job)) is not None and step.kind == "release"
    ),
    "returns_past_ring": lambda job: job.past_ring(job.return_to),
}

_FAMILIES = {
    "returns": "return_to",
    "holds_for": "after_hold",
    "wants": "wanted",
    "fault": "faulty",
}
"""Guards for each step, as in `wants_ring_plan`, and the part of the state that must name it."""


def _stopped(job: JobState) -> Step | None:
    return job.dialogs.by_id.get(job.return_to)


def _guards(steps: tuple[Step, ...]) -> dict[str, Callable[[EventData], bool]]:
    """All guards by name, as the machine asks them."""
    guards: dict[str, Guard] = dict(GUARDS)
    for need in {need for needs in NEEDS.values() for need in needs}:
        guards[need] = _holds(need)
    for step in steps:
        for family, of in _FAMILIES.items():
            guards[f"{family}_{step.id}"] = _is_at(of, step.id)
    return {name: _asked(guard) for name, guard in guards.items()}


def _is_at(of: str, step_id: str) -> Guard:
    return lambda job: bool(getattr(job, of) == step_id)


def _holds(need: str) -> Guard:
    return lambda job: job.facts.hazards.holds(need)


def _asked(guard: Guard) -> Callable[[EventData], bool]:
    return lambda event: guard(cast(JobState, event.model))


@lru_cache(maxsize=32)
def machine(steps: tuple[Step, ...]) -> Machine:
    """The machine that moves every job with these steps; its states are step ids.

    It keeps nothing of a job: `Event.trigger` is given the one to move, whose `at` is its state,
    and whose `entered` is called after every change.
    """
    guards = _guards(steps)
    edges = [
        {**edge, "conditions": [guards[name] for name in edge["conditions"]]}
        for edge in transitions(steps)
    ]
    return Machine(
        model=None,
        model_attribute="at",
        states=[*(step.id for step in steps), HALTED, REPAIR, SIGNED, LEAVING, LEFT],
        initial=None,
        transitions=edges,
        auto_transitions=False,
        send_event=True,
        after_state_change="entered",
    )


def transitions(steps: tuple[Step, ...]) -> list[dict[str, Any]]:
    """Every edge of the procedure, each with the names of its guards."""
    ids = [step.id for step in steps]
    out: list[dict[str, Any]] = []
    guards_of = {s.id: interlocks.into(s, steps) for s in steps}

    def edge(trigger: str, source: str, dest: str, *guards: str) -> None:
        names = list(dict.fromkeys([*guards, *guards_of.get(dest, ())]))
        out.append({"trigger": trigger, "source": source, "dest": dest, "conditions": names})

    # Stopped in the release, and the pedal came up meanwhile: nothing is left to release.
    edge("carry_on", HALTED, "ring_gap", "returns_to_release")
    for i, step in enumerate(steps):
        for dest, *guards in _ways_on(steps, i):
            if dest in (*ids, HALTED, SIGNED):
                edge("advance", step.id, dest, *guards)
        if step.kind == "sound":
            edge("not_sound", step.id, REPAIR)
        edge("halt", step.id, HALTED)
        back_to = _AGAIN_BY.get(step.id, step.id)
        up = NEEDS["leaving"] * (back_to == "new_ready")
        edge("carry_on", HALTED, back_to, f"returns_{step.id}", *up)
        before = _before(steps, i)
        if before and step.id not in MAY_BE_HELD and step.id not in interlocks.DETOURS:
            edge("back", step.id, before)
    for trigger, source, dest, *needs in _out_of_repair(steps):
        edge(trigger, source, dest, *needs)
    edge("halt", REPAIR, HALTED)
    edge("carry_on", HALTED, REPAIR, "returns_repair")
    # Closed unfinished, from anywhere with the pedal up; a way back is by way of the stop.
    for source in (*ids, HALTED, REPAIR):
        edge("leave", source, LEAVING, *NEEDS["leaving"])
    edge("halt", LEAVING, HALTED)
    edge("carry_on", HALTED, LEAVING, "returns_leaving", *NEEDS["leaving"])
    edge("stay", LEAVING, HALTED)
    edge("close", LEAVING, LEFT, *NEEDS["left"])
    # What a stop in mid-hold, or a correction, may no longer step straight back into.
    if "ring_hold" in ids:  # not on a clutch that adjusts itself
        edge("carry_on", HALTED, "ring_ready", "returns_to_hold")
        edge("carry_on", HALTED, "ring_clear", "returns_to_release")
    edge("carry_on", HALTED, "ring_plan", "returns_past_ring", "gap_wrong")
    edge("carry_on", HALTED, "ring_gap", "returns_past_ring", "gap_unread")
    edge("let_up", HALTED, "ring_release")
    for step in steps[ids.index("chain_pedal") + 1 :]:
        if step.id not in MAY_BE_HELD and step.phase not in ("ring", "sign"):
            edge("start_over", step.id, "chain_pedal", *NEEDS["start_over"])
    linkage = ids[ids.index("fork_clearance") :]
    for step_id in filter(lambda name: name not in interlocks.DETOURS, linkage):
        edge("reroute", step_id, "key_back", "key_above")
        edge("reroute", step_id, "reopen_cover", "cover_in_the_way")
        for target in REROUTES:
            if target != step_id and target in ids:
                edge("reroute", step_id, target, f"wants_{target}")
    return out


def _ways_on(steps: tuple[Step, ...], i: int) -> list[tuple[str, ...]]:
    """The ways on from a step when it is done, with their guards: the first that opens wins.

    A way to a step that this kind of truck has not is no way.
    """
    step, ids = steps[i], [s.id for s in steps]
    after = steps[i + 1].id if i + 1 < len(steps) else SIGNED
    if step.id in ("found_clearance", "ring_gap"):
        return [("fork_clearance", "gap_right"), ("ring_plan", "gap_wrong")]
    if step.id == "ring_plan":
        on = ("ring_gap",) if step.kind == "maker" else (after, "ring_wanted")
        return [("fork_clearance", "gap_right"), on]
    if step.id == "helper_ready" and after == interlocks.FIRST_NEW:
        return [*((first, "unseated") for first in _first_new(ids)), ("chain_pedal",)]
    if after == "cover_off" and interlocks.FIRST_NEW in ids:
        return [(steps[i + 2].id, "cover_open"), (after,)]
    if step.kind == "hold":
        return [(target, f"holds_for_{target}") for target in interlocks.HOLDING]
    if step.kind == "release":
        return [(HALTED, "release_was_halted"), (after,)]
    if step.id in interlocks.DETOURS:
        open_up = [("reopen_cover", "cover_in_the_way")] if step.id == "key_back" else []
        return [*open_up, *((target, f"wants_{target}") for target in REROUTES)]
    if step.id in _AGAIN:
        # The reading stands as it is, accepted: on, without another change.
        return [(_past_changes(steps, i), "leaves"), (_AGAIN[step.id],)]
    if step.kind == "read" and step.stage in ("set", "final"):
        return [(QUANTITIES[step.reading].fix, "wants_fix"), (_past_changes(steps, i), "settled")]
    return [(after, "all_settled")] if step.kind == "sign" else [(after,)]


def _first_new(ids: list[str]) -> list[str]:
    """Where the first set-up begins, where there is one: at the cover, or with it off already."""
    if interlocks.FIRST_NEW not in ids:
        return []
    at = ids.index(interlocks.FIRST_NEW)
    return [ids[at + 1], ids[at]]


def _out_of_repair(steps: tuple[Step, ...]) -> Iterator[tuple[str, ...]]:
    """Edges out of a repair, and those by which what is new comes to its first set-up."""
    ids = [s.id for s in steps]
    if interlocks.FIRST_NEW in ids:
        yield "clear_again", "new_seat", "new_ready"
    for first in _first_new(ids):
        yield "repaired", REPAIR, first, "unseated"
        for step in steps[ids.index(interlocks.FIRST_NEW) :]:
            if step.id not in MAY_BE_HELD and step.phase != "sign":
                yield "set_up", step.id, first, *NEEDS["start_over"]
    # A failed function check left the key above: make it safe again before going under.
    yield "repaired", REPAIR, "chain_pedal"
    yield "repaired", REPAIR, "chocks"
    # Where a fault may be taken back: a trial has left the key above.
    for step in steps:
        if step.kind == "sound" and step.phase != "final":
            yield "look_again", REPAIR, step.id, f"fault_{step.id}"


def _past_changes(steps: tuple[Step, ...], i: int) -> str:
    """The next step in order that is not a change on rod or stop."""
    return next(
        s.id
        for s in steps[i + 1 :]
        if s.kind not in ("rod", "stop_bolt") and s.id not in interlocks.DETOURS
    )


_MOVING = ("seat", "rod", "stop_bolt", "plan", "maker", "clear", "hold", "turn", "release")


def _before(steps: tuple[Step, ...], i: int) -> str:
    """Where "back" leads: the last step that moved nothing."""
    ring = ("ring_show", "ring_unlock", "ring_gap") if steps[i].phase != "ring" else ()
    no = (*interlocks.DETOURS, *MAY_BE_HELD, *ring)
    found = [s.id for s in steps[:i] if s.kind not in _MOVING and s.id not in no]
    return found[-1] if found and steps[i].id != "ring_gap" else ""
