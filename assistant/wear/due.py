"""Miles, dates and lugs from the rate of wear, as ranges with a stated chance."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from assistant.clutch.uncertainty import Measured, normal_cdf
from assistant.wear.mixed import Node
from assistant.wear.worn import PER_MILES

CHANCE = 0.80
"""The ranges hold the truth this often, if the model does."""
FARTHEST_MILES = 2_000_000.0
USAGE_SHARE_U = 0.20
"""Spread of the logarithm of miles a day when there is little to tell it: from memory."""
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


def rate_range(nodes: Sequence[Node]) -> Range:
    """The truck's own rate, inches of free travel lost per 10,000 miles, never below zero."""

    def below(rate: float) -> float:
        return sum(n.weight * normal_cdf((rate - n.mean) / math.sqrt(n.var)) for n in nodes)

    hidden = below(0.0)

    def chance(rate: float) -> float:
        return (below(rate) - hidden) / max(1e-12, 1.0 - hidden)

    top = max(n.mean + 8.0 * math.sqrt(n.var) for n in nodes)
    return Range(
        _cross(chance, (1 - CHANCE) / 2, top) or 0.0, _cross(chance, (1 + CHANCE) / 2, top)
    )


def chance_used_up(nodes: Sequence[Node], left_in: Measured, way: float) -> float:
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


def miles_until(nodes: Sequence[Node], left_in: Measured) -> Range:
    """Miles until `left_in` inches of free travel are used up; zero when they are already."""
    return _miles(lambda way: chance_used_up(nodes, left_in, way))


def days_until(nodes: Sequence[Node], left_in: Measured, usage: Usage) -> Range:
    """Days until then, at this truck's miles a day, which are uncertain themselves."""

    def chance(days: float) -> float:
        total = 0.0
        for at, weight in _USAGE:
            miles = days * usage.miles_a_day * math.exp(at * usage.spread)
            total += weight * chance_used_up(nodes, left_in, miles / PER_MILES)
        return total

    farthest = FARTHEST_MILES / usage.miles_a_day
    low = _cross(chance, (1 - CHANCE) / 2, farthest)
    return Range(farthest if low is None else low, _cross(chance, (1 + CHANCE) / 2, farthest))


def usage_of(visits: Sequence[tuple[datetime, float]]) -> Usage | None:
    """Miles a day from dates and odometers, oldest first; None when they do not tell."""
    if len(visits) < 2:
        return None
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


def _miles(chance: Callable[[float], float]) -> Range:
    farthest = FARTHEST_MILES / PER_MILES
    low = _cross(chance, (1 - CHANCE) / 2, farthest)
    high = _cross(chance, (1 + CHANCE) / 2, farthest)
    return Range(
        FARTHEST_MILES if low is None else low * PER_MILES,
        None if high is None else high * PER_MILES,
    )


def _cross(chance: Callable[[float], float], level: float, farthest: float) -> float | None:
    """Where a rising chance reaches a level, between 0 and `farthest`; None when it does not."""
    if chance(0.0) >= level:
        return 0.0
    if chance(farthest) < level:
        return None
    low, high = 0.0, farthest
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle) < level else (low, middle)
    return high
