"""Kinds of step: what each expects, allows and says, and what an answer does there.

The guards of a kind hang on it in `interlocks`, its ways on in `machine`; here is all the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.act import Act, Said
from assistant.hazards import Hazards
from assistant.interlocks import LOOK
from assistant.job import answers, pedal, plan_words, prop, readings, talk, unfinished, words
from assistant.job.state import HALTED, LEAVING, LEFT, REPAIR, SIGNED, JobState
from assistant.quantity import CLEARANCE, FREE_TRAVEL, GAP, LUGS, PEDAL_HEIGHT, TOTAL_TRAVEL
from assistant.sentences import Both, fill, joined, sentences, spoken_to
from assistant.texts.dialogs import Step

if TYPE_CHECKING:
    from assistant.job.job import Job

Handler = Callable[["Job", Act], list[Said]]
Blanks = dict[str, str]


# --- the blanks in a step's words, filled ---------------------------------------------------------


def _ring_blanks(job: JobState, step: Step) -> Blanks:
    facts, units = job.facts, job.facts.card.units
    plan, gap, figure = facts.plans.ring(), facts.latest(GAP), facts.figure(GAP)
    if plan is None or gap is None or figure is None:
        return dict.fromkeys(("lugs", "way", "gap_now", "gap_after", "plan_why"), "?")
    lugs, way = words.lugs(plan.lugs), words.way(plan.lugs)
    after, say = words.length(plan.gap_after.value_in, units), sentences("job").say
    reason = plan_words.ring_misses(plan) or say(
        "plan_why",
        lugs=lugs,
        pitch=words.per_lug(plan.pitch_in, units),
        whose=say("common_practice") if "ring.lug" in facts.card.defaulted else "",
        after=after,
        limits=facts.limits(GAP),
        source=figure.source,
        chance=words.percent(plan.chance),
        whole=_whole_why(job),
    )
    return {
        "lugs": lugs,
        "way": way,
        "gap_now": gap.both,
        "gap_after": after,
        "plan_why": reason,
    }


def _whole_why(job: JobState) -> str:
    """What goes with the ring move, and why; nothing when the readings make no plan."""
    plans, card = job.facts.plans, job.facts.card
    whole = plans.whole()
    if whole is None:
        return ""
    told: list[str] = ["", plan_words.spoken(whole, card), plan_words.why(whole, card)]
    lost, found = plans.lost_motion(), plans.found()
    if lost is not None and found is not None and lost.kind != "agrees":
        told.append(plan_words.linkage(lost, card.units))
        told.append(plan_words.linkage_why(lost, card, found.readings))
    return joined(told)


def _maker_blanks(job: JobState, step: Step) -> Blanks:
    gap = job.facts.latest(GAP)
    return {"gap_now": gap.both if gap is not None else "?", "limits": job.facts.limits(GAP)}


def _rod_blanks(job: JobState, step: Step) -> Blanks:
    facts, units = job.facts, job.facts.card.units
    plan = facts.plans.whole()
    if plan is None or not plan.flats:
        none = job.dialogs.say("rod_none")
        return {"rod": words.rod(0), "rod_way": "", "rod_why": none}
    say = sentences("job").say
    why = say(
        "rod_why",
        thread=words.thread(facts.card.thread),
        whose=say("common_practice_check") if "rod.thread" in facts.card.defaulted else "",
        clearance=words.length(plan.after[CLEARANCE].value_in, units),
        free=words.length(plan.after[FREE_TRAVEL].value_in, units),
        ratio=words.number(plan.truck.ratio.value, 1),
        source=plan.truck.ratio.source,
    )
    way = words.rod_way(plan.flats, facts.card.longer)
    return {"rod": words.rod(plan.flats), "rod_way": way, "rod_why": why}


def _stop_blanks(job: JobState, step: Step) -> Blanks:
    """How far the stop has to go, and which way."""
    height = step.id == "height_stop"
    facts, card, say = job.facts, job.facts.card, sentences("job").say
    quantity = PEDAL_HEIGHT if height else TOTAL_TRAVEL
    taken, figure = facts.latest(quantity), facts.figure(quantity)
    if taken is None or taken.value_in is None:
        return {"stop_move": say("no_change")}
    change = facts.plans.stop_change_in(quantity)
    if change is None and figure is not None:
        low, high = figure.low_in, figure.high_in
        ends = [end for end in (low, high) if end is not None] or [0.0]
        aim = sum(ends) / len(ends) if figure.target_in is None else figure.target_in
        change = aim - taken.value_in
    if change is None:
        return {"stop_move": say("no_change")}
    turn_in = card.height_turn_in if height else card.total_turn_in
    size = words.turns(abs(change) / turn_in) if turn_in else words.length(abs(change), card.units)
    ways = ("higher", "lower") if height else ("more", "less")
    return {"stop_move": joined([size, say(ways[0] if change > 0 else ways[1])])}


def _sign_blanks(job: JobState, step: Step) -> Blanks:
    doubts, say = len(job.facts.doubts), job.dialogs.say
    told = say("sign_doubts", doubts=words.number(doubts)) if doubts else say("sign_ready")
    return {"sign_summary": told}


def _no_blanks(job: JobState, step: Step) -> Blanks:
    return {}


# --- what is said at a step -----------------------------------------------------------------------


def _plain(job: Job, step: Step) -> list[Said]:
    text = fill(step.say, job.kind.blanks(job, step))
    return [spoken_to(step.who, text, f"prompt:{step.id}", cue=job.kind.cue)]


def _plan(job: Job, step: Step) -> list[Said]:
    """The ring plan, or what to do when the ring has no good move; first what it does not show."""
    plan, gap = job.facts.plans.ring(), job.facts.latest(GAP)
    key, out = f"prompt:{step.id}", []
    if plan is None or gap is None:
        return [job.said(step.who, "gap_unread", key=key)]
    if plan.lugs and plan.misses:
        out.append(Said("tech", plan_words.ring_misses(plan), "reply:plan_reason"))
    after = plan.clearance_after
    if plan.lugs and after is not None and after.value_in <= 0:
        out.append(job.said("tech", "clearance_gone", signal="NOTICE"))
    if job.facts.decided(GAP) == "too close" and not job.facts.again:
        return [*out, _close(job, step, words.moved(plan.lugs) if plan.lugs else None)]
    if plan.lugs == 0:
        return [*out, job.said(step.who, "ring_stuck", key=key)]
    return [*out, *_plain(job, step)]


def _close(job: Job, step: Step, move: Both | None = None) -> Said:
    """A gap that is too close to call."""
    gap, say = job.facts.latest(GAP), job.dialogs.say
    assert gap is not None
    choice = say("close_choice") if move is None else say("close_move", move=move)
    text = joined([say("judged_close", figures=gap.both), choice])
    return spoken_to(step.who, text, f"prompt:{step.id}")


def _maker(job: Job, step: Step) -> list[Said]:
    """A gap that is not right on a clutch that adjusts itself: no ring move is proposed."""
    if job.facts.latest(GAP) is None:
        return [job.said("tech", "gap_unread", key=f"prompt:{step.id}")]
    if job.facts.decided(GAP) == "too close":
        return [_close(job, step)]
    again = [job.said("tech", "maker_again")] if job.facts.by_maker else []
    return [*again, *_plain(job, step)]


def _turn(job: Job, step: Step) -> list[Said]:
    plan = job.facts.plans.ring()
    lugs = plan.lugs if plan is not None else 0
    reply = "turn_again" if job.turn_again else "turn_zero" if lugs == 0 else ""
    if not reply:
        return _plain(job, step)
    move = {"lugs": words.lugs(lugs), "way": words.way(lugs)}
    return [job.said("tech", reply, key=f"prompt:{step.id}", **move)]


def _sign(job: Job, step: Step) -> list[Said]:
    """The sign-off; what the lead will look at is named first."""
    named = [talk.doubts(job, "tech")] if job.facts.doubts else []
    return [*plan_words.ticked_off(job), *named, *_plain(job, step)]


def _count(job: Job, step: Step) -> list[Said]:
    return [answers.wedges_asked(job)] if job.counted else _plain(job, step)


def _spends_clear(answer: Handler, always: bool = True) -> Handler:
    """An answer where new parts are worked by the pedal, to words after which hands may be in, or
    the pedal moves as nobody asked: clear comes first again. Not `always`: after a technician's."""

    def told(job: Job, act: Act) -> list[Said]:
        said = answer(job, act)
        if job.here.kind != "seat" or not (always or act.who == "tech"):
            return said
        job.fire("clear_again")
        heard = [one for one in said if not one.key.startswith(("prompt:", "reply:not_now"))]
        wait = [job.said("helper", "helper_wait")]
        return [*heard, *wait, *job.prompt(entering=True)]

    return told


def _note(job: Job, act: Act) -> list[Said]:
    """A note, where hands must be out: one that speaks of them spends the clear."""
    answer = answers.on_note
    return (_spends_clear(answer) if answers.of_hands(act.text) else answer)(job, act)


def _outside(reply: str, to: str) -> Callable[[Job, Step], list[Said]]:
    return lambda job, step: [job.said(to, reply)]


def _repair(job: Job, step: Step) -> list[Said]:
    return [job.said("tech", "need_inside" if job.faulty == LOOK else "need_repair")]


def _stopped(job: Job, step: Step) -> list[Said]:
    """What leads out of a stop; not before who goes on has said so, where it is asked."""
    hazards, code = job.facts.hazards, job.asking == "code"
    asked = [job.said("helper", "ready_first")] if job.helper_asked else []
    if code and hazards.pedal_up:
        return [*asked, *unfinished.asks(job)]
    held = "stopped_clear_next" if hazards.hands_clear else "stopped_held_next"
    if not (code or job.open("carry_on")):
        held = held.replace("next", "up")  # what needs the pedal up cannot go on before
    reply = "stopped_next" if hazards.pedal_up else held.replace("next", "code") if code else held
    return [*asked, job.said("tech", reply, key="reply:stopped_next")]


# --- the table ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of step.

    Attributes:
        allowed: meanings taken there, beyond those understood at any time.
        means: the meaning of the step's own `answers`.
        expects: the quantity of a bare reading, or "": for readings, the step names it.
        measures: the quantity that "measure again" asks for, or "" for the one just read.
        done, check, accept: what these answers do; None where they do not fit.
        acts: what other acts do there, in place of what `job.HANDLERS` says.
        phrase: what is told to whoever cannot say that it is done.
        blanks: the values of the blanks in its words.
        instruction: what is said there.
        cue: the one word the helper acts on.
        tells: what telling the step does to what is known of pedal and hands.
    """

    allowed: tuple[str, ...] = ("done",)
    means: str = "done"
    expects: str = ""
    measures: str = ""
    done: Handler | None = None
    check: Handler | None = None
    accept: Handler | None = None
    acts: Mapping[str, Handler] = field(default_factory=dict)
    phrase: str = "done"
    blanks: Callable[[JobState, Step], Blanks] = _no_blanks
    instruction: Callable[[Job, Step], list[Said]] = _plain
    cue: str = ""
    tells: Callable[[Hazards], None] = Hazards.tell_work


def _change(blanks: Callable[[JobState, Step], Blanks]) -> Kind:
    return Kind(
        allowed=("done", "check", "accept"),
        done=answers.change_done,
        check=answers.checked,
        accept=readings.leave_change,
        blanks=blanks,
    )


KINDS: dict[str, Kind] = {
    "act": Kind(done=answers.act_done, check=answers.checked),
    "sound": Kind(allowed=("sound", "not_sound"), means="sound"),
    "read": Kind(allowed=()),
    "clear": Kind(allowed=("clear",), tells=Hazards.tell_nothing),
    "hold": Kind(
        allowed=("holding",),
        cue="HOLD",
        instruction=prop.instruction("hold", _plain),
        tells=Hazards.tell_hold,
    ),
    "turn": Kind(
        phrase="count",
        expects=LUGS,
        done=readings.turn_done,
        blanks=_ring_blanks,
        instruction=_turn,
    ),
    "release": Kind(
        allowed=("released",),
        cue="RELEASE",
        instruction=prop.instruction("release", _plain),
        tells=Hazards.tell_release,
    ),
    "plan": Kind(
        allowed=("check", "move", "accept", "measure"),
        expects=GAP,
        measures=GAP,
        done=answers.plan_checked,
        check=answers.on_done,
        phrase="check",
        accept=readings.accept_gap,
        blanks=_ring_blanks,
        instruction=_plan,
    ),
    "maker": Kind(
        allowed=("done", "accept", "measure"),
        expects=GAP,
        measures=GAP,
        done=answers.maker_done,
        accept=readings.accept_gap,
        blanks=_maker_blanks,
        instruction=_maker,
    ),
    "count": Kind(
        allowed=("counted", "check"),
        check=answers.wedges_checked,
        phrase="count",
        instruction=_count,
    ),
    "seat": Kind(
        done=answers.seated,
        check=answers.checked,
        acts={
            "holding": _spends_clear(pedal.on_holding),
            "lost": _spends_clear(pedal.on_lost),
            "released": _spends_clear(unfinished.on_released),
            "unsure": _spends_clear(pedal.on_unsure, always=False),
            "note": _note,
        },
    ),
    "rod": _change(_rod_blanks),
    "stop_bolt": _change(_stop_blanks),
    "sign": Kind(allowed=("sign_off",), blanks=_sign_blanks, instruction=_sign),
    HALTED: Kind(allowed=("carry_on", "clear", "let_up"), instruction=_stopped),
    REPAIR: Kind(
        allowed=("repaired",),
        accept=answers.accept_found,
        acts={"sound": answers.look_again},
        instruction=_repair,
    ),
    SIGNED: Kind(allowed=(), instruction=_outside("closed", "tech")),
    LEAVING: Kind(
        allowed=(),
        done=unfinished.answered,
        check=unfinished.answered,
        acts=unfinished.ACTS,
        instruction=unfinished.instruction,
        tells=Hazards.tell_nothing,
    ),
    LEFT: Kind(allowed=(), instruction=unfinished.closed),
}
"""Kinds of step; and what holds where the job is in no step."""
