"""What is said on entering a step: its cautions first, then one instruction."""

from __future__ import annotations

from assistant.act import Said
from assistant.card.show import limit_text
from assistant.clutch.conformity import Judgement
from assistant.clutch.plan import AdjustmentPlan
from assistant.job import linkage_words, plan_words, words
from assistant.job.facts import Facts, Taken
from assistant.job.machine import FIX
from assistant.texts.dialogs import SIGNALS, Dialogs, Step


def cautions(dialogs: Dialogs, step: Step, given: set[str]) -> list[Said]:
    """The step's cautions, most severe first; those said once are left out the second time."""
    out = []
    for caution_id in sorted(
        step.cautions, key=lambda c: SIGNALS.index(dialogs.cautions[c].signal)
    ):
        caution = dialogs.cautions[caution_id]
        if caution.once and caution_id in given:
            continue
        given.add(caution_id)
        out.append(Said("both", caution.text, f"caution:{caution_id}", signal=caution.signal))
    return out


def moves_pedal(step: Step) -> bool:
    """Whether the helper has to move the pedal for this reading."""
    return step.reading in ("total-travel", "free-travel", "brake-contact", "bearing-travel")


def stroke_caution(dialogs: Dialogs, given: list[Said]) -> list[Said]:
    """With the cover off, the pedal never moves without this one, whatever a text leaves out."""
    if any(s.key == "caution:stroke" for s in given):
        return given
    caution = dialogs.cautions["stroke"]
    return [Said("both", caution.text, "caution:stroke", signal=caution.signal), *given]


def instruction(dialogs: Dialogs, facts: Facts, step: Step) -> list[Said]:
    """The one instruction of a step, with its figures filled in."""
    key = f"prompt:{step.id}"
    if step.kind == "plan":
        return [
            *_plan_warnings(dialogs, facts),
            Said(step.who, plan_text(dialogs, facts, step), key),
        ]
    if step.kind == "maker":
        return _maker(dialogs, facts, step)
    text = step.say.format_map(blanks(dialogs, facts, step))
    cue = {"hold": "HOLD", "release": "RELEASE"}.get(step.kind, "")
    return [Said(step.who, text, key, cue=cue)]


def why(dialogs: Dialogs, facts: Facts, step: Step) -> str:
    """The answer to "why"."""
    text = step.why.format_map(blanks(dialogs, facts, step))
    return text or dialogs.say("no_why")


def blanks(dialogs: Dialogs, facts: Facts, step: Step) -> dict[str, str]:
    """Values for the blanks a step of this kind may use."""
    units = facts.card.units
    if step.kind in ("plan", "turn"):
        return _ring_blanks(facts, units)
    if step.kind == "maker":
        gap, figure = facts.latest("gap"), facts.figure("gap")
        limits = limit_text(figure.limits, units) if figure is not None else "?"
        return {"gap_now": gap.figures if gap is not None else "?", "limits": limits}
    if step.kind == "rod":
        return _rod_blanks(dialogs, facts, units, rod_plan(facts, step))
    if step.kind == "stop_bolt":
        quantity = "pedal-height" if step.id == "height_stop" else "total-travel"
        return {"stop_move": stop_move(facts, quantity)}
    if step.kind == "sign":
        doubts = len(facts.doubts)
        summary = dialogs.say("sign_doubts", doubts=doubts) if doubts else dialogs.say("sign_ready")
        return {"sign_summary": summary}
    return {}


def _ring_blanks(facts: Facts, units: str) -> dict[str, str]:
    plan = facts.plans.ring()
    gap = facts.latest("gap")
    if plan is None or gap is None:
        return dict.fromkeys(("lugs", "way", "gap_now", "gap_after", "plan_why"), "?")
    figure = facts.figure("gap")
    assert figure is not None
    after = words.length(plan.gap_after.value_in, units)
    limit = limit_text(figure.limits, units)
    pitch = words.per_lug(plan.pitch_in, units)
    whose = " (common practice, no source)" if "ring.lug" in facts.card.defaulted else ""
    reason = (
        f"{words.lugs(plan.lugs)} of {pitch}{whose} bring the gap to {after}. "
        f"Limits {limit}, {figure.limits.source}. "
        f"{plan.chance:.0%} likely to land in."
    )
    return {
        "lugs": words.lugs(plan.lugs),
        "way": words.way(plan.lugs),
        "gap_now": gap.figures,
        "gap_after": after,
        "plan_why": plan.reason or f"{reason}{_whole_why(facts)}",
    }


def _whole_why(facts: Facts) -> str:
    """What goes with the ring move, and why; nothing when the readings make no plan."""
    whole = facts.plans.whole()
    if whole is None:
        return ""
    card = facts.card
    told = f" {plan_words.spoken(*whole, card)} {plan_words.why(*whole, card)}"
    lost, readings = facts.plans.lost_motion(), facts.plans.found_readings()
    if lost is not None and readings is not None and lost.kind != "agrees":
        told += f" {linkage_words.spoken(lost, card.units)} "
        told += linkage_words.why(lost, card, readings)
    return told


def _plan_warnings(dialogs: Dialogs, facts: Facts) -> list[Said]:
    """What the plan alone does not show: that it will not reach, or takes all fork clearance."""
    plan = facts.plans.ring()
    out = []
    if plan is not None and plan.lugs and plan.reason:
        out.append(Said("tech", plan.reason, "reply:plan_reason"))
    if (
        plan is not None
        and plan.lugs
        and plan.clearance_after is not None
        and (plan.clearance_after.value_in <= 0)
    ):
        out.append(Said("tech", dialogs.say("clearance_gone"), "reply:clearance_gone", "NOTICE"))
    return out


def plan_text(dialogs: Dialogs, facts: Facts, step: Step) -> str:
    """The ring plan, or what to do when the ring has no good move."""
    plan, gap = facts.plans.ring(), facts.latest("gap")
    if plan is None or gap is None:
        return dialogs.say("gap_unread")
    judgement = facts.judged(gap)
    if judgement is not None and judgement.decision == "too close":
        head = dialogs.say("judged_close", figures=gap.figures)
        if plan.lugs:
            move = words.moved(plan.lugs)
            return f"{head} {dialogs.say('close_move', move=move)}"
        return f"{head} {dialogs.say('close_choice')}"
    if plan.lugs == 0:
        return dialogs.say("ring_stuck")
    return step.say.format_map(_ring_blanks(facts, facts.card.units))


def _maker(dialogs: Dialogs, facts: Facts, step: Step) -> list[Said]:
    """A gap that is not right on a clutch that adjusts itself: no ring move is proposed."""
    key, gap = f"prompt:{step.id}", facts.latest("gap")
    if gap is None:
        return [Said("tech", dialogs.say("gap_unread"), key)]
    judgement = facts.judged(gap)
    if judgement is not None and judgement.decision == "too close":
        head = dialogs.say("judged_close", figures=gap.figures)
        return [Said(step.who, f"{head} {dialogs.say('close_choice')}", key)]
    again = [Said("tech", dialogs.say("maker_again"), "reply:maker_again")]
    text = step.say.format_map(blanks(dialogs, facts, step))
    return [*(again if facts.by_maker else []), Said(step.who, text, key)]


def _rod_blanks(
    dialogs: Dialogs, facts: Facts, units: str, plan: AdjustmentPlan | None
) -> dict[str, str]:
    if plan is None:
        return {"rod": "0 flats", "rod_way": "", "rod_why": dialogs.say("rod_none")}
    clearance = words.length(plan.clearance_after.value_in, units)
    free = words.length(plan.free_travel_after.value_in, units)
    source = plan.ratio.source
    whose = ""
    if "rod.thread" in facts.card.defaulted:
        whose = " (common practice, no source: check it)"
    return {
        "rod": words.rod(plan.rod),
        "rod_way": words.rod_way(plan.rod, facts.card.longer),
        "rod_why": (
            f"Thread {facts.card.thread}{whose}. "
            f"Clearance becomes {clearance}, free travel about {free}. "
            f"Pedal ratio {plan.ratio.value:.1f} to 1, from {source}."
        ),
    }


def rod_plan(facts: Facts, step: Step) -> AdjustmentPlan | None:
    """The plan behind a rod step, or None when the readings make no sensible one."""
    return facts.plans.rod(for_contact=step.id == FIX["brake-contact"])


def stop_move(facts: Facts, quantity: str) -> str:
    """How far the stop has to go, and which way."""
    taken, figure = facts.latest(quantity), facts.figure(quantity)
    if taken is None or figure is None or taken.value_in is None:
        return "No change"
    low, high = figure.limits.low_in, figure.limits.high_in
    if figure.target_in is not None:
        aim = figure.target_in
    elif low is not None and high is not None:
        aim = (low + high) / 2
    else:
        aim = low if low is not None else (high or 0.0)
    change = facts.plans.stop_change_in(quantity)
    if change is None:
        change = aim - taken.value_in
    card = facts.card
    turn_in = card.height_turn_in if quantity == "pedal-height" else card.total_turn_in
    size = words.length(abs(change), card.units)
    if turn_in:
        size = words.turns(abs(change) / turn_in)
    if quantity == "pedal-height":
        return f"{size} {'higher' if change > 0 else 'lower'}"
    return f"{size} {'more' if change > 0 else 'less'}"


def judged(dialogs: Dialogs, facts: Facts, taken: Taken, judgement: Judgement | None) -> str:
    """One sentence on a reading: its verdict and whose limit it was."""
    text = words.verdict(dialogs, taken, judgement)
    figure = facts.figure(taken.quantity)
    if judgement is None or figure is None:
        return text
    return dialogs.say(
        "whose",
        verdict=text,
        limits=limit_text(figure.limits, facts.card.units),
        source=figure.limits.source,
    )
