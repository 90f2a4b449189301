"""What words mean as a reading: the interpretation that `lugcall hear` decides by."""

from __future__ import annotations

import re
from collections.abc import Hashable

from assistant.readings import Reading, read

from .decide import Interpret

MOSTLY_IN = {
    "gap": (0.2, 1.1),
    "clearance": (0.0, 0.5),
    "bearing-travel": (0.2, 1.1),
    "free-travel": (0.2, 3.5),
    "pedal-height": (4.0, 12.0),
    "total-travel": (4.0, 12.0),
    "brake-contact": (0.2, 3.5),
}
"""Where most trucks' readings lie, as found or as left; common practice, no source."""
USUAL = 1.0
ODD = 0.3
"""Weight of a length outside `MOSTLY_IN`."""
SELDOM = 0.2
"""Weight of a range or a repair: a mishearing makes one more often than a person does."""
WIDE_IN = 0.26
"""Nobody who reads a rule says "between" two values further apart."""
WIDE = 0.05
_TWO = re.compile(r"\b(?:to|no|nope|correction|sorry|scratch|mean|make|wait)\b")
_PARTS = (("quarters", 4), ("eighths", 8), ("sixteenths", 16), ("thirty second", 32),
          ("sixty fourth", 64))  # fmt: skip
ASKED = 0.1
"""Weight of words that would only make a question."""


def interpreter(quantity: str, metric: bool = False) -> Interpret:
    """Meanings of words as readings of `quantity`: value, ends and count."""
    units = "mm" if metric else "inch"

    def interpret(words: str) -> tuple[Hashable, float] | None:
        reading = read(words, quantity, units)
        if reading.status in ("none", "refused"):
            return None
        return meaning(reading), weight(reading, quantity, words)

    return interpret


def meaning(reading: Reading) -> Hashable:
    """What two readings must share to be the same."""
    if reading.status != "read":
        return (reading.status, reading.why)
    return (reading.value_in, reading.low_in, reading.high_in, reading.count, reading.kind)


def weight(reading: Reading, quantity: str, words: str = "") -> float:
    """How likely such a reading is for the quantity, before anything was heard."""
    if reading.status != "read":
        return ASKED
    factor = SELDOM if two_amounts(words) else USUAL
    factor *= spread(reading.low_in, reading.high_in)
    return factor * usual(reading.value_in, quantity, words)


def spread(low_in: float | None, high_in: float | None) -> float:
    """`USUAL`, or `WIDE` for a length that lies anywhere in too wide an interval."""
    wide = low_in is not None and high_in is not None and high_in - low_in > WIDE_IN
    return WIDE if wide else USUAL


def usual(value_in: float | None, quantity: str, words: str = "") -> float:
    """`USUAL` within what trucks mostly show, `ODD` outside, less for "thirty thirty-seconds"."""
    if value_in is None or quantity not in MOSTLY_IN:
        return USUAL
    low, high = MOSTLY_IN[quantity]
    factor = SELDOM if unreduced(words, value_in) else USUAL
    return factor * (USUAL if low <= value_in <= high else ODD)


def unreduced(words: str, value_in: float) -> bool:
    """Whether a fraction was called that a rule shows in coarser parts: "six eighths"."""
    parts = [den for name, den in _PARTS if name in words]
    if len(parts) != 1:
        return False
    ticks = value_in * parts[0]
    return abs(ticks - round(ticks)) < 1e-6 and round(ticks) % 2 == 0


def two_amounts(words: str) -> bool:
    """Whether the words hold a range "to" something, or a repair."""
    return _TWO.search(words) is not None
