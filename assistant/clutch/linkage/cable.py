"""A cable: two levers, a wire that stretches, and a threaded adjuster.

Stretch by Hooke's law, k = E*A/L, with A the wire's metal area.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from assistant.clutch.linkage.stroke import Joint, Linkage, all_positive

# Modulus of a stranded cable as a whole, well under that of solid steel: from memory.
CABLE_MODULUS_PSI = 12e6
# Metal in a stranded cable, as a share of its circle: from memory.
METAL_SHARE = 0.6


def cable_stiffness_lbf_in(diameter_in: float, length_in: float, modulus_psi: float) -> float:
    """Pounds per inch of stretch, k = E*A/L. Raises LinkageError where one is not above zero."""
    all_positive((diameter_in, length_in, modulus_psi), "Cable diameter, length and modulus")
    area = METAL_SHARE * math.pi / 4.0 * diameter_in**2
    return modulus_psi * area / length_in


@dataclass(frozen=True, slots=True)
class Cable(Linkage):
    """``pedal_lever``: pad travel per cable travel; ``fork_lever``: cable travel per tip travel.

    ``lead_in`` is the adjuster's travel a turn.

    Raises:
        LinkageError: a figure is not above zero.
    """

    pedal_lever: float
    fork_lever: float
    stiffness_lbf_in: float
    lead_in: float = 1 / 20

    def __post_init__(self) -> None:
        figures = (self.pedal_lever, self.fork_lever, self.stiffness_lbf_in, self.lead_in)
        all_positive(figures, "Levers, stiffness and thread")

    def ratio(self, pedal_in: float) -> float:
        return self.pedal_lever * self.fork_lever

    def lost_in(self, fork_lbf: float) -> float:
        """Stretch under the tension that the fork's lever asks for, as felt at the pad."""
        tension = fork_lbf / self.fork_lever
        return tension / self.stiffness_lbf_in * self.pedal_lever

    def joints(self, pedal_in: float) -> tuple[Joint, ...]:
        pulled = pedal_in / self.pedal_lever
        return Joint("cable at the pedal", pulled), Joint("cable at the fork", pulled)
