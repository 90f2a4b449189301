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
from functools import lru_cache

from assistant.clutch.linkage.stroke import LONGEST_IN, Joint, Linkage, LinkageError, all_positive


def _off_line(across: float, least: float) -> float:
    """What rod and lever carry across; raises LinkageError where they stand in line."""
    if abs(across) < least:
        raise LinkageError("Rod and lever stand in line there: measure lengths and angle again.")
    return across


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
        all_positive(lengths, "Arm, rod, lever and pivots")

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
        carried = _off_line(self.lever_in * math.sin(driven - rod), 1e-9 * self.lever_in)
        return self.arm_in * math.sin(drive - rod) / carried

    def driven_per_rod(self, drive: float) -> float:
        """Radians the lever turns for an inch more of rod, the driving arm held.

        Derivation: the law of cosines above, differentiated by the rod's length.
        """
        r, _, inside = self._triangle(drive)
        across = _off_line(self.lever_in * r * math.sin(inside), 1e-12)
        return (self.rod_in / across) * (1.0 if self.crossed else -1.0)


# --- Rods and levers: any number of four-bars in a row, from the pedal's pivot to the fork's tips.
#
# The driven lever of each four-bar and the driving arm of the next sit on one shaft, so they turn
# by the same angle. Each stage is told with its own driving arm's angle, pedal at rest.

# How finely the end of the stroke is looked for, in inches: first by steps, then by halving.
_STEP_IN = 1 / 4
_HALVINGS = 12


@dataclass(frozen=True, slots=True)
class Stage:
    """One four-bar in the chain: its driving arm's angle at rest (radians) and which way it goes.

    ``pull``: pressing the pedal turns the arm away from the driven pivot, so the rod is pulled;
    else the angle shrinks and the rod is pushed.
    """

    bar: FourBar
    rest: float
    pull: bool = False
    name: str = "rod"

    @property
    def _sign(self) -> float:
        return 1.0 if self.pull else -1.0

    def _drive(self, turned: float) -> float:
        return self.rest + self._sign * turned

    def turn(self, turned: float) -> float:
        """How far the driven lever has turned, radians, for the arm; positive as it starts out."""
        return self.way * (self.bar.driven(self._drive(turned)) - self.bar.driven(self.rest))

    def gain(self, turned: float) -> float:
        """Radians of the lever per radian of the arm; below zero once it runs back."""
        return self.way * self.bar.gain(self._drive(turned)) * self._sign

    @property
    def way(self) -> float:
        """1.0 where the driven lever's angle grows as the pedal is pressed, else -1.0."""
        return 1.0 if self.bar.gain(self.rest) * self._sign >= 0.0 else -1.0

    def turn_per_rod(self) -> float:
        """Radians toward release that the lever turns for an inch more of rod, pedal at rest."""
        return self.way * self.bar.driven_per_rod(self.rest)


@dataclass(frozen=True, slots=True)
class LeverChain(Linkage):
    """The whole chain. Pedal travel is read along the pad's arc.

    ``pedal_arm_in`` is from pedal pivot to pad, ``fork_arm_in`` from cross shaft to tips. ``tip``
    is the tips' angle at rest (radians) from square to the shaft's travel, positive once past it.

    Raises:
        LinkageError: no stage, or a length that is not above zero.
    """

    pedal_arm_in: float
    stages: tuple[Stage, ...]
    fork_arm_in: float
    tip: float = 0.0

    def __post_init__(self) -> None:
        if not self.stages:
            raise LinkageError("A chain of rods needs at least one: give its arm, rod and lever.")
        if not (self.pedal_arm_in > 0.0 and self.fork_arm_in > 0.0):
            raise LinkageError("Pedal and fork arms must be above zero: measure them again.")
        if not self.ratio(0.0) > 0.0:
            raise LinkageError(
                "This chain does not move the fork: measure lengths and angles again."
            )

    @property
    def reach_in(self) -> float:
        """Where the chain comes in line or runs back, or as far as any pedal goes."""
        return _reach_in(self)

    def moves_on(self, pedal_in: float) -> bool:
        """Whether the chain still closes there, and carries the fork on."""
        try:
            return self._gain(pedal_in) > 0.0
        except LinkageError:
            return False

    def _turns(self, pedal_in: float) -> list[float]:
        """Radians turned by the pedal and then by the lever of each stage."""
        turns = [pedal_in / self.pedal_arm_in]
        for stage in self.stages:
            turns.append(stage.turn(turns[-1]))
        return turns

    def fork_in(self, pedal_in: float) -> float:
        turned = self._turns(pedal_in)[-1]
        return self.fork_arm_in * (math.sin(self.tip + turned) - math.sin(self.tip))

    def _gain(self, pedal_in: float) -> float:
        """Fork travel per pedal travel: the chain rule over all stages."""
        turns = self._turns(pedal_in)
        gain = self.fork_arm_in * math.cos(self.tip + turns[-1]) / self.pedal_arm_in
        for stage, turned in zip(self.stages, turns, strict=False):
            gain *= stage.gain(turned)
        return gain

    def ratio(self, pedal_in: float) -> float:
        """Pedal travel per fork travel, from each stage's own gain."""
        gain = self._gain(pedal_in)
        if gain == 0.0:
            raise LinkageError("The chain is in line there and moves nothing: measure again.")
        return 1.0 / gain

    def joints(self, pedal_in: float) -> tuple[Joint, ...]:
        """The end of each driven lever, and its travel along its arc."""
        turns = self._turns(pedal_in)[1:]
        return tuple(
            Joint(stage.name, stage.bar.lever_in * turned)
            for stage, turned in zip(self.stages, turns, strict=True)
        )

    def clearance_per_rod(self, index: int) -> float:
        """Inches of fork clearance won for an inch more of one stage's rod, pedal at rest.

        Below zero where a longer rod takes clearance away.
        """
        turn = self.stages[index].turn_per_rod()
        for stage in self.stages[index + 1 :]:
            turn *= stage.gain(0.0)
        return -turn * self.fork_arm_in * math.cos(self.tip)


@lru_cache(maxsize=32)
def _reach_in(chain: LeverChain) -> float:
    """The last place up to which the chain moves on; a pedal asks for it many times a turn."""
    good = 0.0
    while chain.moves_on(good + _STEP_IN):
        good += _STEP_IN
        if good >= LONGEST_IN:
            return LONGEST_IN
    bad = good + _STEP_IN
    for _ in range(_HALVINGS):
        middle = (good + bad) / 2.0
        good, bad = (middle, bad) if chain.moves_on(middle) else (good, middle)
    return good
