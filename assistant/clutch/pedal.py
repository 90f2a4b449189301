"""What the pedal feels: free travel, brake contact and bearing travel.

Derivation, with ``R`` the pedal travel per fork travel and ``l`` the lash counted at the pedal:
the fork first takes up the clearance ``c``, then carries the bearing over the gap ``g``.

    F = R*c + l    s = R*(c + g) + l    h = H - s    b = min(g, (T - l)/R - c)

Without a clutch brake nothing stops the bearing at g: then b = (T - l)/R - c.
"""

from __future__ import annotations

import math

from assistant.clutch.ratio import (
    Ratio,
    RatioFinding,
    Suspect,
    compare_ratios,
    ratio_from_brake,
    ratio_from_free_travel,
)

__all__ = [
    "DEFAULT_RATIO",
    "DEFAULT_RATIO_U",
    "Ratio",
    "RatioFinding",
    "Suspect",
    "bearing_travel_in",
    "brake_height_in",
    "brake_stroke_in",
    "compare_ratios",
    "free_travel_in",
    "hydraulic_ratio",
    "ratio_from_brake",
    "ratio_from_free_travel",
]

# Implied by the common figures, 1-1/2 in free travel for 1/8 in clearance: common practice,
# no source. Its standard uncertainty is from memory.
DEFAULT_RATIO = 12.0
DEFAULT_RATIO_U = 2.0


def _checked(ratio: float) -> float:
    if not (math.isfinite(ratio) and ratio > 0.0):
        raise ValueError("The pedal ratio must be above zero: give one such as 12.")
    return ratio


def free_travel_in(ratio: float, clearance_in: float, lash_in: float = 0.0) -> float:
    """Free travel ``F = R*c + l`` at the pedal, in inches.

    Raises:
        ValueError: the ratio is not above zero.
    """
    return _checked(ratio) * clearance_in + lash_in


def brake_stroke_in(
    ratio: float, clearance_in: float, gap_in: float, lash_in: float = 0.0
) -> float:
    """Pedal travel ``s = R*(c + g) + l`` at which the clutch brake is touched, in inches.

    Raises:
        ValueError: the ratio is not above zero.
    """
    return _checked(ratio) * (clearance_in + gap_in) + lash_in


def brake_height_in(
    pedal_height_in: float,
    ratio: float,
    clearance_in: float,
    gap_in: float,
    lash_in: float = 0.0,
) -> float:
    """Pedal height ``h = H - s`` above the floor at brake contact, in inches.

    Below zero means the floor is reached before the brake.

    Raises:
        ValueError: the ratio is not above zero.
    """
    return pedal_height_in - brake_stroke_in(ratio, clearance_in, gap_in, lash_in)


def bearing_travel_in(
    total_travel_in: float,
    ratio: float,
    clearance_in: float,
    gap_in: float | None,
    lash_in: float = 0.0,
) -> float:
    """Bearing travel ``b = min(g, (T - l)/R - c)`` with the pedal fully down, in inches.

    ``gap_in`` is None where no clutch brake stops the bearing. Below zero means the pedal is
    down before the fork reaches the bearing.

    Raises:
        ValueError: the ratio is not above zero.
    """
    travel = (total_travel_in - lash_in) / _checked(ratio) - clearance_in
    return travel if gap_in is None else min(gap_in, travel)


def hydraulic_ratio(
    pedal_lever: float, master_bore_in: float, slave_bore_in: float, fork_lever: float
) -> float:
    """R of a hydraulic chain: pedal lever * (slave bore / master bore)^2 * fork lever.

    Derivation: the fluid keeps its volume, so the pistons' travels go as the inverse of their
    areas. Levers are pure ratios, travel nearer the pedal over travel nearer the fork.

    Raises:
        ValueError: one of the four is not above zero.
    """
    if not min(pedal_lever, master_bore_in, slave_bore_in, fork_lever) > 0.0:
        raise ValueError("Levers and bores must be above zero: measure them again.")
    return pedal_lever * (slave_bore_in / master_bore_in) ** 2 * fork_lever
