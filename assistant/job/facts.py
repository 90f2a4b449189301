"""What is known of the truck and of the job so far; everything computed is derived from it.

A corrected reading is replaced where it stands, so whatever depended on it comes out new the next
time it is asked for. A ring move is never taken out again.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any

from assistant.card import Card
from assistant.card.arithmetic import plan_for
from assistant.clutch.conformity import Judgement, judge
from assistant.clutch.equations import UsedRatio
from assistant.clutch.figures import Figure
from assistant.clutch.plan import AdjustmentPlan
from assistant.clutch.ring import (
    PITCH_U_IN,
    MoveFinding,
    RingBelief,
    RingPlan,
    compare_move,
    plan_ring,
)
from assistant.clutch.uncertainty import Measured
from assistant.job.plan import Settled, suits_all

_PEDAL = ("free-travel", "pedal-height", "brake-contact", "total-travel")


def sensible(make: Callable[[], AdjustmentPlan | None]) -> AdjustmentPlan | None:
    """A plan, or None where the readings are too odd for one (a rod of over 30 turns, say)."""
    try:
        return make()
    except ValueError:
        return None


@dataclass
class Taken:
    """One reading as it was taken. Lengths in inches."""

    step: str
    stage: str
    quantity: str
    who: str
    value_in: float | None
    low_in: float | None
    high_in: float | None
    count: float | None
    kind: str
    readback: str
    figures: str
    accepted: str = ""
    """Why it stands although it is not clearly in, or ""."""

    @classmethod
    def of(cls, step: str, stage: str, quantity: str, who: str, reading: dict[str, Any]) -> Taken:
        """From the fields that the record keeps of a reading."""
        keys = ("value_in", "low_in", "high_in", "count", "kind", "readback", "figures")
        return cls(step, stage, quantity, who, *(reading.get(k) for k in keys))  # type: ignore[arg-type]

    @property
    def measured(self) -> Measured:
        """Value with standard uncertainty, inches."""
        assert self.value_in is not None and self.low_in is not None and self.high_in is not None
        return Measured.from_interval(self.value_in, self.low_in, self.high_in)


@dataclass
class RingMove:
    """One move of the ring: lugs, positive tightens. `at`: how many readings came before it."""

    told: int
    moved: int
    at: int


@dataclass
class LinkageMove:
    """One change on rod or stop: what was told, and how many readings came before it."""

    step: str
    what: str
    clearance_in: float
    at: int


@dataclass
class Facts:
    """The session's knowledge."""

    card: Card
    readings: list[Taken] = field(default_factory=list)
    moves: list[RingMove] = field(default_factory=list)
    linkage: list[LinkageMove] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    """What the lead should see besides accepted readings: see `doubts`."""
    hold: str = "up"
    """Pedal: "up", "asked", "held", "releasing" or "unsure"."""
    hands: str = "clear"
    """"clear" only after the technician said so, since the last step that put them in."""
    places: dict[str, str] = field(
        default_factory=lambda: {"cover": "on", "lock_plate": "in", "key": "tech"}
    )
    turning: bool = False
    """The ring is being turned and no count has been said yet."""
    left: set[str] = field(default_factory=set)
    """Quantities whose change was left undone: no further change is proposed for them."""
    code: str = ""
    complaints: list[tuple[str, bool]] = field(default_factory=list)
    """What is complained of, by the ids of dialogs/en/causes.toml; True: since it was set."""

    settled: dict[Hashable, Settled | None] = field(default_factory=dict, repr=False, compare=False)
    """Whole settings found so far, by what they were found from: see `settled`."""

    # --- readings ---

    def latest(self, quantity: str) -> Taken | None:
        """The last reading of a quantity that still describes the truck as it is now.

        A ring move changes gap, clearance and free travel; a rod move changes clearance, free
        travel and brake contact; a reading from before is history.
        """
        since = self._stale_before(quantity)
        for taken in reversed(self.readings[since:]):
            if taken.quantity == quantity:
                return taken
        return None

    def _stale_before(self, quantity: str) -> int:
        since = 0
        if self.moves and quantity in ("gap", "clearance", "free-travel"):
            since = max((m.at for m in self.moves if m.moved), default=0)
        if self.by_maker and quantity in ("gap", "clearance", "free-travel"):
            since = max(since, self.by_maker[-1])
        if quantity in ("clearance", "free-travel", "brake-contact"):
            rods = [m.at for m in self.linkage if m.step.endswith("_rod")]
            since = max([since, *rods])
        if quantity in ("pedal-height", "total-travel", "free-travel", "brake-contact"):
            stops = [m.at for m in self.linkage if m.step in ("height_stop", "total_stop")]
            since = max([since, *stops])
        return since

    def staged(self, quantity: str, stage: str) -> Taken | None:
        """The last reading of a quantity in one stage ("found", "ring", "set", "final")."""
        for taken in reversed(self.readings):
            if taken.quantity == quantity and taken.stage == stage:
                return taken
        return None

    def as_found(self, quantity: str) -> Taken | None:
        """The as-found reading."""
        return self.staged(quantity, "found")

    # --- judging ---

    def figure(self, quantity: str) -> Figure | None:
        """The limits to judge by: the card's, or common practice, or none."""
        return self.card.figures.get(quantity)

    def judged(self, taken: Taken) -> Judgement | None:
        """In, out or too close to call; None without a figure."""
        figure = self.figure(taken.quantity)
        if figure is None or taken.value_in is None:
            return None
        return judge(taken.measured, figure.limits)

    def gap_right(self) -> bool:
        """Whether the gap as it is now was read and is in, or too close and accepted."""
        gap = self.latest("gap")
        if gap is None:
            return False
        verdict = self.judged(gap)
        if verdict is None:
            return False
        return verdict.decision == "in" or (verdict.decision == "too close" and bool(gap.accepted))

    # --- the ring ---

    @property
    def by_maker(self) -> list[int]:
        """How many readings came before each time the maker's own procedure was done."""
        return [m.at for m in self.linkage if m.step == "ring_plan"]

    @property
    def lugs_total(self) -> int:
        """Lugs moved so far, positive tightens."""
        return sum(m.moved for m in self.moves)

    @property
    def lugs_by_gap(self) -> int:
        """Lugs that the ring moved by what the gap says; a move with no gap after it as called."""
        _, found = self.move_findings()
        total = 0
        for move, finding in zip(self.moves, found, strict=True):
            sure = finding is not None and finding.kind in (
                "did not move",
                "wrong way",
                "other count",
            )
            total += finding.lugs_moved if sure and finding is not None else move.moved
        return total

    @property
    def doubts(self) -> list[str]:
        """What the lead should look at: accepted readings that still stand, and remarks."""
        accepted = []
        for quantity in dict.fromkeys(t.quantity for t in self.readings):
            taken = self.latest(quantity)
            if taken is not None and taken.accepted:
                accepted.append(f"{quantity} {taken.figures} accepted: {taken.accepted}")
        _, found = self.move_findings()
        ring = [
            f"ring move {i}: {finding.kind}"
            for i, finding in enumerate(found, 1)
            if finding is not None and finding.kind != "as planned"
        ]
        plan = sensible(self.found_plan)
        quarrel = plan.ratio_finding if plan is not None else None
        ratios = []
        if quarrel is not None and not quarrel.agree:
            ratios.append(f"pedal ratios disagree as found: {quarrel.text}")
        return [*self.remarks, *ratios, *ring, *accepted]

    def move_findings(
        self, count: int | None = None
    ) -> tuple[RingBelief, list[MoveFinding | None]]:
        """What each move (of the first `count`) did, and the belief to plan the next one with."""
        belief = RingBelief.prior(self.card.lug_in)
        found: list[MoveFinding | None] = []
        for i, move in enumerate(self.moves[:count]):
            end = self.moves[i + 1].at if i + 1 < len(self.moves) else len(self.readings)
            start = self.moves[i - 1].at if i else 0
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

    def predicted_in(self) -> float | None:
        """The gap expected after the last move, from the gap before it and the likeliest pitch."""
        if not self.moves:
            return None
        start = self.moves[-2].at if len(self.moves) > 1 else 0
        before = self._gap_in(start, self.moves[-1].at)
        if before is None or before.value_in is None:
            return None
        belief, _ = self.move_findings(len(self.moves) - 1)
        return before.value_in - self.moves[-1].moved * belief.pitch_in

    def _gap_in(self, start: int, end: int) -> Taken | None:
        for taken in reversed(self.readings[start:end]):
            if taken.quantity == "gap":
                return taken
        return None

    def ring_plan(self) -> RingPlan | None:
        """The next ring move from the gap as it is now; None while the gap is not known."""
        gap = self.latest("gap")
        figure = self.figure("gap")
        if gap is None or figure is None:
            return None
        belief, _ = self.move_findings()
        latest = self.latest("clearance")
        clearance = latest.measured if latest else None
        plan = plan_ring(gap.measured, clearance, figure.limits, belief)
        lugs = suits_all(self, plan, gap.measured, belief)
        if lugs == plan.lugs:
            return plan
        return plan_ring(gap.measured, clearance, figure.limits, belief, lugs=lugs)

    # --- the linkage ---

    def linkage_plan(self, for_contact: bool = False) -> AdjustmentPlan | None:
        """The rod move from what is read now; None while gap or clearance is not known.

        With `for_contact`, the move that brings the brake's contact in, or none.

        The ring is left alone (`max_lugs=0`): this is asked only after the gap is right. Where
        free travel was not read since the last move, it is predicted with the pedal ratio that
        the as-found readings gave.
        """
        gap, clearance = self.latest("gap"), self.clearance_now()
        if gap is None or clearance is None:
            return None
        now: dict[str, Measured | None] = {"gap": gap.measured, "clearance": clearance}
        for quantity in _PEDAL:
            taken = self.latest(quantity)
            now[quantity] = taken.measured if taken else None
        ratio = self.found_ratio() if self.card.ratio is None else None
        belief, _ = self.move_findings()
        return plan_for(self.card, now, belief, ratio, max_lugs=0, for_contact=for_contact)

    @property
    def changed(self) -> bool:
        """Whether ring, rod or a stop was moved since the as-found readings."""
        return bool(self.moves or self.linkage)

    def clearance_now(self) -> Measured | None:
        """Fork clearance as read, moved on by what ring and rod did since it was read."""
        at = next(
            (
                i
                for i in reversed(range(len(self.readings)))
                if self.readings[i].quantity == "clearance"
            ),
            None,
        )
        if at is None:
            return None
        belief, _ = self.move_findings()
        ring = sum(m.moved for m in self.moves if m.at > at)
        rod = sum(c.clearance_in for c in self.linkage if c.at > at)
        read = self.readings[at].measured
        return read.shifted(ring * belief.pitch_in + rod, abs(ring) * PITCH_U_IN)

    def found_plan(self) -> AdjustmentPlan | None:
        """The whole plan from the as-found readings; None before they are all there."""
        found: dict[str, Measured | None] = {}
        for quantity in ("gap", "clearance", *_PEDAL):
            taken = self.as_found(quantity)
            found[quantity] = taken.measured if taken else None
        if found["gap"] is None or found["clearance"] is None:
            return None
        return plan_for(self.card, found)

    def found_ratio(self) -> UsedRatio | None:
        """Pedal ratio from the as-found readings, or None when they do not give one."""
        plan = self.found_plan()
        return plan.ratio if plan is not None and plan.ratio.known else None
