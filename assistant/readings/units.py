"""Units a shop calls out, and the exact factors between them.

The inch is exactly 25.4 mm (international yard and pound agreement of 1959; NIST SP 811, appendix
B). The hot path works in plain floats; `tests/test_readings_outside.py` checks every factor here
against pint.
"""

from __future__ import annotations

MM_PER_IN = 25.4
"""Exact by definition."""

_IN_INCHES: dict[str, tuple[float, float]] = {
    "in": (1, 1),
    "thou": (1, 1000),
    "hundredths": (1, 100),
    "mm": (1, MM_PER_IN),
    "cm": (10, MM_PER_IN),
    "m": (1000, MM_PER_IN),
    "ft": (12, 1),
}
"""Inches in one of each, as multiplier and divisor: one rounding, so 12.7 mm is exactly 1/2."""

INCHES_PER = {unit: times / by for unit, (times, by) in _IN_INCHES.items()}
"""Inches in one of each length unit."""

LENGTH_UNITS = frozenset(INCHES_PER)
COUNT_UNITS = frozenset({"lugs", "turns", "flats", "miles", "kilometres"})

FLATS_PER_TURN = 6
"""A hex nut has six flats."""


def to_inches(value: float, unit: str) -> float:
    """Inches in `value` of `unit` (a key of `INCHES_PER`)."""
    times, by = _IN_INCHES[unit]
    return value * times / by
