"""Computed things in trade words: plans, judgements, the state of the truck."""

from __future__ import annotations

from assistant.clutch.conformity import GAUGES, Judgement, gauge_that_settles
from assistant.clutch.thread import RodMove
from assistant.job.facts import Facts, Taken
from assistant.readings import QUANTITIES, speak
from assistant.readings.units import MM_PER_IN
from assistant.texts.dialogs import Dialogs


def lugs(count: int) -> str:
    """`3 lugs`."""
    return speak.count_figures(abs(count), "lugs")


def way(count: int) -> str:
    """`tighter` or `looser`."""
    return "tighter" if count >= 0 else "looser"


def moved(count: int) -> str:
    """`3 lugs tighter`."""
    return f"{lugs(count)} {way(count)}" if count else "0 lugs"


def length(value_in: float, units: str) -> str:
    """A computed length to the nearest 1/64 inch, or 0.1 mm."""
    return speak.near_figures(value_in, units)


def per_lug(pitch_in: float, units: str) -> str:
    """`0.027 in`, `0.69 mm`: bearing travel a lug."""
    return f"{pitch_in:.3f} in" if units == "inch" else f"{pitch_in * MM_PER_IN:.2f} mm"


def rod(move: RodMove) -> str:
    """`2 turns 3 flats`."""
    turns, flats = abs(move.turns), abs(move.flats)
    parts = []
    if turns:
        parts.append(f"{turns} turn" + ("s" if turns != 1 else ""))
    if flats:
        parts.append(f"{flats} flat" + ("s" if flats != 1 else ""))
    return " ".join(parts) or "0 flats"


def turns(count: float) -> str:
    """`1 1/2 turns` of a stop's bolt, to the nearest half."""
    whole, half = divmod(max(1, round(2 * count)), 2)
    figures = " ".join([*([str(whole)] if whole else []), *(["1/2"] if half else [])])
    return f"{figures} turn" + ("s" if whole + half > 1 else "")


ADJUSTERS = {"rod": "rod", "cable": "cable", "hydraulic": "pushrod"}
"""Linkage -> what is turned on it."""


def rod_way(move: RodMove, longer: str) -> str:
    """`longer` when the card says what longer does, else `toward more clearance`."""
    more = move.total_flats >= 0
    if longer:
        return "longer" if more == (longer == "more clearance") else "shorter"
    return f"toward {'more' if more else 'less'} clearance"


def verdict(dialogs: Dialogs, taken: Taken, judgement: Judgement | None) -> str:
    """`9/16 in: out.`, or that there is no limit."""
    if judgement is None:
        quantity = spoken(taken.quantity)
        return dialogs.say("no_figure", figures=taken.figures, quantity=quantity)
    key = {"in": "judged_in", "out": "judged_out", "too close": "judged_close"}[judgement.decision]
    return dialogs.say(key, figures=taken.figures)


def settle_with(dialogs: Dialogs, judgement: Judgement, u_in: float) -> str:
    """Which gauge would decide a reading, of standard uncertainty `u_in`, too close to call."""
    gauge = gauge_that_settles(judgement)
    if gauge:
        return dialogs.say("gauge", gauge=gauge.name)
    finest = GAUGES[-1]
    if u_in > finest.u_in:  # read finer, it may well not sit on the limit at all
        return dialogs.say("gauge_may", gauge=finest.name)
    return dialogs.say("no_gauge")


def spoken(quantity: str) -> str:
    """A quantity's name as people say it."""
    return QUANTITIES[quantity].spoken


def truck_state(dialogs: Dialogs, facts: Facts) -> str:
    """Pedal, ring, lock plate and cover, in that order: what a stop must tell."""
    hold = {"up": "pedal_up_state", "held": "pedal_held_state"}
    parts = [dialogs.say(hold.get(facts.hold, "pedal_unsure_state"))]
    if facts.turning:
        parts.append(dialogs.say("ring_maybe_state"))
    by_gap, called = facts.plans.lugs_by_gap(), facts.lugs_total
    if by_gap != called:
        parts.append(dialogs.say("ring_doubt_state", by_gap=moved(by_gap), called=moved(called)))
    elif called:
        parts.append(dialogs.say("ring_moved_state", moved=moved(called)))
    elif not facts.turning:
        parts.append(dialogs.say("ring_still_state"))
    lock = facts.places.get("lock_plate", "in")
    parts.append(dialogs.say("lock_out_state" if lock == "out" else "lock_in_state"))
    if facts.places.get("cover") == "off":
        parts.append(dialogs.say("cover_off_state"))
    return " ".join(part for part in parts if part)
