"""A reading and its standard uncertainty.

Sources: JCGM 100:2008 (the "GUM"), clause 4.3.7 for a reading known only to lie in an
interval, clause 5.1.2 for combining independent uncertainties: the root of the
sum of their squares, each times its sensitivity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

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
