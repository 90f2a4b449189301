"""Free travel lost between two visits, adjustments taken out.

From one visit's as-left to the next one's as-found: what was adjusted at a visit lies between its
own two readings and so drops out. Every reading is used once, so the intervals are independent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from assistant.clutch.uncertainty import Measured, combine
from assistant.wear.past import Visit

PER_MILES = 10_000.0
"""Distances inside are in this many miles, so that rates are of the size of readings."""
SHORTEST_MILES = 500.0
"""A shorter interval says nothing about wear. From memory."""
LEAST_U_IN = 0.002
"""No interval is known better than this, whatever gauge its ends were read with. From memory."""
GREW = 4.0
"""Free travel found larger by this many standard uncertainties was changed elsewhere."""


@dataclass(frozen=True, slots=True)
class Interval:
    """`lost_in` of free travel, with standard uncertainty `u_in`, over `way` (of 10,000 miles)."""

    way: float
    lost_in: float
    u_in: float


def free_travel_lost(before: Visit, visit: Visit) -> tuple[Measured | None, Measured | None]:
    """What shrinks: free travel as left, and as found at the next visit."""
    return before.left, visit.found


def gap_opened(before: Visit, visit: Visit) -> tuple[Measured | None, Measured | None]:
    """The same wear at the bearing: the gap as found, and as left the time before."""
    return visit.gap_found, before.gap_left


Ends = Callable[[Visit, Visit], tuple[Measured | None, Measured | None]]


def intervals_of(
    visits: Iterable[Visit], ends: Ends = free_travel_lost
) -> tuple[dict[str, list[Interval]], list[str]]:
    """The intervals of each unit, oldest first, and what was left out and why."""
    last: dict[str, Visit] = {}
    found: dict[str, list[Interval]] = {}
    notes: list[str] = []
    for visit in sorted(visits, key=lambda v: v.at):
        if not visit.unit:
            continue
        intervals = found.setdefault(visit.unit, [])
        before = last.get(visit.unit)
        last[visit.unit] = visit
        if before is None:
            continue
        interval, note = _between(before, visit, ends)
        if interval is not None:
            intervals.append(interval)
        if note:
            notes.append(f"{visit.name}: {note}")
    return found, notes


def _between(before: Visit, visit: Visit, ends: Ends) -> tuple[Interval | None, str]:
    if before.miles is None or visit.miles is None:
        return None, "no odometer, so no wear from this visit"
    more, less = ends(before, visit)
    if more is None or less is None:
        return None, "free travel or gap not read, so no wear from this visit"
    miles = visit.miles - before.miles
    if miles < 0:
        return None, "the odometer went back; left out"
    if miles < SHORTEST_MILES:
        return None, f"under {SHORTEST_MILES:,.0f} miles since the last visit; left out"
    lost = more.value_in - less.value_in
    u = combine(more.u_in, less.u_in)
    if lost < -GREW * max(u, LEAST_U_IN):
        return None, "wear went back since the last visit: changed elsewhere; left out"
    return Interval(miles / PER_MILES, lost, max(u, LEAST_U_IN)), ""
