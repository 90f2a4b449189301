"""Fluid between the pedal and the fork: bores, strokes, trapped air, a slave that fills by itself.

The fluid keeps its volume, so piston travels go as the inverse of their areas. Trapped air is
squeezed by Boyle's law, p*V constant, from atmospheric pressure; the fluid itself by its modulus.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from assistant.clutch.linkage.stroke import Joint, Linkage, LinkageError, all_positive

ATMOSPHERE_PSI = 14.696
# Bulk modulus of clutch fluid: from memory.
FLUID_MODULUS_PSI = 2.5e5


def _area(bore_in: float) -> float:
    return math.pi / 4.0 * bore_in**2


@dataclass(frozen=True, slots=True)
class Hydraulic(Linkage):
    """Inches, and cubic inches of fluid and of air at rest.

    ``pedal_lever``: pad travel per master travel; ``fork_lever``: slave travel per tip travel.
    ``port_in``: master travel until its port is covered. ``self_filling``: the slave's spring
    keeps the fork on the bearing, so clearance costs no pedal travel and wear none either.

    Raises:
        LinkageError: a figure that cannot be.
    """

    pedal_lever: float
    fork_lever: float
    master_bore_in: float
    slave_bore_in: float
    master_stroke_in: float
    slave_stroke_in: float
    fluid_in3: float = 0.0
    air_in3: float = 0.0
    port_in: float = 0.0
    self_filling: bool = False

    def __post_init__(self) -> None:
        levers = (self.pedal_lever, self.fork_lever)
        master = (self.master_bore_in, self.master_stroke_in)
        slave = (self.slave_bore_in, self.slave_stroke_in)
        all_positive((*levers, *master, *slave), "Levers, bores and strokes")
        if min(self.fluid_in3, self.air_in3, self.port_in) < 0.0:
            raise LinkageError("Fluid, air and port travel cannot be below zero: measure again.")
        if self.port_in >= self.master_stroke_in:
            raise LinkageError("The port takes the whole master stroke: measure again.")

    @property
    def _pistons(self) -> float:
        """Master travel per slave travel."""
        return (self.slave_bore_in / self.master_bore_in) ** 2

    @property
    def reach_in(self) -> float:
        """Pedal travel, after the port, at which master or slave has gone all its stroke."""
        master = self.master_stroke_in - self.port_in
        return min(master, self.slave_stroke_in * self._pistons) * self.pedal_lever

    @property
    def end_in(self) -> float:
        """The master's whole stroke, squeezed air in it."""
        return self.master_stroke_in * self.pedal_lever

    @property
    def idle_in(self) -> float:
        return self.port_in * self.pedal_lever

    @property
    def follows(self) -> bool:
        return self.self_filling

    def fork_in(self, pedal_in: float) -> float:
        if pedal_in > self.reach_in + 1e-9:
            raise LinkageError(
                "Master or slave is at its end before that: check bores and strokes."
            )
        return Linkage.fork_in(self, pedal_in)

    def ratio(self, pedal_in: float) -> float:
        return self.pedal_lever * self._pistons * self.fork_lever

    def pressure_psi(self, fork_lbf: float) -> float:
        """Pressure above the air's for a force at the tips."""
        return fork_lbf / self.fork_lever / _area(self.slave_bore_in)

    def lost_in(self, fork_lbf: float) -> float:
        """Pedal travel that only squeezes air and fluid."""
        pressure = self.pressure_psi(fork_lbf)
        air = self.air_in3 * pressure / (ATMOSPHERE_PSI + pressure)
        fluid = self.fluid_in3 * pressure / FLUID_MODULUS_PSI
        return (air + fluid) / _area(self.master_bore_in) * self.pedal_lever

    def air_for(self, lost_in: float, fork_lbf: float) -> float:
        """Cubic inches of air at rest that would lose so much pedal travel (inches).

        Raises:
            LinkageError: without a force no air is squeezed.
        """
        pressure = self.pressure_psi(fork_lbf)
        if not pressure > 0.0:
            raise LinkageError(
                "Without the load at the fork no air can be told: put it on the card."
            )
        volume = lost_in / self.pedal_lever * _area(self.master_bore_in)
        fluid = self.fluid_in3 * pressure / FLUID_MODULUS_PSI
        return max(0.0, volume - fluid) * (ATMOSPHERE_PSI + pressure) / pressure

    def joints(self, pedal_in: float) -> tuple[Joint, ...]:
        master = pedal_in / self.pedal_lever
        return Joint("master piston", master), Joint("slave piston", master / self._pistons)
