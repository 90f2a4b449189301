"""The equations of the clutch: one truck as read, and where every quantity will be.

All the arithmetic of gap, clearance and pedal stands here, once. In inches, with

- g the gap, c the fork clearance, F free travel, H the pedal's height at rest, h its height where
  the clutch brake is touched, T its total travel, b the bearing's travel with the pedal down;
- R the pedal ratio (pedal travel per fork travel) and l the lash, counted at the pedal:

    F = R*c + l        H - h = R*(c + g) + l        b = min(g, (T - l)/R - c)

The fork first takes up the clearance, then carries the bearing over the gap. With n*p the bearing's
movement by the ring, y the fork's by the rod, d the rise of the pedal's rest and e the fall of its
lower end:

    g' = g - n*p              c' = c + n*p + y + d/R      F' = F + R*(n*p + y) + d
    H' = H + d                T' = T + d + e              h' = h - R*y
    b' = min(g', (T + e - l)/R - (c + n*p + y))

A rigid chain holds pedal and fork together, so a pedal that rests higher draws the fork away by
d/R. The stroke from there to the brake grows by d as the rest does, and the height h where the
brake is touched stays. Where fluid lets the fork rest by itself, c' lacks the d/R, and d is slack
at the pedal: all else is the same. Where a slave that fills by itself keeps the fork on the
bearing, there is no clearance to judge, the rod changes nothing, and the ring does what it does
nowhere else: F' = F + d, h' = h + R*n*p, b' = min(g', (T + e - l)/R). Without a clutch brake
nothing stops the bearing at g', and b' is what the stroke gives.

The pedal has to end past the brake: h' - (H' - T') is left to it there, and a T below H - h cannot
be of a truck whose brake was touched.

A reading is moved by the difference, which forgives a wrong R; where there is none the quantity is
worked out from R alone. Uncertainties to first order (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

from assistant.clutch.conformity import TWO_SIDED, Limits, Measured
from assistant.clutch.ring import MAX_LUGS, PITCH_U_IN
from assistant.clutch.thread import FLATS_PER_TURN, MAX_TURNS
from assistant.quantity import (
    BEARING_TRAVEL,
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    PEDAL_HEIGHT,
    QUANTITIES,
    TOTAL_TRAVEL,
)

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

PEDAL_LEFT = "pedal-left"
"""What is left of the pedal's travel where the brake is touched; nobody reads it."""
_LEFT = Limits(0.0, None, "geometry", 1 / 4)
"""The brake is touched before the pedal ends."""
# In the trade's order: what the ring sets, then stops, then what the rod sets, then what follows.
ORDER = (
    *(GAP, PEDAL_HEIGHT, TOTAL_TRAVEL, CLEARANCE, FREE_TRAVEL),
    *(PEDAL_LEFT, BRAKE_CONTACT, BEARING_TRAVEL),
)

# Lash that nobody measured, counted at the pedal, and its standard uncertainty: from memory.
LASH_IN = 1 / 16
LASH_U_IN = 0.1


def free_travel_in(ratio: float, clearance_in: float, lash_in: float = 0.0) -> float:
    """Free travel ``F = R*c + l`` at the pedal, in inches."""
    return ratio * clearance_in + lash_in


def brake_stroke_in(
    ratio: float, clearance_in: float, gap_in: float, lash_in: float = 0.0
) -> float:
    """Pedal travel ``H - h = R*(c + g) + l`` at which the clutch brake is touched, in inches."""
    return ratio * (clearance_in + gap_in) + lash_in


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of one truck, each with its uncertainty; inches. Lash is counted at the pedal.

    ``untouched``: the pedal was pressed to its end, and the brake not touched.
    """

    gap: Measured
    clearance: Measured
    free_travel: Measured | None = None
    pedal_height: Measured | None = None
    brake_contact: Measured | None = None
    total_travel: Measured | None = None
    lash_in: float = 0.0
    lash_u_in: float = 0.0
    untouched: bool = False

    def by_quantity(self) -> dict[str, Measured]:
        """What was read, by its quantity's name."""
        read = ((q, getattr(self, q.replace("-", "_"), None)) for q in QUANTITIES)
        return {q: value for q, value in read if value is not None}


# --- The pedal ratio R, estimated twice from ordinary readings, and what a quarrel means.

# Clearance this small, or lost in its own uncertainty, cannot carry a ratio: from memory.
MIN_CLEARANCE_IN = 0.005
_MIN_CLEARANCE_U = 2.0
# Implied by the common figures, 1-1/2 in free travel for 1/8 in clearance: common practice,
# no source. Its standard uncertainty is from memory.
DEFAULT_RATIO = 12.0
DEFAULT_RATIO_U = 2.0
# A pedal goes further than the fork that it moves, and no card may say less: readings that imply
# less do not tell the ratio. Common practice, no source.
LEAST_RATIO = 2.0
# Levers measured for the card are good to about this share of the ratio: from memory.
CARD_RATIO_SHARE_U = 0.02

RatioSource = Literal[
    "card", "linkage geometry", "free travel", "brake contact", "both", "common practice"
]


class Ratio(NamedTuple):
    """A pedal ratio (pedal inches per fork inch), its standard uncertainty, where it came from."""

    value: float
    u: float
    source: RatioSource

    @property
    def known(self) -> bool:
        """Whether it belongs to this truck, not to common practice."""
        return self.source != "common practice"


class Suspect(NamedTuple):
    """A quantity, what it would have to read for the ratios to agree, and that change; inches."""

    quantity: str
    value_in: float
    change_in: float


class RatioFinding(NamedTuple):
    """Whether the two ratios agree.

    ``first`` is from free travel, ``second`` from brake contact; ``z`` their difference over
    its standard uncertainty. ``best`` is the inverse-variance mean when they agree, else None.
    ``suspects`` come easiest to believe first: the smallest change over uncertainty.
    """

    agree: bool
    first: Ratio
    second: Ratio
    z: float
    best: Ratio | None
    suspects: tuple[Suspect, ...]


def ratio_from_free_travel(readings: Readings) -> Ratio | None:
    """``R = (F - l) / c``; None without free travel, or when the clearance is about zero."""
    free, clearance = readings.free_travel, readings.clearance
    if free is None or _too_small(clearance):
        return None
    c = clearance.value_in
    value = (free.value_in - readings.lash_in) / c
    u = math.hypot(free.u_in, value * clearance.u_in, readings.lash_u_in) / c
    return Ratio(value, u, "free travel")


def ratio_from_brake(readings: Readings) -> Ratio | None:
    """``R = (H - h - l) / (c + g)``; None without both heights, or when c + g is about zero."""
    height, brake = readings.pedal_height, readings.brake_contact
    if height is None or brake is None:
        return None
    clearance, gap = readings.clearance, readings.gap
    reach = Measured(clearance.value_in + gap.value_in, math.hypot(clearance.u_in, gap.u_in))
    if _too_small(reach):
        return None
    value = (height.value_in - brake.value_in - readings.lash_in) / reach.value_in
    stroke_u = math.hypot(height.u_in, brake.u_in, readings.lash_u_in)
    u = math.hypot(stroke_u / reach.value_in, value * reach.u_in / reach.value_in)
    return Ratio(value, u, "brake contact")


def ratio_without_lash(readings: Readings) -> Ratio | None:
    """``R = (H - h - F) / g``, whatever the lash, where it is not known; None where it is, or
    where one of the four readings lacks, or they imply less than any pedal has."""
    height, brake, free = readings.pedal_height, readings.brake_contact, readings.free_travel
    gap = readings.gap
    if readings.lash_u_in == 0.0 or height is None or brake is None or free is None:
        return None
    if _too_small(gap):
        return None
    value = (height.value_in - brake.value_in - free.value_in) / gap.value_in
    u = math.hypot(height.u_in, brake.u_in, free.u_in, value * gap.u_in) / gap.value_in
    return Ratio(value, u, "both") if value >= LEAST_RATIO else None


def _too_small(space: Measured) -> bool:
    return space.value_in <= max(MIN_CLEARANCE_IN, _MIN_CLEARANCE_U * space.u_in)


@lru_cache(maxsize=64)  # a job asks again and again for that of its as-found readings
def finding_of(readings: Readings) -> RatioFinding | None:
    """The two ratios compared; None when either cannot be had.

    They agree when their difference is within ``CONFIDENCE`` (two-sided) of zero. The clearance
    is in both, so its part of the difference is taken once, with both sensitivities; likewise a
    lash that is not known.
    """
    first, second = ratio_from_free_travel(readings), ratio_from_brake(readings)
    if first is None or second is None:
        return None
    read = readings.by_quantity()
    clearance = read[CLEARANCE]
    c, reach = clearance.value_in, clearance.value_in + read[GAP].value_in
    difference = first.value - second.value
    u = math.hypot(
        read[FREE_TRAVEL].u_in / c,
        read[PEDAL_HEIGHT].u_in / reach,
        read[BRAKE_CONTACT].u_in / reach,
        (second.value / reach - first.value / c) * clearance.u_in,
        second.value / reach * read[GAP].u_in,
        (1.0 / c - 1.0 / reach) * readings.lash_u_in,
    )
    if u > 0.0:
        z = difference / u
    else:
        z = 0.0 if abs(difference) < 1e-9 else math.copysign(math.inf, difference)
    agree = abs(z) <= TWO_SIDED
    suspects = sorted(
        _suspects(read, first.value, second.value, readings.lash_in),
        key=lambda s: abs(s.change_in) / (read[s.quantity].u_in or 1e-9),
    )
    shared = first.value / c * second.value / reach * clearance.u_in**2
    lash = readings.lash_u_in**2 / (c * reach)
    best = _mean(first, second, shared, lash) if agree else None
    return RatioFinding(agree, first, second, z, best, tuple(suspects))


def _mean(first: Ratio, second: Ratio, shared: float, lash: float) -> Ratio:
    """Inverse-variance mean; ``shared`` is the covariance through the common clearance, ``lash``
    through a lash that is not known: with weights that take it out, as ``(H - h - F) / g`` does."""
    total = first.u**2 + second.u**2 - 2.0 * lash
    w = 0.5 if total <= 0.0 else (second.u**2 - lash) / total
    shared += lash
    variance = (w * first.u) ** 2 + ((1 - w) * second.u) ** 2 + 2 * w * (1 - w) * shared
    return Ratio(w * first.value + (1 - w) * second.value, math.sqrt(max(0.0, variance)), "both")


def _suspects(
    read: dict[str, Measured], first: float, second: float, lash_in: float
) -> Iterator[Suspect]:
    """Each reading alone made to fit: both equations with the same R, solved for it."""
    f, c, g = read[FREE_TRAVEL].value_in, read[CLEARANCE].value_in, read[GAP].value_in
    h, contact = read[PEDAL_HEIGHT].value_in, read[BRAKE_CONTACT].value_in
    stroke, fitting = h - contact, brake_stroke_in(first, c, g, lash_in)
    values = {
        FREE_TRAVEL: free_travel_in(second, c, lash_in),
        CLEARANCE: (f - lash_in) * g / (stroke - f) if stroke > f else math.nan,
        PEDAL_HEIGHT: contact + fitting,
        BRAKE_CONTACT: h - fitting,
        GAP: (stroke - lash_in) / first - c if first > 0.0 else math.nan,
    }
    for quantity, value in values.items():
        # A length below zero (or none, nan) is no reading: that one alone cannot be to blame.
        if value >= 0.0:
            yield Suspect(quantity, value, value - read[quantity].value_in)


def used_ratio(readings: Readings, card: float | None = None) -> Ratio:
    """The card's ratio; else the readings', their mean when they agree; else common practice."""
    if card is not None:
        return Ratio(card, CARD_RATIO_SHARE_U * card, "card")
    finding = finding_of(readings)
    if finding is not None and finding.best is not None and finding.best.value >= LEAST_RATIO:
        return finding.best
    estimates = (ratio_from_free_travel(readings), ratio_from_brake(readings))
    known = [ratio for ratio in estimates if ratio is not None and ratio.value >= LEAST_RATIO]
    # When the two quarrel, the surer one is worked with and a note says they quarrel.
    guess = Ratio(DEFAULT_RATIO, DEFAULT_RATIO_U, "common practice")
    best = min(known, key=lambda estimate: estimate.u, default=guess)
    return best if readings.lash_u_in == 0.0 else _with_common_practice(best)


def _with_common_practice(ratio: Ratio) -> Ratio:
    """An estimate that a lash not known leaves rough, weighed with what most trucks have."""
    if not ratio.known:
        return ratio
    own, common = 1.0 / ratio.u**2, 1.0 / DEFAULT_RATIO_U**2
    value = (own * ratio.value + common * DEFAULT_RATIO) / (own + common)
    return Ratio(value, (own + common) ** -0.5, ratio.source)


def lash_by(readings: Readings, ratio: Ratio) -> Measured:
    """The lash that the readings tell with a ratio, ``F - R*c``, weighed with what was known."""
    free, c, prior = readings.free_travel, readings.clearance, readings.lash_u_in
    if prior == 0.0 or free is None or not ratio.known or c.value_in <= 0.0:
        return Measured(readings.lash_in, prior)
    told = free.value_in - ratio.value * c.value_in
    u = math.hypot(free.u_in, ratio.value * c.u_in, c.value_in * ratio.u)
    own, known = 1.0 / max(u, 1e-6) ** 2, 1.0 / prior**2
    value = (own * told + known * readings.lash_in) / (own + known)
    return Measured(max(0.0, value), (own + known) ** -0.5)


# --- What can be turned on a truck, by how much a step moves it, and how long a turn of it takes.
#
# Four adjusters: the ring (whole lugs), the rod (flats of its hex), the pedal's upper stop, which
# sets where it rests, and its lower stop, which sets where it ends.


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
        return sum(1 for steps in self if steps)

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
    a taut cable); with fluid between them it does not. ``height_turns`` and ``total_turns`` tell
    that a step is half a turn of a bolt known from the card.
    """

    lug_in: float
    flat_in: float
    height_step_in: float = STOP_STEP_IN
    total_step_in: float = STOP_STEP_IN
    height_turns: bool = False
    total_turns: bool = False
    rigid: bool = True
    max_lugs: int = MAX_LUGS
    max_flats: int = MAX_TURNS * FLATS_PER_TURN

    @property
    def most(self) -> Setting:
        """The most steps of each adjuster, either way."""
        return Setting(
            self.max_lugs,
            self.max_flats,
            int(MAX_STOP_IN / self.height_step_in),
            int(MAX_STOP_IN / self.total_step_in),
        )


# --- Where every quantity will be after a setting of all four adjusters.

End = tuple[float, float]
"""Where a quantity will be, and its standard uncertainty; inches."""


@dataclass(frozen=True, slots=True)
class Truck:
    """A truck as read, and what its adjusters do to it. Lengths in inches.

    ``stroke_ratio`` is the ratio at the brake where geometry gives another there than at the
    start of the stroke; else it is ``ratio``. ``follows``: the fork stays on the bearing by itself.
    ``clutch_brake``: there is one, which stops the bearing at the gap. ``lash``: as the readings
    tell it, where it was not known.
    """

    readings: Readings
    figures: Mapping[str, Limits | None]
    adjusters: Adjusters
    ratio: Ratio
    stroke_ratio: Ratio
    follows: bool = False
    clutch_brake: bool = True
    lash: Measured | None = None

    @property
    def slack(self) -> Measured:
        """Lash at the pedal."""
        return self.lash or Measured(self.readings.lash_in, self.readings.lash_u_in)

    def judged(self) -> dict[str, Limits]:
        """Quantities with both limits and a value that can be foretold, in the trade's order.

        Free travel that was not read, and the brake's contact, need a ratio of this truck's own.
        """
        there, own = set(self.readings.by_quantity()), self.ratio.known
        if own and not self.follows:
            there.add(FREE_TRAVEL)
        if own and TOTAL_TRAVEL in there:
            there.add(BEARING_TRAVEL)
        there -= {CLEARANCE} if self.follows else set()
        there -= set() if own else {BRAKE_CONTACT}
        if own and self.readings.untouched and self._contact(Setting()) is not None:
            there.add(BRAKE_CONTACT)
        brake = BRAKE_CONTACT in there and self.figures.get(BRAKE_CONTACT) is not None
        if brake and self._left(Setting()) is not None:
            there.add(PEDAL_LEFT)
        figures = {q: self._figure(q) for q in ORDER if q in there}
        return {q: figure for q, figure in figures.items() if figure is not None}

    def _figure(self, quantity: str) -> Limits | None:
        return _LEFT if quantity == PEDAL_LEFT else self.figures.get(quantity)

    def limits(self, quantity: str) -> Limits:
        figure = self._figure(quantity)
        assert figure is not None
        return figure

    def now(self) -> dict[str, Measured]:
        """Every quantity as it is: as read, or worked out where it can be."""
        return self.after(Setting())

    def found(self) -> dict[str, Measured]:
        """What was read, and the bearing's travel, which nobody can read, worked out."""
        now = self.now()
        bearing = {BEARING_TRAVEL: now[BEARING_TRAVEL]} if BEARING_TRAVEL in now else {}
        return self.readings.by_quantity() | bearing

    def after(self, setting: Setting) -> dict[str, Measured]:
        """Every quantity that can be foretold, after the setting."""
        ends = {quantity: end(self, setting) for quantity, end in _ENDS.items()}
        return {quantity: Measured(*end) for quantity, end in ends.items() if end is not None}

    def end(self, quantity: str, setting: Setting) -> End:
        """Where one quantity ends that can be foretold."""
        end = _ENDS[quantity](self, setting)
        assert end is not None
        return end

    def total_steps_for(self, bearing_in: float, by: Setting) -> float:
        """Steps of the lower stop with which the fork goes that far beyond the bearing's place."""
        total = self.readings.total_travel
        assert total is not None
        pedal = (bearing_in + self._reach(by)[0]) * self.stroke_ratio.value + self.slack.value_in
        return (pedal - total.value_in) / self.adjusters.total_step_in

    def _reach(self, by: Setting) -> End:
        """How far the fork goes to the bearing, from the pedal's old rest."""
        if self.follows:
            return 0.0, 0.0
        read, move = self.readings.clearance, self.adjusters
        carried = by.lugs * move.lug_in + by.flats * move.flat_in
        return read.value_in + carried, math.hypot(read.u_in, by.lugs * PITCH_U_IN)

    def _gap(self, by: Setting) -> End:
        read, ring = self.readings.gap, by.lugs * self.adjusters.lug_in
        return read.value_in - ring, math.hypot(read.u_in, by.lugs * PITCH_U_IN)

    def _clearance(self, by: Setting) -> End:
        if self.follows:
            return self.readings.clearance.value_in, self.readings.clearance.u_in
        (reach, u), move = self._reach(by), self.adjusters
        rise = by.height_steps * move.height_step_in
        return reach + (rise / self.ratio.value if move.rigid else 0.0), u

    def _free(self, by: Setting) -> End:
        read, r, move = self.readings.free_travel, self.ratio, self.adjusters
        rise = by.height_steps * move.height_step_in
        if read is None:
            reach, reach_u = self._reach(by)
            free = free_travel_in(r.value, reach, self.slack.value_in) + rise
            return free, math.hypot(r.value * reach_u, r.u * reach, self.slack.u_in)
        carried = carried_u = 0.0
        if not self.follows:
            carried = by.lugs * move.lug_in + by.flats * move.flat_in
            carried_u = by.lugs * PITCH_U_IN
        u = math.hypot(read.u_in, r.value * carried_u, r.u * carried)
        return read.value_in + (r.value * carried + rise), u

    def _contact(self, by: Setting) -> End | None:
        """Pedal height at brake contact."""
        read, stroke, r = self.readings, self.stroke_ratio, self.ratio
        rod = by.flats * self.adjusters.flat_in
        if (contact := read.brake_contact) is not None:
            moved, moved_u = -rod, 0.0
            if self.follows:
                moved, moved_u = by.lugs * self.adjusters.lug_in, by.lugs * PITCH_U_IN
            u = math.hypot(contact.u_in, stroke.u * moved, stroke.value * moved_u)
            return contact.value_in + stroke.value * moved, u
        if read.pedal_height is None or not r.known or not self.clutch_brake:
            return None
        c, g, slack = read.clearance, read.gap, self.slack
        if self.follows:
            (way, way_u), rod = self._gap(by), 0.0
        else:
            way, way_u = c.value_in + g.value_in, math.hypot(c.u_in, g.u_in)
        height = read.pedal_height.value_in - free_travel_in(r.value, way, slack.value_in)
        if read.untouched and read.total_travel is not None:
            height = min(height, read.pedal_height.value_in - read.total_travel.value_in)
        u = math.hypot(read.pedal_height.u_in, r.value * way_u, r.u * (way + rod), slack.u_in)
        return height - r.value * rod, u

    def _height(self, by: Setting) -> End | None:
        read, step = self.readings.pedal_height, self.adjusters.height_step_in
        return None if read is None else (read.value_in + by.height_steps * step, read.u_in)

    def _total(self, by: Setting) -> End | None:
        read, move = self.readings.total_travel, self.adjusters
        down = by.height_steps * move.height_step_in + by.total_steps * move.total_step_in
        return None if read is None else (read.value_in + down, read.u_in)

    def _left(self, by: Setting) -> End | None:
        """What is left of the pedal's travel at the brake."""
        contact, height, total = self._contact(by), self._height(by), self._total(by)
        if contact is None or height is None or total is None or not self.clutch_brake:
            return None
        return contact[0] - (height[0] - total[0]), math.hypot(contact[1], height[1], total[1])

    def _bearing(self, by: Setting) -> End | None:
        total, r = self.readings.total_travel, self.stroke_ratio
        if total is None:
            return None
        (reach, reach_u), gap = self._reach(by), self._gap(by)
        drop = by.total_steps * self.adjusters.total_step_in
        slack = self.slack
        fork = (total.value_in + drop - slack.value_in) / r.value
        if self.clutch_brake and gap[0] <= fork - reach:
            return gap
        pedal_u = math.hypot(total.u_in, slack.u_in)
        return fork - reach, math.hypot(pedal_u / r.value, fork * r.u / r.value, reach_u)


_ENDS: dict[str, Callable[[Truck, Setting], End | None]] = {
    GAP: Truck._gap,
    CLEARANCE: Truck._clearance,
    FREE_TRAVEL: Truck._free,
    BRAKE_CONTACT: Truck._contact,
    PEDAL_HEIGHT: Truck._height,
    TOTAL_TRAVEL: Truck._total,
    PEDAL_LEFT: Truck._left,
    BEARING_TRAVEL: Truck._bearing,
}
