"""Where the readings will be after a ring and a rod move.

With n*p the ring's movement of the bearing and y the fork's movement by the rod (derivation:
the geometry of ``pedal``), the pedal's readings follow from the clearance's:

    c' = c + n*p + y    g' = g - n*p    F' = F + R*(n*p + y)    h' = h - R*y

An as-found reading is moved by the difference, which forgives a wrong R; where there is none
the reading is worked out from R alone. Uncertainties to first order (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.clutch.pedal import bearing_travel_in, brake_height_in, free_travel_in
from assistant.clutch.ratio import Ratio
from assistant.clutch.uncertainty import Measured, combine


@dataclass(frozen=True, slots=True)
class Readings:
    """As-found readings, each with its uncertainty; inches. Lash is counted at the pedal.

    Raises:
        ValueError: the lash is below zero.
    """

    gap: Measured
    clearance: Measured
    free_travel: Measured | None = None
    pedal_height: Measured | None = None
    brake_contact: Measured | None = None
    total_travel: Measured | None = None
    lash_in: float = 0.0

    def __post_init__(self) -> None:
        if not self.lash_in >= 0.0:
            raise ValueError("Lash cannot be below zero: give the slack felt at the pedal.")


def free_travel_after(readings: Readings, ratio: Ratio, clearance: Measured) -> Measured:
    """Free travel once the clearance is ``clearance``, in inches."""
    read = readings.free_travel
    if read is None:
        free = free_travel_in(ratio.value, clearance.value_in, readings.lash_in)
        return Measured(free, combine(ratio.value * clearance.u_in, ratio.u * clearance.value_in))
    moved = clearance.value_in - readings.clearance.value_in
    # Only the ring's lugs add to what the clearance's change is known by; the rod's flats are
    # counted. The as-found reading's own uncertainty is in both clearances and drops out.
    ring_u = max(0.0, clearance.u_in**2 - readings.clearance.u_in**2) ** 0.5
    return read.shifted(ratio.value * moved, ratio.value * ring_u, ratio.u * moved)


def brake_contact_after(
    readings: Readings, ratio: Ratio, ratio_known: bool, rod_in: float
) -> Measured | None:
    """Pedal height at brake contact after the rod moved the fork by ``rod_in``; inches.

    The ring does not come into it. None without the as-found height, unless the pedal height
    at rest was read and the ratio is known better than by common practice.
    """
    if readings.brake_contact is not None:
        return readings.brake_contact.shifted(-ratio.value * rod_in, ratio.u * rod_in)
    if readings.pedal_height is None or not ratio_known:
        return None
    c, g = readings.clearance, readings.gap
    height = brake_height_in(
        readings.pedal_height.value_in,
        ratio.value,
        c.value_in + rod_in,
        g.value_in,
        readings.lash_in,
    )
    reach = c.value_in + g.value_in + rod_in
    return Measured(
        height,
        combine(readings.pedal_height.u_in, ratio.value * combine(c.u_in, g.u_in), ratio.u * reach),
    )


def bearing_travel(
    readings: Readings, ratio: Ratio, clearance: Measured, gap: Measured | None
) -> Measured | None:
    """Bearing travel with the pedal fully down, in inches; None without total pedal travel.

    ``gap`` is where the clutch brake stops the bearing, or None where there is no brake.
    """
    total = readings.total_travel
    if total is None:
        return None
    travel = bearing_travel_in(
        total.value_in,
        ratio.value,
        clearance.value_in,
        None if gap is None else gap.value_in,
        readings.lash_in,
    )
    if gap is not None and travel == gap.value_in:
        return gap
    fork_in = (total.value_in - readings.lash_in) / ratio.value
    return Measured(
        travel,
        combine(total.u_in / ratio.value, fork_in * ratio.u / ratio.value, clearance.u_in),
    )
