"""One four-bar, exactly: two levers on fixed pivots, their ends joined by a rod.

Loop closure: with the driving arm a at angle t from the line of the pivots, its end P lies at
distance r from the driven pivot. The triangle of r, the lever c and the rod b closes there, so

    q = phi -+ acos((c^2 + r^2 - b^2) / (2 c r)),   phi the direction from the driven pivot to P

and the sign is the way the linkage is put together (open or crossed). Derivation: the law of
cosines. The tests hold it against Freudenstein's equation and a numerical solve of the loop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from assistant.clutch.linkage.protocol import LinkageError


@dataclass(frozen=True, slots=True)
class FourBar:
    """Lengths in inches: driving arm, rod, driven lever, and between the two pivots.

    Raises:
        LinkageError: a length is not above zero.
    """

    arm_in: float
    rod_in: float
    lever_in: float
    pivots_in: float
    crossed: bool = False

    def __post_init__(self) -> None:
        lengths = (self.arm_in, self.rod_in, self.lever_in, self.pivots_in)
        if not all(math.isfinite(x) and x > 0.0 for x in lengths):
            raise LinkageError("Arm, rod, lever and pivots must all be above zero: measure again.")

    def _triangle(self, drive: float) -> tuple[float, float, float]:
        """Distance r from driven pivot to the arm's end, its direction, and the angle there."""
        x = self.arm_in * math.cos(drive) - self.pivots_in
        y = self.arm_in * math.sin(drive)
        r = math.hypot(x, y)
        if r == 0.0:
            raise LinkageError("The arm's end lies on the other pivot: measure again.")
        cosine = (self.lever_in**2 + r**2 - self.rod_in**2) / (2.0 * self.lever_in * r)
        if not -1.0 <= cosine <= 1.0:
            raise LinkageError(
                f"At {math.degrees(drive):.0f} degrees the rod cannot join arm and lever: "
                "measure lengths and angle again."
            )
        return r, math.atan2(y, x), math.acos(cosine)

    def driven(self, drive: float) -> float:
        """Angle of the driven lever, radians, from the same line, for the driving arm's.

        Raises:
            LinkageError: the loop cannot close at this angle.
        """
        _, direction, inside = self._triangle(drive)
        return direction + inside if self.crossed else direction - inside

    def coupler(self, drive: float) -> float:
        """Angle of the rod, radians, from arm's end to lever's end."""
        driven = self.driven(drive)
        x = self.pivots_in + self.lever_in * math.cos(driven) - self.arm_in * math.cos(drive)
        y = self.lever_in * math.sin(driven) - self.arm_in * math.sin(drive)
        return math.atan2(y, x)

    def gain(self, drive: float) -> float:
        """Radians of the lever per radian of the arm.

        Derivation: the rod keeps its length, so both ends' speeds along it are the same.

        Raises:
            LinkageError: as ``driven``, or rod and lever are in line, where nothing is carried.
        """
        driven, rod = self.driven(drive), self.coupler(drive)
        carried = self.lever_in * math.sin(driven - rod)
        if abs(carried) < 1e-9 * self.lever_in:
            raise LinkageError(
                "Rod and lever stand in line there: measure lengths and angle again."
            )
        return self.arm_in * math.sin(drive - rod) / carried

    def driven_per_rod(self, drive: float) -> float:
        """Radians the lever turns for an inch more of rod, the driving arm held.

        Derivation: the law of cosines above, differentiated by the rod's length.
        """
        r, _, inside = self._triangle(drive)
        across = self.lever_in * r * math.sin(inside)
        if abs(across) < 1e-12:
            raise LinkageError(
                "Rod and lever stand in line there: measure lengths and angle again."
            )
        return (self.rod_in / across) * (1.0 if self.crossed else -1.0)
