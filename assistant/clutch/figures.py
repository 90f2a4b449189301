"""The figures to judge by when the truck card has none of its own.

Every one of them defers to the truck card, and the card to the vehicle maker's manual.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from assistant.clutch.conformity import Limits

COMMON_PRACTICE = "common practice, no source"
FROM_MEMORY = "from memory"

# Free travel below this calls for the internal adjustment: common practice, no source.
FREE_TRAVEL_INTERNAL_IN = 0.5


@dataclass(frozen=True, slots=True)
class Figure:
    """Limits and an optional target for one quantity, in inches, and whose figure it is."""

    limits: Limits
    target_in: float | None
    source: str


def figure(
    low_in: float | None,
    high_in: float | None,
    target_in: float | None,
    source: str,
) -> Figure:
    """A figure in inches whose limits carry the same source.

    Raises:
        ValueError: as ``Limits``.
    """
    return Figure(Limits(low_in, high_in, source), target_in, source)


# Keyed by the quantity's name. None: no default exists, only the maker's figure will do.
DEFAULT_FIGURES: Mapping[str, Figure | None] = MappingProxyType(
    {
        # The half inch is common practice; the 9/16 is from memory, the weaker of the two.
        "gap": figure(1 / 2, 9 / 16, 1 / 2, f"{COMMON_PRACTICE}; 9/16 {FROM_MEMORY}"),
        # The 1/8 is common practice; the band about it is from memory.
        "clearance": figure(3 / 32, 5 / 32, 1 / 8, f"{COMMON_PRACTICE}; band {FROM_MEMORY}"),
        "free-travel": figure(1.125, 2.75, 1.5, COMMON_PRACTICE),
        "pedal-height": None,
        "total-travel": None,
        "brake-contact": figure(0.5, 1.0, None, COMMON_PRACTICE),
        "bearing-travel": figure(0.5, None, None, COMMON_PRACTICE),
    }
)

QUANTITIES: tuple[str, ...] = tuple(DEFAULT_FIGURES)
