"""The parts of a search: each adjuster's useful steps, and the flats that suit all limits.

Everything is linear in the steps, so a limit on clearance, free travel or brake contact is an
interval of rod travel, and only the flats inside all of them are worth a look.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import NamedTuple

from assistant.clutch.effects import Effects, sureness
from assistant.clutch.figures import Figure
from assistant.clutch.rod import margin
from assistant.clutch.settings_rank import SLACK
from assistant.clutch.uncertainty import Measured

_FLAT_SLACK = 1e-7


class Row(NamedTuple):
    """Some steps of one adjuster, the inches they move, and how its own quantity then sits."""

    steps: int
    by: float
    sure: float
    place: float


class Need(NamedTuple):
    """A quantity that is wanted inside: where it starts, how surely, and its limits; inches."""

    value: float
    u: float
    low: float
    high: float
    figure: Figure


class Rows:
    """What one search may choose from, for the wanted quantities."""

    def __init__(self, effects: Effects, wanted: frozenset[str]) -> None:
        self.effects, self.wanted = effects, wanted
        read = effects.readings
        free = read.free_travel
        if free is None:  # worked out, and so known only as well as clearance and ratio
            free = Measured(effects.ratio.value * read.clearance.value_in + read.lash_in)
        self.clearance = self._need("clearance", read.clearance)
        self.free = self._need("free-travel", free)
        self.brake = self._need("brake-contact", read.brake_contact)
        self.bearing = self._need("bearing-travel", read.total_travel)

    def _need(self, quantity: str, at: Measured | None) -> Need | None:
        figure = self.effects.figures.get(quantity)
        if quantity not in self.wanted or figure is None or at is None:
            return None
        low, high = figure.limits.low_in, figure.limits.high_in
        return Need(
            at.value_in,
            at.u_in,
            -math.inf if low is None else low,
            math.inf if high is None else high,
            figure,
        )

    def ring(self, lugs: Collection[int] | None) -> list[Row]:
        """Counts of lugs, only ``lugs`` where given, that leave the gap inside where wanted."""
        move, gap = self.effects.adjusters, self.effects.readings.gap
        counts = range(-move.max_lugs, move.max_lugs + 1) if lugs is None else lugs
        gaps = ((n, gap.value_in - n * move.lug_in) for n in counts)
        rows = []
        for n, at in gaps:
            u = math.hypot(gap.u_in, abs(n) * move.lug_u_in)
            rows += self._row("gap", n, n * move.lug_in, at, u)
        return rows

    def height(self) -> list[Row]:
        """Steps of the upper stop; a pedal whose height cannot be judged is left alone."""
        move, at = self.effects.adjusters, self.effects.readings.pedal_height
        if at is None or "pedal-height" not in self.wanted:
            return [Row(0, 0.0, math.inf, 0.0)]
        rows = []
        for a in range(-move.max_height_steps, move.max_height_steps + 1):
            by = a * move.height_step_in
            rows += self._row("pedal-height", a, by, at.value_in + by, at.u_in)
        return rows

    def _total_steps(self) -> range:
        """Steps of the lower stop that may be tried.

        A total travel that cannot be judged in is left alone; without any figure it may follow
        what bearing travel needs: downward for more, and upward only where it may be too much.
        """
        most = self.effects.adjusters.max_total_steps
        if self.effects.readings.total_travel is None:
            return range(1)
        if "total-travel" in self.wanted:
            return range(-most, most + 1)
        if self.effects.figures.get("total-travel") is None and self.bearing is not None:
            return range(-most if self.bearing.high < math.inf else 0, most + 1)
        return range(1)

    def total(self, rise_in: float, moved: bool) -> list[Row]:
        """Steps of the lower stop once the pedal's rest has risen by ``rise_in``, best first.

        Either only the step that leaves it, or all the others.
        """
        step, at = self.effects.adjusters.total_step_in, self.effects.readings.total_travel
        rows = []
        for b in self._total_steps():
            if (b != 0) != moved:
                continue
            value, u = (at.value_in + rise_in + b * step, at.u_in) if at else (0.0, 0.0)
            rows += self._row("total-travel", b, b * step, value, u)
        return sorted(rows, key=lambda row: (-row.place, abs(row.steps)))

    def lowest(self, rise_in: float) -> float | None:
        """The furthest down that the lower stop may go, in inches; None when nowhere is inside."""
        step, at = self.effects.adjusters.total_step_in, self.effects.readings.total_travel
        steps = self._total_steps()
        if at is None or "total-travel" not in self.wanted:
            return steps[-1] * step
        limits = self.effects.limits("total-travel")
        start, last = at.value_in + rise_in, float(steps[-1])
        if limits.high_in is not None:
            last = min(last, math.floor((limits.high_in - start) / step + _FLAT_SLACK))
        first = float(steps[0])
        if limits.low_in is not None:
            first = max(first, math.ceil((limits.low_in - start) / step - _FLAT_SLACK))
        return last * step if first <= last else None

    def _row(self, quantity: str, steps: int, by: float, value: float, u: float) -> list[Row]:
        """The row, or nothing when it would leave its own quantity outside."""
        figure = self.effects.figures.get(quantity)
        if figure is None or quantity not in self.wanted:
            return [Row(steps, by, math.inf, 0.0)]
        sure = sureness(value, u, figure.limits)
        return [Row(steps, by, sure, margin(value, figure))] if sure >= -SLACK else []

    def flats(self, ring_in: float, rise_in: float) -> range:
        """Flats that put clearance, free travel and brake contact inside all their limits."""
        move, r = self.effects.adjusters, self.effects.ratio.value
        stroke = self.effects.stroke_ratio.value
        if self.effects.follows:  # the rod changes nothing
            brake = self.brake is None or _inside(self.brake, stroke * ring_in)
            return range(int(brake and (self.free is None or _inside(self.free, rise_in))))
        low, high = -math.inf, math.inf
        if (need := self.clearance) is not None:
            at = need.value + ring_in + (rise_in / r if move.rigid else 0.0)
            low, high = max(low, need.low - at), min(high, need.high - at)
        if (need := self.free) is not None:
            at = need.value + r * ring_in + rise_in
            low, high = max(low, (need.low - at) / r), min(high, (need.high - at) / r)
        if (need := self.brake) is not None:
            low = max(low, (need.value - need.high) / stroke)
            high = min(high, (need.value - need.low) / stroke)
        most = move.max_flats
        first = -most if low == -math.inf else math.ceil(low / move.flat_in - _FLAT_SLACK)
        last = most if high == math.inf else math.floor(high / move.flat_in + _FLAT_SLACK)
        return range(max(-most, first), min(most, last) + 1)


def _inside(need: Need, by_in: float) -> bool:
    """Whether a quantity moved by so much is inside its limits."""
    return need.low - SLACK <= need.value + by_in <= need.high + SLACK
