"""What every linkage tells; all the pedal's figures follow from it (see ``stroke``)."""

from __future__ import annotations

import math
from typing import NamedTuple, Protocol


class LinkageError(ValueError):
    """One line: why this geometry cannot be, or cannot be moved so far."""


class Joint(NamedTuple):
    """A place in the chain where travel can be read, and how far it moves by geometry; inches."""

    name: str
    travel_in: float


class Linkage(Protocol):
    """A chain from pedal to fork. Pedal travel counts from where the chain has no slack left."""

    @property
    def reach_in(self) -> float:
        """The furthest pedal travel this model can follow, in inches."""

    @property
    def end_in(self) -> float:
        """Pedal travel, idle and lost travel in it, at which a part is at its own end."""

    @property
    def idle_in(self) -> float:
        """Pedal travel that moves nothing by design, as before a master's port is covered."""

    @property
    def follows(self) -> bool:
        """Whether the fork stays on the bearing by itself, so that clearance costs no travel."""

    def fork_in(self, pedal_in: float) -> float:
        """Travel of the fork's tips, in inches, for pedal travel, without any load.

        Raises:
            LinkageError: the chain cannot move so far.
        """

    def ratio(self, pedal_in: float) -> float:
        """Pedal travel per fork travel at this place of the stroke."""

    def lost_in(self, fork_lbf: float) -> float:
        """Pedal travel lost to give in the chain, in inches, under this force at the tips."""

    def joints(self, pedal_in: float) -> tuple[Joint, ...]:
        """The chain's joints from pedal to fork, each with its travel at this pedal travel."""


class Mechanical:
    """What rods and a cable have in common: they end nowhere, idle nowhere, and hold the fork."""

    __slots__ = ()

    @property
    def end_in(self) -> float:
        """Nothing here has an end of its own: the pedal's stops come first."""
        return math.inf

    @property
    def idle_in(self) -> float:
        """No travel moves nothing by design."""
        return 0.0

    @property
    def follows(self) -> bool:
        """The fork rests where it is held."""
        return False
