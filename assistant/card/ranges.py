"""What each figure of a card may be: the one table of it. Outside is a slip of the pen, or worse.

All of it is common practice, no source, where nothing else is said: far wider than any truck, and
narrow enough for a slipped decimal point. Lengths are in inches.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from msgspec import Meta

from assistant.clutch.conformity import DEFAULT_FIGURES
from assistant.clutch.equations import LEAST_RATIO
from assistant.quantity import QUANTITIES
from assistant.readings import speak


class FigureRange(NamedTuple):
    """From the lowest to the highest value; `unit` "in", or "" for a plain number or count."""

    low: float
    high: float
    unit: str = "in"

    def holds(self, value: float) -> bool:
        return self.low - 1e-9 <= value <= self.high + 1e-9

    def ends(self, units: str = "inch") -> tuple[str, str]:
        """Both ends as a screen shows them."""
        if not self.unit:
            return f"{self.low:g}", f"{self.high:g}"
        return speak.limit_figures(self.low, units), speak.limit_figures(self.high, units)


_LEVER = FigureRange(0.5, 30)
RANGES: Mapping[str, FigureRange] = {
    "ring.lug": FigureRange(0.003, 0.1),  # from memory: what no ring moves the bearing
    "ring.lugs": FigureRange(1, 100, ""),  # from new to the ring's end: from memory
    "rod.per_fork": FigureRange(0.1, 20, ""),
    "pedal.ratio": FigureRange(LEAST_RATIO, 60, ""),
    "pedal.lash": FigureRange(0, 1),
    "stops.height": FigureRange(0.01, 1),
    "stops.total": FigureRange(0.01, 1),
    "linkage.load": FigureRange(0, 5000, ""),  # pounds
    "linkage.load_rate": FigureRange(0, 20_000, ""),  # pounds an inch
    "linkage.pedal": FigureRange(2, 36),
    "linkage.fork": FigureRange(0.5, 20),
    "linkage.tip": FigureRange(-60, 60, ""),  # degrees
    "linkage.bar.arm": _LEVER,
    "linkage.bar.rod": FigureRange(0.5, 40),
    "linkage.bar.lever": _LEVER,
    "linkage.bar.pivots": FigureRange(0.5, 40),
    "linkage.bar.angle": FigureRange(1, 179, ""),  # degrees
    "linkage.pedal_lever": FigureRange(0.5, 30, ""),
    "linkage.fork_lever": FigureRange(0.1, 30, ""),
    "linkage.stiffness": FigureRange(10, 1e6, ""),  # pounds an inch
    "linkage.diameter": FigureRange(1 / 32, 1),
    "linkage.length": FigureRange(6, 400),
    "linkage.modulus": FigureRange(1e6, 3.2e7, ""),  # psi; solid steel is 3e7: from memory
    "linkage.master_bore": FigureRange(0.25, 3),
    "linkage.slave_bore": FigureRange(0.25, 4),
    "linkage.master_stroke": FigureRange(0.25, 6),
    "linkage.slave_stroke": FigureRange(0.1, 6),
    "linkage.port": FigureRange(0.001, 6),  # the stroke bounds it
    "linkage.fluid": FigureRange(0, 200, ""),  # cubic inches
    "linkage.air": FigureRange(0, 20, ""),  # cubic inches
    "left.lugs": FigureRange(-200, 200, ""),
    **{f"figures.{name}": FigureRange(*QUANTITIES[name].plausible_in) for name in DEFAULT_FIGURES},
    **{f"left.{name}": FigureRange(*QUANTITIES[name].possible_in) for name in DEFAULT_FIGURES},
}
"""By the card's dotted key."""
LEAST_BAND_IN = 0.005
"""Limits nearer to each other leave no room for a reading: from memory."""
MOST_SIGNS: Mapping[str, int] = {
    "unit": 64,
    "set_by": 40,
    "by": 40,
    "name": 40,
    "thread": 40,
    "holds_pedal": 40,
}
"""Of a text, by the last part of its key."""
MOST_SIGNS_ELSE = 200


def range_of(key: str) -> FigureRange | None:
    """The range of a dotted key; of limits, `figures.gap.low`, that of their quantity."""
    return RANGES.get(key) or RANGES.get(key.rpartition(".")[0])


def within(key: str, **extra: str) -> Meta:
    """What msgspec checks of a plain number."""
    low, high, _ = RANGES[key]
    return Meta(ge=low, le=high, extra=extra)
