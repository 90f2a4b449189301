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
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import chain, combinations, repeat
from types import MappingProxyType
from typing import Literal, NamedTuple

from assistant.clutch.conformity import ONE_SIDED, Limits, Measured, conformance_probability
from assistant.clutch.equations import ORDER, PEDAL_LEFT, Setting, Truck
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


def placing(value_in: float, figure: Limits) -> float:
    """How well a value (inches) sits: 1 where it is ideal, 0 on a limit, below 0 outside.

    With one limit only it stays 1 beyond the ideal.
    """
    low, high = figure.ends_in
    if low == high:
        return 1.0 if value_in == low else -abs(value_in - low)
    best = figure.ideal_in
    edge = low if value_in <= best else high
    return (value_in - edge) / (best - edge) if math.isfinite(edge) else 1.0


class Rank(NamedTuple):
    """How good a setting is; larger is better. Moves, stops and steps are counted below zero."""

    grade: int
    moves: int
    stops: int
    margin: float
    placing: float
    steps: int


class Found(NamedTuple):
    setting: Setting
    rank: Rank


def grade_of(worst: float, guard: float, grades: int = GRADES) -> int:
    """Tenths of what counts as "in" (or other shares); both in standard uncertainties."""
    return int(grades * min(1.0, worst / guard) + SLACK)


# --- The best setting of all, without trying them all.
#
# Everything but the bearing's travel is linear in the steps, so a limit on clearance, free travel
# or brake contact is an interval of flats, and only those inside all of them are worth a look. The
# search goes by the number of adjusters touched, so that fewer are met before more, and leaves out
# whatever cannot beat the best so far.

_BY_ROD = (CLEARANCE, BRAKE_CONTACT, FREE_TRAVEL)


class Row(NamedTuple):
    """Some steps of one adjuster, and how surely and well the quantity that it sets then sits."""

    steps: int
    sure: float = math.inf
    place: float = 0.0


class SettingSearch:
    """One search: what is wanted inside, what may be moved, and the best so far."""

    def __init__(
        self,
        truck: Truck,
        wanted: Collection[str],
        locked: Locked,
        guard: float = ONE_SIDED,
        grades: int = GRADES,
        figures: Mapping[str, Limits] = MappingProxyType({}),
    ) -> None:
        self.truck, self.locked = truck, locked
        self.guard, self.grades = guard, grades
        self.wanted = {q: figures.get(q) or truck.limits(q) for q in wanted}
        self.by_rod = [quantity for quantity in _BY_ROD if quantity in wanted]
        self.below = [quantity for quantity in (BEARING_TRAVEL, PEDAL_LEFT) if quantity in wanted]
        self.best: Found | None = None
        self.flats, self.totals = cache(self._flats), cache(self._totals)
        lugs, self.rod_steps, height, self.lower_steps = [
            range(-most, most + 1) if lock is None else range(lock, lock + 1)
            for lock, most in zip(locked, truck.adjusters.most, strict=True)
        ]
        self.ring = self._rows(GAP, Setting, lugs)
        self.height = [Row(locked.height_steps or 0)]  # left alone where it cannot be judged
        if PEDAL_HEIGHT in wanted:
            self.height = self._rows(PEDAL_HEIGHT, partial(Setting, 0, 0), height)

    def _placed(self, quantities: Sequence[str], setting: Setting) -> tuple[float, float]:
        """The worst sureness and the added placing of quantities that are wanted."""
        sure, place = math.inf, 0.0
        ends = list(map(self.truck.end, quantities, repeat(setting)))
        for quantity, end in zip(quantities, ends, strict=True):
            figure = self.wanted[quantity]
            sure = min(sure, sureness(*end, figure))
            place += placing(end[0], figure)
        return sure, place

    def _inside(
        self, quantities: Sequence[str], at: Callable[[int], Setting], steps: range
    ) -> range:
        """Those of an adjuster's steps that leave all these inside; `at`: the setting with some."""
        first, last = float(steps[0]), float(steps[-1])
        none, one = at(0), at(1)
        for quantity in quantities:
            start = self.truck.end(quantity, none)[0]
            per_step = self.truck.end(quantity, one)[0] - start
            low, high = self.wanted[quantity].ends_in[:: 1 if per_step > 0.0 else -1]
            first = max(first, (low - start) / per_step - _STEP_SLACK)
            last = min(last, (high - start) / per_step + _STEP_SLACK)
        return range(math.ceil(first), math.floor(last) + 1)

    def _rows(self, quantity: str, at: Callable[[int], Setting], steps: range) -> list[Row]:
        """The rows of an adjuster whose steps leave its own quantity inside, where wanted."""
        if (figure := self.wanted.get(quantity)) is None:
            return [Row(n) for n in steps]
        counts = self._inside([quantity], at, steps) if len(steps) > 1 else steps
        ends = list(map(self.truck.end, repeat(quantity), map(at, counts)))
        rows = [
            Row(n, sureness(*end, figure), placing(end[0], figure))
            for n, end in zip(counts, ends, strict=True)
        ]
        return [row for row in rows if row.sure >= -SLACK]

    def _total_steps(self) -> range:
        """Steps of the lower stop that may be tried.

        A total travel that cannot be judged in is left alone; without any figure it may follow
        what bearing travel needs: downward for more, and upward only where it may be too much.
        """
        steps = self.lower_steps
        if self.locked.total_steps is not None or TOTAL_TRAVEL in self.wanted:
            return steps
        if not self.below or self.truck.figures.get(TOTAL_TRAVEL) is not None:
            return range(1)
        bearing = self.wanted.get(BEARING_TRAVEL)
        return steps if bearing is not None and bearing.high_in is not None else range(steps.stop)

    def _totals(self, height: int, moved: bool) -> list[Row]:
        """The lower stop for one place of the upper one, moved or left alone, best placed first."""
        every, at = self._total_steps(), partial(Setting, 0, 0, height)
        rows = self._rows(TOTAL_TRAVEL, at, every if moved else range(1))
        rows = [row for row in rows if row.steps in every and (row.steps != 0) == moved]
        return sorted(rows, key=lambda row: (-row.place, abs(row.steps)))

    def _flats(self, lugs: int, height: int) -> range:
        """Flats that put clearance, free travel and brake contact inside all their limits."""
        lock = self.locked.flats
        if self.truck.follows:  # the rod changes nothing
            inside = self._placed(self.by_rod, Setting(lugs, 0, height))[0] >= -SLACK
            return range(lock or 0, (lock or 0) + inside)
        at = partial(Setting, lugs, height_steps=height)
        return self._inside(self.by_rod, at, self.rod_steps)

    def possible(self) -> bool:
        """Whether any setting puts every wanted quantity inside.

        A bearing travel limited from below asks for the fewest flats and the lowest stop; with an
        upper limit the search itself must tell.
        """
        total = [quantity for quantity in (TOTAL_TRAVEL,) if quantity in self.wanted]
        below = [quantity for quantity in self.below if self.wanted[quantity].high_in is None]
        for a in self.height:
            steps = self._inside(total, partial(Setting, 0, 0, a.steps), self._total_steps())
            for n in self.ring if steps else ():
                if flats := self.flats(n.steps, a.steps):
                    setting = Setting(n.steps, flats[0], a.steps, steps[-1])
                    if self._placed(below, setting)[0] >= -SLACK:
                        return True
        return False

    def run(self) -> Found | None:
        """The best setting that puts every wanted quantity inside; None when there is none.

        Every setting that can matter is tried, fewest adjusters first, surest rows first.
        """
        if not self.possible():
            return None
        ring = sorted(self.ring, key=lambda row: -min(row.sure, ENOUGH))
        height = sorted(self.height, key=lambda row: (-min(row.sure, ENOUGH), -row.place))
        for moves in range(5):
            if self.best is not None and self.best.rank.grade == self.grades:
                break
            for n in ring:
                for a in height:
                    left = moves - (n.steps != 0) - (a.steps != 0)
                    touched = moves, int(a.steps != 0)
                    if 0 <= left <= 2 and not self._beaten(touched, min(n.sure, a.sure)):
                        self._rods(touched, left, n, a)
        return self.best

    def _rods(self, touched: tuple[int, int], left: int, n: Row, a: Row) -> None:
        """Rod and lower stop, with so many adjusters left to touch, for one ring and rest."""
        flats = self.flats(n.steps, a.steps)
        middle = (flats.start + flats.stop - 1) / 2
        tries = sorted(flats, key=lambda m: abs(m - middle)) if left else range(int(0 in flats))
        for m in tries:
            lower = left - (m != 0)
            if 0 <= lower <= 1 and (totals := self.totals(a.steps, lower)):
                self._judge((touched[0], touched[1] + lower), n, a, m, totals)

    def _beaten(self, touched: tuple[int, int], sure: float, place: float = math.inf) -> bool:
        """Whether no setting at most this sure and this well placed can beat the best.

        `touched`: how many adjusters, and how many of them stops, it touches.
        """
        if self.best is None:
            return sure < -SLACK
        rank = self.best.rank
        before = -rank.moves, -rank.stops
        if before != touched:
            return sure < (rank.grade + (before < touched)) / self.grades * self.guard - _ROOM
        if sure < rank.margin - _ROOM:
            return True
        if grade_of(sure, self.guard, self.grades) > rank.grade:
            return False
        return round(min(sure, ENOUGH), 6) <= rank.margin and place < rank.placing - _ROOM

    def _judge(self, touched: tuple[int, int], n: Row, a: Row, m: int, totals: list[Row]) -> None:
        """One ring, rest and rod: judge what they decide, then go through the lower stop."""
        setting, least = Setting(n.steps, m, a.steps), -math.inf
        sure, place = self._placed(self.by_rod, setting)
        sure, place = min(sure, n.sure, a.sure), place + n.place + a.place
        if BEARING_TRAVEL in self.wanted and len(totals) > 1:  # with less it falls short
            low = self.wanted[BEARING_TRAVEL].ends_in[0]
            least = self.truck.total_steps_for(low, setting) - _STEP_SLACK
        for total in totals:  # best placed first, so that the rest can be left out together
            if total.steps < least:
                continue
            most = place + total.place
            if self._beaten(touched, sure, most + len(self.below)):
                return
            setting = Setting(n.steps, m, a.steps, total.steps)
            surely, placed = self._placed(self.below, setting)
            worst = min(sure, total.sure, surely)
            if worst >= -SLACK:
                rank = Rank(
                    grade_of(worst, self.guard, self.grades),
                    -touched[0],
                    -touched[1],
                    round(min(worst, ENOUGH), 6),
                    round(most + placed, 6),
                    -sum(map(abs, setting)),
                )
                if self.best is None or rank > self.best.rank:
                    self.best = Found(setting, rank)


def widest(truck: Truck, wanted: Collection[str], locked: Locked = FREE) -> Found | None:
    """The setting with the largest margin (up to ``ENOUGH``) however many moves it takes."""
    return SettingSearch(truck, wanted, locked, ENOUGH, _FINE).run()


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
        return not self.given_up

    @property
    def sure(self) -> bool:
        """Whether all of them then count as "in", not only as likely."""
        return self.possible and self.grade == GRADES


def solve(truck: Truck, locked: Locked = FREE, *, with_candidates: bool = True) -> Settings:
    """The best setting of the adjusters that are free, the others kept where they are locked.

    Raises:
        ValueError: there is no figure for the gap.
    """
    judged = truck.judged()
    if GAP not in judged:
        raise ValueError("There is no figure for the gap: put the maker's on the truck card.")
    wanted, locked, found, may_be = _within_reach(truck, judged, locked)
    setting = found.setting if found is not None else Setting(*(steps or 0 for steps in locked))
    chosen = candidate(truck, "chosen", setting, judged)
    at_end = abs(setting.lugs) == truck.adjusters.max_lugs
    given_up = tuple(
        Out(q, _miss(limits, chosen.after[q].value_in), q == GAP and not at_end)
        for q, limits in judged.items()
        if q not in wanted and (q == GAP or _miss(limits, chosen.after[q].value_in))
    )
    others = _others(truck, judged, wanted, chosen, locked) if with_candidates else ()
    grade = grade_of(max(0.0, chosen.margin_u), ONE_SIDED)
    return Settings(tuple(judged), chosen, given_up, may_be, (chosen, *others), grade)


def with_others(truck: Truck, settings: Settings) -> Settings:
    """The same answer, with what else could be done."""
    judged, out = truck.judged(), {one.quantity for one in settings.given_up}
    others = _others(truck, judged, frozenset(judged) - out, settings.chosen, FREE)
    return replace(settings, candidates=(settings.chosen, *others))


def _within_reach(
    truck: Truck, judged: Collection[str], locked: Locked
) -> tuple[frozenset[str], Locked, Found | None, tuple[str, ...]]:
    """What can be had together, the locks that go with it, the best of them, and who is odd."""
    everything = frozenset(judged)
    if (found := SettingSearch(truck, everything, locked).run()) is not None:
        return everything, locked, found, ()
    keep, gap_out = everything, not SettingSearch(truck, {GAP}, locked).possible()
    if gap_out:
        if locked.lugs is None:
            locked = locked._replace(lugs=nearest_lugs(truck))
        keep -= {GAP}
        if (found := SettingSearch(truck, keep, locked).run()) is not None:
            return keep, locked, found, (GAP,)
    # Without the brake's contact there is nothing that the pedal would have to go past.
    loose = [
        (q, PEDAL_LEFT) if q == BRAKE_CONTACT and PEDAL_LEFT in keep else (q,)
        for q in reversed(ORDER)
        if q in keep and q != GAP
    ]
    for size in range(1, len(loose) + 1):
        drops = [frozenset(chain(*some)) for some in combinations(loose, size)]
        if odd := [d for d in drops if _without(truck, keep, d, locked).possible()]:
            rest = keep - odd[0]
            firsts = [next(q for q in reversed(ORDER) if q in d) for d in odd]
            alone = tuple(firsts) if size == 1 and not gap_out else ()
            return rest, locked, _nearest(truck, rest, odd[0], locked), alone
    return frozenset(), locked, None, ()


_NOT_PRESSED = Limits(0.0, None, "geometry")
_ON_BEARING = frozenset({CLEARANCE, FREE_TRAVEL})
"""Whatever else cannot be in, no setting presses the fork on the bearing."""


def _without(
    truck: Truck, wanted: frozenset[str], out: frozenset[str], locked: Locked
) -> SettingSearch:
    """The search that does not mind what is out, as far as that can be."""
    pressing = _ON_BEARING & out
    figures = dict.fromkeys(pressing, _NOT_PRESSED)
    return SettingSearch(truck, wanted - out | pressing, locked, figures=figures)


_WORTH = 0.5
"""Share of what it misses by now that may be left where something is moved for it: from memory."""
_HALVINGS = 6
"""How finely what cannot be in is brought near its limits: to 1/64 of the way."""


def _nearest(
    truck: Truck, wanted: frozenset[str], out: frozenset[str], locked: Locked
) -> Found | None:
    """The best with what is wanted inside, and what cannot be in with it as near as it goes, where
    that is worth a move; else no worse than it is.

    The limits of what is out are widened, each by the same share of what it misses by now, or
    where nobody minds it at all; the least such share is found by halving.
    """
    found = _without(truck, wanted | out, out, locked).run()
    if found is None:
        return None

    def missed(setting: Setting) -> dict[str, float]:
        return {q: truck.limits(q).miss_in(truck.end(q, setting)[0]) for q in out}

    def within(by_in: dict[str, float]) -> Found | None:
        figures = {q: _widened(truck.limits(q), by) for q, by in by_in.items()}
        return SettingSearch(truck, wanted | out, locked, figures=figures).run()

    now, then = missed(Setting(*(steps or 0 for steps in locked))), missed(found.setting)
    kept = found if all(then[q] <= now[q] + SLACK for q in out) else within(now)
    least, most, best = 0.0, 1.0, kept or found
    for _ in range(_HALVINGS):
        share = (least + most) / 2.0
        near = within({q: share * (now if kept else then)[q] for q in out})
        least, most = (least, share) if near is not None else (share, most)
        best = near or best
    return best if kept is None or most <= _WORTH else kept


def _widened(limits: Limits, by_in: float) -> Limits:
    low, high = limits.low_in, limits.high_in
    low, high = (None if low is None else low - by_in), (None if high is None else high + by_in)
    return Limits(low, high, limits.source, limits.target_in)


def nearest_lugs(truck: Truck) -> int:
    """The count that brings the gap nearest to its limits; the fewest lugs of equals."""
    move, limits = truck.adjusters, truck.limits(GAP)
    gap = truck.readings.gap.value_in
    counts = sorted(range(-move.max_lugs, move.max_lugs + 1), key=lambda n: (abs(n), -n))
    return min(counts, key=lambda n: round(limits.miss_in(gap - n * move.lug_in), 9))


def candidate(
    truck: Truck, kind: Kind, setting: Setting, judged: Mapping[str, Limits]
) -> RankedSetting:
    after = truck.after(setting)
    sure = {q: sureness(after[q].value_in, after[q].u_in, limits) for q, limits in judged.items()}
    tightest = min(sure, key=lambda q: sure[q])
    probability = conformance_probability(after[tightest], judged[tightest])
    out = tuple(q for q in judged if sure[q] < -1e-6)
    return RankedSetting(kind, setting, after, tightest, sure[tightest], probability, out)


def _miss(limits: Limits, value_in: float) -> float:
    return limits.miss_in(value_in) * (-1.0 if value_in < limits.ends_in[0] else 1.0)


def _others(
    truck: Truck,
    judged: Mapping[str, Limits],
    wanted: frozenset[str],
    chosen: RankedSetting,
    locked: Locked,
) -> Iterator[RankedSetting]:
    """What else could be done, each only once: nothing, a lug either way, the widest margin."""
    setting, after, shown = chosen.setting, chosen.after, {chosen.setting}
    sure = [sureness(after[q].value_in, after[q].u_in, judged[q]) for q in wanted]
    kinds: tuple[Kind, Kind] = ("a lug looser", "a lug tighter")
    tries: list[tuple[Kind, Found | None]] = [
        (kind, SettingSearch(truck, wanted, locked._replace(lugs=count)).run())
        for kind, count in zip(kinds, (setting.lugs - 1, setting.lugs + 1), strict=True)
        if abs(count) <= truck.adjusters.max_lugs
    ]
    if min(sure, default=ENOUGH) < ENOUGH:  # else nothing is gained by more moves
        tries.append(("widest margin", widest(truck, wanted, locked)))
    if setting != Setting():
        shown.add(Setting())
        yield candidate(truck, "as it is", Setting(), judged)
    for kind, found in tries:
        if found is not None and found.setting not in shown:
            shown.add(found.setting)
            yield candidate(truck, kind, found.setting, judged)
