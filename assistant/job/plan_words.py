"""A whole setting in a breath, and why: `3 lugs tighter, then rod 2 flats longer.`"""

from __future__ import annotations

from assistant.card import Card
from assistant.card.show import limit_text
from assistant.clutch.equations import STEPS_PER_TURN, Adjusters, Effects, Setting
from assistant.clutch.solver import Candidate, Condemned, Settings, condemned
from assistant.clutch.thread import FLATS_PER_TURN, RodMove
from assistant.job import words

MOST_WORDS = 12
STAYS = "Everything stays as it is."


def plan_line(setting: Setting, adjusters: Adjusters, card: Card) -> str:
    """The moves in their order, ring, stops, rod, in at most twelve words.

    What does not fit loses its "then"s, and after that the stops' figures, which come again at
    their own steps.
    """
    parts = move_parts(setting, adjusters, card)
    if not parts:
        return STAYS
    stops = ("pedal", "stroke")
    bare = {n: f"{n} {t.split()[-1]}" if n in stops else t for n, t in parts.items()}
    fewest = dict.fromkeys("stops" if n in stops else t for n, t in parts.items())
    lines = (
        ", then ".join(parts.values()),
        ", ".join(parts.values()),
        ", ".join(bare.values()),
        ", ".join(fewest),
    )
    line = next((line for line in lines if not _long(line)), lines[-1])
    return f"{line[0].upper()}{line[1:]}."


def _long(line: str) -> bool:
    return len(line.split()) > MOST_WORDS


def move_parts(setting: Setting, adjusters: Adjusters, card: Card) -> dict[str, str]:
    """Each move in words, in the trade's order, by the adjuster's name."""
    parts: dict[str, str] = {}
    if setting.lugs:
        parts["ring"] = words.moved(setting.lugs)
    if setting.height_steps:
        way = "higher" if setting.height_steps > 0 else "lower"
        amount = _stop(
            setting.height_steps, adjusters.height_step_in, adjusters.height_turns, card.units
        )
        parts["pedal"] = f"pedal {amount} {way}"
    if setting.total_steps:
        way = "longer" if setting.total_steps > 0 else "shorter"
        amount = _stop(
            setting.total_steps, adjusters.total_step_in, adjusters.total_turns, card.units
        )
        parts["stroke"] = f"stroke {amount} {way}"
    if setting.flats:
        move = rod_of(setting, adjusters)
        noun = words.ADJUSTERS[card.linkage]
        parts["rod"] = f"{noun} {words.rod(move)} {words.rod_way(move, card.longer)}"
    return parts


def _stop(steps: int, step_in: float, by_turns: bool, units: str) -> str:
    """`1 1/2 turns` of a known bolt, else the length."""
    if not by_turns:
        return words.length(abs(steps) * step_in, units)
    return words.turns(abs(steps) / STEPS_PER_TURN)


def rod_of(setting: Setting, adjusters: Adjusters) -> RodMove:
    """The rod's part of a setting as turns and flats; travel in inches at the fork."""
    turns, flats = divmod(abs(setting.flats), FLATS_PER_TURN)
    sign = 1 if setting.flats >= 0 else -1
    travel_in = setting.flats * adjusters.flat_in
    return RodMove(sign * turns, sign * flats, setting.flats, travel_in, 0.0)


def spoken(effects: Effects, settings: Settings, card: Card) -> str:
    """One breath: the moves, or what no setting can put right and the part it points at."""
    if settings.possible:
        return plan_line(settings.chosen.setting, effects.adjusters, card)
    first = condemned(effects, settings)[0]
    if first.quantity == "gap" and card.clutch == "self-adjusting":
        return f"Gap stays {first.side}: follow the maker's procedure."
    name = words.spoken(first.quantity).replace("contact height", "contact")  # one breath
    return f"No setting can: {name} stays {first.side}. {_part(first, card)}"


def _part(found: Condemned, card: Card) -> str:
    """The part to look at, of those that this truck has."""
    if found.quantity == "gap" and found.side == "low" and card.transmission == "synchronized":
        return "Check bearing and figure."
    return found.part


def why(effects: Effects, settings: Settings, card: Card) -> str:
    """The longer answer: how surely, what sits tightest, or why no setting can."""
    if settings.possible:
        return f"{cost(settings.chosen)} {_tightest(effects, settings.chosen, card)}"
    told = []
    for out, found in zip(settings.given_up, condemned(effects, settings), strict=True):
        miss = words.length(abs(out.miss_in), card.units)
        name = words.spoken(out.quantity).capitalize()
        why_so = found.why
        if out.quantity == "gap" and card.clutch == "self-adjusting":
            why_so = "This clutch adjusts itself: no ring is moved on it."
        told.append(f"{name} stays {miss} too {found.side}. {why_so}")
    others = [words.spoken(q) for q in settings.may_be if q != settings.given_up[0].quantity]
    if others:
        told.append(f"A wrong reading of {' or '.join(others)} would look the same.")
    return " ".join(told)


def cost(candidate: Candidate) -> str:
    """`2 moves, about 18 minutes.`"""
    moves = candidate.setting.moves
    if not moves:
        return "No move."
    plural = "s" if moves != 1 else ""
    return f"{moves} move{plural}, about {candidate.setting.minutes:.0f} minutes."


def _tightest(effects: Effects, candidate: Candidate, card: Card) -> str:
    name = words.spoken(candidate.tightest).capitalize()
    value = words.length(candidate.after[candidate.tightest].value_in, card.units)
    limits = limit_text(effects.limits(candidate.tightest), card.units)
    return f"{name} sits tightest: {value}, limits {limits}."
