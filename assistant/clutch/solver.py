"""How settings are ranked, and the rank of one, the plain way.

In this order:

1. the grade: how sure the worst placed quantity is to be in, in tenths of what counts as "in"
   (JCGM 106:2012, 8.3: a guard of z standard uncertainties); beyond "in" no grade is gained;
2. the fewest adjusters touched;
3. of those the fewest stops: ring and rod are what is meant to be adjusted;
4. the largest margin, in standard uncertainties, up to ``ENOUGH``;
5. how near all quantities sit to their targets, added up;
6. the fewest steps.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Literal, NamedTuple

from assistant.clutch.conformity import conformance_probability
from assistant.clutch.equations import LEAST_U_IN, ORDER, Effects, Setting, sureness
from assistant.clutch.figures import Figure
from assistant.clutch.thread import margin
from assistant.clutch.uncertainty import Measured, normal_quantile

# More standard uncertainties inside than this buy nothing: then targets count. From memory.
ENOUGH = 3.0
GRADES = 10
# Room for the last digits of floats: a value on its limit is inside.
SLACK = 1e-9


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


def make_rank(
    touched: tuple[int, int],
    steps: int,
    worst: float,
    placing: float,
    guard: float,
    grades: int = GRADES,
) -> Rank:
    """The rank of a setting whose worst sureness and added placing are known.

    ``touched`` is how many adjusters, and how many stops among them.
    """
    moves, stops = touched
    margin_u = round(min(worst, ENOUGH), 6)
    grade = grade_of(worst, guard, grades)
    return Rank(grade, -moves, -stops, margin_u, round(placing, 6), -steps)


def rank_of(
    effects: Effects, setting: Setting, wanted: Collection[str], confidence: float = 0.95
) -> Rank | None:
    """The rank of one setting; None when a wanted quantity is outside its limits."""
    after = effects.after(setting)
    worst, placing = math.inf, 0.0
    for quantity in wanted:
        figure = effects.figures[quantity]
        assert figure is not None
        value = after[quantity]
        sure = sureness(value.value_in, value.u_in, figure.limits)
        if sure < -SLACK:
            return None
        worst = min(worst, sure)
        placing += margin(value.value_in, figure)
    touched = (setting.moves, setting.stops)
    return make_rank(touched, setting.steps, worst, placing, normal_quantile(confidence))


# --- The best setting of all, without trying them all.
#
# The walk goes by the number of adjusters touched, so that fewer are met before more, and leaves
# out whatever the ring and the stops alone already place below the best so far.

# Room for the rounding of ranks, so that nothing equal is left out.
_ROOM = 2e-6
# So many grades that every larger margin is a better one.
_FINE = 1_000_000


def search(
    effects: Effects,
    wanted: Collection[str],
    confidence: float = 0.95,
    lugs: Collection[int] | None = None,
) -> Found | None:
    """The best setting that puts every wanted quantity inside; None when there is none.

    ``lugs`` narrows the ring to these counts.
    """
    rows = Rows(effects, frozenset(wanted))
    if not _possible(rows, lugs):
        return None
    return _Walk(rows, normal_quantile(confidence), GRADES).run(lugs)


def widest(
    effects: Effects, wanted: Collection[str], lugs: Collection[int] | None = None
) -> Found | None:
    """The setting with the largest margin (up to ``ENOUGH``) however many moves it takes."""
    rows = Rows(effects, frozenset(wanted))
    if not _possible(rows, lugs):
        return None
    return _Walk(rows, ENOUGH, _FINE).run(lugs)


def possible(
    effects: Effects, wanted: Collection[str], lugs: Collection[int] | None = None
) -> bool:
    """Whether any setting puts every wanted quantity inside."""
    return _possible(Rows(effects, frozenset(wanted)), lugs)


def _possible(rows: Rows, lugs: Collection[int] | None) -> bool:
    """A bearing travel limited from below asks for the fewest flats and the lowest stop."""
    effects, bearing = rows.effects, rows.bearing
    ring, height = rows.ring(lugs), rows.height()
    lowest = {a.steps: rows.lowest(a.by) for a in height}
    for n in ring:
        for a in height:
            drop, flats = lowest[a.steps], rows.flats(n.by, a.by)
            if drop is None or not flats:
                continue
            if bearing is None or bearing.high < math.inf:
                return True  # with an upper limit the walk itself must tell
            rod = flats[0] * effects.adjusters.flat_in
            reach = 0.0 if effects.follows else effects.readings.clearance.value_in + n.by + rod
            fork = (bearing.value + drop - effects.readings.lash_in) / effects.stroke_ratio.value
            stop = effects.readings.gap.value_in - n.by if effects.clutch_brake else math.inf
            if min(stop, fork - reach) >= bearing.low - SLACK:
                return True
    return False


class _Totals:
    """The lower stop's rows, moved or left, for each place of the upper one; made when needed."""

    def __init__(self, rows: Rows, moved: bool) -> None:
        self.rows, self.moved = rows, moved
        self.made: dict[int, list[Row]] = {}

    def of(self, height: Row) -> list[Row]:
        """The rows that go with one place of the upper stop."""
        if height.steps not in self.made:
            self.made[height.steps] = self.rows.total(height.by, self.moved)
        return self.made[height.steps]


class _Walk:
    """One search: what to choose from, and the best so far."""

    def __init__(self, rows: Rows, guard: float, grades: int) -> None:
        self.rows, self.effects = rows, rows.effects
        self.guard, self.grades = guard, grades
        self.best: Found | None = None

    def run(self, lugs: Collection[int] | None) -> Found | None:
        """Every setting that can matter, fewest adjusters first, surest rows first."""
        rows = self.rows
        ring = sorted(rows.ring(lugs), key=lambda row: -min(row.sure, ENOUGH))
        height = sorted(rows.height(), key=lambda row: (-min(row.sure, ENOUGH), -row.place))
        still, moved = _Totals(rows, False), _Totals(rows, True)
        for moves in range(5):
            if self.best is not None and self.best.rank.grade == self.grades:
                break
            for n in ring:
                for a in height:
                    left = moves - (n.steps != 0) - (a.steps != 0)
                    touched = moves, int(a.steps != 0)
                    if not 0 <= left <= 2 or min(n.sure, a.sure) < self._bar(touched):
                        continue
                    flats = rows.flats(n.by, a.by)
                    lower = moves, touched[1] + 1
                    if left == 0 and 0 in flats:
                        self._flat(touched, n, a, 0, still.of(a))
                    if left == 1 and 0 in flats:
                        self._flat(lower, n, a, 0, moved.of(a))
                    if left:
                        middle = (flats.start + flats.stop - 1) / 2
                        for m in sorted(flats, key=lambda m: abs(m - middle)):
                            if m and left == 2:
                                self._flat(lower, n, a, m, moved.of(a))
                            elif m:
                                self._flat(touched, n, a, m, still.of(a))
        return self.best

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
        if (-rank.moves, -rank.stops) != touched or grade_of(
            sure, self.guard, self.grades
        ) > rank.grade:
            return False
        return round(min(sure, ENOUGH), 6) <= rank.margin and most_placing < rank.placing - _ROOM

    def _flat(self, touched: tuple[int, int], n: Row, a: Row, m: int, totals: list[Row]) -> None:
        """One ring, rest and rod: judge what they decide, then go through the lower stop."""
        if not totals:
            return
        effects, rows = self.effects, self.rows
        read, move, r = effects.readings, effects.adjusters, effects.ratio
        y, ring_u = m * move.flat_in, abs(n.steps) * move.lug_u_in
        follows = effects.follows
        reach = 0.0 if follows else read.clearance.value_in + n.by + y
        reach_u = 0.0 if follows else math.hypot(read.clearance.u_in, ring_u)
        sure, place = min(n.sure, a.sure), n.place + a.place
        most = totals[0].place + (rows.bearing is not None)
        if (need := rows.clearance) is not None:
            at = reach + (a.by / r.value if move.rigid else 0.0)
            sure = min(sure, min(at - need.low, need.high - at) / max(reach_u, LEAST_U_IN))
            place += margin(at, need.figure)
        if (need := rows.brake) is not None:
            stroke = effects.stroke_ratio
            by, by_u = (n.by, stroke.value * ring_u) if follows else (-y, 0.0)
            at = need.value + stroke.value * by
            u = max(math.hypot(need.u, stroke.u * by, by_u), LEAST_U_IN)
            sure = min(sure, min(at - need.low, need.high - at) / u)
            place += margin(at, need.figure)
        if self._beaten(touched, sure, place + most + (rows.free is not None)):
            return
        if (need := rows.free) is not None:
            at = need.value + (0.0 if follows else r.value * (n.by + y)) + a.by
            if follows:
                u = need.u
            elif read.free_travel is not None:
                u = math.hypot(need.u, r.value * ring_u, r.u * (n.by + y))
            else:
                u = math.hypot(r.value * reach_u, r.u * reach)
            sure = min(sure, min(at - need.low, need.high - at) / max(u, LEAST_U_IN))
            place += margin(at, need.figure)
        least = -math.inf  # how far down the lower stop must go for the bearing's sake
        if (need := rows.bearing) is not None:
            least = (need.low + reach) * effects.stroke_ratio.value + read.lash_in - need.value
            least -= _ROOM
        for total in totals:  # best placed first, so that the rest can be left out together
            if total.by < least:
                continue
            if self._beaten(touched, sure, place + total.place + (rows.bearing is not None)):
                return
            whole, placing = min(sure, total.sure), place + total.place
            if (need := rows.bearing) is not None:
                fork = (need.value + total.by - read.lash_in) / effects.stroke_ratio.value
                stop = read.gap.value_in - n.by if effects.clutch_brake else math.inf
                at = min(stop, fork - reach)
                if at < fork - reach:
                    u = math.hypot(read.gap.u_in, ring_u)
                else:
                    stroke = effects.stroke_ratio
                    u = math.hypot(need.u / stroke.value, fork * stroke.u / stroke.value, reach_u)
                whole = min(whole, min(at - need.low, need.high - at) / max(u, LEAST_U_IN))
                placing += margin(at, need.figure)
            if whole < -SLACK:
                continue
            steps = abs(n.steps) + abs(m) + abs(a.steps) + abs(total.steps)
            rank = make_rank(touched, steps, whole, placing, self.guard, self.grades)
            if self.best is None or rank > self.best.rank:
                self.best = Found(Setting(n.steps, m, a.steps, total.steps), rank)


# --- The parts of a search: each adjuster's useful steps, and the flats that suit all limits.
#
# Everything is linear in the steps, so a limit on clearance, free travel or brake contact is an
# interval of rod travel, and only the flats inside all of them are worth a look.

_FLAT_SLACK = 1e-7


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


class Rows:
    """What one search may choose from, for the wanted quantities."""

    def __init__(self, effects: Effects, wanted: frozenset[str]) -> None:
        self.effects, self.wanted = effects, wanted
        read = effects.readings
        free = read.free_travel
        if free is None:  # worked out, and so known only as well as clearance and ratio
            free = Measured(effects.ratio.value * read.clearance.value_in + read.lash_in)
        self.clearance = self._need("clearance", read.clearance)
        self.free = self._need("free-travel", free)
        self.brake = self._need("brake-contact", read.brake_contact)
        self.bearing = self._need("bearing-travel", read.total_travel)

    def _need(self, quantity: str, at: Measured | None) -> Need | None:
        figure = self.effects.figures.get(quantity)
        if quantity not in self.wanted or figure is None or at is None:
            return None
        low, high = figure.limits.low_in, figure.limits.high_in
        return Need(
            at.value_in,
            at.u_in,
            -math.inf if low is None else low,
            math.inf if high is None else high,
            figure,
        )

    def ring(self, lugs: Collection[int] | None) -> list[Row]:
        """Counts of lugs, only ``lugs`` where given, that leave the gap inside where wanted."""
        move, gap = self.effects.adjusters, self.effects.readings.gap
        counts = range(-move.max_lugs, move.max_lugs + 1) if lugs is None else lugs
        gaps = ((n, gap.value_in - n * move.lug_in) for n in counts)
        rows = []
        for n, at in gaps:
            u = math.hypot(gap.u_in, abs(n) * move.lug_u_in)
            rows += self._row("gap", n, n * move.lug_in, at, u)
        return rows

    def height(self) -> list[Row]:
        """Steps of the upper stop; a pedal whose height cannot be judged is left alone."""
        move, at = self.effects.adjusters, self.effects.readings.pedal_height
        if at is None or "pedal-height" not in self.wanted:
            return [Row(0, 0.0, math.inf, 0.0)]
        rows = []
        for a in range(-move.max_height_steps, move.max_height_steps + 1):
            by = a * move.height_step_in
            rows += self._row("pedal-height", a, by, at.value_in + by, at.u_in)
        return rows

    def _total_steps(self) -> range:
        """Steps of the lower stop that may be tried.

        A total travel that cannot be judged in is left alone; without any figure it may follow
        what bearing travel needs: downward for more, and upward only where it may be too much.
        """
        most = self.effects.adjusters.max_total_steps
        if self.effects.readings.total_travel is None:
            return range(1)
        if "total-travel" in self.wanted:
            return range(-most, most + 1)
        if self.effects.figures.get("total-travel") is None and self.bearing is not None:
            return range(-most if self.bearing.high < math.inf else 0, most + 1)
        return range(1)

    def total(self, rise_in: float, moved: bool) -> list[Row]:
        """Steps of the lower stop once the pedal's rest has risen by ``rise_in``, best first.

        Either only the step that leaves it, or all the others.
        """
        step, at = self.effects.adjusters.total_step_in, self.effects.readings.total_travel
        rows = []
        for b in self._total_steps():
            if (b != 0) != moved:
                continue
            value, u = (at.value_in + rise_in + b * step, at.u_in) if at else (0.0, 0.0)
            rows += self._row("total-travel", b, b * step, value, u)
        return sorted(rows, key=lambda row: (-row.place, abs(row.steps)))

    def lowest(self, rise_in: float) -> float | None:
        """The furthest down that the lower stop may go, in inches; None when nowhere is inside."""
        step, at = self.effects.adjusters.total_step_in, self.effects.readings.total_travel
        steps = self._total_steps()
        if at is None or "total-travel" not in self.wanted:
            return steps[-1] * step
        limits = self.effects.limits("total-travel")
        start, last = at.value_in + rise_in, float(steps[-1])
        if limits.high_in is not None:
            last = min(last, math.floor((limits.high_in - start) / step + _FLAT_SLACK))
        first = float(steps[0])
        if limits.low_in is not None:
            first = max(first, math.ceil((limits.low_in - start) / step - _FLAT_SLACK))
        return last * step if first <= last else None

    def _row(self, quantity: str, steps: int, by: float, value: float, u: float) -> list[Row]:
        """The row, or nothing when it would leave its own quantity outside."""
        figure = self.effects.figures.get(quantity)
        if figure is None or quantity not in self.wanted:
            return [Row(steps, by, math.inf, 0.0)]
        sure = sureness(value, u, figure.limits)
        return [Row(steps, by, sure, margin(value, figure))] if sure >= -SLACK else []

    def flats(self, ring_in: float, rise_in: float) -> range:
        """Flats that put clearance, free travel and brake contact inside all their limits."""
        move, r = self.effects.adjusters, self.effects.ratio.value
        stroke = self.effects.stroke_ratio.value
        if self.effects.follows:  # the rod changes nothing
            brake = self.brake is None or _inside(self.brake, stroke * ring_in)
            return range(int(brake and (self.free is None or _inside(self.free, rise_in))))
        low, high = -math.inf, math.inf
        if (need := self.clearance) is not None:
            at = need.value + ring_in + (rise_in / r if move.rigid else 0.0)
            low, high = max(low, need.low - at), min(high, need.high - at)
        if (need := self.free) is not None:
            at = need.value + r * ring_in + rise_in
            low, high = max(low, (need.low - at) / r), min(high, (need.high - at) / r)
        if (need := self.brake) is not None:
            low = max(low, (need.value - need.high) / stroke)
            high = min(high, (need.value - need.low) / stroke)
        most = move.max_flats
        first = -most if low == -math.inf else math.ceil(low / move.flat_in - _FLAT_SLACK)
        last = most if high == math.inf else math.floor(high / move.flat_in + _FLAT_SLACK)
        return range(max(-most, first), min(most, last) + 1)


def _inside(need: Need, by_in: float) -> bool:
    """Whether a quantity moved by so much is inside its limits."""
    return need.low - SLACK <= need.value + by_in <= need.high + SLACK


# --- One solver: lugs, flats and stop steps that put everything in, or what cannot be put in.
#
# The ring comes first: where a whole lug puts the gap in, the gap is never given up for what the
# linkage could not do. Where no setting puts every quantity in, the fewest quantities are given
# up, those that come last in the trade's order before the others, and ``condemned`` says which
# part that points at.

Kind = Literal["chosen", "as it is", "a lug looser", "a lug tighter", "widest margin"]


class Out(NamedTuple):
    """A quantity that no setting puts in with the rest, and by how much it then misses (inches).

    Below zero it is under its low limit.
    """

    quantity: str
    miss_in: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """One setting and what it costs.

    ``tightest`` is the quantity that sits worst, ``sure`` its depth in standard uncertainties and
    ``chance`` its probability to be in. ``out`` names what would be outside.
    """

    kind: Kind
    setting: Setting
    after: dict[str, Measured]
    tightest: str
    sure: float
    chance: float
    out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Settings:
    """The solver's answer. ``given_up`` is empty when everything can be in.

    ``may_be`` names the quantities any one of which, given up alone, lets the rest be in.
    """

    judged: tuple[str, ...]
    chosen: Candidate
    given_up: tuple[Out, ...]
    may_be: tuple[str, ...]
    candidates: tuple[Candidate, ...]
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
    effects: Effects,
    confidence: float = 0.95,
    *,
    with_candidates: bool = True,
    lugs: int | None = None,
) -> Settings:
    """The best setting of all adjusters, as ``settings_rank`` ranks them.

    With ``lugs`` the ring's count is given already, and the rest is found for it.

    Raises:
        ValueError: there is no figure for the gap.
    """
    judged = effects.judged()
    if "gap" not in judged:
        raise ValueError("There is no figure for the gap: put the maker's on the truck card.")
    given = None if lugs is None else (lugs,)
    wanted, counts, found, may_be = _within_reach(effects, judged, confidence, given)
    setting = found.setting if found is not None else Setting(next(iter(counts or [0])))
    chosen = candidate(effects, "chosen", setting, judged)
    given_up = tuple(
        Out(q, _miss(effects, q, chosen.after[q].value_in)) for q in judged if q not in wanted
    )
    others = (
        tuple(_others(effects, judged, wanted, setting, confidence, counts))
        if with_candidates
        else ()
    )
    return Settings(
        judged,
        chosen,
        given_up,
        may_be,
        (chosen, *others),
        grade_of(max(0.0, chosen.sure), normal_quantile(confidence)),
    )


def _within_reach(
    effects: Effects,
    judged: tuple[str, ...],
    confidence: float,
    lugs: tuple[int, ...] | None,
) -> tuple[frozenset[str], tuple[int, ...] | None, Found | None, tuple[str, ...]]:
    """What can be had together, the ring's counts to use, the best of them, and who is odd."""
    everything = frozenset(judged)
    if (found := search(effects, everything, confidence, lugs)) is not None:
        return everything, lugs, found, ()
    keep, gap_out = everything, not possible(effects, {"gap"}, lugs)
    if gap_out:
        lugs, keep = lugs or (nearest_lugs(effects),), keep - {"gap"}
        if (found := search(effects, keep, confidence, lugs=lugs)) is not None:
            return keep, lugs, found, ("gap",)
    loose = [q for q in reversed(ORDER) if q in keep and q != "gap"]
    for size in range(1, len(loose) + 1):
        odd = [
            drop for drop in combinations(loose, size) if possible(effects, keep - set(drop), lugs)
        ]
        if odd:
            rest = keep - set(odd[0])
            alone = tuple(drop[0] for drop in odd) if size == 1 and not gap_out else ()
            return rest, lugs, search(effects, rest, confidence, lugs=lugs), alone
    return frozenset(), lugs, None, ()


def nearest_lugs(effects: Effects) -> int:
    """The count that brings the gap nearest to its limits; the fewest lugs of equals."""
    move, limits = effects.adjusters, effects.limits("gap")
    gap = effects.readings.gap.value_in
    counts = sorted(range(-move.max_lugs, move.max_lugs + 1), key=lambda n: (abs(n), -n))
    return min(counts, key=lambda n: round(limits.miss_in(gap - n * move.lug_in), 9))


def candidate(effects: Effects, kind: Kind, setting: Setting, judged: Collection[str]) -> Candidate:
    """What a setting gives and costs."""
    after = effects.after(setting)
    sure = {q: sureness(after[q].value_in, after[q].u_in, effects.limits(q)) for q in judged}
    tightest = min(sure, key=lambda q: sure[q])
    return Candidate(
        kind,
        setting,
        after,
        tightest,
        sure[tightest],
        conformance_probability(after[tightest], effects.limits(tightest)),
        tuple(q for q in judged if sure[q] < -1e-6),
    )


def _miss(effects: Effects, quantity: str, value_in: float) -> float:
    limits = effects.limits(quantity)
    low = limits.low_in
    return limits.miss_in(value_in) * (-1.0 if low is not None and value_in < low else 1.0)


def _others(
    effects: Effects,
    judged: tuple[str, ...],
    wanted: frozenset[str],
    setting: Setting,
    confidence: float,
    lugs: tuple[int, ...] | None,
) -> Iterator[Candidate]:
    """What else could be done, each only once: nothing, a lug either way, the widest margin."""
    shown = {setting}
    worst = candidate(effects, "chosen", setting, wanted).sure if wanted else ENOUGH
    tries: list[tuple[Kind, Found | None]] = []
    neighbours: tuple[tuple[Kind, int], ...] = (
        ("a lug looser", setting.lugs - 1),
        ("a lug tighter", setting.lugs + 1),
    )
    for kind, count in neighbours:
        if abs(count) <= effects.adjusters.max_lugs:
            tries.append((kind, search(effects, wanted, confidence, lugs=(count,))))
    if worst < ENOUGH:  # else nothing is gained by more moves
        tries.append(("widest margin", widest(effects, wanted, lugs)))
    if setting != Setting():
        shown.add(Setting())
        yield candidate(effects, "as it is", Setting(), judged)
    for kind, found in tries:
        if found is not None and found.setting not in shown:
            shown.add(found.setting)
            yield candidate(effects, kind, found.setting, judged)


# --- What it means when no setting puts everything in: the part to look at, and why.
#
# The reasons follow from the geometry: with gap and clearance both set, the pedal's readings depend
# on nothing but ratio, slack and stops (F = R*c + l, h = H - R*(c + g) - l). The parts named for
# each are common practice, no source.


class Condemned(NamedTuple):
    """A quantity, the side it stays on, the part to look at in a breath, and why."""

    quantity: str
    side: str
    part: str
    why: str


# (quantity, side) -> part in at most five words, and why. Common practice, no source.
_PARTS: dict[tuple[str, str], tuple[str, str]] = {
    ("gap", "high"): (
        "Suspect a worn-out clutch.",
        "The ring has no more lugs that help, so the facings or the wrong brake hold the gap open.",
    ),
    ("gap", "low"): (
        "Check clutch brake and bearing.",
        "Even the loosest ring leaves too little, so something between is too thick or bent.",
    ),
    ("clearance", "low"): (
        "Suspect worn pins or levers.",
        "Free travel comes from slack in the linkage, not from the fork.",
    ),
    ("clearance", "high"): (
        "Suspect the wrong lever.",
        "The pedal moves the fork further than these figures allow for.",
    ),
    ("free-travel", "high"): (
        "Suspect worn pins or levers.",
        "With the fork set, free travel holds only the ratio and slack; slack makes it long.",
    ),
    ("free-travel", "low"): (
        "Suspect the wrong lever.",
        "With the fork set, free travel holds only the ratio and slack; the ratio is too small.",
    ),
    ("brake-contact", "low"): (
        "Suspect worn pins or levers.",
        "With gap and fork set, a brake touched this low means motion lost on the way.",
    ),
    ("brake-contact", "high"): (
        "Suspect the wrong lever.",
        "With gap and fork set, a brake touched this high means too small a ratio.",
    ),
    ("bearing-travel", "low"): (
        "Suspect pedal stops, or levers.",
        "The pedal is down before the bearing has gone far enough, whatever is set.",
    ),
    ("bearing-travel", "high"): (
        "Check the figures.",
        "The bearing can go further than the figure allows, whatever is set.",
    ),
    ("pedal-height", "low"): ("Check the pedal stop.", "The upper stop does not reach."),
    ("pedal-height", "high"): ("Check the pedal stop.", "The upper stop does not reach."),
    ("total-travel", "low"): ("Check the stops.", "The stops do not give this much stroke."),
    ("total-travel", "high"): ("Check the stops.", "The stops do not hold the stroke this short."),
}
_NO_LUG = (
    "One lug is too coarse.",
    "The gap lies between two lugs: one is too few and the next too many for these limits.",
)


def condemned(effects: Effects, settings: Settings) -> tuple[Condemned, ...]:
    """What no setting can put in, first in the trade's order, each with the part it points at."""
    out = []
    for quantity, miss_in in settings.given_up:
        side = "low" if miss_in < 0.0 else "high"
        at_end = abs(settings.chosen.setting.lugs) == effects.adjusters.max_lugs
        part, why = _PARTS[quantity, side]
        if quantity == "gap" and not at_end:
            part, why = _NO_LUG
        out.append(Condemned(quantity, side, part, why))
    return tuple(out)
