"""A plan in words: the moves in a breath, `3 lugs tighter, then rod 2 flats longer.`, and why.

Also what the two pedal ratios and the linkage's geometry say. All texts are in
`dialogs/en/plan.toml`; the equations only tell kinds, quantities and numbers.
"""

from __future__ import annotations

from assistant.card import Card
from assistant.card.show import limit_text
from assistant.clutch.conformity import FREE_TRAVEL_INTERNAL_IN, judge
from assistant.clutch.equations import (
    STEPS_PER_TURN,
    Adjusters,
    RatioFinding,
    Readings,
    Setting,
    Truck,
    finding_of,
)
from assistant.clutch.linkage.lost_motion import LostMotion, brake_force_lbf
from assistant.clutch.ring import RingBelief, RingPlan
from assistant.clutch.solver import Out, RankedSetting
from assistant.clutch.uncertainty import Measured
from assistant.job import words
from assistant.job.plan import Settled
from assistant.quantity import BRAKE_CONTACT, CLEARANCE, FREE_TRAVEL, GAP
from assistant.sentences import Both, capital, joined, sentences

MOST_WORDS = 12
# A pedal ratio known no better than this share of itself is rough: from memory.
ROUGH_RATIO = 0.2
# A ring move with less chance than this is worth a word: from memory.
LOW_CHANCE = 0.8


def say(key: str, **fields: object) -> Both:
    """An entry of `dialogs/en/plan.toml`."""
    return sentences("plan").say(key, **fields)


# --- the moves ---


def noun(card: Card) -> Both:
    """What is turned on this linkage: `rod`, `cable` or `pushrod`."""
    return say(f"noun.{card.linkage}")


def plan_line(setting: Setting, adjusters: Adjusters, card: Card) -> Both:
    """The moves in their order, ring, stops, rod, in at most twelve words.

    What does not fit loses its "then"s, and after that the stops' figures, which come again at
    their own steps.
    """
    stops = (
        ("pedal", setting.height_steps, adjusters.height_step_in, adjusters.height_turns),
        ("stroke", setting.total_steps, adjusters.total_step_in, adjusters.total_turns),
    )
    ring = [words.moved(setting.lugs)] if setting.lugs else []
    full, bare = list(ring), list(ring)
    for name, steps, step_in, by_turns in stops:
        if steps:
            key, length_in = f"{name}_{'up' if steps > 0 else 'down'}", abs(steps) * step_in
            turns = abs(steps) / STEPS_PER_TURN
            size = words.turns(turns) if by_turns else words.length(length_in, card.units)
            full.append(say(f"move.{key}", size=size))
            bare.append(say(f"short.{key}"))
    rod = []
    if setting.flats:
        size, way = words.rod(setting.flats), words.rod_way(setting.flats, card.longer)
        rod = [say("move.rod", noun=noun(card), size=size, way=way)]
    if not (full or rod):
        return say("stays")
    line = joined([*full, *rod], ", then ")
    if _long(line):
        line = joined([*full, *rod], ", ")
    if _long(line):
        line = joined([*bare, *rod], ", ")
    if _long(line):
        line = joined([*ring, say("short.stops"), *rod], ", ")
    return Both(f"{capital(line)}.", f"{capital(line.spoken)}.")


def _long(line: str) -> bool:
    return len(line.split()) > MOST_WORDS


# --- the whole setting ---


def spoken(found: Settled, card: Card) -> Both:
    """One breath: the moves, or what no setting can put right and the part it points at.

    That none can is said only where it is so: not where another count of lugs would do.
    """
    truck, settings, free = found
    if settings.possible:
        return plan_line(settings.chosen.setting, truck.adjusters, card)
    first = settings.given_up[0]
    if first.quantity == GAP and card.clutch == "self-adjusting":
        return say("own_gap", side=first.side)
    name = words.spoken(first.quantity).replace("contact height", "contact")  # one breath
    if free is not None:
        lugs = words.moved(free.chosen.setting.lugs)
        return say("other_lugs", quantity=capital(name), side=first.side, lugs=lugs)
    return say("cannot", quantity=name, side=first.side, part=part(first, card))


def part(out: Out, card: Card) -> Both:
    """The part to look at, of those that this truck has."""
    if out.between_lugs:
        return say("part.between_lugs")
    if out.quantity == GAP and out.side == "low" and card.transmission == "synchronized":
        return say("part.no_brake")
    return say(f"part.{out.quantity}.{out.side}")


def part_why(out: Out) -> Both:
    """Why a quantity stays out whatever is set."""
    return say("why.between_lugs" if out.between_lugs else f"why.{out.quantity}.{out.side}")


def why(found: Settled, card: Card) -> Both:
    """The longer answer: how surely, what sits tightest, or why no setting can."""
    truck, settings, free = found
    if settings.possible:
        return joined([cost(settings.chosen), _tightest(truck, settings.chosen, card)])
    if free is not None:
        plan = plan_line(free.chosen.setting, truck.adjusters, card)
        return say("other_lugs_why", plan=plan)
    told: list[str] = []
    for out in settings.given_up:
        own = out.quantity == GAP and card.clutch == "self-adjusting"
        told.append(
            say(
                "stays_why",
                quantity=words.spoken(out.quantity).capitalize(),
                miss=words.length(abs(out.miss_in), card.units),
                side=out.side,
                why=say("own_why") if own else part_why(out),
            )
        )
    others = [words.spoken(q) for q in settings.may_be if q != settings.given_up[0].quantity]
    if others:
        told.append(say("look_same", others=joined(others, " or ")))
    return joined(told)


def cost(candidate: RankedSetting) -> Both:
    """`2 moves, about 18 minutes.`"""
    setting = candidate.setting
    if not setting.moves:
        return say("no_move")
    minutes = words.number(setting.minutes)
    return say("cost", moves=words.counted(setting.moves, "moves"), minutes=minutes)


def _tightest(truck: Truck, candidate: RankedSetting, card: Card) -> Both:
    quantity = candidate.tightest
    return say(
        "tightest",
        quantity=words.spoken(quantity).capitalize(),
        value=words.length(candidate.after[quantity].value_in, card.units),
        limits=limit_text(truck.limits(quantity), card.units),
    )


# --- the ring, the pedal ratios, and notes ---


def ring_misses(plan: RingPlan) -> str:
    """Why whole lugs do not reach the gap's limits; "" when they do."""
    if not plan.misses:
        return ""
    if plan.misses == "no more lugs":
        return say("no_lugs", most=abs(plan.lugs))
    return say("between_lugs", pitch=words.number(plan.pitch_in, 3))


def ratios(finding: RatioFinding) -> Both:
    """What the two pedal ratios say together."""
    if finding.agree:
        return say("ratio.agree", ratio=words.number(finding.second.value, 1))
    where = say("ratio.slack" if finding.z > 0 else "ratio.give")
    if not finding.suspects:
        return say("ratio.alone", where=where)
    quantity, value_in, change_in = finding.suspects[0]
    name = say("ratio.gap") if quantity == GAP else words.spoken(quantity)
    value, change = f"{value_in:.3f}", f"{change_in:+.3f}"
    return say("ratio.suspect", where=where, quantity=name, value=value, change=change)


def notes(found: Settled, ring: RingPlan, belief: RingBelief) -> list[str]:
    """What the technician should know beside the numbers, the ring's matters first.

    A clutch without a ring to move adjusts itself, and nothing is said of a ring.
    """
    truck, settings, _ = found
    own, after, ratio = not truck.adjusters.max_lugs, settings.chosen.after, truck.ratio
    quarrel = finding_of(truck.readings)
    emptied = ring.clearance_after is not None and ring.clearance_after.value_in <= 0.0
    not_both = {CLEARANCE, FREE_TRAVEL} & {*settings.chosen.out}
    told = (
        (
            truck.now()[FREE_TRAVEL].value_in < FREE_TRAVEL_INTERNAL_IN,
            "not_keeping" if own else "ring_due",
        ),
        (not own and not ring.misses and ring.chance < LOW_CHANCE, "chance"),
        (not own and belief.reversed_chance > 0.5, "reversed"),
        (emptied, "own_no_clearance" if own else "no_clearance"),
        (not own and _contact_out(truck, truck.readings.brake_contact), "not_by_ring"),
        (quarrel is not None and not quarrel.agree, "quarrel"),
        (not ratio.known, "guessed"),
        (ratio.known and ratio.u > ROUGH_RATIO * ratio.value, "own_rough" if own else "rough"),
        (bool(not_both), "not_both"),
        (_contact_out(truck, after.get(BRAKE_CONTACT)), "contact_out"),
    )
    out: list[str] = [say(f"note.{key}", chance=f"{ring.chance:.0%}") for so, key in told if so]
    if ring.misses and not own:
        out.insert(int(told[0][0]), ring_misses(ring))
    return out


def _contact_out(truck: Truck, at: Measured | None) -> bool:
    figure = truck.figures.get(BRAKE_CONTACT)
    return figure is not None and at is not None and judge(at, figure).decision == "out"


# --- the linkage ---


def linkage(lost: LostMotion, units: str) -> Both:
    """What the linkage's geometry says of the readings, in a breath."""
    if lost.at is not None:
        size, before = words.length(lost.at.lost_in, units), lost.at.before or say("linkage.pedal")
        return say("linkage.between", size=size, before=before, after=lost.at.after)
    key = {
        "slack": "slack",
        "gives": "gives",
        "slack and gives": "both" if lost.slack_in > 0.0 else "either",
        "free travel alone": "free_alone",
        "too short": "too_short",
        "no readings": "no_readings",
    }.get(lost.kind, "agrees")
    slack, give = words.length(lost.slack_in, units), words.length(lost.give_in, units)
    return say(f"linkage.{key}", slack=slack, give=give)


def linkage_why(lost: LostMotion, card: Card, readings: Readings) -> Both:
    """The longer answer: both differences, where it could be, and what would tell."""
    units, told = card.units, []
    for name, value in (("free", lost.free_lost), ("stroke", lost.stroke_lost)):
        if value is not None:
            way = "more" if value.value_in >= 0.0 else "less"
            size = words.length(abs(value.value_in), units)
            told.append(say(f"linkage.{name}_{way}", size=size))
    if lost.if_at and lost.at is None:
        places = [
            say("linkage.at", size=words.length(size, units), joint=name)
            for name, size in lost.if_at
        ]
        told.append(say("linkage.would_be", places=joined(places, ", or ")))
        told.append(say("linkage.which"))
    if lost.air_in3 is not None:
        told.append(say("linkage.air", air=words.number(lost.air_in3, 2)))
    force = brake_force_lbf(card.geometry, readings, card.load)
    if force is not None:
        told.append(say("linkage.force", force=words.number(force)))
    return joined(told)
