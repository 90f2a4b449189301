"""What can be turned on a truck, by how much a step moves it, and how long a turn of it takes.

Four adjusters: the ring (whole lugs), the rod (flats of its hex), the pedal's upper stop, which
sets where it rests, and its lower stop, which sets where it ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from assistant.clutch.belief import PITCH_U_IN
from assistant.clutch.ring import MAX_LUGS
from assistant.clutch.rod import MAX_TURNS
from assistant.clutch.thread import FLATS_PER_TURN

# A stop whose bolt is not on the card is set by rule, in sixteenths: common practice, no source.
STOP_STEP_IN = 1 / 16
# A stop bolt is turned by halves: common practice, no source.
STEPS_PER_TURN = 2
# The furthest a stop is moved in one job, in inches: from memory.
MAX_STOP_IN = 2.0

# Minutes for touching each adjuster at all, and for each step of it: common practice, no source.
# The ring's are those of its steps in the job (plate, hold, turn, plate, release, gap).
RING_MINUTES = (11.0, 0.3)
ROD_MINUTES = (4.0, 0.1)
STOP_MINUTES = (4.0, 0.2)


class Setting(NamedTuple):
    """Steps of the four adjusters from where they are now.

    ``lugs`` positive tightens, ``flats`` positive gives clearance, ``height_steps`` positive lets
    the pedal rest higher, ``total_steps`` positive lets it go lower.
    """

    lugs: int = 0
    flats: int = 0
    height_steps: int = 0
    total_steps: int = 0

    @property
    def moves(self) -> int:
        """How many adjusters are touched."""
        return sum(1 for steps in self if steps)

    @property
    def stops(self) -> int:
        """How many of the two stops are touched."""
        return (self.height_steps != 0) + (self.total_steps != 0)

    @property
    def steps(self) -> int:
        """Lugs, flats and stop steps together."""
        return sum(abs(steps) for steps in self)

    @property
    def minutes(self) -> float:
        """About how long it takes. Common practice, no source."""
        costs = (RING_MINUTES, ROD_MINUTES, STOP_MINUTES, STOP_MINUTES)
        return math.fsum(
            once + each * abs(steps)
            for steps, (once, each) in zip(self, costs, strict=True)
            if steps
        )


@dataclass(frozen=True, slots=True)
class Adjusters:
    """How far one step moves things, in inches, and how many steps there are.

    ``lug_in`` is the bearing's movement by one lug, below zero where "tighter" really goes the
    other way; ``flat_in`` the fork's by one flat; ``height_step_in`` and ``total_step_in`` the
    pedal pad's by a step of its stops. ``rigid``: the pedal's rest carries the fork with it (rods,
    a taut cable); with fluid between them it does not. ``height_moves`` and ``total_moves`` are
    false where a stop is to stay. ``height_turns`` and ``total_turns`` tell that a step is half a
    turn of a bolt known from the card.

    Raises:
        ValueError: a step does not move anything, or a count is below zero.
    """

    lug_in: float
    flat_in: float
    lug_u_in: float = PITCH_U_IN
    height_step_in: float = STOP_STEP_IN
    total_step_in: float = STOP_STEP_IN
    height_moves: bool = True
    total_moves: bool = True
    height_turns: bool = False
    total_turns: bool = False
    rigid: bool = True
    max_lugs: int = MAX_LUGS
    max_flats: int = MAX_TURNS * FLATS_PER_TURN

    def __post_init__(self) -> None:
        steps = (abs(self.lug_in), self.flat_in, self.height_step_in, self.total_step_in)
        if not all(math.isfinite(step) and step > 0.0 for step in steps):
            raise ValueError("A lug, a flat and a stop's turn must each move something.")
        if self.max_lugs < 0 or self.max_flats < 0 or self.lug_u_in < 0.0:
            raise ValueError("The most lugs and flats cannot be below zero.")

    @property
    def max_height_steps(self) -> int:
        """The most steps of the upper stop, either way."""
        return int(MAX_STOP_IN / self.height_step_in) if self.height_moves else 0

    @property
    def max_total_steps(self) -> int:
        """The most steps of the lower stop, either way."""
        return int(MAX_STOP_IN / self.total_step_in) if self.total_moves else 0
