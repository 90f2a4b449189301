"""A reading and its standard uncertainty; the figures to judge it by; in, out, or too close to call
with this gauge.

Sources: JCGM 100:2008 (the "GUM"), clause 4.3.7 for a reading known only to lie in an interval,
clause 5.1.2 for combining independent uncertainties: the root of the sum of their squares, each
times its sensitivity. JCGM 106:2012, clause 7 (conformance probability for a normal distribution)
and clause 8.3 (guarded acceptance and guarded rejection). The probability is that of the true
value lying inside the limits, given the reading alone.

The default figures serve when the truck card has none of its own. Every one of them defers to the
card, and the card to the vehicle maker's manual.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from statistics import NormalDist
from types import MappingProxyType
from typing import Literal

from assistant.quantity import (
    BEARING_TRAVEL,
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    PEDAL_HEIGHT,
    TOTAL_TRAVEL,
)

# Reading parsers add and subtract fractions and millimetres; forgive their last digits.
_SLACK_IN = 1e-9


@dataclass(frozen=True, slots=True)
class Measured:
    """A length in inches with its standard uncertainty (one standard deviation), in inches.

    Raises:
        ValueError: the value is not a finite number, or the uncertainty is negative.
    """

    value_in: float
    u_in: float = 0.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.value_in):
            raise ValueError("The reading is not a finite number: read it again.")
        if not (math.isfinite(self.u_in) and self.u_in >= 0):
            raise ValueError("The uncertainty must be zero or more: give its size, in inches.")

    @classmethod
    @lru_cache(maxsize=256)  # one job asks again and again for those of its readings
    def from_interval(cls, value_in: float, low_in: float, high_in: float) -> Measured:
        """A reading known only to lie between two bounds, all in inches.

        The standard uncertainty is ``(high - low) / sqrt(12)``, that of a rectangular
        distribution (JCGM 100:2008, 4.3.7). The value is kept as given, so it need not be
        the middle: "a fat half" keeps its half.

        Raises:
            ValueError: the bounds are in the wrong order, or the value is outside them.
        """
        if low_in > high_in:
            raise ValueError("The interval is upside down: give the low bound first.")
        if not low_in - _SLACK_IN <= value_in <= high_in + _SLACK_IN:
            raise ValueError("The value is outside its interval: give one between the bounds.")
        return cls(value_in, (high_in - low_in) / math.sqrt(12.0))

    def shifted(self, by_in: float, *more_u_in: float) -> Measured:
        """This reading moved by ``by_in`` inches, with independent uncertainties added."""
        return Measured(self.value_in + by_in, math.hypot(self.u_in, *more_u_in))


def normal_cdf(z: float) -> float:
    """Probability that a standard normal variable is below ``z`` (a pure number)."""
    # erfc, erf's complement, keeps its digits far down the tail where 1 + erf would not.
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def chance_between(value: float, u: float, low: float, high: float) -> float:
    """Probability that the true value of a reading lies between two bounds, all in one unit.

    Without uncertainty it is 0 or 1; on a bound counts as between.
    """
    if u == 0.0:
        return float(low <= value <= high)
    return max(0.0, 1.0 - normal_cdf((low - value) / u) - normal_cdf((value - high) / u))


CONFIDENCE = 0.95
"""The probability from which something counts as so."""
ONE_SIDED = NormalDist().inv_cdf(CONFIDENCE)
"""So many standard uncertainties from one limit, a value is on its side of it."""
TWO_SIDED = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2.0)
"""So many standard uncertainties apart, two values differ."""

# --- judged ---

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

    def reaching(self, low_in: float, high_in: float) -> Limits:
        """These limits, moved out to where a value may be that was taken though too close."""
        low, high = self.low_in, self.high_in
        low = low if low is None else min(low, low_in)
        return replace(self, low_in=low, high_in=high if high is None else max(high, high_in))


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
    """What one reading says of its limits; ``probability`` is the conformance probability."""

    decision: Decision
    probability: float


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
    return Judgement(decision, conformance_probability(measured, limits))


def one_side_decides(
    low_in: float | None, high_in: float | None, limits: Limits | None
) -> Decision:
    """What is known of a reading with an open side, less or more than something: only whether all
    of it lies beyond a limit. A low end of nothing is no side of its own."""
    if limits is None:
        return "too close"
    low, high = limits.ends_in
    beyond = (high_in is not None and high_in <= low) or (low_in is not None and low_in >= high)
    return "out" if beyond else "too close"
