"""Readings and counts: taken in, confirmed, kept, judged, accepted, corrected."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from assistant.act import Act, Said
from assistant.clutch.conformity import (
    FREE_TRAVEL_INTERNAL_IN,
    TWO_SIDED,
    Measured,
    one_side_decides,
)
from assistant.clutch.equations import RatioFinding
from assistant.clutch.possible import SMALL_ROOM_IN, Contradiction
from assistant.job import plan_words, words
from assistant.job.answers import causes_of_complaint, past_ahead
from assistant.job.plan import MOST_IDLE
from assistant.job.state import HALTED, RingMove, Taken
from assistant.quantity import (
    BRAKE_CONTACT,
    BY_FIX,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    JUDGED,
    LUGS,
    MILES_PER,
    ODOMETER,
    PEDAL_HEIGHT,
    PEDAL_MOVES,
    QUANTITIES,
    SEEN,
    STOPS,
    TOTAL_TRAVEL,
)
from assistant.sentences import Both, joined, sentences

if TYPE_CHECKING:
    from assistant.job.job import Job
    from assistant.texts.dialogs import Step

TWO_AGREE = 3
"""Of `RULES`, those by which a reading is read again until two agree."""
MOST_FIXES = 5
"""Changes for one quantity, with the ring where it is, before we stop proposing more. Common
practice, no source."""

# --- taken in -------------------------------------------------------------------------------------


def on_reading(job: Job, act: Act) -> list[Said]:
    """A value for what is asked or corrected; read back where much hangs on it."""
    expected = job.expects()
    if not expected or act.reading is None:
        return job.hint(act)
    if _said_again(job, act):
        return job.handle("check", act)
    if expected == LUGS:
        if act.who != "tech":
            return job.only(act, "tech", sentences("job").say("phrase.count"))
        count = act.reading["count"]
        return job.hint(act) if count is None else take_count(job, act, int(count))
    if act.reading["value_in"] is None and expected not in (ODOMETER, *SEEN):
        return _one_side(job, act, expected)
    reading = act.reading
    if reading.get("from_now"):
        base = job.facts.staged(ODOMETER, "found")
        if base is None:
            job.from_now = reading
            return job.prompt()
        reading = _on_top(reading, base)
    elif job.from_now is not None:  # asked for, to be counted from
        base, reading = Taken.of(job.at, "found", ODOMETER, act.who, reading), job.from_now
        job.facts.readings.append(base)
        job.pending = Taken.of(job.at, _stage(job), ODOMETER, act.who, _on_top(reading, base))
        job.from_now = None
        return [job.confirm()]
    taken = Taken.of(job.at, _stage(job), expected, act.who, reading)
    taken.tips_in = tuple(reading.get("tips_in") or ())
    if wants_check(job, taken, act):
        job.pending = taken
        return [job.confirm()]
    said = _keep(job, taken)
    if taken.value_in is not None and any(t is taken for t in job.facts.readings):
        job.just_read = taken.quantity
    return said


def _one_side(job: Job, act: Act, quantity: str) -> list[Said]:
    """Less, or more, than something: what it decides is told, and noted; but no plan can be made of
    it, so that the reading itself is asked for."""
    reading = act.reading or {}
    low, high = reading.get("low_in"), reading.get("high_in")
    if reading.get("kind") != "length" or (low is None and high is None):
        return job.hint(act)
    both, name = Both(reading["figures"], reading["readback"]), words.spoken(quantity)
    job.pending = None
    job.facts.notes.append((act.who, f"{name} {both}"))
    out = one_side_decides(low, high, job.facts.figure(quantity)) == "out"
    key = "one_side_out" if out else "one_side"
    return [job.said(act.who, key, figures=both, quantity=name)]


def _said_again(job: Job, act: Act) -> bool:
    """Whether it is the very reading that was just read back, by the one who gave it: a check."""
    waits, said = job.pending, act.reading
    if waits is None or said is None or waits.who != act.who or waits.step != job.at or act.doubt:
        return False
    if waits.quantity == LUGS:
        count = waits.count or 0
        way = "tighter" if count >= 0 else "looser"
        return said.get("count") == abs(count) and act.way in ("", way)
    ends = ("value_in", "low_in", "high_in")
    own = (waits.value_in, waits.low_in, waits.high_in)
    if waits.quantity == ODOMETER or waits.value_in is None:
        return False
    return tuple(said.get(name) for name in ends) == own


FINE = 1 / 4
"""The widest interval of a fine reading, as a share of what its limits leave: common practice, no
source."""


def wants_check(job: Job, taken: Taken, act: Act) -> bool:
    """Whether a reading waits for its "check" before it is kept.

    Not where it is in, finely read, and moves nothing or is as foretold: "no" puts it right.
    """
    other = act.who != job.here.who  # an echo of the other's reading, perhaps
    if job.correcting or other or act.doubt:
        return True
    if not taken.critical:
        return False
    if job.full or not _fine(job, taken):
        return True
    judgement = job.facts.judged(taken)
    if taken.stage in ("found", "again") and taken.quantity not in (GAP, CLEARANCE):
        return False  # nothing is moved by it
    if judgement is None or judgement.decision != "in":
        return True
    return taken.stage not in ("found", "again") and not _as_foretold(job, taken)


def _fine(job: Job, taken: Taken) -> bool:
    """Whether its interval is small against its limits."""
    figure = job.facts.figure(taken.quantity)
    if figure is None or taken.low_in is None or taken.high_in is None:
        return False
    low, high = figure.low_in, figure.high_in
    return low is None or high is None or taken.high_in - taken.low_in <= FINE * (high - low)


def _as_foretold(job: Job, taken: Taken) -> bool:
    """Whether it is what the readings before it and the moves since make of it."""
    facts, quantity = job.facts, taken.quantity
    last, truck = facts.latest(quantity), facts.plans.truck()
    expected = last.value_in if last is not None else None
    if expected is None and quantity == GAP:
        expected = facts.plans.gap_expected_in()
    elif expected is None and truck is not None and (truck.ratio.known or quantity == CLEARANCE):
        now = truck.now().get(quantity)
        expected = None if now is None else now.value_in
    if expected is None or taken.value_in is None:
        return False
    slack = QUANTITIES[quantity].rule_half_in + 2 * taken.measured.u_in
    return abs(taken.value_in - expected) <= slack


# --- taken over -----------------------------------------------------------------------------------

_AT_PEDAL = (PEDAL_HEIGHT, TOTAL_TRAVEL, FREE_TRAVEL, BRAKE_CONTACT)


def stands(job: Job) -> bool:
    """Whether the step asks for a reading that was taken, is right, and was not moved since.

    Gap and clearance are read last with both gauges in place, whatever was read before.
    """
    step = job.here
    again = step.reading in _AT_PEDAL or (step.reading, step.stage) == (CLEARANCE, "set")
    if job.full or step.kind != "read" or step.stage not in ("set", "final") or not again:
        return False
    if job.facts.seated and (step.reading, step.stage) == (FREE_TRAVEL, "final"):
        return False  # new parts go on settling: it is read once more
    taken = job.facts.latest(step.reading)
    return taken is not None and (job.facts.decided(step.reading) == "in" or bool(taken.accepted))


def taken_over(job: Job) -> list[Said]:
    """On past the steps whose reading stands; which they were."""
    told = []
    while job.over:
        taken = job.facts.latest(job.here.reading)
        assert taken is not None
        if taken.stage != job.here.stage:
            over = replace(taken, step=job.at, stage=job.here.stage, over=True)
            job.facts.readings.append(over)
        told.append(joined([words.spoken(taken.quantity), taken.both]))
        if not job.fire("advance"):
            job.over = False
    return [job.said("both", "taken_over", readings=joined(told, ", "))] if told else []


def _on_top(reading: dict[str, Any], base: Taken) -> dict[str, Any]:
    """A distance from now as what the odometer will show then."""
    more = (reading["count"] or 0.0) * MILES_PER[reading["kind"]] / MILES_PER[base.kind]
    count = (base.count or 0.0) + round(more)
    both = words.counted(count, base.kind)
    kept = {"count": count, "kind": base.kind, "figures": str(both), "readback": both.spoken}
    return {k: v for k, v in reading.items() if k != "from_now"} | kept


def _stage(job: Job) -> str:
    step, facts = job.here, job.facts
    if step.kind != "read":
        return "ring" if facts.moves or facts.by_maker else "found"
    # Read once more after changes, it is not as found.
    return "again" if step.stage == "found" and facts.changed else step.stage


def take_count(job: Job, act: Act, count: int) -> list[Said]:
    """The lugs that were moved, in the direction told unless another was said; read back."""
    plan = job.facts.plans.ring()
    tighter = plan is None or plan.lugs >= 0
    if job.correcting == LUGS:  # the plan is of the next move by now
        last = job.facts.moves[-1]
        tighter = (last.moved or last.told) >= 0
    if act.way:
        tighter = act.way == "tighter"
    count = count if tighter else -count
    both = words.moved(count)
    kept = {"count": float(count), "kind": "lugs", "readback": both.spoken, "figures": str(both)}
    job.pending = Taken.of(job.at, "ring", LUGS, act.who, kept)
    return [job.confirm()]


def turn_done(job: Job, act: Act) -> list[Said]:
    """The ring was turned as told; after a broken-off turn, "done" leaves open how much in all."""
    if job.turn_again:
        return job.prompt()[-1:]
    plan = job.facts.plans.ring()
    return take_count(job, act, abs(plan.lugs) if plan else 0)


def on_check(job: Job, act: Act) -> list[Said]:
    """What was read back, or planned, is right."""
    if job.pending is not None:
        if job.pending.who == "tech" and act.who != "tech":
            return job.only(act, "tech", "check")
        return _commit(job)
    if job.signing and act.who == "tech":
        return job.handle("sign_off", replace(act, text=job.signing))
    if job.choice or job.correcting or job.kind.check is None:
        return job.hint(act)
    return job.kind.check(job, act)


def _commit(job: Job) -> list[Said]:
    taken, job.pending = job.pending, None
    assert taken is not None
    if job.correcting:
        return _correct(job, taken) if taken.quantity == job.correcting else job.prompt()
    return _ring_moved(job, taken) if taken.quantity == LUGS else _keep(job, taken)


def on_no(job: Job, act: Act) -> list[Said]:
    """What was read back is wrong: it is not kept."""
    if job.pending is not None:
        job.pending = None
    elif job.signing:
        job.signing = ""
    elif job.counted:
        job.counted = ""
    elif job.just_read:
        return on_correct(job, replace(act, quantity=job.just_read))
    else:
        return job.hint(act)
    return [job.said(act.who, "dropped"), *job.prompt()]


def _ring_moved(job: Job, taken: Taken) -> list[Said]:
    facts = job.facts
    plan = facts.plans.ring()
    told, moved = plan.lugs if plan else 0, int(taken.count or 0)
    facts.moves.append(RingMove(told, moved, len(facts.readings)))
    facts.turning = False
    plan_words.tick(facts, "ring_turn", moved)
    facts.again = False
    if moved == told:
        return job.go_on()
    both = {"moved": words.moved(moved), "told": words.moved(told)}
    return job.go_on(job.said("tech", "lugs_differ", **both))


def _keep(job: Job, taken: Taken) -> list[Said]:
    """Take a reading in, judge it, and go where it leads."""
    facts = job.facts
    found = facts.as_found(ODOMETER)
    if taken.stage == "due" and found is not None and (taken.count or 0) < (found.count or 0):
        return [job.said(taken.who, "due_past", figures=taken.both, found=found.both)]
    foretold = _foretold_in(job, taken) if taken.stage == "final" else None
    by_maker = taken.stage == "ring" and facts.by_maker and facts.latest(GAP) is None
    facts.readings.append(taken)
    if facts.at_nominal(taken):
        taken.accepted = str(sentences("job").say("nominal"))
    before = facts.plans.unlike(taken) if job.rules else None
    if job.rules < TWO_AGREE and before is not None and any(facts.plans.drawn(before, taken)):
        before = None
    if before is not None and (job.choice or job.here.reading != taken.quantity):
        facts.misread(before, taken)  # it was doubted, and read again for that
        if job.rules >= TWO_AGREE and before.instead is not None:
            _effect(job, before.instead, before)
    elif before is not None:
        return _once_more(job, taken, before)
    elif foretold is not None:
        return _against_all(job, taken, foretold)
    elif by_maker and job.rules >= TWO_AGREE and facts.decided(GAP) == "out":
        job.correcting, job.unlike = GAP, (taken,)  # before the procedure is done again
        return [job.said("tech", "maker_out", key="reply:unlike", quantity=words.spoken(GAP))]
    return _taken_in(job, taken)


def _foretold_in(job: Job, taken: Taken) -> Measured | None:
    """Where a final clearance that is out, for all that the gauges leave open, was to be in, by
    what was read before it and turned since; else None."""
    facts, wanted = job.facts, taken.quantity == CLEARANCE
    if job.rules < TWO_AGREE or not wanted or job.choice or not taken.is_length:
        return None
    truck, figure, judgement = facts.plans.truck(), facts.figure(CLEARANCE), facts.judged(taken)
    if truck is None or figure is None or judgement is None or judgement.decision != "out":
        return None
    foretold, read = truck.readings.clearance, taken.measured
    room = SMALL_ROOM_IN + TWO_SIDED * math.hypot(foretold.u_in, read.u_in)
    off = abs(read.value_in - foretold.value_in) > room
    return foretold if off and not figure.miss_in(foretold.value_in) else None


def _against_all(job: Job, taken: Taken, foretold: Measured) -> list[Said]:
    """It is out, and by all others it is in: before anything is turned for it, it is read again."""
    job.correcting, job.unlike = taken.quantity, (taken,)
    most = taken.measured.value_in > foretold.value_in
    by = (1 if most else -1) * (SMALL_ROOM_IN + TWO_SIDED * foretold.u_in)
    length = words.length(max(0.0, foretold.value_in + by), job.units)
    bound = "read_at_most" if most else "read_at_least"
    return [job.said("both", bound, quantity=words.spoken(taken.quantity), length=length)]


def _taken_in(job: Job, taken: Taken) -> list[Said]:
    """What a reading that is kept tells, and where it leads."""
    facts = job.facts
    effect = _effect(job, taken)
    _ring_once_more(job, taken)
    said = [*_tips(job, taken), *effect, *_verdict(job, taken), *_reopened(job, taken)]
    odd = facts.contradiction() if taken.quantity in JUDGED else None
    if odd is not None:
        return [*said, *_read_again(job, odd)]
    return _go_by(job, taken, said)


def _once_more(job: Job, taken: Taken, before: Taken) -> list[Said]:
    """Nothing that moves it was touched, and it reads otherwise: one of the two was misread, and
    before anything is turned or given up for it, it is read again."""
    job.correcting, job.unlike = taken.quantity, (*(job.unlike or (before,)), taken)
    if taken.quantity in PEDAL_MOVES:
        job.facts.hazards.tell_press()
    name = words.spoken(taken.quantity)
    return [job.said("both", "unlike", now=taken.both, before=before.both, quantity=name)]


MOST_AGAIN = 2
"""So often is one reading read again until two agree: common practice, no source."""


def _read_twice(job: Job, taken: Taken, *said: Said) -> list[Said]:
    """It was read again: the reading that it agrees with was right, the other one misread. Where
    it agrees with none, once more."""
    plans, (before, *others) = job.facts.plans, job.unlike
    more = job.rules >= TWO_AGREE and len(others) < MOST_AGAIN and plans.unlike(taken) is not None
    if more and not any(plans.alike(one, taken) for one in others):
        return [*said, *_once_more(job, taken, before)]
    job.unlike = ()
    if plans.unlike(taken) is not None:
        job.facts.misread(before, taken)
        if before.instead is not None:
            _effect(job, before.instead, before)
    return [*said, *_taken_in(job, taken)]


def _reopened(job: Job, taken: Taken) -> list[Said]:
    """What was accepted since no setting could put it in is open again, once, where a reading tells
    that one can."""
    facts = job.facts
    if job.rules >= TWO_AGREE and taken.quantity not in JUDGED:
        return []
    held = [t for q in JUDGED if (t := facts.latest(q)) is not None and t.accepted]
    some = [t for t in held if facts.decided(t.quantity) == "out" and t is not taken]
    some = [t for t in some if t.quantity not in facts.reopened | facts.left]
    why = [t.accepted for t in some]
    for one in some:
        one.accepted = ""
    plan = facts.plans.whole() if some and job.rules else None
    if plan is None or not (plan.settings.possible and any(can_fix(job, t.quantity) for t in some)):
        for one, was in zip(some, why, strict=True):
            one.accepted = was
        return []
    facts.reopened.update(t.quantity for t in some)
    names = joined([words.spoken(t.quantity) for t in some], ", ")
    return [job.said("tech", "reopened", quantities=names)]


def _go_by(job: Job, taken: Taken, said: list[Said]) -> list[Said]:
    """Where a reading that is kept leads: its adjuster is moved, or it stands, or it is asked."""
    facts = job.facts
    if job.here.stage in ("ring", "set"):
        said = [*said, *plan_words.announce(job)]
    if facts.again and job.past_ring(job.at):
        return job.go_to("ring_plan", *said, job.said("tech", "ring_again"))
    settles = taken.stage in ("found", "again") or (taken.quantity, taken.stage) == (GAP, "ring")
    if settles or facts.judged(taken) is None:
        if job.at == "ring_plan" and not facts.gap_right():
            return [*said, *job.prompt()]  # the plan is new: it is shown before it is done
        # A stop without a figure may still have to move, for the brake to be reached.
        moves = taken.stage == "set" and _planned(job, taken)
        job.fix = moves and can_fix(job, taken.quantity)
        return past_ahead(job, job.go_on(*said), taken.who)
    back = _stop_first(job, taken)
    if back:
        return job.go_to(back, *said)
    decision = "in" if taken.accepted else facts.decided(taken.quantity)
    job.fix = can_fix(job, taken.quantity) and (decision == "out" or _planned(job, taken))
    later = decision == "out" and not job.fix and _comes_later(job, taken)
    if later:
        said = [*said, job.said("tech", "comes_later")]
    if job.fix or later or decision == "in":
        return past_ahead(job, job.go_on(*said), taken.who)
    if decision == "out" and taken.stage == "set" and facts.plans.clearance_decides():
        return job.go_to("fork_clearance", *said, job.said("tech", "clearance_decides"))
    job.choice = "close" if decision == "too close" else "out"
    return [*said, *job.prompt()]


def _ring_once_more(job: Job, taken: Taken) -> None:
    """The gap is right, but not the rest, and only the ring puts it right: it is moved again."""
    facts = job.facts
    before_rod = taken.quantity == GAP and taken.stage == "ring"
    found = taken.quantity == CLEARANCE and taken.stage == "found"
    final = taken.stage == "final" and facts.decided(taken.quantity) == "out"
    if not (before_rod or found or taken.stage == "set" or final):
        return
    facts.again = False
    facts.again = facts.gap_right() and facts.plans.ring_again()


def _planned(job: Job, taken: Taken) -> bool:
    """Whether the plan moves the adjuster of this reading now, though it may be in itself."""
    fix, plans = QUANTITIES[taken.quantity].fix, job.facts.plans
    return fix != QUANTITIES[GAP].fix and plans.steps(fix) != 0


def _waits(job: Job, quantity: str) -> bool:
    """Whether the rod waits for the stops, which change what it sets: then it is turned once."""
    plans, here = job.facts.plans, job.here
    stops = any(plans.steps(QUANTITIES[q].fix) for q in (PEDAL_HEIGHT, TOTAL_TRAVEL))
    return quantity == CLEARANCE and here.stage == "set" and stops


def _stop_first(job: Job, taken: Taken) -> str:
    """The step to go back to for a stop that the plan moves now, past its place; or ""."""
    facts = job.facts
    final = taken.stage == "final" and facts.decided(taken.quantity) == "out"
    late = taken.stage == "set" and taken.quantity in (FREE_TRAVEL, BRAKE_CONTACT)
    if not (late or (final and not taken.accepted and taken.quantity != GAP)):  # the ring is first
        return ""
    for quantity in (PEDAL_HEIGHT, TOTAL_TRAVEL):
        fix = QUANTITIES[quantity].fix
        if facts.plans.steps(fix) and can_fix(job, quantity):
            return QUANTITIES[quantity].read_at("set")
    return ""


def _comes_later(job: Job, taken: Taken) -> bool:
    """Whether another move of the plan, still to come, puts this reading in."""
    found = job.facts.plans.whole()
    if found is None or taken.quantity == BRAKE_CONTACT or taken.stage != "set":
        return False
    own = job.facts.plans.steps(QUANTITIES[taken.quantity].fix)
    if own and not _waits(job, taken.quantity):
        return False  # its own change was tried, and does not help
    chosen = found.settings.chosen
    return chosen.setting.moves > 0 and taken.quantity not in chosen.out


def _read_again(job: Job, odd: Contradiction) -> list[Said]:
    """Readings that cannot all be true: which they are, and which one is read again."""
    facts, units = job.facts, job.units
    job.correcting, job.rereading = odd.again, True
    facts.reread.add(odd.again)
    if odd.again in PEDAL_MOVES:
        facts.hazards.tell_press()
    read = [(q, taken) for q in odd.quantities if (taken := facts.latest(q)) is not None]
    seen = joined([joined([words.spoken(q), taken.both]) for q, taken in read], ", ")
    bound = "at_least" if odd.at_least else "at_most"
    length = words.length(max(0.0, odd.bound_in), units)
    name = words.spoken(odd.again)
    return [
        job.said("tech", "not_all_true", seen=seen),
        job.said("both", f"read_{bound}", quantity=name, length=length),
    ]


COCKED_IN = 1 / 32
"""Fork tips that differ by more: the fork or its shaft is cocked or worn. From memory."""


def _tips(job: Job, taken: Taken) -> list[Said]:
    """Both fork tips are kept; where they differ, it is asked why."""
    if len(taken.tips_in) != 2:
        return []
    left, right = (words.length(tip, job.facts.card.units) for tip in taken.tips_in)
    kept = sentences("job").say("fork_tips", left=left, right=right)
    job.facts.notes.append((taken.who, str(kept)))
    if abs(taken.tips_in[0] - taken.tips_in[1]) <= COCKED_IN + 1e-6:
        return []
    job.facts.remarks.append(str(kept))
    return [job.said("tech", "fork_cocked", left=left, right=right)]


def can_fix(job: Job, quantity: str) -> bool:
    """Whether a change exists that would move this reading."""
    facts, fix = job.facts, QUANTITIES[quantity].fix
    if quantity in facts.left or not fix:
        return False
    if quantity == GAP:
        return True  # the plan step shows the move, or says that no lug will do
    ring = max((m.at for m in facts.moves if m.moved), default=0)
    if sum(m.step == fix and m.at >= ring for m in facts.linkage) >= MOST_FIXES:
        return False  # it does not help: let the technician accept it, and why, or repair
    if facts.idle[fix] >= MOST_IDLE and quantity not in facts.insisted:
        return False  # it changed nothing: he looks why, and says so
    if _waits(job, quantity):
        return False
    found = facts.plans.whole()
    return found is None or facts.plans.steps(fix) != 0


# --- judged ---------------------------------------------------------------------------------------

_DECIDED = {"in": "judged_in", "out": "judged_out", "too close": "judged_close"}


def verdict(job: Job, taken: Taken) -> Said:
    """One sentence on a reading: how it is, and whose limit it was."""
    judgement, figure = job.facts.judged(taken), job.facts.figure(taken.quantity)
    to = "tech" if taken.who == "tech" else "both"
    if judgement is None or figure is None:
        name = words.spoken(taken.quantity)
        return job.said(to, "no_figure", key="reply:whose", figures=taken.both, quantity=name)
    decided = job.dialogs.say(_DECIDED[judgement.decision], figures=taken.both)
    limits = job.facts.limits(taken.quantity)
    return job.said(to, "whose", verdict=decided, limits=limits, source=figure.source)


def _verdict(job: Job, taken: Taken) -> list[Said]:
    """All there is to say of a reading just taken."""
    if taken.quantity in SEEN:
        return []
    if taken.value_in is None:  # odometer, next due: nothing to judge
        name = words.spoken(taken.quantity)
        return [job.said(taken.who, "stands", figures=taken.both, quantity=name)]
    said = [verdict(job, taken)]
    judgement = job.facts.judged(taken)
    if taken.accepted:  # at its nominal
        said = [job.said("tech", "nominal", figures=taken.both, how=_settles(job, taken))]
    elif judgement is not None and judgement.decision == "too close":
        said.append(job.said("tech", "gauge", key="reply:gauge", how=_settles(job, taken)))
    if taken.stage == "found":
        return [*said, *_as_found(job, taken)]
    if taken.stage == "again":
        return said
    if taken.quantity == GAP and taken.stage == "ring":
        said += _ring_finding(job)
        if job.facts.gap_right():
            said.append(job.said("both", "gap_right"))
    return said


def _settles(job: Job, taken: Taken) -> Both:
    """What would tell whether a reading too close to call is in."""
    figure = job.facts.figure(taken.quantity)
    assert figure is not None and taken.value_in is not None
    return plan_words.settles(taken.quantity, taken.value_in, figure, job.units)


def _as_found(job: Job, taken: Taken) -> list[Said]:
    """What the as-found readings say together."""
    facts, units = job.facts, job.units
    if taken.quantity == FREE_TRAVEL and (taken.value_in or 0) < FREE_TRAVEL_INTERNAL_IN:
        if "clutch" in facts.fitted:
            return []  # a first set-up: nothing has worn yet
        limit = words.length(FREE_TRAVEL_INTERNAL_IN, units)
        return [job.said("tech", "internal_due", limit=limit)]
    if taken.quantity == BRAKE_CONTACT and facts.decided(BRAKE_CONTACT) == "out":
        return [job.said("tech", "ring_cannot", figures=taken.both)]
    if taken.quantity != CLEARANCE:
        return []
    out = []
    truck, finding = facts.plans.found(), facts.plans.ratios()
    if truck is not None and finding is not None:
        if finding.agree:
            ratio = words.number(truck.ratio.value, 1)
            out.append(job.said("tech", "ratio_agree", ratio=ratio))
        else:
            out.append(_quarrel(job, finding))
    lost = facts.plans.lost_motion()
    if lost is not None:
        out.append(job.said("tech", "chain", chain=plan_words.linkage(lost, units)))
    if facts.card.clutch == "manual" or facts.gap_right():
        out += _predicted(job)
    return [*out, *causes_of_complaint(job)]


def _quarrel(job: Job, finding: RatioFinding) -> Said:
    """The two ratios, and which one reading, if it were wrong, would make them agree."""
    suspect = sentences("job").say("another_reading")
    if finding.suspects:
        name = words.spoken(finding.suspects[0].quantity).capitalize()
        value = words.length(finding.suspects[0].value_in, job.units)
        suspect = sentences("job").say("suspect", name=name, value=value)
    first, second = (words.number(ratio.value, 1) for ratio in (finding.first, finding.second))
    return job.said("tech", "ratio_differ", first=first, second=second, suspect=suspect)


def _predicted(job: Job) -> list[Said]:
    """The whole plan, and where it should bring the pedal, when the readings can tell."""
    whole, units = job.facts.plans.whole(), job.units
    out: list[Said] = []
    plan_words.announce(job)
    if whole is None:
        return out
    settings, after = whole.settings, whole.after
    contact = after.get(BRAKE_CONTACT)
    if settings.chosen.setting.moves > 1 or not settings.possible:  # one move is told by its step
        out.append(job.said("tech", "whole_plan", plan=plan_words.spoken(whole, job.facts.card)))
    if whole.truck.ratio.known:
        free = words.length(after[FREE_TRAVEL].value_in, units)
        out.append(job.said("tech", "free_after", free_after=free))
    if "set_contact" not in job.dialogs.by_id or contact is None:
        return out  # no clutch brake to touch
    if contact.value_in < 0:
        return [*out, job.said("tech", "contact_floor")]
    touched = words.length(contact.value_in, units)
    return [*out, job.said("tech", "contact_after", contact_after=touched)]


def _ring_finding(job: Job) -> list[Said]:
    """What the last ring move really did."""
    _, findings = job.facts.plans.findings()
    finding = findings[-1] if findings else None
    if finding is None:
        return []
    how = "none" if finding.kind == "did not move" else finding.kind.replace(" ", "_")
    said = job.said(
        "tech",
        f"move_{how}",
        signal="NOTICE" if finding.kind == "wrong way" else "",
        measured=words.length(finding.measured_in, job.units),
        predicted=words.length(finding.predicted_in, job.units),
        moved=words.moved(finding.lugs_moved),
        told=words.moved(job.facts.moves[-1].moved),
        pitch=words.per_lug(finding.belief.best.pitch_in, job.units),
    )
    return [said]


GAUGES = 6**0.5
"""Standard uncertainties of a difference by which two readings of one gauge can be off, each by
half a step: JCGM 100:2008, 4.3.7, a rectangular distribution."""
HALF_DONE = 0.5
"""Share of what was told that may be hidden so: the change is not called none. From memory."""
NO_SHARE = 0.25
"""A change of less than this share of what was told had no effect: from memory."""
MOST_SHARE = 4.0
"""A change of more than that was none of this part alone: from memory."""


def _effect(job: Job, taken: Taken, misread: Taken | None = None) -> list[Said]:
    """What the change just before this reading really did; what it did counts from then on.

    `misread`: the reading after the change, of which `taken` is what it should have been.
    """
    facts = job.facts
    if not facts.linkage or facts.linkage[-1].at != facts.plans.place(misread or taken):
        return []
    change = facts.linkage[-1]
    facts.as_told(change)
    stop = change.adjuster == STOPS
    told, per = (change.stop_in, 1.0) if stop else (change.clearance_in, facts.plans.pull(taken))
    before = [t for t in facts.readings[: change.at] if t.quantity == taken.quantity]
    if not told or not per or not before or not (before[-1].is_length and taken.is_length):
        return []
    if before[-1].value_in == 0.0 and taken.quantity in (CLEARANCE, FREE_TRAVEL):
        return []  # the fork was on the bearing, who knows how hard: that is taken up first
    did = ((taken.value_in or 0.0) - (before[-1].value_in or 0.0)) / per
    unsure = math.hypot(taken.measured.u_in, before[-1].measured.u_in) / abs(per)
    as_told = abs(did - told) <= NO_SHARE * abs(told) + TWO_SIDED * unsure
    if not as_told or TWO_SIDED * unsure <= NO_SHARE * abs(told):  # finer than what was told
        change.did(did)
    if did / told > NO_SHARE:
        facts.works(change)
    if as_told:
        return []
    share = did / told
    if share > NO_SHARE:
        change.other = share < MOST_SHARE
        return []
    way = "wrong_way" if share < -NO_SHARE else "no_effect"
    if way == "no_effect" and share + GAUGES * unsure / abs(told) >= HALF_DONE:
        return []  # two readings of a coarse gauge may hide it
    if way == "no_effect":  # little of it may be lost in the gauges, or under the nut: once more
        plain = GAUGES * unsure <= NO_SHARE * abs(told) and (stop or abs(change.steps) > 1)
        change.idle = MOST_IDLE if plain else 1
        facts.idle[change.step] += change.idle
    change.remark = f"{'stop' if stop else 'rod'} {way.replace('_', ' ')}"
    facts.remarks.append(change.remark)
    return [job.said("tech", f"{'stop' if stop else 'rod'}_{way}", signal="NOTICE")]


# --- accepted, moved, measured again --------------------------------------------------------------


def on_accept(job: Job, act: Act) -> list[Said]:
    """A reading stands although it is not clearly in."""
    step = job.here
    if job.kind.accept is not None:
        return job.kind.accept(job, act)
    if not job.choice:
        return [job.said(act.who, "accept_nothing"), *job.prompt()]
    if job.choice == "out" and step.reading == GAP:
        return [job.said(act.who, "accept_no"), *job.prompt()]
    if job.choice == "out" and not act.text:
        return [job.said(act.who, "accept_why")]
    return _accepted(job, step.reading, act)


def accept_gap(job: Job, act: Act) -> list[Said]:
    """At the plan, only a gap that is too close to call, or one that is in but for the rest."""
    if job.facts.again:
        job.facts.again = False
        job.facts.left.add(GAP)
        return job.go_on()
    if job.facts.decided(GAP) != "too close":
        return [job.said(act.who, "accept_no"), *job.prompt()]
    return _accepted(job, GAP, act)


def leave_change(job: Job, act: Act) -> list[Said]:
    """Accept the reading that this change was for, and why; leave the change undone."""
    if not act.text:
        return [job.said(act.who, "accept_why")]
    quantity = BY_FIX[job.at].name
    if job.facts.latest(quantity) is None:
        return job.hint(act)
    job.facts.left.add(quantity)
    job.undone = True
    return _accepted(job, quantity, act)


def _accepted(job: Job, quantity: str, act: Act) -> list[Said]:
    taken = job.facts.latest(quantity)
    assert taken is not None
    taken.accepted = act.text or str(sentences("job").say("too_close"))
    job.choice = ""
    return job.go_on(job.said(act.who, "accepted"), *plan_words.announce(job))


def on_move(job: Job, act: Act) -> list[Said]:
    """Move it rather than measure it again."""
    if job.choice and job.here.reading:
        job.facts.insisted.add(job.here.reading)
    job.fix = bool(job.choice) and can_fix(job, job.here.reading)
    if not job.fix:
        job.facts.insisted.clear()
    return job.go_on() if job.fix or job.here.kind == "plan" else job.hint(act)


def on_measure(job: Job, act: Act) -> list[Said]:
    """Measure it again."""
    job.choice = ""
    if job.kind.measures:
        job.correcting = ""
        return [job.said("tech", "what_correct", quantity=words.spoken(job.kind.measures))]
    return job.prompt()


# --- corrected ------------------------------------------------------------------------------------


def last_quantity(job: Job) -> str:
    """The quantity that a bare "correct that" is about, or ""."""
    readings, moves = job.facts.readings, job.facts.moves
    if moves and moves[-1].at == len(readings):
        return LUGS
    return next((t.quantity for t in reversed(readings) if not t.over), "")


def _correctable(job: Job, quantity: str) -> Taken | RingMove | None:
    if quantity == LUGS:
        return job.facts.moves[-1] if job.facts.moves else None
    return next((t for t in reversed(job.facts.readings) if t.quantity == quantity), None)


def on_correct(job: Job, act: Act) -> list[Said]:
    """A reading or the last count was wrong; the new one comes with it, or is asked for."""
    if job.pending is not None and not act.quantity and act.reading is None:
        return on_no(job, act)
    if job.at == HALTED:
        return job.not_now(act.who)
    quantity = act.quantity or last_quantity(job)
    if not quantity or _correctable(job, quantity) is None:
        return [job.said(act.who, "nothing_to_correct"), *job.prompt()]
    job.pending, job.just_read, job.unlike = None, "", ()
    job.correcting = quantity
    if act.reading is None:
        if quantity in PEDAL_MOVES:  # read anew: he presses
            job.facts.hazards.tell_press()
        return [job.said(act.who, "what_correct", quantity=words.spoken(quantity))]
    return on_reading(job, act)


def _correct(job: Job, new: Taken) -> list[Said]:
    quantity, job.correcting = job.correcting, ""
    facts, old = job.facts, _correctable(job, quantity)
    if job.unlike and isinstance(old, Taken) and new.figures == old.figures:
        return _read_twice(job, old)
    if isinstance(old, RingMove):
        old.moved = int(new.count or 0)
    elif old is not None:
        # By identity: two readings of one value are still two readings.
        index = facts.plans.place(old)
        new.step, new.stage = old.step, old.stage
        facts.readings[index] = new
        note = sentences("job").say("corrected_from", quantity=quantity, was=old.figures)
        facts.notes.append(("lugcall", str(note)))
    name = words.spoken(quantity)
    said = [job.said("both", "corrected", quantity=name, figures=new.both)]
    if job.unlike:
        return _read_twice(job, new, *said)
    if quantity != LUGS:
        said += _effect(job, new)
    if new.value_in is not None:
        how = verdict(job, new)
        said.append(Said("tech", how.text, "reply:facts", spoken=how.spoken))
    if quantity in (GAP, LUGS):  # what the move did is judged by them
        said += _ring_finding(job)
    return _put_right(job, *said)


def _put_right(job: Job, *said: Said) -> list[Said]:
    """Whatever the correction upset is put right: the ring first."""
    job.choice = ""
    step, facts = job.step, job.facts
    if step is None:
        return [*said, *job.prompt()]
    if job.rereading:
        job.rereading = False
        return _all_true(job, step, *said)
    facts.again = facts.again and facts.plans.ring_again()
    if step.id == "ring_plan" and facts.gap_right():
        return job.go_on(*said, job.said("both", "gap_right"))
    if job.past_ring(step.id) and not facts.gap_right():
        target = "ring_gap" if facts.latest(GAP) is None else "ring_plan"
        return job.go_to(target, *said, job.said("both", "gap_not_right"))
    plan = facts.plans.ring() if step.kind == "turn" else None
    if plan is not None:
        move = {"lugs": words.lugs(plan.lugs), "way": words.way(plan.lugs)}
        return [*said, job.said("tech", "plan_change", **move), *job.prompt()]
    own = (
        BY_FIX.get(step.id)
        if job.rules >= TWO_AGREE and step.kind in ("rod", "stop_bolt")
        else None
    )
    if own is not None and facts.decided(own.name) == "in" and not can_fix(job, own.name):
        job.undone = True  # as read now, it needs no change
        return job.go_on(*said)
    upset = job.unsettled()
    if upset and facts.staged(upset, "final"):
        ids, final = list(job.dialogs.by_id), QUANTITIES[upset].read_at("final")
        if ids.index(step.id) > ids.index(final):
            return job.go_to(final, *said)
    return [*said, *job.prompt()]


def _all_true(job: Job, step: Step, *said: Said) -> list[Said]:
    """A reading was read again: on, or the next one of those that cannot all be true."""
    facts = job.facts
    odd = facts.contradiction()
    if odd is not None:
        return [*said, *_read_again(job, odd)]
    facts.reread.clear()
    still = facts.contradiction()
    if still is not None:  # all of them were read again
        names = ", ".join(map(words.spoken, still.quantities))
        facts.remarks.append(str(sentences("job").say("untrue", names=names)))
    taken = facts.latest(step.reading) if step.reading else None
    return [*said, *job.prompt()] if taken is None else _go_by(job, taken, [*said])
