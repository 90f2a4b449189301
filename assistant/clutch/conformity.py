"""The figures to judge by; in, out, or too close to call with this gauge.

Sources: JCGM 106:2012, clause 7 (conformance probability for a normal distribution) and
clause 8.3 (guarded acceptance and guarded rejection). The probability is that of the true
value lying inside the limits, given the reading alone.

The default figures serve when the truck card has none of its own. Every one of them defers to the
card, and the card to the vehicle maker's manual.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from assistant.clutch.uncertainty import ONE_SIDED, Measured, chance_between
from assistant.quantity import (
    BEARING_TRAVEL,
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    PEDAL_HEIGHT,
    TOTAL_TRAVEL,
)

Decision = Literal["in", "out", "too close"]


@dataclass(frozen=True, slots=True)
class Limits:
    """The figure for a quantity: tolerance limits in inches, either may be missing, and a target.

    ``source`` says whose figure it is.

    Raises:
        ValueError: both limits are missing, or the low one is above the high one.
    """

    low_in: float | None
    high_in: float | None
    source: str = ""
    target_in: float | None = None
    ends_in: tuple[float, float] = field(init=False, repr=False, compare=False)
    """Both limits, in inches; infinite where there is none."""
    ideal_in: float = field(init=False, repr=False, compare=False)
    """The value (inches) that sits best: a target inside the limits, or the middle of both; with
    one limit only, as far inside it as the target, or half as much again as the limit."""

    def __post_init__(self) -> None:
        if self.low_in is None and self.high_in is None:
            raise ValueError("There is no limit at all: give a low one, a high one, or both.")
        for limit in (self.low_in, self.high_in):
            if limit is not None and not math.isfinite(limit):
                raise ValueError("A limit is not a finite number: leave out the limit instead.")
        if self.low_in is not None and self.high_in is not None and self.low_in > self.high_in:
            raise ValueError("The limits are upside down: give the low one first.")
        low = -math.inf if self.low_in is None else self.low_in
        high = math.inf if self.high_in is None else self.high_in
        object.__setattr__(self, "ends_in", (low, high))
        limit, target = low if math.isfinite(low) else high, self.target_in
        if math.isfinite(high - low):
            ideal = target if target is not None and low < target < high else (low + high) / 2.0
        else:
            aim = (abs(target - limit) if target is not None else 0.0) or abs(limit) / 2.0 or 1.0
            ideal = limit + aim if limit == low else limit - aim
        object.__setattr__(self, "ideal_in", ideal)

    def miss_in(self, value_in: float) -> float:
        """How far ``value_in`` lies outside the limits, in inches; 0 when inside."""
        low, high = self.ends_in
        return max(0.0, low - value_in, value_in - high)


COMMON_PRACTICE = "common practice, no source"
FROM_MEMORY = "from memory"

# Free travel below this calls for the internal adjustment: common practice, no source.
FREE_TRAVEL_INTERNAL_IN = 0.5

# Keyed by the quantity's name. None: no default exists, only the maker's figure will do.
DEFAULT_FIGURES: Mapping[str, Limits | None] = MappingProxyType(
    {
        # The half inch is common practice; the 9/16 is from memory, the weaker of the two.
        GAP: Limits(1 / 2, 9 / 16, f"{COMMON_PRACTICE}; 9/16 {FROM_MEMORY}", 1 / 2),
        # The 1/8 is common practice; the band about it is from memory.
        CLEARANCE: Limits(3 / 32, 5 / 32, f"{COMMON_PRACTICE}; band {FROM_MEMORY}", 1 / 8),
        FREE_TRAVEL: Limits(1.125, 2.75, COMMON_PRACTICE, 1.5),
        PEDAL_HEIGHT: None,
        TOTAL_TRAVEL: None,
        BRAKE_CONTACT: Limits(0.5, 1.0, COMMON_PRACTICE),
        BEARING_TRAVEL: Limits(0.5, None, COMMON_PRACTICE),
    }
)


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one reading says of its limits; lengths in inches.

    ``probability`` is the conformance probability. ``needed_u_in`` is the largest standard
    uncertainty with which this same value would be decided either way, None when it sits exactly
    on a limit.
    """

    decision: Decision
    probability: float
    needed_u_in: float | None


def conformance_probability(measured: Measured, limits: Limits) -> float:
    """Probability that the true value lies inside the limits.

    Source: JCGM 106:2012, clause 7, normal distribution: cdf at the high limit less cdf at the
    low one. A reading without uncertainty gives 0 or 1; on the limit counts as inside.
    """
    return chance_between(measured.value_in, measured.u_in, *limits.ends_in)


def judge(measured: Measured, limits: Limits) -> Judgement:
    """Judge a reading against its limits.

    The guard band is ``w = z * u`` with ``z`` the one-sided quantile of ``CONFIDENCE``: inside
    every limit by ``w`` is "in", outside one by ``w`` is "out", between is "too close"
    (JCGM 106:2012, 8.3). Each limit is guarded by itself, so between two limits less than
    about ``4 u`` apart the joint probability of "in" can fall to ``2 * CONFIDENCE - 1``.
    """
    miss = limits.miss_in(measured.value_in)
    depth = miss or min(abs(measured.value_in - end) for end in limits.ends_in)
    decision: Decision = "too close"
    if depth >= ONE_SIDED * measured.u_in:
        decision = "out" if miss > 0.0 else "in"
    probability = conformance_probability(measured, limits)
    return Judgement(decision, probability, depth / ONE_SIDED if depth > 0.0 else None)
