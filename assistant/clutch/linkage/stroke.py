"""The pedal's figures from any linkage: free travel, brake contact, bearing travel, force.

The fork takes up its clearance without load; from there the bearing's load works the chain, and
what gives under it is pedal travel that moves nothing.
"""

from __future__ import annotations

from typing import NamedTuple

from assistant.clutch.linkage.protocol import Linkage, LinkageError

_TURNS = 60  # more halvings than any stroke needs
_CLOSE_IN = 1e-12


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


def _reached(
    linkage: Linkage, total_in: float, clearance_in: float, by_in: float, lash_in: float, load: Load
) -> bool:
    """Whether the bearing has moved ``by_in`` before the pedal has gone ``total_in``."""
    try:
        return brake_stroke_in(linkage, clearance_in, by_in, lash_in, load) <= total_in
    except LinkageError:
        return False


def bearing_travel_in(
    linkage: Linkage,
    total_in: float,
    clearance_in: float,
    gap_in: float,
    lash_in: float = 0.0,
    load: Load = NO_LOAD,
) -> float:
    """Bearing travel b, in inches, with the pedal fully down; at most the gap.

    Found by halving, since the load, and so what is lost, depends on the travel itself. Below
    zero, in fork inches, when the pedal is down before the fork reaches the bearing.
    """
    if _reached(linkage, total_in, clearance_in, gap_in, lash_in, load):
        return gap_in
    if not _reached(linkage, total_in, clearance_in, 0.0, lash_in, NO_LOAD):
        end = min(total_in - lash_in, linkage.end_in) - linkage.idle_in
        fork = linkage.fork_in(min(max(0.0, end), linkage.reach_in))
        return fork - (0.0 if linkage.follows else clearance_in)
    low, high = 0.0, gap_in
    for _ in range(_TURNS):
        middle = (low + high) / 2.0
        if _reached(linkage, total_in, clearance_in, middle, lash_in, load):
            low = middle
        else:
            high = middle
    return low


def pedal_force_lbf(
    linkage: Linkage, pedal_in: float, fork_lbf: float, efficiency: float = 1.0
) -> float:
    """Force at the pad for a force at the tips, by virtual work: force times travel is kept.

    ``pedal_in`` counts after the slack; ``efficiency`` is what friction leaves.

    Raises:
        ValueError: the efficiency is not above 0 and at most 1.
    """
    if not 0.0 < efficiency <= 1.0:
        raise ValueError("Efficiency lies above 0 and at most 1: give one such as 0.8.")
    return fork_lbf / linkage.ratio(pedal_in) / efficiency
