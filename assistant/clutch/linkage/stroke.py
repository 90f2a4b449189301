"""What every linkage tells, and the pedal's figures that follow: free travel, brake contact, force.

The fork takes up its clearance without load; from there the bearing's load works the chain, and
what gives under it is pedal travel that moves nothing.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterable
from typing import NamedTuple

LONGEST_IN = 16.0
"""As far as any pedal goes."""
_TURNS = 60  # more halvings than any stroke needs
_CLOSE_IN = 1e-12


class LinkageError(ValueError):
    """One line: why this geometry cannot be, or cannot be moved so far."""


class Joint(NamedTuple):
    """A place in the chain where travel can be read, and how far it moves by geometry; inches."""

    name: str
    travel_in: float


class Linkage(ABC):
    """A chain from pedal to fork. Pedal travel counts from where the chain has no slack left."""

    __slots__ = ()

    @property
    def reach_in(self) -> float:
        """The furthest pedal travel this model can follow, in inches."""
        return LONGEST_IN

    @property
    def end_in(self) -> float:
        """Pedal travel, idle and lost travel in it, at which a part is at its own end.

        Rods and cables have none: the pedal's stops come first.
        """
        return math.inf

    @property
    def idle_in(self) -> float:
        """Pedal travel that moves nothing by design, as before a master's port is covered."""
        return 0.0

    @property
    def follows(self) -> bool:
        """Whether the fork stays on the bearing by itself, so that clearance costs no travel."""
        return False

    def fork_in(self, pedal_in: float) -> float:
        """Travel of the fork's tips, in inches, for pedal travel, without any load.

        Here for a ratio that stays the same.

        Raises:
            LinkageError: the chain cannot move so far.
        """
        return pedal_in / self.ratio(pedal_in)

    @abstractmethod
    def ratio(self, pedal_in: float) -> float:
        """Pedal travel per fork travel at this place of the stroke."""

    def lost_in(self, fork_lbf: float) -> float:
        """Pedal travel lost to give in the chain, in inches, under this force at the tips.

        Rods in order do not give by any amount that a rule can read.
        """
        return 0.0

    @abstractmethod
    def joints(self, pedal_in: float) -> tuple[Joint, ...]:
        """The chain's joints from pedal to fork, each with its travel at this pedal travel."""


def all_positive(figures: Iterable[float], what: str) -> None:
    """Raises LinkageError where one of the figures, `what`, is not a number above zero."""
    if not all(math.isfinite(figure) and figure > 0.0 for figure in figures):
        raise LinkageError(f"{what} must be above zero: measure again.")


# --- The pedal's figures.


class Load(NamedTuple):
    """Pounds at the fork's tips when they pick up the bearing, and pounds more per inch of it."""

    pickup_lbf: float = 0.0
    rate_lbf_in: float = 0.0

    def at(self, bearing_in: float) -> float:
        """Pounds once the bearing has moved this far."""
        return self.pickup_lbf + self.rate_lbf_in * max(0.0, bearing_in)


NO_LOAD = Load()


def pedal_for(linkage: Linkage, fork_in: float) -> float:
    """Pedal travel, after any slack, that moves the tips so far without load.

    Raises:
        LinkageError: the chain does not reach.
    """
    if fork_in <= 0.0:
        return 0.0
    low, high = 0.0, linkage.reach_in
    if linkage.fork_in(high) < fork_in - 1e-9:
        raise LinkageError("The chain ends before the fork gets there: check its lengths.")
    at = min(high, fork_in * linkage.ratio(0.0))
    for _ in range(_TURNS):  # Newton's steps, and halving where one would leave the bracket
        miss = linkage.fork_in(at) - fork_in
        if abs(miss) < _CLOSE_IN:
            break
        low, high = (low, at) if miss > 0.0 else (at, high)
        step = at - miss * linkage.ratio(at)
        at = step if low < step < high else (low + high) / 2.0
    return at


def free_travel_in(linkage: Linkage, clearance_in: float, lash_in: float = 0.0) -> float:
    """Free travel F, in inches: slack, idle travel, and the fork's way to the bearing."""
    way = 0.0 if linkage.follows else pedal_for(linkage, clearance_in)
    return way + linkage.idle_in + lash_in


def brake_stroke_in(
    linkage: Linkage,
    clearance_in: float,
    gap_in: float,
    lash_in: float = 0.0,
    load: Load = NO_LOAD,
) -> float:
    """Pedal travel s, in inches, at which the clutch brake is touched.

    Raises:
        LinkageError: the chain, or a part of it, is at its end before that.
    """
    way = gap_in if linkage.follows else clearance_in + gap_in
    travel = pedal_for(linkage, way) + linkage.idle_in + linkage.lost_in(load.at(gap_in))
    if travel > linkage.end_in + 1e-9:
        raise LinkageError("The master is at its end before the brake: check bores, and for air.")
    return travel + lash_in


def pedal_force_lbf(linkage: Linkage, pedal_in: float, fork_lbf: float) -> float:
    """Force at the pad for a force at the tips, by virtual work, without friction.

    Force times travel is kept. ``pedal_in`` counts after the slack.
    """
    return fork_lbf / linkage.ratio(pedal_in)
