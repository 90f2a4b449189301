"""What is known of the truck and of the job so far; everything computed is derived from it.

A corrected reading is replaced where it stands, so whatever depended on it comes out new the next
time it is asked for. A ring move is never taken out again.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from assistant.card import Card
from assistant.clutch.conformity import Judgement, judge
from assistant.clutch.figures import Figure
from assistant.clutch.uncertainty import Measured
from assistant.job.plan import Plans
from assistant.sentences import Both


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
    def both(self) -> Both:
        """The reading in figures, which know their words."""
        return Both(self.figures, self.readback)

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

    def __post_init__(self) -> None:
        self.plans = Plans(self)

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
    def doubts(self) -> list[str]:
        """What the lead should look at: accepted readings that still stand, and remarks."""
        accepted = []
        for quantity in dict.fromkeys(t.quantity for t in self.readings):
            taken = self.latest(quantity)
            if taken is not None and taken.accepted:
                accepted.append(f"{quantity} {taken.figures} accepted: {taken.accepted}")
        _, found = self.plans.findings()
        ring = [
            f"ring move {i}: {finding.kind}"
            for i, finding in enumerate(found, 1)
            if finding is not None and finding.kind != "as planned"
        ]
        plan = self.plans.found()
        quarrel = plan.ratio_finding if plan is not None else None
        ratios = []
        if quarrel is not None and not quarrel.agree:
            ratios.append(f"pedal ratios disagree as found: {quarrel.text}")
        return [*self.remarks, *ratios, *ring, *accepted]

    @property
    def changed(self) -> bool:
        """Whether ring, rod or a stop was moved since the as-found readings."""
        return bool(self.moves or self.linkage)
