"""What is planned in a job, from what is known of the truck now.

Each plan is worked out once for a state of the readings and the moves, and kept until they change:
one turn asks for the same ones many times.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import replace
from functools import wraps
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar, cast

from assistant.card.arithmetic import stops_kept, truck_for
from assistant.clutch.conformity import Limits
from assistant.clutch.equations import RatioFinding, Truck, finding_of
from assistant.clutch.linkage.lost_motion import LostMotion, find_lost_motion
from assistant.clutch.linkage.stroke import LinkageError
from assistant.clutch.ring import (
    PITCH_U_IN,
    MoveFinding,
    RingBelief,
    RingPlan,
    compare_move,
    landing_chances,
    plan_ring,
)
from assistant.clutch.solver import Locked, Settings, centred_rod, solve
from assistant.clutch.uncertainty import Measured
from assistant.quantity import CLEARANCE, GAP, PEDAL_HEIGHT

if TYPE_CHECKING:
    from assistant.job.state import Facts, Taken

# A count that suits the whole truck may have this share of the best chance at the gap, no less:
# common practice, no source.
LEAST_SHARE = 0.95
# Where only that count lets everything be in, it need only be likelier in than out by the gap.
LEAST_CHANCE = 0.5

_Plan = TypeVar("_Plan", bound=Callable[..., Any])
Findings = tuple[RingBelief, list[MoveFinding | None]]


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
            tuple(
                (t.quantity, t.stage, t.value_in, t.low_in, t.high_in, t.accepted)
                for t in facts.readings
            ),
            tuple((m.moved, m.at) for m in facts.moves),
            tuple((c.step, c.clearance_in, c.at) for c in facts.linkage),
        )

    # --- as found ---

    @_once
    def found(self) -> Truck | None:
        """The truck by its as-found readings; None before gap and clearance are there."""
        return self._truck(self.facts.lengths("found"))

    def _truck(self, read: dict[str, Measured], belief: RingBelief | None = None) -> Truck | None:
        if GAP not in read or CLEARANCE not in read:
            return None
        found = None if belief is None or not self.facts.changed else self.found()
        ratio = found.ratio if found is not None and found.ratio.known else None
        try:
            return truck_for(self.facts.card, read, belief, ratio)
        except ValueError:
            return None  # readings too odd for any plan

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

    # --- as it is now ---

    def clearance(self) -> Measured | None:
        """Fork clearance as read, moved on by what ring and rod did since it was read."""
        facts = self.facts
        read = [i for i, taken in enumerate(facts.readings) if taken.quantity == CLEARANCE]
        if not read:
            return None
        at = read[-1]
        belief, _ = self.findings()
        ring = sum(m.moved for m in facts.moves if m.at > at)
        rod = sum(c.clearance_in for c in facts.linkage if c.at > at)
        return facts.readings[at].measured.shifted(
            ring * belief.best.pitch_in + rod, abs(ring) * PITCH_U_IN
        )

    @_once
    def truck(self) -> Truck | None:
        """The truck by the readings that still hold; None while gap or clearance is not known.

        Where free travel was not read since the last move, it is foretold with the pedal ratio that
        the as-found readings gave.
        """
        clearance, (belief, _) = self.clearance(), self.findings()
        if clearance is None:
            return None
        read = {**self.facts.lengths(), CLEARANCE: clearance}
        if not self.facts.changed and read == self.facts.lengths("found"):
            return self.found()
        return self._truck(read, belief)

    @_once
    def ring(self) -> RingPlan | None:
        """The next ring move from the gap as it is now; None while the gap is not known."""
        read, figure = self.facts.lengths(), self.facts.card.figures.get(GAP)
        if GAP not in read or figure is None:
            return None
        gap, clearance, (belief, _) = read[GAP], read.get(CLEARANCE), self.findings()
        plan = plan_ring(gap, clearance, figure, belief)
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

    @_once
    def rod(self, for_contact: bool = False) -> Settled | None:
        """The rod move from what is read now; None while gap or clearance is not known.

        Ring and stops stay: this is asked only after the gap is right. With `for_contact`, the move
        that brings the brake's contact in, or none. None too where the readings are too odd (a rod
        of over 30 turns, say).
        """
        truck, found = self.truck(), self.found()
        if truck is None:
            return None
        if found is not None and found.ratio.known and found.ratio.source != "linkage geometry":
            truck = replace(truck, ratio=found.ratio, stroke_ratio=found.stroke_ratio)
        try:
            flats = centred_rod(truck, for_contact)
            locked = Locked(0, flats, 0, 0)
            return Settled(truck, solve(truck, locked, with_candidates=False))
        except ValueError:
            return None

    # --- ring, stops and rod together ---

    @_once
    def settle(self, lugs: int | None = None) -> Settled | None:
        """The best setting from the readings that still hold; None without gap and clearance.

        With `lugs` the ring's count is given already.
        """
        kept, truck = stops_kept(self.facts.card, self.facts.lengths()), self.truck()
        if truck is None or truck.figures.get(GAP) is None:
            return None
        try:
            locked = kept._replace(lugs=lugs)
            return Settled(truck, solve(truck, locked, with_candidates=False))
        except ValueError:
            return None  # readings too odd for any setting

    def whole(self) -> Settled | None:
        """The whole setting that goes with the ring move that is told, or with none."""
        plan = None if self.facts.gap_right() else self.ring()
        lugs = plan.lugs if plan is not None else 0
        free = self.settle()
        if free is None or free.settings.chosen.setting.lugs == lugs:
            return free
        found = self.settle(lugs)
        if found is not None and not found.settings.possible and free.settings.possible:
            return found._replace(free=free.settings)
        return found

    def stop_change_in(self, quantity: str) -> float | None:
        """How far the whole setting moves a stop, inches; None when it has no move for it."""
        found = self.settle(0) if self.facts.gap_right() else self.whole()
        if found is None or not found.settings.possible:
            return None
        setting, move = found.settings.chosen.setting, found.truck.adjusters
        if quantity == PEDAL_HEIGHT:
            return setting.height_steps * move.height_step_in or None
        return setting.total_steps * move.total_step_in or None
