"""What is asked beside the procedure, and said that moves nothing: answered from what is known."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.act import Act, Said
from assistant.job import words
from assistant.job.answers import how_long_held
from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    PEDAL_HEIGHT,
    QUANTITIES,
    TOTAL_TRAVEL,
)
from assistant.sentences import Both, joined, sentences, spoken_to, step_name

if TYPE_CHECKING:
    from assistant.clutch.ring import RingPlan
    from assistant.job.job import Job

_READ = {
    "ask_gap": GAP,
    "ask_clearance": CLEARANCE,
    "ask_height": PEDAL_HEIGHT,
    "ask_total": TOTAL_TRAVEL,
    "ask_free": FREE_TRAVEL,
    "ask_contact": BRAKE_CONTACT,
}
"""Questions for a reading that was taken."""
ASKED = (*_READ, "ask_torque", "ask_way", "ask_lugs", "ask_doubts", "ask_finished", "ask_other",
         "ask_changed")  # fmt: skip
"""All questions that are answered from the job or its card."""


def on_ask(job: Job, act: Act) -> list[Said]:
    """A question; what lugcall does not know, it says so."""
    quantity = _READ.get(act.meaning)
    if quantity is not None:
        taken = job.facts.latest(quantity)
        name = words.spoken(quantity)
        if taken is None:
            return [job.said(act.who, "not_read_yet", quantity=name)]
        return [job.said(act.who, "stands", figures=taken.both, quantity=name)]
    if act.meaning == "ask_way" and job.here.kind in ("rod", "stop_bolt"):
        return job.prompt()  # it says the way
    plan = job.facts.plans.ring() if act.meaning == "ask_way" and job.here.phase == "ring" else None
    if plan is not None:
        return [_to_go(job, act.who, plan), job.said(act.who, act.meaning)]
    if act.meaning == "ask_lugs":
        return [_lugs(job, act.who)]
    if act.meaning == "ask_doubts":
        return [doubts(job, act.who)]
    if act.meaning == "ask_finished" and not job.facts.hazards.pedal_up:
        return how_long_held(job, act)
    if act.meaning == "ask_finished":
        ids = list(job.dialogs.by_id)
        left = len(ids) - ids.index(job.step_id) if job.step_id in ids else 0
        return [job.said(act.who, "steps_left", left=words.number(left)), *job.prompt()]
    if act.who == "helper" and job.facts.hazards.moving and not job.stopped:
        return job.prompt()  # he was just told to press, or to let up
    if act.meaning == "ask_changed":
        return [changed(job, act.who)]
    stays = act.who == "helper" and not job.facts.hazards.pedal_up
    return [job.said(act.who, "leave_it" if stays else act.meaning)]


def _lugs(job: Job, who: str) -> Said:
    """Lugs to go by the plan, and those moved so far."""
    if job.at == "ring_turn":
        return job.prompt()[-1]  # how many, and which way
    if job.facts.turning:
        return job.said(who, "ring_maybe_state")
    plan = job.facts.plans.ring()
    if plan is None:
        return job.said(who, "lugs_so_far", moved=words.moved(job.facts.lugs_total))
    return _to_go(job, who, plan)


def _to_go(job: Job, who: str, plan: RingPlan) -> Said:
    moved = words.moved(job.facts.lugs_total)
    return job.said(who, "lugs_to_go", move=words.moved(plan.lugs), moved=moved)


def doubts(job: Job, who: str) -> Said:
    """What the lead should look at, as the record has it."""
    found = job.facts.doubts
    if not found:
        return job.said(who, "no_doubts")
    return job.said(who, "doubts_are", doubts=joined([Both(d) for d in found], "; "))


def changed(job: Job, who: str) -> Said:
    """What was moved so far, as the record has it: ring by the gap, rod and stops."""
    facts, say = job.facts, sentences("job").say
    by_gap = facts.plans.lugs_by_gap()
    ring = [say("changed_ring", moved=words.moved(by_gap))] if facts.moves else []
    steps = [
        Both(c.what if c.step == "ring_plan" else f"{step_name(c.step)} {c.what}")
        for c in facts.linkage
    ]
    if not ring + steps:
        return job.said(who, "ring_maybe_state" if facts.turning else "changed_none")
    maybe = [say("changed_turning")] if facts.turning else []
    return job.said(who, "changed", moves=joined([*ring, *steps, *maybe], "; "))


def on_how(job: Job, act: Act) -> list[Said]:
    """How the present step is done or measured, or what the thing is that the act's text names;
    without words for it, the maker's manual.

    Where the step waits for the helper's word first, that is asked for: hands are out till then.
    """
    if job.foot_wanted or job.facts.hazards["pedal"] == "doubted":
        return job.prompt()
    here, how = job.here, sentences("how")
    if act.text == "turn":
        return _what_to_turn(job, act)
    if act.text:
        return [spoken_to(act.who, how.say(f"what-{act.text}"), "reply:how")]
    for key in (here.reading, here.id, here.kind):
        if key in how.texts:
            return [spoken_to(act.who, how.say(key), "reply:how")]
    return [job.said(act.who, "how_manual")]


def _what_to_turn(job: Job, act: Act) -> list[Said]:
    """What he turns: the ring, until it is done; then what the present step says."""
    if job.facts.card.clutch == "self-adjusting":
        return [job.said(act.who, "how_manual")]
    here, plan = job.here, job.facts.plans.ring()
    if here.kind in ("rod", "stop_bolt") or job.past_ring(job.step_id):
        return job.prompt() if here.who == act.who else job.hint(act)
    move = [_to_go(job, act.who, plan)] if plan is not None and here.phase == "ring" else []
    return [spoken_to(act.who, sentences("how").say("what-turn"), "reply:how"), *move]


def on_aside(job: Job, act: Act) -> list[Said]:
    """Words not meant for us; who was just told to press or let up is told again."""
    return job.prompt() if act.who == "helper" and job.facts.hazards.moving else []


def on_wait(job: Job, act: Act) -> list[Said]:
    """Somebody needs a moment: no complaint, and nothing else either.

    While the pedal is on its way, "hang on" is for the foot on it.
    """
    if job.facts.hazards.moving:
        return job.handle("stop", act)
    return [job.said(act.who, "waiting")]


def on_gauge(job: Job, act: Act) -> list[Said]:
    """What bare numbers are in, from now on."""
    job.gauge = "mm" if act.meaning == "metric" else "inch"
    return [job.said(act.who, f"gauge_{act.meaning}"), *job.prompt()]


def on_same(job: Job, act: Act) -> list[Said]:
    """The last reading of what is asked, once more; always read back."""
    expected = job.expects()
    last = next((t for t in reversed(job.facts.readings) if t.quantity == expected), None)
    if expected not in QUANTITIES or last is None or job.pending is not None:
        return job.hint(act)
    step = job.here
    stage = step.stage if step.kind == "read" else last.stage
    if stage == "found" and job.facts.changed:
        stage = "again"
    job.pending = replace(last, step=job.at, stage=stage, who=act.who, accepted="")
    return [job.confirm()]


def on_start_over(job: Job, act: Act) -> list[Said]:
    """Back to the chain, where nothing is open to harm; what was read stays in the record."""
    job.drop()
    if not job.fire("start_over"):
        return [job.said(act.who, "back_blocked"), *job.prompt()]
    return [job.said("both", "starting_over"), *job.prompt(entering=True)]
