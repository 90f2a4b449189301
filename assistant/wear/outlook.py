"""Miles, dates and lugs from the rate of wear, as ranges with a stated chance."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Any

from assistant.clutch.conformity import Measured, normal_cdf
from assistant.clutch.ring import COARSE_IN
from assistant.wear.rate import FleetRate, RatePoint
from assistant.wear.visits import PER_MILES, Visit, by_unit, intervals_of, say

CHANCE = 0.80
"""The ranges hold the truth this often, if the model does."""
FARTHEST_MILES = 2_000_000.0
USAGE_SHARE_U = 0.20
"""Spread of the logarithm of miles a day when there is little to tell it: from memory."""
MOST_SIMILAR = 300
"""Trucks from which the rate of their kind is told: more tell hardly more, and take longer."""
_QUANTILE = 1.2816
"""Of the normal distribution: so many standard deviations hold `CHANCE`."""
_USAGE = ((-1.7321, 1 / 6), (0.0, 4 / 6), (1.7321, 1 / 6))
"""Three-point Gauss-Hermite rule: exact for polynomials up to the fifth degree."""


@dataclass(frozen=True, slots=True)
class Range:
    """From `low` to `high`; `high` is None when there is no end in sight."""

    low: float
    high: float | None


@dataclass(frozen=True, slots=True)
class Usage:
    """Miles a day: the middle, and the standard deviation of its logarithm."""

    miles_a_day: float
    spread: float


def rate_range(nodes: Sequence[RatePoint]) -> Range:
    """The truck's own rate, inches of free travel lost per 10,000 miles, never below zero."""

    def below(rate: float) -> float:
        return sum(n.weight * normal_cdf((rate - n.mean) / math.sqrt(n.var)) for n in nodes)

    hidden = below(0.0)
    top = max(n.mean + 8.0 * math.sqrt(n.var) for n in nodes)
    return _range(lambda rate: (below(rate) - hidden) / max(1e-12, 1.0 - hidden), top, top * 1e-6)


def chance_used_up(nodes: Sequence[RatePoint], left_in: Measured, way: float) -> float:
    """Chance that `left_in` (inches) is used up within `way` (10,000 miles), if it wears."""
    used = wears = 0.0
    for weight, mean, var, omega in nodes:
        spread = var + omega * omega
        over = math.sqrt(left_in.u_in**2 + way * way * spread)
        used += weight * (
            normal_cdf((mean * way - left_in.value_in) / over) if over > 0.0
            else float(mean * way >= left_in.value_in)
        )  # fmt: skip
        wears += weight * (normal_cdf(mean / math.sqrt(spread)) if spread > 0.0 else 1.0)
    return min(1.0, used / max(wears, 1e-12))


def miles_until(nodes: Sequence[RatePoint], left_in: Measured) -> Range:
    """Miles until `left_in` inches of free travel are used up; zero when they are already."""
    return _range(
        lambda miles: chance_used_up(nodes, left_in, miles / PER_MILES), FARTHEST_MILES, 1.0
    )


def days_until(nodes: Sequence[RatePoint], left_in: Measured, usage: Usage) -> Range:
    """Days until then, at this truck's miles a day, which are uncertain themselves."""

    def chance(days: float) -> float:
        total = 0.0
        for at, weight in _USAGE:
            miles = days * usage.miles_a_day * math.exp(at * usage.spread)
            total += weight * chance_used_up(nodes, left_in, miles / PER_MILES)
        return total

    return _range(chance, FARTHEST_MILES / usage.miles_a_day, 0.05)


def usage_of(visits: Sequence[tuple[datetime, float]]) -> Usage | None:
    """Miles a day from dates and odometers, oldest first; None when they do not tell."""
    rates = []
    for (at, miles), (later, more) in pairwise(visits):
        days = (later - at) / timedelta(days=1)
        if days >= 1.0 and more > miles:
            rates.append(((more - miles) / days, days))
    total = sum(days for _, days in rates)
    if total <= 0.0:
        return None
    mean = sum(rate * days for rate, days in rates) / total
    logs = [math.log(rate / mean) for rate, _ in rates]
    # The prior counts as two intervals: one or two of our own do not tell the spread.
    squares = sum(x * x for x in logs) + 2.0 * USAGE_SHARE_U**2
    return Usage(mean, math.sqrt(squares / (len(logs) + 2.0)))


def _range(chance: Callable[[float], float], farthest: float, near: float) -> Range:
    """Where a rising chance leaves as much on either side as `CHANCE` does, as near as `near`."""
    low = _cross(chance, (1 - CHANCE) / 2, farthest, near)
    high = _cross(chance, (1 + CHANCE) / 2, farthest, near)
    return Range(farthest if low is None else low, high)


def _cross(
    chance: Callable[[float], float], level: float, farthest: float, near: float
) -> float | None:
    """Where a rising chance reaches a level, between 0 and `farthest`; None when it does not.

    Halved until both ends are on the slope; from there by false position, of an end that stays put
    only half its height (the Illinois way; Dowell and Jarratt, BIT 11, 1971, from memory).
    """
    below, above = chance(0.0) - level, chance(farthest) - level
    if below >= 0.0:
        return 0.0
    if above < 0.0:
        return None
    low, high, stayed = 0.0, farthest, 0
    while high - low > near:
        on_slope = -below < _SLOPE * level and above < _SLOPE * (1.0 - level)
        share = below / (below - above) if on_slope else 0.5
        at = min(max(low + share * (high - low), low + 0.4 * near), high - 0.4 * near)
        height = chance(at) - level
        if height < 0.0:
            low, below = at, height
            above, stayed = (above / 2 if stayed > 0 else above), 1
        else:
            high, above = at, height
            below, stayed = (below / 2 if stayed < 0 else below), -1
    return high


_SLOPE = 0.95
"""Nearer to no chance, or to a sure one, than the rest of this, a curve is flat."""


# --- All that the records tell of one truck's wear, and what they leave unknown.

Dates = tuple[date, date | None]
"""From and to; None: no end in sight."""


@dataclass(frozen=True, slots=True)
class KindRate:
    """What the similar trucks of one kind say of wear: of free travel, and by the gap."""

    wear: FleetRate
    gap: FleetRate

    @classmethod
    def of_visits(cls, visits: Sequence[Visit]) -> KindRate:
        """Of visits that are all of one kind: of many trucks, some that stand for all."""
        names = sorted({visit.unit for visit in visits if visit.unit})
        some = set(names[:: math.ceil(len(names) / MOST_SIMILAR) or 1])
        visits = [visit for visit in visits if visit.unit in some]
        wear, _ = intervals_of(visits)
        gap, _ = intervals_of(visits, by_gap=True)
        return cls(FleetRate.of_fleet(wear), FleetRate.of_fleet(gap))


def due_state(dates: Dates | None, today: date) -> str:
    """ "overdue" past the range, "may be due" within it, else ""."""
    if dates is None or today < dates[0]:
        return ""
    return "overdue" if dates[1] is not None and today > dates[1] else "may be due"


class Outlook:
    """One truck. Lengths in inches, distances in miles; None is unknown, and `unknown` says why.

    Attributes:
        unit: the fleet's number.
        last: the visit it is reckoned from, the newest with free travel as left; without an
            odometer of its own it has the last one before, than which it is no less.
        usage: miles a day between its visits.
        own, others: intervals of this truck, and of how many similar trucks.
        limit_in: the lower limit of free travel; left: free travel as left.
        miles: odometer at which the limit is reached; dates: the same by the calendar.
        check_miles: odometer of the next check as told at the last sign-off; check: its dates.
        due: when the truck is due: when the limit is reached or the check is to be, whichever
            comes first, at either end of the range.
        lugs_used: whole lugs in these records, since `since`: the first, or since the clutch was
            new.
        lugs_left: of the ring; lining: odometer at which they are used up.
        looked: whether somebody saw how many are left, or said that the clutch is new; else that
            the ring was new at the first record is only supposed.
        notes: what was left out, and why.
    """

    def __init__(self, mine: Sequence[Visit], rate: KindRate, ring_lugs: int | None) -> None:
        self._mine, self._rate, self.unit = mine, rate, mine[-1].unit
        self._similar = [v for v in mine if v.kind == mine[-1].kind]
        # A new clutch wears at its own rate; what the old one lost counts as of a similar truck.
        own = intervals_of(since_new(self._similar))[0].get(self.unit, [])
        nodes = rate.wear.of(own)
        start = _reckoned_from(mine)
        self.last = start or mine[-1]
        self.own, self.others = len(own), rate.wear.trucks - bool(own)
        self.limit_in, self.left = self.last.low_in, self.last.left
        self._nodes = nodes
        self.unknown = [] if nodes else [say("unknown.rate")]
        self.usage = usage_of([(v.at, v.miles) for v in mine if v.miles is not None])
        self.miles, self.dates = self._worn(start, nodes)
        self.check_miles, self.check = self._checked()
        self.due = _first(self.dates, self.check)
        since = since_new(mine)
        self.lugs_used, self.since = sum(v.lugs for v in since), since[0].at.date()
        self.looked = any(v.ring_left is not None or "clutch" in v.fitted for v in mine)
        self.lugs_left, self.lining = self._lining(ring_lugs)
        self.notes = intervals_of(mine)[1]

    @cached_property
    def rate(self) -> Range | None:
        """Inches of free travel lost per 10,000 miles."""
        return rate_range(self._nodes) if self._nodes else None

    def _worn(
        self, start: Visit | None, nodes: Sequence[RatePoint]
    ) -> tuple[Range | None, Dates | None]:
        """Odometer and dates at which the limit is reached, reckoned from the visit `start`."""
        if start is None or start.left is None or start.miles is None:
            self.unknown.append(say("unknown.no_start"))
            return None, None
        if start.low_in is None:
            self.unknown.append(say("unknown.no_limit"))
            return None, None
        if not nodes:
            return None, None
        spare = start.left.shifted(-start.low_in)
        miles = _from(start.miles, miles_until(nodes, spare))
        if self.usage is None:
            self.unknown.append(say("unknown.dates"))
            return miles, None
        return miles, _days(start, days_until(nodes, spare, self.usage))

    def _checked(self) -> tuple[float | None, Dates | None]:
        """Odometer and dates of the next check, from the last visit at which one was told."""
        last = next((v for v in reversed(self._mine) if v.check_miles), None)
        if last is None or last.check_miles is None:
            return None, None
        start = next((v for v in reversed(self._mine) if v.miles is not None), None)
        if self.usage is None or start is None or start.miles is None:
            return last.check_miles, None
        days = max(0.0, last.check_miles - start.miles) / self.usage.miles_a_day
        apart = math.exp(_QUANTILE * self.usage.spread)
        return last.check_miles, _days(start, Range(days / apart, days * apart))

    def _lining(self, ring_lugs: int | None) -> tuple[int | None, Range | None]:
        """Lugs left, and the odometer at which none are: wear at the bearing, by the gap."""
        if "self-adjusting" in self._mine[-1].kind:
            return None, None  # it has no ring to move
        left = lugs_left(self._mine, ring_lugs)
        if left is None:
            self.unknown.append(say("unknown.ring_lugs"))
            return None, None
        last = next((v for v in reversed(self._mine) if v.miles is not None), None)
        own = intervals_of(since_new(self._similar), by_gap=True)[0].get(self.unit, [])
        nodes = self._rate.gap.of(own)
        if not nodes or last is None or last.miles is None:
            self.unknown.append(say("unknown.lining"))
            return left, None
        pitch = newest(self._mine, "lug_in")
        if pitch is None:
            self.unknown.append(say("unknown.lug_travel"))
        spare = Measured(left * (pitch or COARSE_IN), (pitch or COARSE_IN) / 12**0.5)
        return left, _from(last.miles, miles_until(nodes, spare))


def _reckoned_from(visits: Sequence[Visit]) -> Visit | None:
    """The newest visit with free travel as left, with the odometer as known by then; None where
    there is none, or no odometer up to it."""
    for place in range(len(visits) - 1, -1, -1):
        if visits[place].left:
            miles = newest(visits[: place + 1], "miles")
            return None if miles is None else replace(visits[place], miles=miles)
    return None


def since_new(visits: Sequence[Visit]) -> Sequence[Visit]:
    """Those, oldest first, from the last one at which the clutch was new."""
    new = [i for i, v in enumerate(visits) if "clutch" in v.fitted]
    return visits[new[-1] if new else 0 :]


def lugs_left(visits: Sequence[Visit], ring_lugs: int | None = None) -> int | None:
    """Lugs left on the ring of one truck: as last seen, less those moved since; else of all that it
    has from new, by `ring_lugs` or the newest card, less all moved since. None: not known."""
    own = since_new(visits)
    seen = [i for i, v in enumerate(own) if v.ring_left is not None]
    if seen:
        left = own[seen[-1]].ring_left or 0
        return max(0, left - sum(v.lugs for v in own[seen[-1] + 1 :]))
    has: int | None = ring_lugs or newest(visits, "ring_lugs")
    return None if has is None else min(has, max(0, has - sum(v.lugs for v in own)))


def rates_of(visits: Iterable[Visit]) -> dict[tuple[str, ...], KindRate]:
    """What each kind of truck in a fleet says of wear."""
    kinds: dict[tuple[str, ...], list[Visit]] = {}
    for visit in visits:
        kinds.setdefault(visit.kind, []).append(visit)
    return {kind: KindRate.of_visits(some) for kind, some in kinds.items()}


def outlook(visits: Sequence[Visit], unit: str, ring_lugs: int | None = None) -> Outlook | None:
    """The outlook of one unit by the visits of its fleet; None when there is no visit of it.

    Without `ring_lugs`, which a ring has from new to its end, the unit's newest card says it.
    """
    mine = by_unit(visits).get(unit)
    if not mine:
        return None
    similar = [v for v in visits if v.kind == mine[-1].kind]
    return Outlook(mine, KindRate.of_visits(similar), ring_lugs)


def newest(visits: Sequence[Visit], name: str) -> Any:
    """What the newest visit that tells it tells, or None; the oldest visit stands first."""
    return next((value for v in reversed(visits) if (value := getattr(v, name))), None)


def _first(one: Dates | None, other: Dates | None) -> Dates | None:
    """The earlier of two ranges, at either end."""
    if one is None or other is None:
        return one or other
    ends = [end for end in (one[1], other[1]) if end is not None]
    return min(one[0], other[0]), min(ends, default=None)


def _from(odometer: float, until: Range) -> Range:
    return Range(odometer + until.low, None if until.high is None else odometer + until.high)


def _days(last: Visit, days: Range) -> Dates:
    return _day(last, days.low), None if days.high is None else _day(last, days.high)


def _day(last: Visit, days: float) -> date:
    """That many days after a visit; no calendar goes past the year 9999."""
    day = last.at.date()
    return day + min(timedelta(days=min(days, 100_000.0)), date.max - day)
