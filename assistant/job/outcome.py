"""What follows from a reading: its verdict in words; the job goes on, fixes, or waits."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.act import Said
from assistant.clutch.conformity import Judgement
from assistant.clutch.figures import FREE_TRAVEL_INTERNAL_IN
from assistant.clutch.plan import AdjustmentPlan
from assistant.clutch.ratio import RatioFinding
from assistant.clutch.ring import MoveFinding
from assistant.job import asides as complaining
from assistant.job import linkage_words, plan_words, prompts, words
from assistant.job.facts import Taken
from assistant.job.machine import FIX

if TYPE_CHECKING:
    from assistant.job.base import JobBase

SHORT = {
    "gap": "gap",
    "clearance": "clearance",
    "pedal-height": "height",
    "total-travel": "total",
    "free-travel": "free",
    "brake-contact": "contact",
}
"""The end of the step ids that read a quantity."""


MOST_FIXES = 3
"""Changes for one quantity before we stop proposing more. Common practice, no source."""


@dataclass
class Outcome:
    """What to say, and the route: "on", "fix" or "stay" (with the choice that then waits)."""

    route: str = "on"
    choice: str = ""
    said: list[Said] = field(default_factory=list)


def is_critical(taken: Taken) -> bool:
    """Whether a reading drives a move or the sign-off, so that it must be confirmed."""
    return taken.stage in ("ring", "set", "final") or taken.quantity in (
        "gap",
        "clearance",
        "free-travel",
        "lugs",
    )


def can_fix(job: JobBase, quantity: str) -> bool:
    """Whether a change exists that would move this reading."""
    if quantity in job.facts.left:
        return False
    if quantity == "gap":
        return True  # the plan step shows the move, or says that no lug will do
    if sum(m.step == FIX.get(quantity) for m in job.facts.linkage) >= MOST_FIXES:
        return False  # it does not help: let the technician accept it, and why, or repair
    if quantity in ("clearance", "free-travel", "brake-contact"):
        linkage = prompts.rod_plan(job.facts, job.dialogs.by_id[FIX[quantity]])
        return linkage is not None and linkage.rod.total_flats != 0
    return quantity in FIX


def after(job: JobBase, taken: Taken) -> Outcome:
    """Judge a reading just taken and find where it leads."""
    if taken.value_in is None:  # odometer, next due: nothing to judge
        name = words.spoken(taken.quantity)
        stands = job.dialogs.said(taken.who, "stands", figures=taken.both, quantity=name)
        return Outcome(said=[stands])
    judgement = job.facts.judged(taken)
    text = prompts.judged(job.dialogs, job.facts, taken, judgement)
    said = [Said("tech", text, "reply:whose")]
    if judgement is not None and judgement.decision == "too close":
        gauge = words.settle_with(job.dialogs, judgement, taken.measured.u_in)
        said.append(Said("tech", gauge, "reply:gauge"))
    if taken.stage in ("found", "again"):
        if taken.stage == "found":
            said += _as_found(job, taken, judgement)
        return Outcome(said=said)
    if taken.quantity == "gap" and taken.stage == "ring":
        said += _ring_findings(job)
        if job.facts.gap_right():
            said.append(Said("both", job.dialogs.say("gap_right"), "reply:gap_right"))
        return Outcome(said=said)
    if taken.quantity == "clearance":
        said += _rod_finding(job, taken)
    if judgement is None or judgement.decision == "in":
        return Outcome(said=said)
    if judgement.decision == "too close":
        return Outcome("stay", "close", said)
    if can_fix(job, taken.quantity):
        return Outcome("fix", "", said)
    return Outcome("stay", "out", said)


def _as_found(job: JobBase, taken: Taken, judgement: Judgement | None) -> list[Said]:
    """What the as-found readings say together."""
    dialogs, facts = job.dialogs, job.facts
    out = []
    if taken.quantity == "free-travel" and (taken.value_in or 0) < FREE_TRAVEL_INTERNAL_IN:
        limit = words.length(FREE_TRAVEL_INTERNAL_IN, facts.card.units)
        out.append(Said("tech", dialogs.say("internal_due", limit=limit), "reply:internal_due"))
    out_of_limits = judgement is not None and judgement.decision == "out"
    if taken.quantity == "brake-contact" and out_of_limits:
        text = dialogs.say("ring_cannot", figures=taken.figures)
        out.append(Said("tech", text, "reply:ring_cannot"))
    if taken.quantity == "clearance":
        plan = facts.plans.found()
        if plan is not None and plan.ratio_finding is not None:
            finding = plan.ratio_finding
            if finding.agree:
                text = dialogs.say("ratio_agree", ratio=f"{plan.ratio.value:.1f}")
                out.append(Said("tech", text, "reply:ratio_agree"))
            else:
                out.append(Said("tech", _quarrel(job, finding), "reply:ratio_differ"))
        out += _chain(job)
        if plan is not None and (facts.card.clutch == "manual" or facts.gap_right()):
            out += _predicted(job, plan)
        out += complaining.told(job)
    return out


_SYMBOLS = {
    "F": "free-travel",
    "c": "clearance",
    "H": "pedal-height",
    "h": "brake-contact",
    "g": "gap",
}


def _quarrel(job: JobBase, finding: RatioFinding) -> str:
    """The two ratios, and which one reading, if it were wrong, would make them agree."""
    suspect = ""
    if finding.suspects:
        first = finding.suspects[0]
        value = words.length(first.value_in, job.facts.card.units)
        suspect = f"{words.spoken(_SYMBOLS[first.reading])} {value}".capitalize()
    return job.dialogs.say(
        "ratio_differ",
        first=f"{finding.first.value:.1f}",
        second=f"{finding.second.value:.1f}",
        suspect=suspect or "Another reading",
    )


def _chain(job: JobBase) -> list[Said]:
    """What the card's geometry says of the as-found readings; nothing without geometry."""
    lost = job.facts.plans.lost_motion()
    if lost is None:
        return []
    text = job.dialogs.say("chain", chain=linkage_words.spoken(lost, job.facts.card.units))
    return [Said("tech", text, "reply:chain")]


def _predicted(job: JobBase, plan: AdjustmentPlan) -> list[Said]:
    """The whole plan, and where it should bring the pedal, when the readings can tell."""
    units, say = job.facts.card.units, job.dialogs.say
    out = []
    free_after, contact_after = plan.free_travel_after, plan.brake_contact_after
    whole = job.facts.plans.whole()
    if whole is not None:
        chosen = whole.settings.chosen
        if chosen.setting.moves > 1 or not whole.settings.possible:  # one move is told by its step
            text = plan_words.spoken(*whole, job.facts.card)
            out.append(Said("tech", say("whole_plan", plan=text), "reply:whole_plan"))
        free_after = chosen.after["free-travel"]
        contact_after = chosen.after.get("brake-contact", contact_after)
    if plan.ratio.known:
        free = words.length(free_after.value_in, units)
        out.append(Said("tech", say("free_after", free_after=free), "reply:free_after"))
    if "set_contact" not in job.dialogs.by_id:
        return out  # no clutch brake to touch
    if contact_after is not None and contact_after.value_in < 0:
        out.append(Said("tech", say("contact_floor"), "reply:contact_floor"))
    elif contact_after is not None:
        contact = words.length(contact_after.value_in, units)
        text = say("contact_after", contact_after=contact)
        out.append(Said("tech", text, "reply:contact_after"))
    return out


def _ring_findings(job: JobBase) -> list[Said]:
    """What the last ring move really did."""
    _, findings = job.facts.plans.findings()
    finding = findings[-1] if findings else None
    if finding is None:
        return []
    return [_finding_said(job, finding)]


def _rod_finding(job: JobBase, taken: Taken) -> list[Said]:
    """Whether the rod did what it was turned for, from the fork clearance before and after it."""
    facts = job.facts
    if not facts.linkage or facts.linkage[-1].at != len(facts.readings) - 1:
        return []
    change = facts.linkage[-1]
    before = [t for t in facts.readings[: change.at] if t.quantity == "clearance"]
    if change.step != "fork_rod" or not before or not change.clearance_in:
        return []
    share = ((taken.value_in or 0.0) - (before[-1].value_in or 0.0)) / change.clearance_in
    if share > 0.25:
        return []
    reply = "rod_wrong_way" if share < -0.25 else "rod_no_effect"
    facts.remarks.append(reply.replace("_", " "))
    return [Said("tech", job.dialogs.say(reply), f"reply:{reply}", "NOTICE")]


_FINDINGS = {
    "as planned": ("move_as_planned", ""),
    "did not move": ("move_none", ""),
    "wrong way": ("move_wrong_way", "NOTICE"),
    "other count": ("move_other_count", ""),
    "other pitch": ("move_other_pitch", ""),
    "unclear": ("move_unclear", ""),
}
"""Kind of finding -> the reply that tells it, and its signal word."""


def _finding_said(job: JobBase, finding: MoveFinding) -> Said:
    units = job.facts.card.units
    reply, signal = _FINDINGS[finding.kind]
    text = job.dialogs.say(
        reply,
        measured=words.length(finding.measured_in, units),
        predicted=words.length(finding.predicted_in, units),
        moved=words.moved(finding.lugs_moved),
        told=words.moved(job.facts.moves[-1].moved),
        pitch=words.per_lug(finding.belief.best.pitch_in, units),
    )
    return Said("tech", text, f"reply:{reply}", signal)
