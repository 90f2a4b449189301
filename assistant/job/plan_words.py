"""A plan in words: the moves in a breath, `3 lugs tighter, then rod 2 flats longer.`, and why.

Also what became of it in a job, and what the two pedal ratios and the linkage's geometry say. All
texts are in `dialogs/en/plan.toml`; the equations only tell kinds, quantities and numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

from assistant.act import Said
from assistant.card import Card
from assistant.card.show import limit_text
from assistant.clutch.conformity import FREE_TRAVEL_INTERNAL_IN, Limits, Measured, judge
from assistant.clutch.equations import (
    PEDAL_LEFT,
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
from assistant.job import words
from assistant.job.plan import Settled, adjuster_of
from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    PEDAL_HEIGHT,
)
from assistant.sentences import Both, capital, joined, sentences

if TYPE_CHECKING:
    from assistant.job.job import Job
    from assistant.job.state import Facts

MOST_WORDS = 12
# A brake touched lower than this may be touched after the pedal's end: from memory.
FLOOR_NEAR_IN = 0.5
# A pedal ratio known no better than this share of itself is rough: from memory.
ROUGH_RATIO = 0.2
# A ring move with less chance than this is worth a word: from memory.
LOW_CHANCE = 0.8


def say(key: str, **fields: object) -> Both:
    """An entry of `dialogs/en/plan.toml`."""
    return sentences("plan").say(key, **fields)


# --- the moves ---


def name_of(quantity: str) -> str:
    """How a quantity is called, one that is only worked out too."""
    return say(f"name.{quantity}") if quantity == PEDAL_LEFT else words.spoken(quantity)


def noun(linkage: str) -> Both:
    """What is turned on a linkage: `rod`, `cable` or `pushrod`."""
    return say(f"noun.{linkage}")


def plan_line(setting: Setting, adjusters: Adjusters, card: Card) -> Both:
    """The moves in their order, ring, stops, rod, in at most twelve words.

    What does not fit loses its "then"s, and after that the stops' figures, which come again at
    their own steps.
    """
    ring, full, bare, rod = _parts(setting, adjusters, card.units, card.linkage, card.longer)
    full, bare = [*ring, *full], [*ring, *bare]
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


def moves_of(setting: Setting, adjusters: Adjusters, card: Card) -> list[Both]:
    """Each move of a setting, in their order."""
    ring, stops, _, rod = _parts(setting, adjusters, card.units, card.linkage, card.longer)
    return [*ring, *stops, *rod]


@lru_cache(maxsize=64)  # a plan is told when it is made, and with its first step
def _parts(
    setting: Setting, adjusters: Adjusters, units: str, linkage: str, longer: str
) -> tuple[list[Both], list[Both], list[Both], list[Both]]:
    """The ring's move; those of the stops, and the same without figures; the rod's."""
    stops = (
        ("pedal", setting.height_steps, adjusters.height_step_in, adjusters.height_turns),
        ("stroke", setting.total_steps, adjusters.total_step_in, adjusters.total_turns),
    )
    ring = [words.moved(setting.lugs)] if setting.lugs else []
    full, bare, rod = [], [], []
    for name, steps, step_in, by_turns in stops:
        if steps:
            key, length_in = f"{name}_{'up' if steps > 0 else 'down'}", abs(steps) * step_in
            turns = abs(steps) / STEPS_PER_TURN
            size = words.turns(turns) if by_turns else words.length(length_in, units)
            full.append(say(f"move.{key}", size=size))
            bare.append(say(f"short.{key}"))
    if setting.flats:
        size, way = words.rod(setting.flats), words.rod_way(setting.flats, longer)
        rod = [say("move.rod", noun=noun(linkage), size=size, way=way)]
    return ring, full, bare, rod


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
    name = name_of(first.quantity).replace("contact height", "contact")  # one breath
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
                quantity=name_of(out.quantity).capitalize(),
                miss=words.length(abs(out.miss_in), card.units),
                side=out.side,
                why=say("own_why") if own else part_why(out),
            )
        )
    others = [name_of(q) for q in settings.may_be if q != settings.given_up[0].quantity]
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
        quantity=name_of(quantity).capitalize(),
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
        (_floor_unknown(truck, after), "floor"),
        (ratio.known and ratio.u > ROUGH_RATIO * ratio.value, "own_rough" if own else "rough"),
        (bool(not_both), "not_both"),
        (_contact_out(truck, after.get(BRAKE_CONTACT)), "contact_out"),
    )
    out: list[str] = [say(f"note.{key}", chance=f"{ring.chance:.0%}") for so, key in told if so]
    if truck.readings.lash_u_in and ratio.source in ("free travel", "common practice"):
        missing = [
            q for q in (PEDAL_HEIGHT, BRAKE_CONTACT) if q not in truck.readings.by_quantity()
        ]
        if missing and truck.clutch_brake:
            out.append(
                say("note.lash", reading=joined([words.spoken(q) for q in missing], " and "))
            )
    if ring.misses and not own:
        out.insert(int(told[0][0]), ring_misses(ring))
    return out


def _floor_unknown(truck: Truck, after: Mapping[str, Measured]) -> bool:
    """Whether the floor may come before the brake, and total travel, which tells, is missing."""
    contact = after.get(BRAKE_CONTACT)
    unread = truck.readings.total_travel is None and truck.clutch_brake
    return unread and contact is not None and contact.value_in < FLOOR_NEAR_IN + contact.u_in


def _contact_out(truck: Truck, at: Measured | None) -> bool:
    figure = truck.figures.get(BRAKE_CONTACT)
    return figure is not None and at is not None and judge(at, figure).decision == "out"


def settles(quantity: str, value_in: float, figure: Limits, units: str) -> Both:
    """What would tell whether a reading (inches) too close to call is in: for gap and clearance a
    gauge of the limit, go or no go; for the pedal, to read it again."""
    near = min(figure.ends_in, key=lambda end: abs(end - value_in))
    kind = quantity if quantity in (GAP, CLEARANCE) else "pedal"
    return say(f"settles.{kind}", limit=words.length(near, units) if kind != "pedal" else "")


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


# --- the plan as it was told: announced, told anew when a reading changes it, and ticked off.
#
# `Facts.told` is what of it is still to be done, by steps of the adjusters; `Facts.first` the plan
# as it was told first, `Facts.done` what was done. All of it follows from the acts.

# A flat or a step more or less is told by its own step.
SMALL = 1


def announce(job: Job) -> list[Said]:
    """The plan as it is now, where a reading changed it and no single step tells so by itself."""
    facts, whole = job.facts, job.facts.plans.whole()
    waits = not facts.plans.may_move_ring and not facts.gap_right()  # for the maker's procedure
    if whole is None or waits:
        return []
    settings = whole.settings
    now, before, out = settings.chosen.setting, facts.told, facts.given_up
    facts.told, facts.given_up = now, tuple(one.quantity for one in settings.given_up)
    if facts.first is None:
        facts.first = now
        return []
    linkage = [(old, new) for old, new in zip(before[1:], now[1:], strict=True) if _other(old, new)]
    given_up = bool(facts.given_up) and facts.given_up != out
    told_by_its_step = now.moves == 1 and len(linkage) == 1 and not linkage[0][0]
    if not given_up and (not linkage or told_by_its_step):
        return []
    plan = spoken(whole, facts.card)
    return [job.said("tech", "plan_now", plan=plan)]


def _other(old: int, new: int) -> bool:
    """Whether so many steps are another plan, not the same one worked out more finely."""
    return bool(old) != bool(new) or old * new < 0 or abs(old - new) > max(SMALL, abs(old) // 4)


def tick(facts: Facts, step_id: str, steps: int) -> None:
    """So many steps of a step's adjuster are done."""
    part = adjuster_of(step_id)
    facts.done = facts.done._replace(**{part: getattr(facts.done, part) + steps})
    facts.told = facts.told._replace(**{part: 0})


def ticked_off(job: Job) -> list[Said]:
    """What became of the plan: done as told first, done otherwise, and told but not done."""
    facts, found = job.facts, job.facts.plans.found()
    if facts.first is None or found is None:
        return []
    move, out = found.adjusters, []
    as_told, other = _split(facts.first, facts.done)
    if any(one.told != one.moved for one in facts.moves):  # then the ring was moved otherwise
        other = other._replace(lugs=facts.done.lugs)
        as_told = as_told._replace(lugs=0)
    for key, setting in (
        ("plan_done", as_told),
        ("plan_otherwise", other),
        ("plan_left", _left(facts)),
    ):
        if setting.moves:
            out.append(job.said("tech", key, moves=_moves(setting, move, job)))
    return out


def _split(first: Setting, done: Setting) -> tuple[Setting, Setting]:
    """What was done as it was told first, and what was done otherwise."""
    same = [d if d and not _other(f, d) else 0 for f, d in zip(first, done, strict=True)]
    return Setting(*same), Setting(*(d - s for d, s in zip(done, same, strict=True)))


def _left(facts: Facts) -> Setting:
    """What was told, first or last, and never done."""
    first = facts.first or Setting()
    left = [t or (f if not d else 0) for f, t, d in zip(first, facts.told, facts.done, strict=True)]
    return Setting(*left)


def _moves(setting: Setting, move: Adjusters, job: Job) -> object:
    """`3 lugs tighter, rod 2 flats longer`."""
    return joined(moves_of(setting, move, job.facts.card), ", ")
