"""The whole setting, ring, stops and rod, from what is known in the job now."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from assistant.card.arithmetic import effects_for, readings_for
from assistant.clutch.equations import Effects, Readings
from assistant.clutch.linkage.lost_motion import LostMotion, find_lost_motion
from assistant.clutch.linkage.protocol import LinkageError
from assistant.clutch.ring import RingBelief, RingPlan, landing_chance
from assistant.clutch.solver import Settings, solve
from assistant.clutch.uncertainty import Measured

if TYPE_CHECKING:
    from assistant.job.facts import Facts

_PEDAL = ("free-travel", "pedal-height", "brake-contact", "total-travel")
# A count that suits the whole truck may have this share of the best chance at the gap, no less:
# common practice, no source.
LEAST_SHARE = 0.95


class Settled(NamedTuple):
    """A truck and the setting found for it."""

    effects: Effects
    settings: Settings


def settle(facts: Facts, lugs: int | None = None) -> Settled | None:
    """The best setting from the readings that still hold; None without gap and clearance.

    With `lugs` the ring's count is given already. The answer is kept beside the facts, since one
    turn asks for it several times.
    """
    gap, clearance = facts.latest("gap"), facts.clearance_now()
    if gap is None or clearance is None or facts.figure("gap") is None:
        return None
    now: dict[str, Measured | None] = {"gap": gap.measured, "clearance": clearance}
    for quantity in _PEDAL:
        taken = facts.latest(quantity)
        now[quantity] = taken.measured if taken else None
    belief, _ = facts.move_findings()
    key = (lugs, tuple(now.values()), belief)
    if key not in facts.settled:
        facts.settled[key] = _solve(facts, now, belief, lugs)
    return facts.settled[key]


def whole(facts: Facts) -> Settled | None:
    """The whole setting that goes with the ring move that is told, or with none."""
    plan = None if facts.gap_right() else facts.ring_plan()
    lugs = plan.lugs if plan is not None else 0
    free = settle(facts)
    if free is not None and free.settings.chosen.setting.lugs == lugs:
        return free
    return settle(facts, lugs)


def _stops_out(facts: Facts) -> list[str]:
    """The stops that the job will move: it leaves one alone whose own reading is not out.

    Moving the upper one changes total travel too, so then the lower one may have to follow.
    """
    taken = {q: facts.latest(q) for q in ("pedal-height", "total-travel")}
    verdicts = {q: facts.judged(t) for q, t in taken.items() if t is not None}
    out = [q for q, verdict in verdicts.items() if verdict and verdict.decision == "out"]
    return list(taken) if "pedal-height" in out else out


def stop_change_in(facts: Facts, quantity: str) -> float | None:
    """How far the whole setting moves a stop, inches; None when it has no move for it."""
    found = settle(facts, 0) if facts.gap_right() else whole(facts)
    if found is None or not found.settings.possible:
        return None
    setting, move = found.settings.chosen.setting, found.effects.adjusters
    if quantity == "pedal-height":
        return setting.height_steps * move.height_step_in or None
    return setting.total_steps * move.total_step_in or None


def found_readings(facts: Facts) -> Readings | None:
    """The as-found readings, or None before gap and clearance are there."""
    found = {q: facts.as_found(q) for q in ("gap", "clearance", *_PEDAL)}
    measured = {q: t.measured if t else None for q, t in found.items()}
    if measured["gap"] is None or measured["clearance"] is None:
        return None
    return readings_for(facts.card, measured)


def lost_motion(facts: Facts) -> LostMotion | None:
    """What geometry says of the as-found readings; None without geometry, or where it ends."""
    readings, card = found_readings(facts), facts.card
    if readings is None or card.geometry is None:
        return None
    try:
        return find_lost_motion(card.geometry, readings, card.load)
    except LinkageError:
        return None  # this chain does not even reach the brake: the card is wrong


def _solve(
    facts: Facts, now: dict[str, Measured | None], belief: RingBelief, lugs: int | None
) -> Settled | None:
    try:
        ratio = facts.found_ratio() if facts.card.ratio is None and facts.changed else None
        effects = effects_for(facts.card, now, belief, ratio, stops=_stops_out(facts))
        return Settled(effects, solve(effects, with_candidates=False, lugs=lugs))
    except ValueError:
        return None  # readings too odd for any setting


def suits_all(facts: Facts, plan: RingPlan, gap: Measured, belief: RingBelief) -> int:
    """The count to turn: the one that suits the whole truck, where the gap loses next to nothing.

    `plan` is the one best for the gap alone. It stays when it leaves the ring where it is, when
    the other would turn it the other way, or when not everything can surely be in.
    """
    figure = facts.figure("gap")
    found = settle(facts)
    if figure is None or found is None or not found.settings.sure:
        return plan.lugs
    lugs = found.settings.chosen.setting.lugs
    if lugs * plan.lugs <= 0:
        return plan.lugs
    if landing_chance(gap, figure.limits, belief, lugs) < LEAST_SHARE * plan.chance:
        return plan.lugs
    return lugs
