"""Which trucks are due soon: a quick order for all of them, a range for the first few."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from assistant.wear.outlook import Outlook, outlook
from assistant.wear.visits import Visit

MOST = 20
"""Trucks whose range is worked out: it takes some milliseconds each."""
SIMILAR = 20
"""Other trucks that the rate of one is reckoned with, at most: more tell little more."""


def by_unit(visits: Sequence[Visit]) -> dict[str, list[Visit]]:
    """Each truck's visits, oldest first."""
    out: dict[str, list[Visit]] = defaultdict(list)
    for visit in sorted(visits, key=lambda v: v.at):
        out[visit.unit].append(visit)
    return out


def due_soon(visits: Sequence[Visit], ring_lugs: int | None = None) -> list[Outlook]:
    """The trucks due first, with ranges, soonest first.

    Args:
        visits: of the fleet.
        ring_lugs: lugs of a ring from new to its end, if the shop knows it from the maker's manual.
    """
    trucks = by_unit(visits)
    first = sorted(trucks, key=lambda unit: _rough_days(trucks[unit]))[:MOST]
    names = sorted(trucks)
    step = max(1, len(names) // SIMILAR)
    sample = names[::step][:SIMILAR]
    found = []
    for unit in first:
        some = [v for name in {unit, *sample} for v in trucks[name]]
        look = outlook(some, unit, ring_lugs)
        if look is not None and look.miles is not None:
            found.append(look)
    return sorted(found, key=_soonest)


@dataclass(frozen=True, slots=True)
class Ring:
    """Lugs of one truck's ring: `has` from new to its end, `used` in the records since `since`.

    `left` is what is left at most: it is less if the ring was moved before the first record.
    """

    unit: str
    has: int
    used: int
    left: int
    since: date
    last: datetime


def rings(
    trucks: Mapping[str, Sequence[Visit]], ring_lugs: int | None = None
) -> tuple[list[Ring], list[str]]:
    """The rings of a fleet, the fewest lugs left first, and the trucks of which it is not known.

    Args:
        trucks: each truck's visits, oldest first. One whose clutch adjusts itself has no such ring.
        ring_lugs: lugs of a ring from new to its end; without it, as each truck's newest card says.
    """
    known, unknown = [], []
    for unit, visits in trucks.items():
        if "self-adjusting" in visits[-1].kind:
            continue
        has = ring_lugs or next((v.ring_lugs for v in reversed(visits) if v.ring_lugs), None)
        if has is None:
            unknown.append(unit)
            continue
        used = sum(v.lugs for v in visits)
        left = min(has, max(0, has - used))
        known.append(Ring(unit, has, used, left, visits[0].at.date(), visits[-1].at))
    return sorted(known, key=lambda ring: (ring.left, ring.unit)), sorted(unknown)


def _soonest(look: Outlook) -> float:
    if look.dates is not None:
        return look.dates[0].toordinal()
    return look.last.at.toordinal() + 1e6


def _rough_days(visits: Sequence[Visit]) -> float:
    """When a straight line through this truck's own wear reaches the limit, as a day's ordinal."""
    last = visits[-1]
    lost = way = days = 0.0
    for before, visit in pairwise(visits):
        if None in (before.miles, visit.miles) or before.left is None or visit.found is None:
            continue
        lost += max(0.0, before.left.value_in - visit.found.value_in)
        way += max(0.0, (visit.miles or 0.0) - (before.miles or 0.0))
        days += (visit.at - before.at) / timedelta(days=1)
    if not lost or not way or days <= 0 or last.left is None or last.low_in is None:
        return float("inf")
    return last.at.toordinal() + max(0.0, last.left.value_in - last.low_in) / (lost / days)
