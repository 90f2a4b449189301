"""Units a shop calls out, and the exact factors between them.

The inch is exactly 25.4 mm (international yard and pound agreement of 1959; NIST SP 811, appendix
B). The hot path works in plain floats; `tests/test_readings_outside.py` checks every factor here
against pint.
"""

from __future__ import annotations

MM_PER_IN = 25.4
"""Exact by definition."""

INCHES_PER: dict[str, float] = {
    "in": 1.0,
    "thou": 0.001,
    "hundredths": 0.01,
    "mm": 1 / MM_PER_IN,
    "cm": 10 / MM_PER_IN,
    "m": 1000 / MM_PER_IN,
    "ft": 12.0,
}
"""Inches in one of each length unit."""

LENGTH_UNITS = frozenset(INCHES_PER)
COUNT_UNITS = frozenset({"lugs", "turns", "flats", "miles", "kilometres"})

FLATS_PER_TURN = 6
"""A hex nut has six flats."""


def to_inches(value: float, unit: str) -> float:
    """Inches in `value` of `unit` (a key of `INCHES_PER`).

    Millimetres divide by 25.4 once, so that 12.7 mm is exactly half an inch.
    """
    if unit == "in":
        return value
    if unit == "mm":
        return value / MM_PER_IN
    if unit == "cm":
        return value * 10 / MM_PER_IN
    if unit == "m":
        return value * 1000 / MM_PER_IN
    if unit == "thou":
        return value / 1000
    if unit == "hundredths":
        return value / 100
    return value * INCHES_PER[unit]
