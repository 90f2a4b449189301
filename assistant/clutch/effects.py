"""Where every quantity will be after a setting of all four adjusters.

With n*p the bearing's movement by the ring, y the fork's by the rod, d the rise of the pedal's
rest and e the fall of its lower end (derivation: the geometry of ``pedal``):

    g' = g - n*p              c' = c + n*p + y + d/R      F' = F + R*(n*p + y) + d
    H' = H + d                T' = T + d + e              h' = h - R*y
    b' = min(g', (T + e - l)/R - (c + n*p + y))

A rigid chain holds pedal and fork together, so a pedal that rests higher draws the fork away by
d/R. The stroke from there to the brake grows by d as the rest does, and the height h where the
brake is touched stays. Where fluid lets the fork rest by itself, c' lacks the d/R, and d is slack
at the pedal: all else is the same. Where a slave that fills by itself keeps the fork on the
bearing, there is no clearance to judge, the rod changes nothing, and the ring does what it does
nowhere else: F' = F + d, h' = h + R*n*p, b' = min(g', (T + e - l)/R). Without a clutch brake
nothing stops the bearing at g', and b' is what the stroke gives.

Uncertainties to first order (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from assistant.clutch.adjusters import Adjusters, Setting
from assistant.clutch.conformity import Limits
from assistant.clutch.figures import Figure
from assistant.clutch.predict import Readings
from assistant.clutch.uncertainty import Measured, combine
from assistant.clutch.used_ratio import UsedRatio

# In the trade's order: what the ring sets, then stops, then what the rod sets, then what follows.
ORDER = (
    "gap",
    "pedal-height",
    "total-travel",
    "clearance",
    "free-travel",
    "brake-contact",
    "bearing-travel",
)
# A reading without uncertainty still gets this much (inches), so that depth over it is a number.
LEAST_U_IN = 1e-6


def sureness(value_in: float, u_in: float, limits: Limits) -> float:
    """Depth inside the limits in standard uncertainties; below zero outside."""
    low, high = limits.low_in, limits.high_in
    depth = min(
        value_in - low if low is not None else float("inf"),
        high - value_in if high is not None else float("inf"),
    )
    return depth / max(u_in, LEAST_U_IN)


@dataclass(frozen=True, slots=True)
class Effects:
    """A truck as read, and what its adjusters do to it. Lengths in inches.

    ``stroke_ratio`` is the ratio at the brake where geometry gives another there than at the
    start of the stroke; else it is ``ratio``. ``follows``: the fork stays on the bearing by itself.
    ``clutch_brake``: there is one, which stops the bearing at the gap.
    """

    readings: Readings
    figures: Mapping[str, Figure | None]
    adjusters: Adjusters
    ratio: UsedRatio
    stroke_ratio: UsedRatio
    follows: bool = False
    clutch_brake: bool = True

    def judged(self) -> tuple[str, ...]:
        """Quantities with both a figure and a value that can be foretold, in the trade's order.

        Free travel that was not read, and the brake's contact, need a ratio of this truck's own.
        """
        read, known = self.readings, self.ratio.known
        there = {
            "gap": True,
            "pedal-height": read.pedal_height is not None,
            "total-travel": read.total_travel is not None,
            "clearance": not self.follows,
            "free-travel": read.free_travel is not None or (known and not self.follows),
            "brake-contact": read.brake_contact is not None and known,
            "bearing-travel": read.total_travel is not None and known,
        }
        return tuple(q for q in ORDER if there[q] and self.figures.get(q) is not None)

    def limits(self, quantity: str) -> Limits:
        """The limits of a quantity that has some."""
        figure = self.figures[quantity]
        assert figure is not None
        return figure.limits

    def after(self, setting: Setting) -> dict[str, Measured]:
        """Every quantity that can be foretold, after the setting."""
        read, move, r = self.readings, self.adjusters, self.ratio
        ring = setting.lugs * move.lug_in
        ring_u = abs(setting.lugs) * move.lug_u_in
        rod = setting.flats * move.flat_in
        rise = setting.height_steps * move.height_step_in
        drop = setting.total_steps * move.total_step_in
        if self.follows:
            reach = Measured(0.0)
            values = {"gap": read.gap.shifted(-ring, ring_u), "clearance": read.clearance}
            if read.free_travel is not None:
                values["free-travel"] = read.free_travel.shifted(rise)
        else:
            reach = read.clearance.shifted(ring + rod, ring_u)
            values = {
                "gap": read.gap.shifted(-ring, ring_u),
                "clearance": reach.shifted(rise / r.value if move.rigid else 0.0),
                "free-travel": self._free_travel(reach, ring, ring_u, rod, rise),
            }
        if read.pedal_height is not None:
            values["pedal-height"] = read.pedal_height.shifted(rise)
        if read.brake_contact is not None:
            stroke = self.stroke_ratio
            by, by_u = (ring, stroke.value * ring_u) if self.follows else (-rod, 0.0)
            values["brake-contact"] = read.brake_contact.shifted(
                stroke.value * by, stroke.u * by, by_u
            )
        if read.total_travel is not None:
            values["total-travel"] = read.total_travel.shifted(rise + drop)
            values["bearing-travel"] = self._bearing(reach, values["gap"], drop)
        return values

    def _free_travel(
        self, reach: Measured, ring: float, ring_u: float, rod: float, rise: float
    ) -> Measured:
        read, r = self.readings.free_travel, self.ratio
        if read is not None:
            by = r.value * (ring + rod) + rise
            return read.shifted(by, r.value * ring_u, r.u * (ring + rod))
        free = r.value * reach.value_in + self.readings.lash_in + rise
        return Measured(free, combine(r.value * reach.u_in, r.u * reach.value_in))

    def _bearing(self, reach: Measured, gap: Measured, drop: float) -> Measured:
        total, r = self.readings.total_travel, self.stroke_ratio
        assert total is not None
        fork = (total.value_in + drop - self.readings.lash_in) / r.value
        if self.clutch_brake and gap.value_in <= fork - reach.value_in:
            return gap
        u = combine(total.u_in / r.value, fork * r.u / r.value, reach.u_in)
        return Measured(fork - reach.value_in, u)
