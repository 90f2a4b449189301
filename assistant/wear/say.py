"""The outlook in one breath, and the longer why."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

from assistant.readings import speak
from assistant.readings.settle import capital
from assistant.wear.outlook import CHANCE, FARTHEST_MILES, Outlook, Range
from assistant.wear.visits import MILES_PER, PER_MILES

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
    if not blanks["high"]:
        return "due_open", {"low": blanks["low"], "unit": blanks["unit"]}
    return "due_range", blanks


def lugs_text(look: Outlook) -> str:
    """`15 lugs`, `1 lug`, `no lugs`, or "" where it is not known."""
    if look.lugs_left is None:
        return ""
    return f"{look.lugs_left or 'no'} lug{'' if look.lugs_left == 1 else 's'}"


def not_known(look: Outlook) -> str:
    """Why no due date is told: `Not known yet. Rate of wear: it takes two visits...`"""
    return " ".join(["Not known yet.", *(f"{capital(text)}." for text in look.unknown)])


def dates_text(dates: tuple[date, date | None] | None) -> str:
    """`May 2027 to October 2027`, or ""."""
    if dates is None:
        return ""
    first = f"{dates[0]:%B %Y}"
    if dates[1] is None:
        return f"{first} or later"
    second = f"{dates[1]:%B %Y}"
    return first if first == second else f"{first} to {second}"


def why(look: Outlook) -> list[str]:
    """What it rests on, and what is unknown."""
    units = "mm" if look.last.distance == "kilometres" else "inch"
    lines = []
    if look.left is not None and look.limit_in is not None:
        left = speak.near_figures(look.left.value_in, units)
        limit = speak.limit_figures(look.limit_in, units)
        lines.append(f"Free travel was left at {left}; the lower limit is {limit}.")
    if look.rate is not None:
        per = MILES_PER[look.last.distance]
        low, high = look.rate.low * per, (look.rate.high or 0.0) * per
        lines.append(
            f"It loses {_loss(low, units)} to {_loss(high, units)} "
            f"every {PER_MILES:,.0f} {look.last.distance}."
        )
    history = f"{look.own} interval{'' if look.own == 1 else 's'} of this truck"
    if look.others:
        trucks = f"{look.others} similar truck{'' if look.others == 1 else 's'}"
        history += f", shrunk toward {trucks}"
    lines.append(f"From {history}; adjustments in between are taken out.")
    lines.append(f"{CHANCE:.0%} of such ranges should hold the truth; the rest do not.")
    lines.append(f"Lugs used since {look.since}: {look.lugs_used:+d} (plus tightens).")
    lines += [f"Unknown: {text}." for text in look.unknown]
    lines += [f"Left out: {text}." for text in look.notes]
    return lines


def _loss(value_in: float, units: str) -> str:
    return f"{value_in:.3f} in" if units == "inch" else f"{value_in * 25.4:.1f} mm"


def as_json(look: Outlook) -> dict[str, Any]:
    """The keys that `lugcall due --json` prints; distances in miles, lengths in inches."""

    def pair(span: Range | None) -> list[float | None] | None:
        return None if span is None else [round(span.low, 4), span.high and round(span.high, 4)]

    return {
        "unit": look.unit,
        "chance": CHANCE,
        "odometer_miles": look.last.miles,
        "due_miles": pair(look.miles),
        "due_dates": look.dates and [d and d.isoformat() for d in look.dates],
        "free_travel_left_in": look.left and look.left.value_in,
        "free_travel_limit_in": look.limit_in,
        "lost_in_per_10000_miles": pair(look.rate),
        "intervals": look.own,
        "similar_trucks": look.others,
        "lugs_used": look.lugs_used,
        "lugs_left": look.lugs_left,
        "lining_miles": pair(look.lining),
        "unknown": list(look.unknown),
        "left_out": list(look.notes),
    }
