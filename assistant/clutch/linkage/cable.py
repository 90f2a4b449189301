"""A cable: two levers, a wire that stretches, and a threaded adjuster.

Stretch by Hooke's law, k = E*A/L, with A the wire's metal area.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from assistant.clutch.linkage.stroke import Joint, LinkageError, Mechanical

# Modulus of a stranded cable as a whole, well under that of solid steel: from memory.
CABLE_MODULUS_PSI = 12e6
# Metal in a stranded cable, as a share of its circle: from memory.
METAL_SHARE = 0.6
_LONGEST_IN = 16.0


def cable_stiffness_lbf_in(
    diameter_in: float,
    length_in: float,
    modulus_psi: float = CABLE_MODULUS_PSI,
    metal_share: float = METAL_SHARE,
) -> float:
    """Pounds per inch of stretch, k = E*A/L.

    Raises:
        LinkageError: a figure is not above zero.
    """
    if not min(diameter_in, length_in, modulus_psi, metal_share) > 0.0:
        raise LinkageError("Cable diameter, length and modulus must be above zero: measure again.")
    area = metal_share * math.pi / 4.0 * diameter_in**2
    return modulus_psi * area / length_in


@dataclass(frozen=True, slots=True)
class Cable(Mechanical):
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
        if not min(self.pedal_lever, self.fork_lever, self.stiffness_lbf_in, self.lead_in) > 0.0:
            raise LinkageError("Levers, stiffness and thread must be above zero: measure again.")

    @property
    def reach_in(self) -> float:
        """As far as any pedal goes."""
        return _LONGEST_IN

    def fork_in(self, pedal_in: float) -> float:
        """Tip travel through both levers."""
        return pedal_in / self.ratio(pedal_in)

    def ratio(self, pedal_in: float) -> float:
        """The same all the way."""
        return self.pedal_lever * self.fork_lever

    def lost_in(self, fork_lbf: float) -> float:
        """Stretch under the tension that the fork's lever asks for, as felt at the pad."""
        tension = fork_lbf / self.fork_lever
        return tension / self.stiffness_lbf_in * self.pedal_lever

    def joints(self, pedal_in: float) -> tuple[Joint, ...]:
        """The cable's two ends."""
        pulled = pedal_in / self.pedal_lever
        return Joint("cable at the pedal", pulled), Joint("cable at the fork", pulled)
