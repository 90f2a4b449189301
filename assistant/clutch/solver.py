"""One solver: lugs, flats and stop steps that put everything in, or what cannot be put in.

Ring, rod and both stops are each free, or locked at a count of steps. Settings are ranked in this
order:

1. the grade: how sure the worst placed quantity is to be in, in tenths of what counts as "in"
   (JCGM 106:2012, 8.3: a guard of z standard uncertainties); beyond "in" no grade is gained;
2. the fewest adjusters touched;
3. of those the fewest stops: ring and rod are what is meant to be adjusted;
4. the largest margin, in standard uncertainties, up to ``ENOUGH``;
5. how near all quantities sit to their targets, added up;
6. the fewest steps.

The ring comes first: where a whole lug puts the gap in, the gap is never given up for what the
linkage could not do. Where no setting puts every quantity in, the fewest quantities are given up,
those that come last in the trade's order before the others.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal, NamedTuple

from assistant.clutch.conformity import Figure, Limits, conformance_probability, judge
from assistant.clutch.equations import ORDER, Setting, Truck, free_travel_in
from assistant.clutch.uncertainty import Measured, normal_quantile
from assistant.quantity import (
    BEARING_TRAVEL,
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    PEDAL_HEIGHT,
    TOTAL_TRAVEL,
)

# More standard uncertainties inside than this buy nothing: then targets count. From memory.
ENOUGH = 3.0
GRADES = 10
# A reading without uncertainty still gets this much (inches), so that depth over it is a number.
LEAST_U_IN = 1e-6
# Room for the last digits of floats: a value on its limit is inside.
SLACK = 1e-9
# Room for the rounding of ranks, so that nothing equal is left out.
_ROOM = 2e-6
# So many grades that every larger margin is a better one.
_FINE = 1_000_000
_STEP_SLACK = 1e-7


class Locked(NamedTuple):
    """The steps that an adjuster must have, or None where it is free."""

    lugs: int | None = None
    flats: int | None = None
    height_steps: int | None = None
    total_steps: int | None = None


FREE = Locked()


def sureness(value_in: float, u_in: float, limits: Limits) -> float:
    """Depth inside the limits in standard uncertainties; below zero outside."""
    low, high = limits.ends_in
    return min(value_in - low, high - value_in) / max(u_in, LEAST_U_IN)


def placing(value_in: float, figure: Figure) -> float:
    """How well a value (inches) sits in its band: 1 on target, 0 on a limit, below 0 outside.

    A target inside the limits is the top; without one the middle is. With one limit only, the
    target, or half as much again as the limit, is where it becomes 1.
    """
    low, high, target = figure.limits.low_in, figure.limits.high_in, figure.target_in
    if low is not None and high is not None:
        top = target if target is not None and low < target < high else (low + high) / 2.0
        if low == high:
            return 1.0 if value_in == low else -abs(value_in - low)
        return (
            (value_in - low) / (top - low) if value_in <= top else (high - value_in) / (high - top)
        )
    limit = low if low is not None else high
    assert limit is not None  # Limits always hold one of the two.
    depth = value_in - limit if low is not None else limit - value_in
    aim = abs(target - limit) if target is not None else 0.0
    return min(1.0, depth / (aim or abs(limit) / 2.0 or 1.0))


class Rank(NamedTuple):
    """How good a setting is; larger is better. Moves, stops and steps are counted below zero."""

    grade: int
    moves: int
    stops: int
    margin: float
    placing: float
    steps: int


class Found(NamedTuple):
    """A setting and its rank."""

    setting: Setting
    rank: Rank


def grade_of(worst: float, guard: float, grades: int = GRADES) -> int:
    """Tenths of what counts as "in" (or other shares); both in standard uncertainties."""
    return int(grades * min(1.0, worst / guard) + SLACK)


# --- What a search may choose from: each adjuster's useful steps, and the flats that suit all.
#
# Everything is linear in the steps, so a limit on clearance, free travel or brake contact is an
# interval of rod travel, and only the flats inside all of them are worth a look.


class Row(NamedTuple):
    """Some steps of one adjuster, the inches they move, and how its own quantity then sits."""

    steps: int
    by: float
    sure: float
    place: float


class Need(NamedTuple):
    """A quantity that is wanted inside: where it starts, how surely, and its limits; inches."""

    value: float
    u: float
    low: float
    high: float
    figure: Figure

    def sure(self, at: float, u: float) -> float:
        """Depth inside the limits once it is at ``at``, in standard uncertainties."""
        return min(at - self.low, self.high - at) / max(u, LEAST_U_IN)

    def takes(self, by_in: float) -> bool:
        """Whether it is inside its limits once moved by so much."""
        return self.low - SLACK <= self.value + by_in <= self.high + SLACK


class Rows:
    """What one search may choose from, for the wanted quantities."""

    def __init__(self, truck: Truck, wanted: frozenset[str], locked: Locked) -> None:
        self.truck, self.wanted, self.locked = truck, wanted, locked
        self.move, self.most = truck.adjusters, truck.adjusters.most
        read = truck.readings
        free = read.free_travel
        if free is None:  # worked out, and so known only as well as clearance and ratio
            clearance = read.clearance.value_in
            free = Measured(free_travel_in(truck.ratio.value, clearance, read.lash_in))
        self.clearance = self._need(CLEARANCE, read.clearance)
        self.free = self._need(FREE_TRAVEL, free)
        self.brake = self._need(BRAKE_CONTACT, read.brake_contact)
        self.bearing = self._need(BEARING_TRAVEL, read.total_travel)

    def _need(self, quantity: str, at: Measured | None) -> Need | None:
        figure = self.truck.figures.get(quantity)
        if quantity not in self.wanted or figure is None or at is None:
            return None
        return Need(at.value_in, at.u_in, *figure.limits.ends_in, figure)

    def ring(self) -> list[Row]:
        """Counts of lugs that leave the gap inside where wanted."""
        gap, move = self.truck.readings.gap, self.move
        rows = []
        for n in _steps(self.locked.lugs, self.most.lugs):
            u = math.hypot(gap.u_in, abs(n) * move.lug_u_in)
            rows += self._row(GAP, n, n * move.lug_in, gap.value_in - n * move.lug_in, u)
        return rows

    def height(self) -> list[Row]:
        """Steps of the upper stop; a pedal whose height cannot be judged is left alone."""
        at, step = self.truck.readings.pedal_height, self.move.height_step_in
        if at is None or PEDAL_HEIGHT not in self.wanted:
            a = self.locked.height_steps or 0
            return [Row(a, a * step, math.inf, 0.0)]
        rows = []
        for a in _steps(self.locked.height_steps, self.most.height_steps):
            rows += self._row(PEDAL_HEIGHT, a, a * step, at.value_in + a * step, at.u_in)
        return rows

    def _total_steps(self) -> Sequence[int]:
        """Steps of the lower stop that may be tried.

        A total travel that cannot be judged in is left alone; without any figure it may follow
        what bearing travel needs: downward for more, and upward only where it may be too much.
        """
        lock, most = self.locked.total_steps, self.most.total_steps
        if lock is not None:
            return (lock,)
        if self.truck.readings.total_travel is None:
            return range(1)
        if TOTAL_TRAVEL in self.wanted:
            return range(-most, most + 1)
        if self.truck.figures.get(TOTAL_TRAVEL) is None and self.bearing is not None:
            return range(-most if self.bearing.high < math.inf else 0, most + 1)
        return range(1)

    def total(self, rise_in: float, moved: bool) -> list[Row]:
        """Steps of the lower stop once the pedal's rest has risen by ``rise_in``, best first.

        Either only the step that leaves it, or all the others.
        """
        step, at = self.move.total_step_in, self.truck.readings.total_travel
        rows = []
        for b in self._total_steps():
            if (b != 0) != moved:
                continue
            value, u = (at.value_in + rise_in + b * step, at.u_in) if at else (0.0, 0.0)
            rows += self._row(TOTAL_TRAVEL, b, b * step, value, u)
        return sorted(rows, key=lambda row: (-row.place, abs(row.steps)))

    def lowest(self, rise_in: float) -> float | None:
        """The furthest down that the lower stop may go, in inches; None when nowhere is inside."""
        step, at = self.move.total_step_in, self.truck.readings.total_travel
        steps = self._total_steps()
        if at is None or TOTAL_TRAVEL not in self.wanted:
            return steps[-1] * step
        low, high = self.truck.limits(TOTAL_TRAVEL).ends_in
        start = at.value_in + rise_in
        last = math.floor(min(steps[-1], (high - start) / step + _STEP_SLACK))
        first = math.ceil(max(steps[0], (low - start) / step - _STEP_SLACK))
        return last * step if first <= last else None

    def _row(self, quantity: str, steps: int, by: float, value: float, u: float) -> list[Row]:
        """The row, or nothing when it would leave its own quantity outside."""
        figure = self.truck.figures.get(quantity)
        if figure is None or quantity not in self.wanted:
            return [Row(steps, by, math.inf, 0.0)]
        sure = sureness(value, u, figure.limits)
        return [Row(steps, by, sure, placing(value, figure))] if sure >= -SLACK else []

    def flats(self, ring_in: float, rise_in: float) -> range:
        """Flats that put clearance, free travel and brake contact inside all their limits."""
        found = self._flats(ring_in, rise_in)
        lock = self.locked.flats
        if lock is None:
            return found
        return (
            range(lock, lock + 1) if found and (lock in found or self.truck.follows) else found[:0]
        )

    def _flats(self, ring_in: float, rise_in: float) -> range:
        move, r = self.move, self.truck.ratio.value
        stroke, most = self.truck.stroke_ratio.value, self.most.flats
        if self.truck.follows:  # the rod changes nothing
            brake = self.brake is None or self.brake.takes(stroke * ring_in)
            return range(int(brake and (self.free is None or self.free.takes(rise_in))))
        fork = ring_in + (rise_in / r if move.rigid else 0.0)
        first, last = float(-most), float(most)
        for need, moved, per_rod in (  # what ring and rest do to it, and an inch at the rod
            (self.clearance, fork, 1.0),
            (self.free, r * ring_in + rise_in, r),
            (self.brake, 0.0, -stroke),
        ):
            if need is not None:
                at = need.value + moved
                low, high = sorted(((need.low - at) / per_rod, (need.high - at) / per_rod))
                first = max(first, low / move.flat_in - _STEP_SLACK)
                last = min(last, high / move.flat_in + _STEP_SLACK)
        return range(math.ceil(first), math.floor(last) + 1)

    def possible(self) -> bool:
        """Whether any setting puts every wanted quantity inside.

        A bearing travel limited from below asks for the fewest flats and the lowest stop.
        """
        ring, height, need = self.ring(), self.height(), self.bearing
        lowest = {a.steps: self.lowest(a.by) for a in height}
        for n in ring:
            for a in height:
                drop, flats = lowest[a.steps], self.flats(n.by, a.by)
                if drop is None or not flats:
                    continue
                if need is None or need.high < math.inf:
                    return True  # with an upper limit the walk itself must tell
                reach, _ = self.reach(n, flats[0])
                if self.bearing_at(need, n, reach, drop)[0] >= need.low - SLACK:
                    return True
        return False

    def reach(self, n: Row, m: int) -> tuple[float, float]:
        """How far the fork goes to the bearing, the pedal's old rest, and its uncertainty."""
        if self.truck.follows:
            return 0.0, 0.0
        at, move = self.truck.readings.clearance, self.move
        ring_u = abs(n.steps) * move.lug_u_in
        return at.value_in + n.by + m * move.flat_in, math.hypot(at.u_in, ring_u)

    def bearing_at(self, need: Need, n: Row, reach: float, drop: float) -> tuple[float, float]:
        """Bearing travel, and that of the fork alone from the pedal's rest."""
        truck = self.truck
        fork = (need.value + drop - truck.readings.lash_in) / truck.stroke_ratio.value
        stop = truck.readings.gap.value_in - n.by if truck.clutch_brake else math.inf
        return min(stop, fork - reach), fork


def _steps(locked: int | None, most: int) -> Sequence[int]:
    return range(-most, most + 1) if locked is None else (locked,)


# --- The best setting of all, without trying them all.
#
# The walk goes by the number of adjusters touched, so that fewer are met before more, and leaves
# out whatever the ring and the stops alone already place below the best so far.


def search(
    truck: Truck, wanted: Collection[str], locked: Locked = FREE, confidence: float = 0.95
) -> Found | None:
    """The best setting that puts every wanted quantity inside; None when there is none."""
    rows = Rows(truck, frozenset(wanted), locked)
    return _Walk(rows, normal_quantile(confidence), GRADES).run() if rows.possible() else None


def widest(truck: Truck, wanted: Collection[str], locked: Locked = FREE) -> Found | None:
    """The setting with the largest margin (up to ``ENOUGH``) however many moves it takes."""
    rows = Rows(truck, frozenset(wanted), locked)
    return _Walk(rows, ENOUGH, _FINE).run() if rows.possible() else None


def possible(truck: Truck, wanted: Collection[str], locked: Locked = FREE) -> bool:
    """Whether any setting puts every wanted quantity inside."""
    return Rows(truck, frozenset(wanted), locked).possible()


class _Walk:
    """One search: what to choose from, and the best so far."""

    def __init__(self, rows: Rows, guard: float, grades: int) -> None:
        self.rows, self.truck = rows, rows.truck
        self.guard, self.grades = guard, grades
        self.best: Found | None = None
        self.made: dict[tuple[int, bool], list[Row]] = {}

    def run(self) -> Found | None:
        """Every setting that can matter, fewest adjusters first, surest rows first."""
        ring = sorted(self.rows.ring(), key=lambda row: -min(row.sure, ENOUGH))
        height = sorted(self.rows.height(), key=lambda row: (-min(row.sure, ENOUGH), -row.place))
        for moves in range(5):
            if self.best is not None and self.best.rank.grade == self.grades:
                break
            for n in ring:
                for a in height:
                    left = moves - (n.steps != 0) - (a.steps != 0)
                    touched = moves, int(a.steps != 0)
                    if 0 <= left <= 2 and min(n.sure, a.sure) >= self._bar(touched):
                        self._rods(touched, left, n, a)
        return self.best

    def _rods(self, touched: tuple[int, int], left: int, n: Row, a: Row) -> None:
        """Rod and lower stop, with so many adjusters left to touch, for one ring and rest."""
        flats = self.rows.flats(n.by, a.by)
        lower = touched[0], touched[1] + 1
        if left == 0 and 0 in flats:
            self._judge(touched, n, a, 0, self._totals(a, False))
        if left == 1 and 0 in flats:
            self._judge(lower, n, a, 0, self._totals(a, True))
        if left:
            middle = (flats.start + flats.stop - 1) / 2
            for m in sorted(flats, key=lambda m: abs(m - middle)):
                if m and left == 2:
                    self._judge(lower, n, a, m, self._totals(a, True))
                elif m:
                    self._judge(touched, n, a, m, self._totals(a, False))

    def _totals(self, height: Row, moved: bool) -> list[Row]:
        """The lower stop's rows, moved or left, for one place of the upper one."""
        key = height.steps, moved
        if key not in self.made:
            self.made[key] = self.rows.total(height.by, moved)
        return self.made[key]

    def _bar(self, touched: tuple[int, int]) -> float:
        """The sureness below which a setting that touches so many cannot beat the best."""
        if self.best is None:
            return -SLACK
        rank = self.best.rank
        before = -rank.moves, -rank.stops
        if before < touched:
            return (rank.grade + 1) / self.grades * self.guard - _ROOM
        if before > touched:
            return rank.grade / self.grades * self.guard - _ROOM
        return rank.margin - _ROOM

    def _beaten(self, touched: tuple[int, int], sure: float, most_placing: float) -> bool:
        """Whether a setting at most this sure and this well placed cannot beat the best."""
        if self.best is None:
            return sure < -SLACK
        if sure < self._bar(touched):
            return True
        rank = self.best.rank
        if (-rank.moves, -rank.stops) != touched:
            return False
        if grade_of(sure, self.guard, self.grades) > rank.grade:
            return False
        return round(min(sure, ENOUGH), 6) <= rank.margin and most_placing < rank.placing - _ROOM

    def _judge(self, touched: tuple[int, int], n: Row, a: Row, m: int, totals: list[Row]) -> None:
        """One ring, rest and rod: judge what they decide, then go through the lower stop."""
        rows = self.rows
        if not totals:
            return
        reach, reach_u = rows.reach(n, m)
        sure, place = self._fork(n, a, m, reach, reach_u)
        most = totals[0].place + (rows.bearing is not None)
        if self._beaten(touched, sure, place + most + (rows.free is not None)):
            return
        if rows.free is not None:
            at, u = self._free(rows.free, n, a, m, reach, reach_u)
            sure = min(sure, rows.free.sure(at, u))
            place += placing(at, rows.free.figure)
        least = -math.inf  # how far down the lower stop must go for the bearing's sake
        if (need := rows.bearing) is not None:
            way = (need.low + reach) * self.truck.stroke_ratio.value
            least = way + self.truck.readings.lash_in - need.value - _ROOM
        for total in totals:  # best placed first, so that the rest can be left out together
            if total.by < least:
                continue
            if self._beaten(touched, sure, place + total.place + (need is not None)):
                return
            whole, all_placed = min(sure, total.sure), place + total.place
            if need is not None:
                at, u = self._bearing(need, n, reach, reach_u, total.by)
                whole = min(whole, need.sure(at, u))
                all_placed += placing(at, need.figure)
            if whole >= -SLACK:
                setting = Setting(n.steps, m, a.steps, total.steps)
                self._take(setting, touched, whole, all_placed)

    def _fork(self, n: Row, a: Row, m: int, reach: float, reach_u: float) -> tuple[float, float]:
        """Worst sureness and added placing of gap, height, clearance and brake contact."""
        rows, truck, move = self.rows, self.truck, self.truck.adjusters
        sure, place = min(n.sure, a.sure), n.place + a.place
        if (need := rows.clearance) is not None:
            at = reach + (a.by / truck.ratio.value if move.rigid else 0.0)
            sure = min(sure, need.sure(at, reach_u))
            place += placing(at, need.figure)
        if (need := rows.brake) is not None:
            stroke = truck.stroke_ratio
            by, by_u = -m * move.flat_in, 0.0
            if truck.follows:
                by, by_u = n.by, stroke.value * abs(n.steps) * move.lug_u_in
            at = need.value + stroke.value * by
            sure = min(sure, need.sure(at, math.hypot(need.u, stroke.u * by, by_u)))
            place += placing(at, need.figure)
        return sure, place

    def _free(
        self, need: Need, n: Row, a: Row, m: int, reach: float, reach_u: float
    ) -> tuple[float, float]:
        """Free travel and its uncertainty."""
        truck, r = self.truck, self.truck.ratio
        if truck.follows:
            return need.value + a.by, need.u
        moved = n.by + m * truck.adjusters.flat_in
        at = need.value + r.value * moved + a.by
        if truck.readings.free_travel is None:
            return at, math.hypot(r.value * reach_u, r.u * reach)
        ring_u = abs(n.steps) * truck.adjusters.lug_u_in
        return at, math.hypot(need.u, r.value * ring_u, r.u * moved)

    def _bearing(
        self, need: Need, n: Row, reach: float, reach_u: float, drop: float
    ) -> tuple[float, float]:
        """Bearing travel and its uncertainty."""
        at, fork = self.rows.bearing_at(need, n, reach, drop)
        stroke, move = self.truck.stroke_ratio, self.truck.adjusters
        if at < fork - reach:
            gap_u = self.truck.readings.gap.u_in
            return at, math.hypot(gap_u, abs(n.steps) * move.lug_u_in)
        return at, math.hypot(need.u / stroke.value, fork * stroke.u / stroke.value, reach_u)

    def _take(
        self, setting: Setting, touched: tuple[int, int], worst: float, placed: float
    ) -> None:
        """Keep the setting if it is the best so far."""
        rank = Rank(
            grade_of(worst, self.guard, self.grades),
            -touched[0],
            -touched[1],
            round(min(worst, ENOUGH), 6),
            round(placed, 6),
            -sum(map(abs, setting)),
        )
        if self.best is None or rank > self.best.rank:
            self.best = Found(setting, rank)


# --- The answer: the best setting, what it costs, and what no setting can put in.

Kind = Literal["chosen", "as it is", "a lug looser", "a lug tighter", "widest margin"]


class Out(NamedTuple):
    """A quantity that no setting puts in with the rest, and by how much it then misses (inches).

    Below zero it is under its low limit. ``between_lugs``: one lug is too coarse for the gap.
    """

    quantity: str
    miss_in: float
    between_lugs: bool = False

    @property
    def side(self) -> str:
        """The side on which it stays."""
        return "low" if self.miss_in < 0.0 else "high"


@dataclass(frozen=True, slots=True)
class RankedSetting:
    """One setting and what it costs.

    ``tightest`` is the quantity that sits worst, ``margin_u`` its depth in standard
    uncertainties and ``probability_in`` that of being in. ``out`` names what would be outside.
    """

    kind: Kind
    setting: Setting
    after: dict[str, Measured]
    tightest: str
    margin_u: float
    probability_in: float
    out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Settings:
    """The solver's answer. ``given_up`` is empty when everything can be in.

    ``may_be`` names the quantities any one of which, given up alone, lets the rest be in.
    """

    judged: tuple[str, ...]
    chosen: RankedSetting
    given_up: tuple[Out, ...]
    may_be: tuple[str, ...]
    candidates: tuple[RankedSetting, ...]
    grade: int

    @property
    def possible(self) -> bool:
        """Whether some setting puts every quantity in."""
        return not self.given_up

    @property
    def sure(self) -> bool:
        """Whether all of them then count as "in", not only as likely."""
        return self.possible and self.grade == GRADES


def solve(
    truck: Truck,
    locked: Locked = FREE,
    *,
    confidence: float = 0.95,
    with_candidates: bool = True,
) -> Settings:
    """The best setting of the adjusters that are free, the others kept where they are locked.

    Raises:
        ValueError: there is no figure for the gap.
    """
    judged = truck.judged()
    if GAP not in judged:
        raise ValueError("There is no figure for the gap: put the maker's on the truck card.")
    wanted, locked, found, may_be = _within_reach(truck, judged, locked, confidence)
    setting = found.setting if found is not None else Setting(*(steps or 0 for steps in locked))
    chosen = candidate(truck, "chosen", setting, judged)
    at_end = abs(setting.lugs) == truck.adjusters.max_lugs
    given_up = tuple(
        Out(q, _miss(limits, chosen.after[q].value_in), q == GAP and not at_end)
        for q, limits in judged.items()
        if q not in wanted
    )
    others = _others(truck, judged, wanted, setting, locked, confidence) if with_candidates else ()
    grade = grade_of(max(0.0, chosen.margin_u), normal_quantile(confidence))
    return Settings(tuple(judged), chosen, given_up, may_be, (chosen, *others), grade)


def _within_reach(
    truck: Truck, judged: Collection[str], locked: Locked, confidence: float
) -> tuple[frozenset[str], Locked, Found | None, tuple[str, ...]]:
    """What can be had together, the locks that go with it, the best of them, and who is odd."""
    everything = frozenset(judged)
    if (found := search(truck, everything, locked, confidence)) is not None:
        return everything, locked, found, ()
    keep, gap_out = everything, not possible(truck, {GAP}, locked)
    if gap_out:
        if locked.lugs is None:
            locked = locked._replace(lugs=nearest_lugs(truck))
        keep -= {GAP}
        if (found := search(truck, keep, locked, confidence)) is not None:
            return keep, locked, found, (GAP,)
    loose = [q for q in reversed(ORDER) if q in keep and q != GAP]
    for size in range(1, len(loose) + 1):
        odd = [
            drop for drop in combinations(loose, size) if possible(truck, keep - set(drop), locked)
        ]
        if odd:
            rest = keep - set(odd[0])
            alone = tuple(drop[0] for drop in odd) if size == 1 and not gap_out else ()
            return rest, locked, search(truck, rest, locked, confidence), alone
    return frozenset(), locked, None, ()


def nearest_lugs(truck: Truck) -> int:
    """The count that brings the gap nearest to its limits; the fewest lugs of equals."""
    move, limits = truck.adjusters, truck.limits(GAP)
    gap = truck.readings.gap.value_in
    counts = sorted(range(-move.max_lugs, move.max_lugs + 1), key=lambda n: (abs(n), -n))
    return min(counts, key=lambda n: round(limits.miss_in(gap - n * move.lug_in), 9))


def candidate(
    truck: Truck, kind: Kind, setting: Setting, judged: Mapping[str, Limits]
) -> RankedSetting:
    """What a setting gives and costs."""
    after = truck.after(setting)
    sure = {q: sureness(after[q].value_in, after[q].u_in, limits) for q, limits in judged.items()}
    tightest = min(sure, key=lambda q: sure[q])
    return RankedSetting(
        kind,
        setting,
        after,
        tightest,
        sure[tightest],
        conformance_probability(after[tightest], judged[tightest]),
        tuple(q for q in judged if sure[q] < -1e-6),
    )


def _miss(limits: Limits, value_in: float) -> float:
    return limits.miss_in(value_in) * (-1.0 if value_in < limits.ends_in[0] else 1.0)


def _others(
    truck: Truck,
    judged: Mapping[str, Limits],
    wanted: frozenset[str],
    setting: Setting,
    locked: Locked,
    confidence: float,
) -> Iterator[RankedSetting]:
    """What else could be done, each only once: nothing, a lug either way, the widest margin."""
    shown = {setting}
    kept = {q: limits for q, limits in judged.items() if q in wanted}
    worst = candidate(truck, "chosen", setting, kept).margin_u if kept else ENOUGH
    tries: list[tuple[Kind, Found | None]] = []
    neighbours: tuple[tuple[Kind, int], ...] = (
        ("a lug looser", setting.lugs - 1),
        ("a lug tighter", setting.lugs + 1),
    )
    for kind, count in neighbours:
        if abs(count) <= truck.adjusters.max_lugs:
            tries.append((kind, search(truck, wanted, locked._replace(lugs=count), confidence)))
    if worst < ENOUGH:  # else nothing is gained by more moves
        tries.append(("widest margin", widest(truck, wanted, locked)))
    if setting != Setting():
        shown.add(Setting())
        yield candidate(truck, "as it is", Setting(), judged)
    for kind, found in tries:
        if found is not None and found.setting not in shown:
            shown.add(found.setting)
            yield candidate(truck, kind, found.setting, judged)


# --- The rod by itself, once ring and stops are set: it is centred, and so has a rule of its own.


def centred_rod(truck: Truck, for_contact: bool = False, confidence: float = 0.95) -> int:
    """The rod's flats that place the worse of fork clearance and free travel as well as can be.

    None while both are in. Brake contact is weighed with them only where it would else be out, and
    only if all three can be in. With `for_contact` the rod is moved only to bring contact in, and
    only its way. Of equal flats the fewest.

    Raises:
        ValueError: a quantity would like more flats than the rod has.
    """
    judged, now = truck.judged(), truck.now()
    one = truck.after(Setting(flats=1))
    figures = {q: figure for q, figure in truck.figures.items() if figure is not None}

    def worst(wanted: Sequence[str], flats: int) -> float:
        ends = {q: now[q].value_in + flats * (one[q].value_in - now[q].value_in) for q in wanted}
        return min(placing(end, figures[q]) for q, end in ends.items())

    def best(wanted: Sequence[str]) -> int:
        if truck.follows or all(
            judge(now[q], judged[q], confidence).decision == "in" for q in wanted
        ):
            return 0
        wishes = [
            round((_ideal_in(figures[q]) - now[q].value_in) / (one[q].value_in - now[q].value_in))
            for q in wanted
        ]
        if max(map(abs, wishes)) > truck.adjusters.max_flats:
            raise ValueError("The rod would need too many turns: check readings and thread.")
        # Each placing rises to its top and falls after it: the best lies between the wishes.
        tries = sorted(range(min(wishes) - 1, max(wishes) + 2), key=lambda n: (abs(n), -n))
        return max(tries, key=lambda n: round(worst(wanted, n), 9))

    sets = [q for q in (CLEARANCE, FREE_TRAVEL) if q in judged]
    flats = 0 if for_contact else best(sets)
    if BRAKE_CONTACT not in judged or not sets:
        return flats
    expected = truck.after(Setting(flats=flats))[BRAKE_CONTACT]
    if for_contact or judge(expected, judged[BRAKE_CONTACT], confidence).decision == "out":
        every = [*sets, BRAKE_CONTACT]
        helped = best(every)
        wish = now[BRAKE_CONTACT].value_in - _ideal_in(figures[BRAKE_CONTACT])
        rightly = not for_contact or helped * wish > 0.0
        if rightly and worst(every, helped) >= 0.0:
            return helped
    return flats


def _ideal_in(figure: Figure) -> float:
    """The value (inches) that sits best in the band of a figure."""
    low, high, target = figure.limits.low_in, figure.limits.high_in, figure.target_in
    if target is not None and figure.limits.miss_in(target) == 0.0:
        return target
    if low is not None and high is not None:
        return (low + high) / 2.0
    return low * 1.5 if low is not None else (high or 0.0) * 0.5
