"""What is planned in a job, from what is known of the truck now.

There is one plan: the setting of ring, stops and rod together (`Plans.whole`). Every step turns its
part of it, and a reading that changes it changes it for all of them. Each is worked out once for a
state of the readings and the moves, and kept until they change: one turn asks for the same ones
many times.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import replace
from functools import wraps
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar, cast

from assistant.card.arithmetic import readings_for, stops_kept, truck_for
from assistant.clutch.conformity import TWO_SIDED, Limits, Measured, judge
from assistant.clutch.equations import (
    PEDAL_LEFT,
    Adjusters,
    Ratio,
    RatioFinding,
    Truck,
    finding_of,
    lash_by,
    ratio_without_lash,
    used_ratio,
)
from assistant.clutch.linkage.lost_motion import LostMotion, find_lost_motion
from assistant.clutch.linkage.stroke import LinkageError
from assistant.clutch.possible import Interval, unlike
from assistant.clutch.ring import (
    PITCH_U_IN,
    MoveFinding,
    RingBelief,
    RingPlan,
    compare_move,
    landing_chances,
    plan_ring,
)
from assistant.clutch.solver import FREE, Locked, Settings, solve
from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    JUDGED,
    PEDAL_HEIGHT,
    QUANTITIES,
    RING,
    ROD,
    STOPS,
    TOTAL_TRAVEL,
)

if TYPE_CHECKING:
    from assistant.job.state import Facts, LinkageMove, Taken

# A count that suits the whole truck may have this share of the best chance at the gap, no less:
# common practice, no source.
LEAST_SHARE = 0.95
# Where only that count lets everything be in, it need only be likelier in than out by the gap.
LEAST_CHANCE = 0.5
# A brake not touched is taken to lie this much lower than the pedal came: from memory.
UNTOUCHED_IN = 1 / 16
# So many changes may move nothing before the next one waits for a "move": common practice, no
# source.
MOST_IDLE = 2
# So many standard uncertainties may a clearance be off that was foretold: from memory.
UNREAD_U = 3.0
# Later readings tell the ratio more surely where their uncertainty is this share of what it was, or
# less; and a pedal's rest is known so well after its stop was moved, inches: from memory.
SURER = 0.7
RAISED_U_IN = 1 / 40
# By so much of it the travel of a step may differ from one change to the next: from memory.
ALIKE = 1 / 3
# So often is the ring moved in one job before it is left as it is: common practice, no source.
MOST_RING_MOVES = 6

_Plan = TypeVar("_Plan", bound=Callable[..., Any])
Findings = tuple[RingBelief, list[MoveFinding | None]]


class Moved(NamedTuple):
    """What was moved, inches: the bearing toward the transmission (and how surely), the fork by the
    rod toward more clearance, the pedal's rest upward, its lower end downward."""

    bearing: float
    bearing_u: float
    rod: float
    rest: float
    end: float


class Settled(NamedTuple):
    """A truck and the setting found for it.

    ``free``: the setting that puts everything in where this one, with the ring's count locked,
    cannot; else None.
    """

    truck: Truck
    settings: Settings
    free: Settings | None = None

    @property
    def after(self) -> dict[str, Measured]:
        """Every quantity that can be foretold, after the setting."""
        return self.settings.chosen.after

    @property
    def flats(self) -> int:
        """The rod's flats, positive toward more clearance."""
        return self.settings.chosen.setting.flats

    @property
    def fork_in(self) -> float:
        """How far the rod moves the fork, toward more clearance."""
        return self.flats * self.truck.adjusters.flat_in


def _once(plan: _Plan) -> _Plan:
    """A plan of `Plans` that is worked out when it is first asked for in a state of the truck."""

    @wraps(plan)
    def kept(plans: Plans, *args: Any, **named: Any) -> Any:
        state, name = plans._now(), (plan, *args, *named.values())
        if state != plans._state:
            plans._state = state
            plans.kept.clear()
        if name not in plans.kept:
            plans.kept[name] = plan(plans, *args, **named)
        return plans.kept[name]

    return cast(_Plan, kept)


class Plans:
    """The plans of one job. Lengths in inches; None is what the readings do not give."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.kept: dict[Hashable, Any] = {}
        self._state: Hashable = None

    def _now(self) -> Hashable:
        """All that a plan depends on: it is compared, since a reading is corrected in place."""
        facts = self.facts
        return (
            (facts.again, *sorted(facts.left), *sorted(facts.insisted)),
            tuple(
                (t.quantity, t.stage, t.value_in, t.low_in, t.high_in, t.accepted, bool(t.instead))
                for t in facts.readings
            ),
            tuple((m.moved, m.at) for m in facts.moves),
            tuple((c.step, c.clearance_in, c.stop_in, c.at) for c in facts.linkage),
        )

    # --- as found ---

    @_once
    def found(self) -> Truck | None:
        """The truck by its as-found readings; None before gap and clearance are there."""
        return self._truck(self.facts.lengths("found"))

    def _truck(self, read: dict[str, Measured], belief: RingBelief | None = None) -> Truck | None:
        if GAP not in read or CLEARANCE not in read:
            return None
        facts = self.facts
        found = None if belief is None or not facts.changed else self.found()
        ratio = found.ratio if found is not None and found.ratio.known else None
        if found is not None and finding_of(found.readings) is None:
            # Once the brake is touched, the readings now tell more than what was found.
            ratio = ratio_without_lash(readings_for(facts.card, read)) or ratio
        if found is not None:
            ratio = self._learned(found, ratio)
        touched = facts.latest(BRAKE_CONTACT) if belief else facts.as_found(BRAKE_CONTACT)
        untouched = touched is not None and not touched.is_length and BRAKE_CONTACT not in read
        try:
            truck = truck_for(facts.card, read, belief, ratio, untouched)
        except ValueError:
            return None  # readings too odd for any plan
        figures = dict(truck.figures)
        if belief is not None:
            figures |= {q: self._as_accepted(q, figures.get(q)) for q in facts.left_alone()}
        lash = found.lash if found is not None and ratio is found.ratio else None
        if found is None or found.adjusters.rigid or found.follows:
            lash = lash or truck.lash
        else:
            lash = self._slack(truck, lash)
        steps = truck.adjusters if belief is None else self._as_moved(truck.adjusters)
        return replace(truck, figures=figures, lash=lash, adjusters=steps)

    def _as_accepted(self, quantity: str, figure: Limits | None) -> Limits | None:
        """What a quantity that stays as it is must keep: nothing, but where it was too close to
        call, no setting takes it further out than it may be."""
        taken = self.facts.latest(quantity)
        close = taken is not None and taken.accepted and quantity not in self.facts.left
        if figure is None or taken is None or not close or not taken.is_length:
            return None
        judgement = self.facts.judged(taken)
        if judgement is None or judgement.decision != "too close":
            return None
        assert taken.low_in is not None and taken.high_in is not None
        return figure.reaching(taken.low_in, taken.high_in)

    def _learned(self, found: Truck, ratio: Ratio | None) -> Ratio | None:
        """The ratio that later readings tell, where they tell it more surely, or where they agree
        two ways that it is another one."""
        for at, taken in enumerate(self.facts.readings):
            if taken.quantity != CLEARANCE or not taken.is_length or taken.instead is not None:
                continue
            read = self._together(at, found)
            told = used_ratio(readings_for(self.facts.card, read)) if GAP in read else None
            if told is None or not told.known:
                continue
            if ratio is None or told.u <= SURER * ratio.u:
                ratio = told
            elif told.source == "both" and ratio.source != "both":
                other = abs(told.value - ratio.value) > TWO_SIDED * math.hypot(told.u, ratio.u)
                ratio = told if other else ratio
        return ratio

    def _together(self, at: int, found: Truck) -> dict[str, Measured]:
        """A clearance with the other readings of ring and rod as they were then, as if the pedal
        had rested where it did; where fluid moves the fork, as if it rested as found, since what
        it rests higher is slack."""
        own = {GAP: slice(0, 2), FREE_TRAVEL: slice(0, 3), PEDAL_HEIGHT: slice(0, 0)}
        own[BRAKE_CONTACT] = slice(2, 3)
        then, read = self._moved(at + 1), {CLEARANCE: self.facts.readings[at].measured}
        rest = then.rest if found.adjusters.rigid else self._moved(0).rest
        for quantity, part in own.items():
            taken = self._as_at(quantity, at, part)
            if taken is None:
                continue
            raised = self._moved(self.place(taken) + 1).rest - rest
            if quantity in (GAP, BRAKE_CONTACT):  # which the rest does not move
                raised = 0.0
            read[quantity] = taken.measured.shifted(raised, RAISED_U_IN if raised else 0.0)
        return read

    def _slack(self, truck: Truck, lash: Measured | None) -> Measured | None:
        """Lash, `lash` where it is known, and what a pedal that was set to rest higher has before
        fluid moves the fork."""
        rest, free = self._moved(0).rest, truck.readings.free_travel
        if not rest:
            return lash or truck.lash
        if lash is None:
            rested = replace(truck.readings, free_travel=free and free.shifted(-rest))
            lash = lash_by(rested, truck.ratio)
        return lash.shifted(max(rest, -lash.value_in))

    def _as_moved(self, usual: Adjusters) -> Adjusters:
        """The adjusters, with the travel of a flat or a step that the readings after changes
        showed, where it is another than the card's."""
        found: dict[str, Any] = {}
        for part, name in _TRAVELS.items():
            told = [c for c in self.facts.linkage if adjuster_of(c.step) == part]
            some = most_alike([c for c in told if c.other and c.steps], getattr(usual, name))
            if some:
                moved = math.fsum(c.did_in * c.steps for c in some)
                found[name] = moved / sum(c.steps**2 for c in some)  # least squares
        return replace(usual, **found)

    def ratios(self) -> RatioFinding | None:
        """What the two pedal ratios of the as-found readings say together."""
        truck = self.found()
        return None if truck is None else finding_of(truck.readings)

    @_once
    def lost_motion(self) -> LostMotion | None:
        """What geometry says of the as-found readings; None without geometry, or where it ends."""
        truck, card = self.found(), self.facts.card
        if truck is None or card.geometry is None:
            return None
        try:
            return find_lost_motion(card.geometry, truck.readings, card.load)
        except LinkageError:
            return None  # this chain does not even reach the brake: the card is wrong

    # --- what the ring did ---

    @_once
    def findings(self, count: int | None = None) -> Findings:
        """What each move (of the first `count`) did, and the belief to plan the next one with."""
        facts = self.facts
        belief = RingBelief.prior(facts.card.lug_in)
        found: list[MoveFinding | None] = []
        for i, move in enumerate(facts.moves[:count]):
            end = facts.moves[i + 1].at if i + 1 < len(facts.moves) else len(facts.readings)
            start = facts.moves[i - 1].at if i else 0
            before = self._gap_in(start, move.at)
            after = self._gap_in(move.at, end)
            if before is None or after is None or move.moved == 0:
                found.append(None)
                continue
            finding = compare_move(belief, before.measured, after.measured, move.moved)
            # He is told at once which way it went; so a plan always speaks of the true way.
            belief = finding.belief.told_which_way()
            found.append(finding)
        return belief, found

    def _gap_in(self, start: int, end: int) -> Taken | None:
        return next((t for t in self.facts.readings[start:end][::-1] if t.quantity == GAP), None)

    def lugs_by_gap(self, since: int = 0) -> int:
        """Lugs that the ring moved by what the gap says; a move with no gap after it as called.

        `since`: only those moved after that many readings.
        """
        _, found = self.findings()
        other = ("did not move", "wrong way", "other count")
        return sum(
            finding.lugs_moved if finding is not None and finding.kind in other else move.moved
            for move, finding in zip(self.facts.moves, found, strict=True)
            if move.at >= since
        )

    def gap_expected_in(self) -> float | None:
        """The gap expected after the last move, from the gap before it and the likeliest pitch."""
        moves = self.facts.moves
        if not moves:
            return None
        before = self._gap_in(moves[-2].at if len(moves) > 1 else 0, moves[-1].at)
        if before is None or before.value_in is None:
            return None
        belief, _ = self.findings(len(moves) - 1)
        return before.value_in - moves[-1].moved * belief.best.pitch_in

    # --- read again ---

    def unlike(self, taken: Taken) -> Taken | None:
        """The reading before this one that it does not repeat, though nothing that moves it was
        touched in between; None where it does, or there is none."""
        last, small = self._before(taken), QUANTITIES[taken.quantity].small
        if last is None or not taken.is_length or not last.is_length or self.parted(last, taken):
            return None
        carried = self._carried_by(last, taken)
        if carried is None or (taken.quantity == GAP and self._pressed()):
            return None
        start, now = (_interval(t) for t in (last, taken))
        by, u = carried
        half = TWO_SIDED * u
        moved = (start[0] + by, start[1] + by - half, start[2] + by + half)
        return last if unlike(moved, now, small) else None

    def alike(self, one: Taken, other: Taken) -> bool:
        """Whether two readings of one quantity, with nothing moved in between, agree."""
        if not (one.is_length and other.is_length):
            return one.is_length == other.is_length
        small = QUANTITIES[one.quantity].small
        return not unlike(_interval(one), _interval(other), small)

    def as_before(self, one: Taken, other: Taken) -> Taken:
        """A reading as it would have been when an earlier one of its quantity was taken."""
        by, _ = self._carried_by(one, other) or (0.0, 0.0)
        value, low, high = (
            None if at is None else max(0.0, at - by)
            for at in (other.value_in, other.low_in, other.high_in)
        )
        return replace(other, value_in=value, low_in=low, high_in=high)

    def _before(self, taken: Taken) -> Taken | None:
        """The reading of the same quantity before it."""
        readings = self.facts.readings[: self.place(taken)]
        return next((t for t in readings[::-1] if t.quantity == taken.quantity), None)

    def place(self, taken: Taken) -> int:
        """Where that very reading stands among all: others may be equal to it."""
        return next(i for i, t in enumerate(self.facts.readings) if t is taken)

    def parted(self, one: Taken, other: Taken) -> bool:
        """Whether their quantity was moved between two readings of it by what does not tell how
        far. The pedal's stop does, by its height, for a total travel, and the ring, by the gap,
        for a clearance; a stop draws the fork along, at most (`drawn`)."""
        moved_by = QUANTITIES[one.quantity].moved_by
        between = range(self.place(one) + 1, self.place(other) + 1)
        changes = [c for c in self.facts.linkage if c.at in between]
        if one.quantity == TOTAL_TRAVEL:
            changes = [c for c in changes if c.step == QUANTITIES[TOTAL_TRAVEL].fix]
        elif one.quantity == CLEARANCE:
            moved_by = (ROD,)
        if self.facts.new_from in between:
            return True  # other parts, or parts that had not seated
        turned = RING in moved_by and any(m.moved and m.at in between for m in self.facts.moves)
        return turned or any(c.adjuster in moved_by for c in changes)

    def _carried_by(self, one: Taken, other: Taken) -> tuple[float, float] | None:
        """How far a quantity went from one reading of it to another by what another quantity, read
        before and after, tells (and how surely); None where that was not read.

        The pedal's stop moves a total travel as it does the height. The ring takes from the gap
        what it gives the clearance, unless the fork is on the bearing.
        """
        first, last = self.place(one), self.place(other)
        between, facts = range(first + 1, last + 1), self.facts
        by, moves = PEDAL_HEIGHT, [c.at for c in facts.linkage if c.adjuster == STOPS]
        if one.quantity == CLEARANCE:
            by, moves = GAP, [m.at for m in facts.moves if m.moved]
            moves += [c.at for c in facts.linkage if c.adjuster == RING]
        moves = sorted(at for at in moves if at in between)
        clearance = one.quantity == CLEARANCE
        by_stop, stop_u = self.drawn(one, other) if clearance else (0.0, 0.0)
        pressed = min(one.value_in or 0.0, other.value_in or 0.0) <= 0.0
        if clearance and pressed and (moves or by_stop):
            return None
        if one.quantity not in (TOTAL_TRAVEL, CLEARANCE) or not moves:
            return by_stop, stop_u
        then, now = (
            next((t.measured for t in some[::-1] if t.quantity == by and t.is_length), None)
            for some in (facts.readings[: moves[0]], facts.readings[moves[-1] : last])
        )
        if then is None or now is None:
            return None
        gone = now.value_in - then.value_in
        u = math.hypot(then.u_in, now.u_in, stop_u)
        return (by_stop - gone if clearance else gone), u

    def drawn(self, one: Taken, other: Taken) -> tuple[float, float]:
        """How far the pedal's stop drew the fork along between two readings, and how surely: by all
        that the pedal rose, or not at all, where slack took it up; by fluid only downward."""
        found, between = self.found(), range(self.place(one) + 1, self.place(other) + 1)
        fix = QUANTITIES[PEDAL_HEIGHT].fix
        rises = [c.stop_in for c in self.facts.linkage if c.at in between and c.step == fix]
        rise = math.fsum(rises)
        if found is None or (rise > 0.0 and not found.adjusters.rigid):
            return 0.0, 0.0
        half = rise / found.ratio.value / 2.0
        return half, abs(half) / TWO_SIDED

    def _pressed(self) -> bool:
        """Whether the fork was seen on the bearing since the ring was moved, or never off it: it
        does not lie where the ring has it then, and rod and stops move the gap as well."""
        moved = max((m.at for m in self.facts.moves if m.moved), default=0)
        read = [t for t in self.facts.readings if t.quantity == CLEARANCE and t.is_length]
        since = [t for t in read if self.place(t) >= moved] or read[-1:]
        return any(t.measured.value_in <= 0.0 for t in since)

    # --- as it is now ---

    @_once
    def _moved(self, since: int) -> Moved:
        """What was moved after that many readings, by what was told or, better, by what was read:
        of the bearing toward the transmission, the rod, the pedal's rest, and its lower end."""
        facts, changes = self.facts, [c for c in self.facts.linkage if c.at >= since]
        belief, _ = self.findings()
        lugs = self.lugs_by_gap(since)
        bearing, bearing_u = lugs * belief.best.pitch_in, abs(lugs) * PITCH_U_IN
        maker = next((c.at for c in changes if c.adjuster == RING), None)
        if maker is not None and (before := self._gap_in(0, maker)) and (now := facts.latest(GAP)):
            bearing = before.measured.value_in - now.measured.value_in
            bearing_u = math.hypot(before.measured.u_in, now.measured.u_in)
        rod = math.fsum(c.clearance_in for c in changes if c.adjuster == ROD)
        rest, end = (
            math.fsum(c.stop_in for c in changes if c.step == QUANTITIES[q].fix)
            for q in (PEDAL_HEIGHT, TOTAL_TRAVEL)
        )
        return Moved(bearing, bearing_u, rod, rest, end)

    def _last(self, quantity: str) -> int | None:
        """Where the last reading of a quantity stands."""
        read = [i for i, t in enumerate(self.facts.readings) if t.quantity == quantity]
        return read[-1] if read else None

    def clearance(self) -> Measured | None:
        """Fork clearance as read, moved on by what ring, rod and stop did since it was read."""
        return self._carried(CLEARANCE)

    def _carried(self, quantity: str) -> Measured | None:
        """A reading moved on by what was done since; None where it was not read, or not so that it
        can be foretold."""
        at, found = self._last(quantity), self.found()
        if at is None:
            return None
        taken, by = self.facts.readings[at], self._moved(at + 1)
        read = taken.measured if taken.is_length else None
        if quantity == BRAKE_CONTACT and read is None and found is not None and self.facts.changed:
            read = self._untouched(at, found)  # where it would be
        if read is None or not any(by) or found is None:
            return read
        if read.value_in <= 0.0 and quantity == FREE_TRAVEL:
            return None  # the fork was on the bearing: who knows how hard
        r, pushed = found.ratio.value, 0.0 if found.follows else by.bearing + by.rod
        then, now = self.facts.as_found(CLEARANCE), self.facts.latest(CLEARANCE)
        if quantity == FREE_TRAVEL and taken.stage == "found" and then and now and not by.rest:
            pushed = now.measured.value_in - then.measured.value_in  # as read, not as told
        raised = None
        if quantity == BRAKE_CONTACT and (by.rod or by.rest or found.follows):  # no ring moves it
            raised = self._raised(at, len(self.facts.readings) - 1, found)
        carried = {
            CLEARANCE: pushed + (by.rest / r if found.adjusters.rigid else 0.0),
            FREE_TRAVEL: r * pushed + by.rest,
            PEDAL_HEIGHT: by.rest,
            TOTAL_TRAVEL: by.rest + by.end,
            BRAKE_CONTACT: _touched_by(found, by) if raised is None else raised,
        }[quantity]
        u = by.bearing_u if quantity == CLEARANCE else found.ratio.u * abs(pushed)
        fixed = quantity in (PEDAL_HEIGHT, TOTAL_TRAVEL)
        return read.shifted(carried, 0.0 if fixed else u)

    def _untouched(self, at: int, found: Truck) -> Measured | None:
        """Where the brake would have been touched when it was not: as foretold from what was found,
        and lower than the pedal came then."""
        read, ends = found.now().get(BRAKE_CONTACT), []
        if read is not None:
            first = next(i for i, t in enumerate(self.facts.readings) if t.quantity == GAP)
            by = self._raised(first, at, found)
            if by is None:
                now, since = self._moved(0), self._moved(at + 1)
                by = _touched_by(found, now) - _touched_by(found, since)
            read = read.shifted(by, 0.0)
        for quantity in (PEDAL_HEIGHT, TOTAL_TRAVEL):
            some = [t for t in self.facts.readings[:at] if t.quantity == quantity and t.is_length]
            ends += [t.measured.value_in for t in some[-1:]]
        if read is None or len(ends) < 2:
            return read
        low = ends[0] - ends[1] - UNTOUCHED_IN
        return read.shifted(min(0.0, low - read.value_in), 0.0)

    def _raised(self, then: int, now: int, found: Truck) -> float | None:
        """How far the height where the brake is touched went up between two readings, by what
        clearance and gap were read to be, which is surer than what was told; None where they were
        not read at both, or the pedal's rest was moved."""
        if found.follows or self._moved(then + 1).rest != self._moved(now + 1).rest:
            return None
        reach = [[self._as_at(q, at) for q in (CLEARANCE, GAP)] for at in (then, now)]
        read = [taken.measured for some in reach for taken in some if taken is not None]
        if len(read) < 4:
            return None
        went = read[0].value_in + read[1].value_in - read[2].value_in - read[3].value_in
        told = self._moved(now + 1).rod - self._moved(then + 1).rod
        hidden = TWO_SIDED * math.hypot(*(one.u_in for one in read))
        return None if abs(went - told) <= hidden else found.ratio.value * went

    def _as_at(self, quantity: str, at: int, own: slice | None = None) -> Taken | None:
        """The reading nearest to another one that nothing which moves it came between; `own`: what
        of `Moved` moves it."""
        own = own or (slice(0, 2) if quantity == GAP else slice(0, 4))
        holds = [
            i
            for i, t in enumerate(self.facts.readings)
            if t.quantity == quantity
            and t.is_length
            and t.instead is None
            and self._moved(i + 1)[own] == self._moved(at + 1)[own]
        ]
        nearest = min(holds, key=lambda i: abs(i - at), default=None)
        return None if nearest is None else self.facts.readings[nearest]

    @_once
    def truck(self) -> Truck | None:
        """The truck as it is now: by the readings that still hold, and what the others became;
        None while gap or clearance is not known."""
        read, (belief, _) = self.facts.lengths(), self.findings()
        if GAP not in read:
            return None
        if not self.facts.changed and read == self.facts.lengths("found"):
            return self._truck(read, belief)
        for quantity in (*JUDGED[1:],):
            carried = self._carried(quantity)
            if carried is not None:
                read[quantity] = carried
        return self._truck(read, belief)

    @_once
    def ring(self) -> RingPlan | None:
        """The next ring move from the gap as it is now; None while the gap is not known."""
        read, figure = self.facts.lengths(), self.facts.card.figures.get(GAP)
        if GAP not in read or figure is None:
            return None
        gap, clearance, (belief, _) = read[GAP], read.get(CLEARANCE), self.findings()
        plan = plan_ring(gap, clearance, figure, belief)
        again = self.settle() if self.facts.again else None
        if again is not None:
            lugs = again.settings.chosen.setting.lugs
        else:
            lugs = self._suits_all(plan, gap, figure, belief)
        if lugs == plan.lugs:
            return plan
        return plan_ring(gap, clearance, figure, belief, lugs=lugs)

    def _suits_all(self, plan: RingPlan, gap: Measured, limits: Limits, belief: RingBelief) -> int:
        """The count to turn: the one that suits the whole truck, where the gap loses little.

        `plan` is the one best for the gap alone. It stays when it leaves the ring where it is, or
        when the other would turn it the other way. Where everything can be in with either, the
        other must put everything surely in, and lose next to nothing at the gap.
        """
        found = self.settle()
        if found is None or not found.settings.possible:
            return plan.lugs
        lugs = found.settings.chosen.setting.lugs
        if lugs * plan.lugs <= 0 or lugs == plan.lugs:
            return plan.lugs
        chance = landing_chances(gap, limits, belief, [lugs])[lugs]
        if found.settings.sure and chance >= LEAST_SHARE * plan.chance:
            return lugs
        alone = self.settle(plan.lugs)
        only_so = alone is not None and not alone.settings.possible
        return lugs if only_so and chance >= LEAST_CHANCE else plan.lugs

    # --- ring, stops and rod together ---

    @_once
    def settle(self, lugs: int | None = None) -> Settled | None:
        """The best setting from what is known now; None without gap and clearance.

        With `lugs` the ring's count is given already. Where nothing is out for sure, everything
        stays. A stop whose own reading is not out is left alone, unless nothing else helps.
        """
        facts, truck = self.facts, self.truck()
        if truck is None or truck.figures.get(GAP) is None:
            return None
        stay_put = self._stay_put()
        kept = _locked(stops_kept(facts.card, facts.lengths()), stay_put)
        try:
            if not lugs and not out_of(truck) and not self._missed(truck) and not facts.insisted:
                stay = solve(truck, Locked(0, 0, 0, 0), with_candidates=False)
                return Settled(truck, replace(stay, given_up=()))
            found = solve(truck, kept._replace(lugs=lugs), with_candidates=False)
            if not found.possible and (0 in kept[2:]):
                more = solve(truck, stay_put._replace(lugs=lugs), with_candidates=False)
                kept_out, out = ({one.quantity for one in s.given_up} for s in (found, more))
                found = more if out < kept_out else found  # never another one for fewer
            lower = None if found.possible else self._touched_lower(truck)
            if lower is not None:
                told = solve(lower, stay_put._replace(lugs=lugs), with_candidates=False)
                if told.possible:
                    return Settled(lower, told)
            return Settled(truck, found)
        except ValueError:
            return None  # readings too odd for any setting

    def _touched_lower(self, truck: Truck) -> Truck | None:
        """The same truck, its brake touched where it should be: a pedal that ended above that has
        told no more than that it is lower, and its stop comes first. None where it was touched, or
        may not be in any more."""
        at, contact = self._last(BRAKE_CONTACT), truck.readings.brake_contact
        limits = truck.judged().get(BRAKE_CONTACT)
        if at is None or contact is None or limits is None or self.facts.readings[at].is_length:
            return None
        ideal = limits.ideal_in
        if ideal >= contact.value_in or not self.facts.changed:
            return None
        lower = Measured(ideal, contact.u_in)
        return replace(truck, readings=replace(truck.readings, brake_contact=lower))

    def _stay_put(self) -> Locked:
        """What is not turned whatever it would help: a stop whose reading was accepted as it is,
        and a rod that changed nothing."""
        facts = self.facts
        if facts.readings[-1].stage == "found":
            return FREE
        left = facts.left_alone()
        rods = (QUANTITIES[q].fix for q in (CLEARANCE, FREE_TRAVEL, BRAKE_CONTACT))
        idle = not facts.insisted and any(facts.idle[rod] >= MOST_IDLE for rod in rods)
        return Locked(
            flats=0 if idle else None,
            height_steps=0 if PEDAL_HEIGHT in left else None,
            total_steps=0 if TOTAL_TRAVEL in left else None,
        )

    def _missed(self, truck: Truck) -> bool:
        """Whether the brake, last not touched, would still be touched too low, or not at all."""
        at = self._last(BRAKE_CONTACT)
        limits, now = truck.judged().get(BRAKE_CONTACT), truck.now().get(BRAKE_CONTACT)
        if at is None or limits is None or now is None or self.facts.readings[at].is_length:
            return False
        left = truck.now().get(PEDAL_LEFT)
        return now.value_in < limits.ends_in[0] or (left is not None and left.value_in < 0.0)

    @_once
    def whole(self) -> Settled | None:
        """The plan: the whole setting that goes with the ring move that is told, or with none."""
        if not self.may_move_ring:
            return self.settle(0)
        free, plan = self.settle(), self.ring()
        lugs = plan.lugs if plan is not None else 0
        if self.facts.gap_right():
            lugs = 0
        elif free is not None and self.facts.decided(GAP) == "too close":
            return free
        if free is None or free.settings.chosen.setting.lugs == lugs:
            return free
        found = self.settle(lugs)
        if found is not None and not found.settings.possible and free.settings.possible:
            return found._replace(free=free.settings)
        return found

    def ring_again(self) -> bool:
        """Whether the ring has to be moved although the gap is right: without it, not everything
        can be in, and with it everything can."""
        facts = self.facts
        if GAP in facts.left or self._ring_moves() >= MOST_RING_MOVES or not self.may_move_ring:
            return False
        alone = self.settle(0)
        if alone is None or alone.settings.possible:
            return False
        free = self.settle()
        return free is not None and free.settings.possible

    def _ring_moves(self) -> int:
        """Moves of the ring, but for those that no gap could show: the fork was on the bearing."""
        moves, shown = self.facts.moves, self.findings()[1]
        read = [(i, t) for i, t in enumerate(self.facts.readings) if t.quantity == CLEARANCE]
        opened = next((i for i, t in read if t.is_length and t.measured.value_in > 0.0), 0)
        hidden = [
            move
            for move, finding in zip(moves, shown, strict=True)
            if move.at <= opened and finding is not None and finding.kind == "did not move"
        ]
        return len(moves) - len(hidden)

    @_once
    def clearance_decides(self) -> bool:
        """Whether fork clearance, foretold since the rod was turned, hides a setting that puts
        everything in: one that is there if it is as much off as it may be."""
        truck, at = self.truck(), self._last(CLEARANCE)
        if truck is None or at is None or not self._moved(at + 1).rod:
            return False
        if self.facts.readings[at].stage == "found":
            return False
        foretold = truck.readings.clearance
        kept = stops_kept(self.facts.card, self.facts.lengths())._replace(lugs=0)
        for by in (UNREAD_U * foretold.u_in, -UNREAD_U * foretold.u_in):
            readings = replace(truck.readings, clearance=foretold.shifted(by, 0.0))
            try:
                if solve(replace(truck, readings=readings), kept, with_candidates=False).possible:
                    return True
            except ValueError:
                continue
        return False

    @property
    def may_move_ring(self) -> bool:
        return self.facts.card.clutch == "manual"

    def steps(self, fix: str) -> int:
        """Steps of its adjuster that the plan has for a change on rod or stop."""
        found = self.whole()
        if found is None:
            return 0
        steps: int = getattr(found.settings.chosen.setting, adjuster_of(fix))
        return steps

    def pull(self, taken: Taken) -> float:
        """Inches of a reading by an inch of the fork, moved by the rod; 0 where it is not known."""
        found = self.found()
        if found is None or found.follows:
            return 0.0
        free = found.ratio.value if found.ratio.known else 0.0
        return {CLEARANCE: 1.0, FREE_TRAVEL: free}.get(taken.quantity, 0.0)

    def stop_change_in(self, quantity: str) -> float | None:
        """How far the plan moves a stop, inches; None when it has no move for it."""
        found, steps = self.whole(), self.steps(QUANTITIES[quantity].fix)
        if found is None or not steps:
            return None
        move = found.truck.adjusters
        return steps * (move.height_step_in if quantity == PEDAL_HEIGHT else move.total_step_in)


def most_alike(changes: list[LinkageMove], card_in: float) -> list[LinkageMove]:
    """The changes about whose travel by a step most of the steps agree, where they quarrel; the
    card's own figure counts as one of them, so that a single misreading is outvoted."""
    if len(changes) < 2:
        return changes
    steps = [abs(c.steps) for c in changes]
    votes = [(c.did_in / c.steps, n) for c, n in zip(changes, steps, strict=True)]
    votes = sorted([*votes, (card_in, max(steps) - 1)])
    half, some = sum(n for _, n in votes) / 2, 0
    middle = votes[-1][0]
    for travel, n in votes:
        some += n
        if some >= half:
            middle = travel
            break
    return [c for c in changes if abs(c.did_in / c.steps - middle) <= ALIKE * abs(middle)]


def _interval(taken: Taken) -> Interval:
    return taken.value_in or 0.0, taken.low_in or 0.0, taken.high_in or 0.0


def _locked(some: Locked, others: Locked) -> Locked:
    """Locked where either is."""
    return Locked(*(b if a is None else a for a, b in zip(some, others, strict=True)))


_STOPS = {
    QUANTITIES[PEDAL_HEIGHT].fix: "height_steps",
    QUANTITIES[TOTAL_TRAVEL].fix: "total_steps",
}


_TRAVELS = {"flats": "flat_in", "height_steps": "height_step_in", "total_steps": "total_step_in"}
"""Part of a `Setting` -> the travel of one step of it, in `Adjusters`."""


def _touched_by(truck: Truck, by: Moved) -> float:
    """How far what was moved raises the pedal's height where the brake is touched, inches."""
    return truck.ratio.value * (by.bearing if truck.follows else -by.rod)


def adjuster_of(step_id: str) -> str:
    """Which part of a `Setting` a step turns."""
    return "lugs" if step_id.startswith("ring") else _STOPS.get(step_id, "flats")


def out_of(truck: Truck) -> list[str]:
    """The quantities that are out for sure as it is now: a brake that is not touched is so too."""
    now, judged = truck.now(), truck.judged()
    if truck.readings.untouched and BRAKE_CONTACT in judged:
        return [BRAKE_CONTACT]
    return [q for q, limits in judged.items() if judge(now[q], limits).decision == "out"]
