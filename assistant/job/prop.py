"""Nobody at the pedal: no ring move, unless the truck's card names the shop's way of holding it.

Then the technician says of himself that the pedal is held by it, or up again, and that he looked;
the record keeps that it was done so. Without the line on the card none of these words do anything.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from assistant.act import Act, Said
from assistant.job import pedal
from assistant.job.state import HALTED, LEAVING
from assistant.sentences import sentences, spoken_to

if TYPE_CHECKING:
    from assistant.job.job import Job
    from assistant.texts.dialogs import Step


def _said(job: Job, name: str, key: str = "", signal: str = "") -> Said:
    text = sentences("unfinished").say(f"prop.{name}", way=job.facts.card.holds_pedal)
    return spoken_to("tech", text, key or f"reply:prop_{name}", signal)


def alone(job: Job) -> list[Said]:
    """Why no pedal is pressed; and the shop's own way, where its card has one."""
    say = sentences("unfinished").say
    told = [spoken_to("tech", say("alone"), "reply:alone", "WARNING")]
    if job.facts.card.holds_pedal:
        told.append(_said(job, "offered"))
    return [*told, spoken_to("tech", say("alone_next"), "reply:alone_next")]


def on_shop_way(job: Job, act: Act) -> list[Said]:
    """The technician wants to hold the pedal the shop's way: only alone, only where it may be."""
    hazards, way = job.facts.hazards, job.facts.card.holds_pedal
    if not way:
        return [*alone(job), *job.prompt()]
    if hazards["helper"] != "gone" or not hazards.pedal_up or job.at == LEAVING:
        return job.hint(act)
    hazards.uses_prop()
    remark = str(sentences("unfinished").say("prop.remark", way=way))
    if remark not in job.facts.remarks:
        job.facts.remarks.append(remark)
    return [_said(job, "caution", signal="DANGER"), *job.prompt()]


def on_propped(job: Job, act: Act) -> list[Said]:
    """The pedal is down, held by the shop's way, and he has looked."""
    hazards = job.facts.hazards
    was = hazards["pedal"]
    if not hazards.propped or was not in ("asked", "held", "doubted"):
        return job.hint(act)
    hazards.says_holding("tech")
    return job.go_on() if was == "asked" else job.prompt()


def on_unpropped(job: Job, act: Act) -> list[Said]:
    """The pedal is up, nothing on it, and he has looked."""
    hazards = job.facts.hazards
    if not hazards.propped:
        return job.hint(act)
    was, waited = hazards["pedal"], job.foot_wanted
    if was in ("asked", "held", "doubted") and job.at != HALTED:
        return pedal.on_lost(job, act)  # it came out in the hold
    hazards.says_up("tech")
    hazards.says_foot_off("tech")
    if job.at == "helper_ready":
        return job.handle("done", Act("done", "helper"))
    up = job.said("both", "release_ok")
    if job.at == "ring_release":
        return job.go_on(up)
    return [up, *job.prompt(entering=waited)]


Told = Callable[["Job", "Step"], list[Said]]
"""What is told at a step."""


def instruction(name: str, otherwise: Told) -> Told:
    """What is told at the hold, or its release: to whoever sees to the pedal."""

    def told(job: Job, step: Step) -> list[Said]:
        if not job.facts.hazards.propped:
            return otherwise(job, step)
        return [_said(job, name, f"prompt:{step.id}")]

    return told


def by_helper(job: Job, act: Act) -> list[Said] | None:
    """What a helper's word of the pedal does while the shop's way is on it: somebody is there after
    all, and everything stops."""
    if act.who != "helper" or act.meaning not in ("holding", "released", "foot_off", "ready"):
        return None
    if job.facts.hazards.pedal_up:
        return None if act.meaning == "ready" else job.prompt()
    return pedal.on_stop(job, act)
