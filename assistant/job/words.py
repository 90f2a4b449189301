"""Computed things in trade words, for eye and ear: lengths, counts, moves, the truck's state."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING

from assistant.clutch.thread import FLATS_PER_TURN
from assistant.interlocks import presses
from assistant.quantity import QUANTITIES
from assistant.readings import speak
from assistant.readings.units import MM_PER_IN
from assistant.sentences import Both, joined, sentences

if TYPE_CHECKING:
    from assistant.job.state import JobState


@lru_cache(maxsize=256, typed=True)
def counted(count: float, unit: str) -> Both:
    """`3 lugs`, "three lugs"."""
    return Both(speak.count_figures(count, unit), speak.count_words(count, unit))


def lugs(count: int) -> Both:
    """`3 lugs`, whichever way."""
    return counted(abs(count), "lugs")


def way(count: int) -> Both:
    """`tighter` or `looser`."""
    return sentences("job").say("tighter" if count >= 0 else "looser")


def moved(count: int) -> Both:
    """`3 lugs tighter`."""
    return joined([lugs(count), way(count)]) if count else lugs(0)


def number(value: float, places: int = 0) -> Both:
    """A bare number: `13.5`, "thirteen point five"; `-0.2`, "minus zero point two"."""
    shown = f"{value:,.{places}f}"
    whole, _, after = shown.replace(",", "").lstrip("-").partition(".")
    if not whole.isdigit() or len(whole) > 9:
        return Both(shown)  # readings can be so wrong that nobody needs the number
    told = ["minus"] if shown.startswith("-") else []
    told.append(speak.number_words(int(whole)))
    if after.strip("0"):
        told += ["point", *(speak.number_words(int(digit)) for digit in after)]
    return Both(shown, " ".join(told))


def percent(share: float) -> Both:
    """`87%`, "eighty-seven percent"."""
    told = number(100 * share)
    return Both(f"{share:.0%}", f"{told.spoken} percent")


@lru_cache(maxsize=256, typed=True)
def length(value_in: float, units: str) -> Both:
    """A computed length to the nearest 1/64 inch, or 0.1 mm."""
    near_in, (kind, detail) = speak.near(abs(value_in), units)
    if kind == "m" and abs(near_in * MM_PER_IN - round(near_in * MM_PER_IN)) < 1e-6:
        detail = 0  # "thirteen millimetres", not "thirteen point zero"
    told = speak.length_words(near_in, (kind, detail))
    return Both(speak.near_figures(value_in, units), f"minus {told}" if value_in < 0 else told)


def per_lug(pitch_in: float, units: str) -> Both:
    """`0.027 in`, `0.69 mm`: bearing travel a lug."""
    form = ("d", 3) if units == "inch" else ("m", 2)
    return Both(speak.length_figures(pitch_in, form), speak.length_words(pitch_in, form))


def rod(flats: int) -> Both:
    """`2 turns 3 flats`, whichever way."""
    turns, left = divmod(abs(flats), FLATS_PER_TURN)
    parts = [
        counted(count, unit) for count, unit in ((turns, "turns"), (left, "flats")) if count
    ] or [counted(0, "flats")]
    return Both(" ".join(parts), " and ".join(part.spoken for part in parts))


def turns(count: float) -> Both:
    """`1 1/2 turns` of a stop's bolt, to the nearest half."""
    halves = max(1, round(2 * count))
    whole, half = divmod(halves, 2)
    figures = " ".join([*([str(whole)] if whole else []), *(["1/2"] if half else [])])
    plural = "s" if whole + half > 1 else ""
    return Both(f"{figures} turn{plural}", speak.count_words(halves / 2, "turns"))


def rod_way(flats: int, longer: str) -> Both:
    """`longer` when the card says what longer does, else `toward more clearance`."""
    more = flats >= 0
    if longer:
        key = "longer" if more == (longer == "more clearance") else "shorter"
    else:
        key = "more_clearance" if more else "less_clearance"
    return sentences("job").say(key)


def thread(name: str) -> Both:
    """`1/2-20`, "one half, twenty"; `M8x1.25`, "M eight by one point two five"."""
    inch, metric = re.fullmatch(r"(\d+)/(\d+)-(\d+)", name), re.fullmatch(r"M(\d+)x([\d.]+)", name)
    if inch:
        size = speak.fraction_words(int(inch[1]) / int(inch[2]), int(inch[2]))
        return Both(name, f"{size}, {number(int(inch[3])).spoken}")
    if metric:
        size, pitch = number(int(metric[1])).spoken, float(metric[2])
        places = len(metric[2].partition(".")[2])
        return Both(name, f"M {size} by {number(pitch, places).spoken}")
    return Both(name)


def spelled(code: str, pause: str = " ") -> Both:
    """A code sign by sign, a breath between its groups: `4711`, "four seven one one"."""
    groups = [
        pause.join(speak.number_words(int(c)) if c.isdecimal() else c for c in group)
        for group in code.split("-")
    ]
    return Both(code, "; ".join(groups))


def spoken(quantity: str) -> str:
    """A quantity's name as people say it."""
    return QUANTITIES[quantity].spoken


def truck_state(job: JobState) -> Both:
    """Pedal, ring, lock plate and cover, in that order: what a stop must tell."""
    say, facts = job.dialogs.say, job.facts
    hazards = facts.hazards
    step = job.dialogs.by_id.get(job.step_id)
    asked = step is not None and presses(step)  # he may have pressed again since he said so
    pedal = "pedal_held_state" if hazards.hold_confirmed else "pedal_unsure_state"
    if not asked and (hazards.told_up or hazards.came_up):
        pedal = "pedal_up_state" if hazards.told_up else "pedal_came_state"
    elif not asked and hazards.pedal_up and hazards.cover_closed:
        pedal = ""  # nobody is in reach of it
    parts = [say("state_head"), *([say(pedal)] if pedal else [])]
    if facts.turning:
        parts.append(say("ring_maybe_state"))
    by_gap, called = facts.plans.lugs_by_gap(), facts.lugs_total
    if by_gap != called:
        parts.append(say("ring_doubt_state", by_gap=moved(by_gap), called=moved(called)))
    elif called:
        parts.append(say("ring_moved_state", moved=moved(called)))
    elif not facts.turning:
        parts.append(say("ring_still_state"))
    parts.append(say("lock_in_state" if facts.hazards.lock_in else "lock_out_state"))
    if facts.hazards.cover_open:
        parts.append(say("cover_off_state"))
    if not facts.hazards.wedges_out:
        parts.append(say("wedges_in_state"))
    return joined([part for part in parts if part])
