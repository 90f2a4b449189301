"""What words mean as a reading: the interpretation that `lugcall hear` decides by."""

from __future__ import annotations

from collections.abc import Hashable

from assistant.readings import Reading, read
from assistant.readings.quantity import QUANTITIES

from .decide import Interpret

USUAL = 1.0
ODD = 0.3
"""Weight of a length outside what a bare number would be taken for; common practice, no source."""
ASKED = 0.1
"""Weight of words that would only make a question."""


def interpreter(quantity: str, metric: bool = False) -> Interpret:
    """Meanings of words as readings of `quantity`: value, ends and count."""
    units = "mm" if metric else "inch"

    def interpret(words: str) -> tuple[Hashable, float] | None:
        reading = read(words, quantity, units)
        if reading.status in ("none", "refused"):
            return None
        return meaning(reading), weight(reading, quantity)

    return interpret


def meaning(reading: Reading) -> Hashable:
    """What two readings must share to be the same."""
    if reading.status != "read":
        return (reading.status, reading.why)
    return (reading.value_in, reading.low_in, reading.high_in, reading.count, reading.kind)


def weight(reading: Reading, quantity: str) -> float:
    """How likely such a value is for the quantity, before anything was heard."""
    if reading.status != "read":
        return ASKED
    if reading.value_in is None or quantity not in QUANTITIES:
        return USUAL
    low, high = QUANTITIES[quantity].plausible_in
    return USUAL if low <= reading.value_in <= high else ODD
