"""All that the records tell of one truck's wear, and what they leave unknown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from assistant.clutch.belief import COARSE_IN
from assistant.clutch.uncertainty import Measured
from assistant.wear.due import Range, days_until, miles_until, rate_range, usage_of
from assistant.wear.mixed import rate_of
from assistant.wear.past import Visit
from assistant.wear.worn import gap_opened, intervals_of


@dataclass(frozen=True, slots=True)
class Outlook:
    """One truck. Lengths in inches, distances in miles; None is unknown, and `unknown` says why.

    Attributes:
        unit: the fleet's number.
        last: the visit it is reckoned from.
        own, others: intervals of this truck, and of how many similar trucks.
        limit_in: the lower limit of free travel; left: free travel as left.
        rate: inches of free travel lost per 10,000 miles.
        miles: odometer at which the limit is reached; dates: the same by the calendar.
        lugs_used: whole lugs in these records, since `since`.
        lugs_left: of the ring; lining: odometer at which they are used up.
        notes: what was left out, and why.
    """

    unit: str
    last: Visit
    own: int
    others: int
    limit_in: float | None = None
    left: Measured | None = None
    rate: Range | None = None
    miles: Range | None = None
    dates: tuple[date, date | None] | None = None
    lugs_used: int = 0
    since: date | None = None
    lugs_left: int | None = None
    lining: Range | None = None
    unknown: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def outlook(visits: Sequence[Visit], unit: str, ring_lugs: int | None = None) -> Outlook | None:
    """The outlook of one unit; None when there is no visit of it.

    Args:
        visits: of the whole fleet, in any order.
        unit: whose.
        ring_lugs: lugs the ring has from new to its end; without it, as its newest card says.
    """
    mine = sorted((v for v in visits if v.unit == unit), key=lambda v: v.at)
    if not mine:
        return None
    similar = [v for v in visits if v.kind == mine[-1].kind]
    fleet, notes = intervals_of(similar)
    unknown: list[str] = []
    start = next((v for v in reversed(mine) if v.left and v.miles is not None), None)
    last = start or mine[-1]
    nodes = rate_of(fleet, unit)
    others = sum(1 for name, items in fleet.items() if items and name != unit)
    own = len(fleet.get(unit, ()))
    rate = miles = dates = None
    if not nodes:
        unknown.append("rate of wear: it takes two visits with odometer and free travel")
    else:
        rate = rate_range(nodes)
    if start is None:
        unknown.append("when it is due: no visit has both odometer and free travel as left")
    elif last.low_in is None:
        unknown.append("when it is due: no lower limit of free travel")
    elif nodes and last.left is not None and last.miles is not None:
        spare = last.left.shifted(-last.low_in)
        until = miles_until(nodes, spare)
        miles = _from(last.miles, until)
        usage = usage_of([(v.at, v.miles) for v in mine if v.miles is not None])
        if usage is None:
            unknown.append("dates: it takes two visits of this truck with odometer")
        else:
            days = days_until(nodes, spare, usage)
            dates = (_day(last, days.low), None if days.high is None else _day(last, days.high))
    used = sum(v.lugs for v in mine)
    has = ring_lugs or next((v.ring_lugs for v in reversed(mine) if v.ring_lugs), None)
    lugs_left, lining = _lining(similar, mine, unit, used, has, unknown)
    return Outlook(
        unit, last, own, others, last.low_in, last.left, rate, miles, dates, used,
        mine[0].at.date(), lugs_left, lining, tuple(unknown),
        tuple(n for n in notes if n.split(":")[0] in {v.name for v in mine}),
    )  # fmt: skip


def _lining(
    similar: Sequence[Visit],
    mine: Sequence[Visit],
    unit: str,
    used: int,
    ring_lugs: int | None,
    unknown: list[str],
) -> tuple[int | None, Range | None]:
    """Lugs left, and the odometer at which they are used up: wear at the bearing, by the gap."""
    if "self-adjusting" in mine[-1].kind:
        return None, None  # it has no ring to move
    if ring_lugs is None:
        unknown.append("lugs and lining left: how many lugs the ring has is not on the card")
        return None, None
    left = min(ring_lugs, max(0, ring_lugs - used))
    last = next((v for v in reversed(mine) if v.miles is not None), None)
    nodes = rate_of(intervals_of(similar, gap_opened)[0], unit)
    if not nodes or last is None or last.miles is None:
        unknown.append("miles of lining left: it takes two visits with odometer and gap")
        return left, None
    pitch = next((v.lug_in for v in reversed(mine) if v.lug_in), None)
    if pitch is None:
        unknown.append("travel a lug: common practice, no source, was taken")
    spare = Measured(left * (pitch or COARSE_IN), (pitch or COARSE_IN) / 12**0.5)
    return left, _from(last.miles, miles_until(nodes, spare))


def _from(odometer: float, until: Range) -> Range:
    return Range(odometer + until.low, None if until.high is None else odometer + until.high)


def _day(last: Visit, days: float) -> date:
    """That many days after a visit; no calendar goes past the year 9999."""
    return last.at.date() + timedelta(days=min(days, 100_000.0))
