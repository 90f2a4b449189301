"""The best setting of all, without trying them all.

The walk goes by the number of adjusters touched, so that fewer are met before more, and leaves
out whatever the ring and the stops alone already place below the best so far.
"""

from __future__ import annotations

import math
from collections.abc import Collection

from assistant.clutch.adjusters import Setting
from assistant.clutch.effects import LEAST_U_IN, Effects
from assistant.clutch.rod import margin
from assistant.clutch.settings_rank import ENOUGH, GRADES, SLACK, Found, grade_of, make_rank
from assistant.clutch.settings_rows import Row, Rows
from assistant.clutch.uncertainty import normal_quantile

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
