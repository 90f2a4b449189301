"""The outlook in one breath, and the longer why."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

from assistant.quantity import MILES_PER
from assistant.readings import speak
from assistant.sentences import capital
from assistant.wear.outlook import CHANCE, FARTHEST_MILES, Dates, Outlook, Range, due_state
from assistant.wear.visits import PER_MILES, say

_FAR = FARTHEST_MILES * 0.98
_SOON = 500.0
"""Miles: nearer than this is now."""


def window(look: Outlook, miles: Range | None) -> dict[str, str] | None:
    """The blanks of the replies: low, high ("" without an end) and unit; None when unknown."""
    if miles is None:
        return None
    per = MILES_PER[look.last.distance]
    low = math.floor(miles.low / per / 1000) * 1000
    high = "" if miles.high is None else f"{math.ceil(miles.high / per / 1000) * 1000:,.0f}"
    return {"low": f"{low:,.0f}", "high": high, "unit": look.last.distance}


def reply_of(look: Outlook) -> tuple[str, dict[str, str]] | None:
    """Key and blanks of the reply that tells when it is due; None when nothing is known."""
    blanks = window(look, look.miles)
    if blanks is None or look.miles is None:
        return None
    start = look.last.miles or 0.0
    if look.miles.high is not None and look.miles.high - start < _SOON:
        return "due_now", {}
    if look.miles.low - start > _FAR:
        return None
    return ("due_range" if blanks["high"] else "due_open"), blanks


def replies(look: Outlook) -> list[tuple[str, dict[str, str]]]:
    """Keys and blanks of all that is told at the question for the next check."""
    due, dates, lugs = reply_of(look), dates_text(look.dates), lugs_text(look)
    told = [due] if due is not None else []
    if due is not None and dates:
        told.append(("due_dates", {"dates": dates}))
    key = "due_lugs" if look.looked else "due_lugs_most"
    return [*told, (key, {"lugs": lugs})] if lugs else told


def lugs_text(look: Outlook) -> str:
    """`15 lugs`, `1 lug`, `no lugs`, or "" where it is not known."""
    if look.lugs_left is None:
        return ""
    key = {0: "no_lugs", 1: "one_lug"}.get(look.lugs_left, "lugs")
    return say(f"say.{key}", count=look.lugs_left)


def not_known(look: Outlook) -> str:
    """Why no due date is told: `Not known yet. Rate of wear: it takes two visits...`"""
    return say("say.not_known", reasons=" ".join(f"{capital(text)}." for text in look.unknown))


def dates_text(dates: tuple[date, date | None] | None) -> str:
    """`May 2027 to October 2027`, or ""."""
    if dates is None:
        return ""
    first, last = (f"{day:%B %Y}" if day else "" for day in dates)
    if not last:
        return say("say.or_later", date=first)
    return first if first == last else say("say.between", first=first, last=last)


def left_out(record: str, damaged: bool) -> str:
    """Why a file does not count: `x.jsonl: damaged, left out`."""
    return say(f"left_out.{'damaged' if damaged else 'unreadable'}", record=record)


def why(look: Outlook) -> list[str]:
    """What it rests on, and what is unknown."""
    units = look.last.units
    lines = []
    if look.left is not None and look.limit_in is not None:
        left = speak.near_figures(look.left.value_in, units)
        lines.append(say("why.left", left=left, limit=speak.limit_figures(look.limit_in, units)))
    if look.rate is not None:
        per = MILES_PER[look.last.distance]
        low, high = (_loss(rate * per, units) for rate in (look.rate.low, look.rate.high or 0.0))
        way = f"{PER_MILES:,.0f}"
        lines.append(say("why.loses", low=low, high=high, way=way, unit=look.last.distance))
    intervals, trucks = _counted("interval", look.own), _counted("truck", look.others)
    history = "why.history_fleet" if look.others else "why.history"
    lines.append(say(history, intervals=intervals, trucks=trucks))
    lines.append(say("why.chance", chance=f"{CHANCE:.0%}"))
    lines.append(say("why.used", since=look.since, lugs=f"{look.lugs_used:+d}"))
    lines += [say("why.unknown", what=text) for text in look.unknown]
    lines += [say("why.left_out", what=text) for text in look.notes]
    return lines


def _counted(what: str, count: int) -> str:
    return say(f"why.{what}{'' if count == 1 else 's'}", count=count)


def _loss(value_in: float, units: str) -> str:
    return f"{value_in:.3f} in" if units == "inch" else f"{value_in * 25.4:.1f} mm"


def for_command(look: Outlook, due: str) -> list[str]:
    """What `lugcall due` prints of a truck: when it is due (`due` is the reply of `reply_of`, or
    ""), and what the records tell of its ring."""
    dates, text = dates_text(look.dates), due or not_known(look)
    key = "dated" if due and dates else "due"
    state = due_state(look.due, date.today()).upper()
    told = [say("command.state", state=state)] if state else []
    if due or look.check_miles is None:
        told.append(say(f"command.{key}", text=text, dates=dates))
    if look.check_miles is not None:
        per, unit = MILES_PER[look.last.distance], look.last.distance
        check, dates = look.check_miles / per, dates_text(look.check)
        key = "check_dated" if dates else "check"
        told.append(say(f"command.{key}", at=f"{check:,.0f}", distance=unit, dates=dates))
    lines = [say("command.line", unit=look.unit, text=" ".join(told))]
    blanks = window(look, look.lining)
    lugs = lugs_text(look)
    if blanks is not None:
        key = "lining" if blanks["high"] else "lining_open"
        distance = blanks.pop("unit")
        lines.append(say(f"command.{key}", unit=look.unit, lugs=lugs, distance=distance, **blanks))
    elif lugs:
        key = "lugs" if look.looked else "lugs_most"
        lines.append(say(f"command.{key}", unit=look.unit, lugs=lugs))
    return lines


def as_json(look: Outlook) -> dict[str, Any]:
    """The keys that `lugcall due --json` prints; distances in miles, lengths in inches."""

    def days(span: Dates | None) -> list[str | None] | None:
        return span and [None if day is None else day.isoformat() for day in span]

    def pair(span: Range | None) -> list[float | None] | None:
        return None if span is None else [round(span.low, 4), span.high and round(span.high, 4)]

    return {
        "unit": look.unit,
        "chance": CHANCE,
        "odometer_miles": look.last.miles,
        "due_miles": pair(look.miles),
        "due_dates": days(look.dates),
        "check_miles": look.check_miles,
        "check_dates": days(look.check),
        "first_dates": days(look.due),
        "state": due_state(look.due, date.today()),
        "free_travel_left_in": look.left and look.left.value_in,
        "free_travel_limit_in": look.limit_in,
        "lost_in_per_10000_miles": pair(look.rate),
        "intervals": look.own,
        "similar_trucks": look.others,
        "lugs_used": look.lugs_used,
        "lugs_left": look.lugs_left,
        "lining_miles": pair(look.lining),
        "unknown": look.unknown,
        "left_out": look.notes,
    }
