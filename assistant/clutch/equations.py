"""What can be turned on a truck, by how much a step moves it, and how long a turn of it takes.

Four adjusters: the ring (whole lugs), the rod (flats of its hex), the pedal's upper stop, which
sets where it rests, and its lower stop, which sets where it ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from assistant.clutch.conformity import Limits
from assistant.clutch.figures import Figure
from assistant.clutch.ratio import (
    Ratio,
    RatioFinding,
    Suspect,
    compare_ratios,
    ratio_from_brake,
    ratio_from_free_travel,
)
from assistant.clutch.ring import MAX_LUGS, PITCH_U_IN
from assistant.clutch.thread import FLATS_PER_TURN, MAX_TURNS
from assistant.clutch.uncertainty import Measured, combine

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


# --- Which pedal ratio to work with, and where it came from.

RatioSource = Literal[
    "card", "linkage geometry", "free travel", "brake contact", "both", "common practice"
]
# Levers measured for the card are good to about this share of the ratio: from memory.
CARD_RATIO_SHARE_U = 0.02


class UsedRatio(NamedTuple):
    """The pedal ratio worked with, its standard uncertainty, and where it came from."""

    value: float
    u: float
    source: RatioSource

    @property
    def ratio(self) -> Ratio:
        """The ratio without its source."""
        return Ratio(self.value, self.u)

    @property
    def known(self) -> bool:
        """Whether it belongs to this truck, not to common practice."""
        return self.source != "common practice"


def finding_of(readings: Readings, confidence: float = 0.95) -> RatioFinding | None:
    """The two estimates compared, when the readings for both are there; else None.

    Raises:
        ValueError: ``confidence`` is not between 0 and 1.
    """
    free, height, brake = readings.free_travel, readings.pedal_height, readings.brake_contact
    if free is None or height is None or brake is None:
        return None
    return compare_ratios(
        free, height, brake, readings.clearance, readings.gap, readings.lash_in, confidence
    )


def used_ratio(readings: Readings, finding: RatioFinding | None, card: float | None) -> UsedRatio:
    """The card's ratio; else the readings', their mean when they agree; else common practice.

    Raises:
        ValueError: the card's ratio is not above zero.
    """
    if card is not None:
        if not card > 0.0:
            raise ValueError("The card's pedal ratio must be above zero: give one such as 12.")
        return UsedRatio(card, CARD_RATIO_SHARE_U * card, "card")
    if finding is not None and finding.best is not None and finding.best.value > 0.0:
        return UsedRatio(finding.best.value, finding.best.u, "both")
    c, lash = readings.clearance, readings.lash_in
    free, height, brake = readings.free_travel, readings.pedal_height, readings.brake_contact
    first = None if free is None else ratio_from_free_travel(free, c, lash)
    second = (
        None
        if height is None or brake is None
        else ratio_from_brake(height, brake, c, readings.gap, lash)
    )
    known: list[UsedRatio] = []
    if first is not None and first.value > 0.0:
        known.append(UsedRatio(first.value, first.u, "free travel"))
    if second is not None and second.value > 0.0:
        known.append(UsedRatio(second.value, second.u, "brake contact"))
    # When the two quarrel, the surer one is worked with and a note says they quarrel.
    if not known:
        return UsedRatio(DEFAULT_RATIO, DEFAULT_RATIO_U, "common practice")
    return min(known, key=lambda estimate: estimate.u)


# --- What the pedal feels: free travel, brake contact and bearing travel.
#
# Derivation, with ``R`` the pedal travel per fork travel and ``l`` the lash counted at the pedal:
# the fork first takes up the clearance ``c``, then carries the bearing over the gap ``g``.
#
#     F = R*c + l    s = R*(c + g) + l    h = H - s    b = min(g, (T - l)/R - c)
#
# Without a clutch brake nothing stops the bearing at g: then b = (T - l)/R - c.

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


# --- Where the readings will be after a ring and a rod move.
#
# With n*p the ring's movement of the bearing and y the fork's movement by the rod (derivation:
# the geometry of ``pedal``), the pedal's readings follow from the clearance's:
#
#     c' = c + n*p + y    g' = g - n*p    F' = F + R*(n*p + y)    h' = h - R*y
#
# An as-found reading is moved by the difference, which forgives a wrong R; where there is none
# the reading is worked out from R alone. Uncertainties to first order (JCGM 100:2008, 5.1.2).


@dataclass(frozen=True, slots=True)
class Readings:
    """As-found readings, each with its uncertainty; inches. Lash is counted at the pedal.

    Raises:
        ValueError: the lash is below zero.
    """

    gap: Measured
    clearance: Measured
    free_travel: Measured | None = None
    pedal_height: Measured | None = None
    brake_contact: Measured | None = None
    total_travel: Measured | None = None
    lash_in: float = 0.0

    def __post_init__(self) -> None:
        if not self.lash_in >= 0.0:
            raise ValueError("Lash cannot be below zero: give the slack felt at the pedal.")


def free_travel_after(readings: Readings, ratio: Ratio, clearance: Measured) -> Measured:
    """Free travel once the clearance is ``clearance``, in inches."""
    read = readings.free_travel
    if read is None:
        free = free_travel_in(ratio.value, clearance.value_in, readings.lash_in)
        return Measured(free, combine(ratio.value * clearance.u_in, ratio.u * clearance.value_in))
    moved = clearance.value_in - readings.clearance.value_in
    # Only the ring's lugs add to what the clearance's change is known by; the rod's flats are
    # counted. The as-found reading's own uncertainty is in both clearances and drops out.
    ring_u = max(0.0, clearance.u_in**2 - readings.clearance.u_in**2) ** 0.5
    return read.shifted(ratio.value * moved, ratio.value * ring_u, ratio.u * moved)


def brake_contact_after(
    readings: Readings, ratio: Ratio, ratio_known: bool, rod_in: float
) -> Measured | None:
    """Pedal height at brake contact after the rod moved the fork by ``rod_in``; inches.

    The ring does not come into it. None without the as-found height, unless the pedal height
    at rest was read and the ratio is known better than by common practice.
    """
    if readings.brake_contact is not None:
        return readings.brake_contact.shifted(-ratio.value * rod_in, ratio.u * rod_in)
    if readings.pedal_height is None or not ratio_known:
        return None
    c, g = readings.clearance, readings.gap
    height = brake_height_in(
        readings.pedal_height.value_in,
        ratio.value,
        c.value_in + rod_in,
        g.value_in,
        readings.lash_in,
    )
    reach = c.value_in + g.value_in + rod_in
    return Measured(
        height,
        combine(readings.pedal_height.u_in, ratio.value * combine(c.u_in, g.u_in), ratio.u * reach),
    )


def bearing_travel(
    readings: Readings, ratio: Ratio, clearance: Measured, gap: Measured | None
) -> Measured | None:
    """Bearing travel with the pedal fully down, in inches; None without total pedal travel.

    ``gap`` is where the clutch brake stops the bearing, or None where there is no brake.
    """
    total = readings.total_travel
    if total is None:
        return None
    travel = bearing_travel_in(
        total.value_in,
        ratio.value,
        clearance.value_in,
        None if gap is None else gap.value_in,
        readings.lash_in,
    )
    if gap is not None and travel == gap.value_in:
        return gap
    fork_in = (total.value_in - readings.lash_in) / ratio.value
    return Measured(
        travel,
        combine(total.u_in / ratio.value, fork_in * ratio.u / ratio.value, clearance.u_in),
    )


# --- Where every quantity will be after a setting of all four adjusters.
#
# With n*p the bearing's movement by the ring, y the fork's by the rod, d the rise of the pedal's
# rest and e the fall of its lower end (derivation: the geometry of ``pedal``):
#
#     g' = g - n*p              c' = c + n*p + y + d/R      F' = F + R*(n*p + y) + d
#     H' = H + d                T' = T + d + e              h' = h - R*y
#     b' = min(g', (T + e - l)/R - (c + n*p + y))
#
# A rigid chain holds pedal and fork together, so a pedal that rests higher draws the fork away by
# d/R. The stroke from there to the brake grows by d as the rest does, and the height h where the
# brake is touched stays. Where fluid lets the fork rest by itself, c' lacks the d/R, and d is slack
# at the pedal: all else is the same. Where a slave that fills by itself keeps the fork on the
# bearing, there is no clearance to judge, the rod changes nothing, and the ring does what it does
# nowhere else: F' = F + d, h' = h + R*n*p, b' = min(g', (T + e - l)/R). Without a clutch brake
# nothing stops the bearing at g', and b' is what the stroke gives.
#
# Uncertainties to first order (JCGM 100:2008, 5.1.2).

# In the trade's order: what the ring sets, then stops, then what the rod sets, then what follows.
ORDER = (
    "gap",
    "pedal-height",
    "total-travel",
    "clearance",
    "free-travel",
    "brake-contact",
    "bearing-travel",
)
# A reading without uncertainty still gets this much (inches), so that depth over it is a number.
LEAST_U_IN = 1e-6


def sureness(value_in: float, u_in: float, limits: Limits) -> float:
    """Depth inside the limits in standard uncertainties; below zero outside."""
    low, high = limits.low_in, limits.high_in
    depth = min(
        value_in - low if low is not None else float("inf"),
        high - value_in if high is not None else float("inf"),
    )
    return depth / max(u_in, LEAST_U_IN)


@dataclass(frozen=True, slots=True)
class Effects:
    """A truck as read, and what its adjusters do to it. Lengths in inches.

    ``stroke_ratio`` is the ratio at the brake where geometry gives another there than at the
    start of the stroke; else it is ``ratio``. ``follows``: the fork stays on the bearing by itself.
    ``clutch_brake``: there is one, which stops the bearing at the gap.
    """

    readings: Readings
    figures: Mapping[str, Figure | None]
    adjusters: Adjusters
    ratio: UsedRatio
    stroke_ratio: UsedRatio
    follows: bool = False
    clutch_brake: bool = True

    def judged(self) -> tuple[str, ...]:
        """Quantities with both a figure and a value that can be foretold, in the trade's order.

        Free travel that was not read, and the brake's contact, need a ratio of this truck's own.
        """
        read, known = self.readings, self.ratio.known
        there = {
            "gap": True,
            "pedal-height": read.pedal_height is not None,
            "total-travel": read.total_travel is not None,
            "clearance": not self.follows,
            "free-travel": read.free_travel is not None or (known and not self.follows),
            "brake-contact": read.brake_contact is not None and known,
            "bearing-travel": read.total_travel is not None and known,
        }
        return tuple(q for q in ORDER if there[q] and self.figures.get(q) is not None)

    def limits(self, quantity: str) -> Limits:
        """The limits of a quantity that has some."""
        figure = self.figures[quantity]
        assert figure is not None
        return figure.limits

    def after(self, setting: Setting) -> dict[str, Measured]:
        """Every quantity that can be foretold, after the setting."""
        read, move, r = self.readings, self.adjusters, self.ratio
        ring = setting.lugs * move.lug_in
        ring_u = abs(setting.lugs) * move.lug_u_in
        rod = setting.flats * move.flat_in
        rise = setting.height_steps * move.height_step_in
        drop = setting.total_steps * move.total_step_in
        if self.follows:
            reach = Measured(0.0)
            values = {"gap": read.gap.shifted(-ring, ring_u), "clearance": read.clearance}
            if read.free_travel is not None:
                values["free-travel"] = read.free_travel.shifted(rise)
        else:
            reach = read.clearance.shifted(ring + rod, ring_u)
            values = {
                "gap": read.gap.shifted(-ring, ring_u),
                "clearance": reach.shifted(rise / r.value if move.rigid else 0.0),
                "free-travel": self._free_travel(reach, ring, ring_u, rod, rise),
            }
        if read.pedal_height is not None:
            values["pedal-height"] = read.pedal_height.shifted(rise)
        if read.brake_contact is not None:
            stroke = self.stroke_ratio
            by, by_u = (ring, stroke.value * ring_u) if self.follows else (-rod, 0.0)
            values["brake-contact"] = read.brake_contact.shifted(
                stroke.value * by, stroke.u * by, by_u
            )
        if read.total_travel is not None:
            values["total-travel"] = read.total_travel.shifted(rise + drop)
            values["bearing-travel"] = self._bearing(reach, values["gap"], drop)
        return values

    def _free_travel(
        self, reach: Measured, ring: float, ring_u: float, rod: float, rise: float
    ) -> Measured:
        read, r = self.readings.free_travel, self.ratio
        if read is not None:
            by = r.value * (ring + rod) + rise
            return read.shifted(by, r.value * ring_u, r.u * (ring + rod))
        free = r.value * reach.value_in + self.readings.lash_in + rise
        return Measured(free, combine(r.value * reach.u_in, r.u * reach.value_in))

    def _bearing(self, reach: Measured, gap: Measured, drop: float) -> Measured:
        total, r = self.readings.total_travel, self.stroke_ratio
        assert total is not None
        fork = (total.value_in + drop - self.readings.lash_in) / r.value
        if self.clutch_brake and gap.value_in <= fork - reach.value_in:
            return gap
        u = combine(total.u_in / r.value, fork * r.u / r.value, reach.u_in)
        return Measured(fork - reach.value_in, u)
