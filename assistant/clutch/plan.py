"""The whole adjustment in the trade's order: the ring first, for the gap; then the rod.

Only arithmetic: it says what to do and what to expect, each expectation with its uncertainty
and its judgement. The dialog decides when, and the readings after each move decide again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from assistant.clutch.conformity import Judgement, judge
from assistant.clutch.equations import (
    RatioSource,
    Readings,
    UsedRatio,
    bearing_travel,
    brake_contact_after,
    finding_of,
    free_travel_after,
    used_ratio,
)
from assistant.clutch.figures import FREE_TRAVEL_INTERNAL_IN, Figure
from assistant.clutch.ratio import RatioFinding
from assistant.clutch.ring import (
    MAX_LUGS,
    PITCH_U_IN,
    RingBelief,
    RingPlan,
    plan_ring,
    ring_cannot_fix,
)
from assistant.clutch.thread import (
    FLATS_PER_TURN,
    NO_MOVE,
    RodMove,
    choose_rod,
    ideal_in,
    margin,
    rod_move,
)
from assistant.clutch.uncertainty import Measured

__all__ = [
    "AdjustmentPlan",
    "Judged",
    "RatioSource",
    "Readings",
    "UsedRatio",
    "plan_adjustment",
]


class Judged(NamedTuple):
    """One quantity judged, as found or as it should be after; inches."""

    quantity: str
    when: Literal["found", "after"]
    value: Measured
    judgement: Judgement
    source: str


@dataclass(frozen=True, slots=True)
class AdjustmentPlan:
    """What to do and what to expect; lengths in inches.

    ``clearance_after_ring`` is before the rod, ``clearance_after`` at the end. The rod's travel
    is the fork's, positive toward more clearance. ``free_travel_now`` is the reading, or worked
    out when it was not read. What cannot be known is None. ``notes`` are one-liners.
    """

    ring: RingPlan
    gap_after: Measured
    clearance_after_ring: Measured
    clearance_after: Measured
    rod: RodMove
    ratio: UsedRatio
    free_travel_now: Measured
    free_travel_after: Measured
    brake_contact_after: Measured | None
    bearing_travel_after: Measured | None
    judgements: tuple[Judged, ...]
    ratio_finding: RatioFinding | None
    notes: tuple[str, ...]

    @property
    def free_travel_after_in(self) -> float:
        """Expected free travel, in inches."""
        return self.free_travel_after.value_in

    @property
    def brake_contact_after_in(self) -> float | None:
        """Expected pedal height at brake contact, in inches, or None."""
        return None if self.brake_contact_after is None else self.brake_contact_after.value_in

    @property
    def bearing_travel_after_in(self) -> float | None:
        """Expected bearing travel, in inches, or None."""
        return None if self.bearing_travel_after is None else self.bearing_travel_after.value_in


_Band = tuple[Figure, Measured, float]
"""A figure, the value it judges, and how far that value moves per inch of the fork."""


def plan_adjustment(
    readings: Readings,
    figures: Mapping[str, Figure | None],
    belief: RingBelief,
    lead_in: float,
    ratio: float | UsedRatio | None = None,
    *,
    confidence: float = 0.95,
    max_lugs: int = MAX_LUGS,
    pitch_u_in: float = PITCH_U_IN,
    rod_per_fork: float = 1.0,
    for_contact: bool = False,
    move: tuple[int, int] | None = None,
    clutch_brake: bool = True,
    self_adjusting: bool = False,
) -> AdjustmentPlan:
    """Plan ring and rod from the as-found readings (inches) and the figures to meet.

    ``lead_in`` is the rod thread's, ``ratio`` the card's pedal ratio if it has one, and
    ``rod_per_fork`` rod travel per fork travel (1 when the rod moves as the fork tips do).
    With ``for_contact`` the rod is moved only to bring brake contact in, and only its way. With
    ``move``, lugs and flats are given already, and only what they do is worked out. Without a
    ``clutch_brake`` the bearing is not stopped at the gap; ``self_adjusting`` has its own notes.

    Raises:
        ValueError: there is no figure for the gap, or a number is impossible; the message says
            what to do.
    """
    gap_figure = figures.get("gap")
    if gap_figure is None:
        raise ValueError("There is no figure for the gap: put the maker's on the truck card.")
    finding = finding_of(readings, confidence)
    used = ratio if isinstance(ratio, UsedRatio) else used_ratio(readings, finding, ratio)
    r = used.ratio
    ring = plan_ring(
        readings.gap,
        readings.clearance,
        gap_figure.limits,
        belief,
        max_lugs,
        pitch_u_in,
        lugs=None if move is None else move[0],
    )
    assert ring.clearance_after is not None  # It was given a clearance.
    after_ring = ring.clearance_after

    # A free travel worked out from a common-practice ratio is no reason to move the rod.
    free_counts = readings.free_travel is not None or used.known
    bands: list[_Band] = []
    if (clearance_figure := figures.get("clearance")) is not None:
        bands.append((clearance_figure, after_ring, 1.0))
    if free_counts and (free_figure := figures.get("free-travel")) is not None:
        bands.append((free_figure, free_travel_after(readings, r, after_ring), r.value))

    stays = for_contact or move is not None
    rod = NO_MOVE if stays else _best_rod(bands, lead_in, rod_per_fork, confidence)
    brake_figure = figures.get("brake-contact")
    brake_now = readings.brake_contact
    if move is not None:
        fork_lead = lead_in / rod_per_fork
        rod = rod_move(move[1] * fork_lead / FLATS_PER_TURN, fork_lead)
    elif brake_figure is not None and brake_now is not None and used.known and bands:
        expected = brake_contact_after(readings, r, used.known, rod.travel_in)
        assert expected is not None  # It was read.
        if for_contact or judge(expected, brake_figure.limits, confidence).decision == "out":
            # h' = h - R*y: the rod may help, as long as neither of the others leaves its band,
            # and only the way that contact itself asks for.
            all_bands = [*bands, (brake_figure, brake_now, -r.value)]
            helped = _best_rod(all_bands, lead_in, rod_per_fork, confidence)
            wish = brake_now.value_in - ideal_in(brake_figure)
            rightly = not for_contact or helped.travel_in * wish > 0.0
            if rightly and _worst(all_bands, helped.travel_in) >= 0.0:
                rod = helped
    clearance_after = after_ring.shifted(rod.travel_in)
    free_after = free_travel_after(readings, r, clearance_after)
    brake = brake_contact_after(readings, r, used.known, rod.travel_in)
    bearing = bearing_travel(readings, r, clearance_after, ring.gap_after if clutch_brake else None)

    found: dict[str, Measured | None] = {
        "gap": readings.gap,
        "clearance": readings.clearance,
        "free-travel": readings.free_travel,
        "pedal-height": readings.pedal_height,
        "total-travel": readings.total_travel,
        "brake-contact": readings.brake_contact,
        "bearing-travel": bearing_travel(
            readings, r, readings.clearance, readings.gap if clutch_brake else None
        ),
    }
    after: dict[str, Measured | None] = {
        "gap": ring.gap_after,
        "clearance": clearance_after,
        "free-travel": free_after,
        "brake-contact": brake,
        "bearing-travel": bearing,
    }
    judged = (
        *_judge_all(found, "found", figures, confidence),
        *_judge_all(after, "after", figures, confidence),
    )
    free_now = readings.free_travel or free_travel_after(readings, r, readings.clearance)
    return AdjustmentPlan(
        ring=ring,
        gap_after=ring.gap_after,
        clearance_after_ring=after_ring,
        clearance_after=clearance_after,
        rod=rod,
        ratio=used,
        free_travel_now=free_now,
        free_travel_after=free_after,
        brake_contact_after=brake,
        bearing_travel_after=bearing,
        judgements=judged,
        ratio_finding=finding,
        notes=plan_notes(
            readings=readings,
            figures=figures,
            belief=belief,
            ring=ring,
            used=used,
            finding=finding,
            free_now=free_now,
            brake_after=brake,
            bands_met=not bands or _worst(bands, rod.travel_in) >= 0.0,
            self_adjusting=self_adjusting,
        ),
    )


def _worst(bands: Sequence[_Band], y_in: float) -> float:
    """The smallest margin of the bands once the fork has moved by ``y_in``."""
    return min(margin(at.value_in + per * y_in, f) for f, at, per in bands)


def _best_rod(
    bands: Sequence[_Band], lead_in: float, rod_per_fork: float, confidence: float
) -> RodMove:
    """The rod move with the best worst margin; none while every band is in as it is."""
    if all(judge(at, f.limits, confidence).decision == "in" for f, at, _ in bands):
        return NO_MOVE
    wishes = [(ideal_in(f) - at.value_in) / per for f, at, per in bands]
    return choose_rod(wishes, lambda y_in: _worst(bands, y_in), lead_in, rod_per_fork)


def _judge_all(
    values: Mapping[str, Measured | None],
    when: Literal["found", "after"],
    figures: Mapping[str, Figure | None],
    confidence: float,
) -> Iterator[Judged]:
    """Judge every quantity that has both a value and a figure."""
    for quantity, value in values.items():
        figure = figures.get(quantity)
        if value is not None and figure is not None:
            yield Judged(
                quantity, when, value, judge(value, figure.limits, confidence), figure.source
            )


# --- One-line notes to a plan, in shop words, at most about fifteen words each.

# A ratio known no better than this share of itself is rough: from memory.
ROUGH_RATIO = 0.2
# A ring move with less chance than this is worth a word: from memory.
LOW_CHANCE = 0.8


def plan_notes(
    *,
    readings: Readings,
    figures: Mapping[str, Figure | None],
    belief: RingBelief,
    ring: RingPlan,
    used: UsedRatio,
    finding: RatioFinding | None,
    free_now: Measured,
    brake_after: Measured | None,
    bands_met: bool,
    self_adjusting: bool = False,
) -> tuple[str, ...]:
    """What the technician should know beside the numbers, the ring's matters first.

    A self-adjusting clutch has no ring to move, so nothing is said of one.
    """
    brake_figure = figures.get("brake-contact")
    brake_limits = None if brake_figure is None else brake_figure.limits
    notes: list[str] = []
    if free_now.value_in < FREE_TRAVEL_INTERNAL_IN:
        due = "the clutch is not keeping itself set" if self_adjusting else "the ring is due"
        notes.append(f"Free travel is under 1/2 in: {due}.")
    if not self_adjusting:
        notes += _of_the_ring(ring, belief)
    if ring.clearance_after is not None and ring.clearance_after.value_in <= 0.0:
        whose = "There is" if self_adjusting else "The ring leaves"
        notes.append(f"{whose} no fork clearance: the rod must give it back.")
    cannot = ring_cannot_fix(readings.brake_contact, brake_limits)
    if cannot is not None and not self_adjusting:
        notes.append(cannot)
    if finding is not None and not finding.agree:
        notes.append("The two pedal ratios disagree: settle that before trusting free travel.")
    if not used.known:
        notes.append("The pedal ratio is only common practice: read free travel.")
    elif used.u > ROUGH_RATIO * used.value:
        then = "after the rod" if self_adjusting else "after the ring"
        notes.append(f"The pedal ratio is rough: read free travel again {then}.")
    if not bands_met:
        notes.append("The rod cannot bring fork clearance and free travel both inside.")
    if (
        brake_after is not None
        and brake_limits is not None
        and judge(brake_after, brake_limits).decision == "out"
    ):
        notes.append("Brake contact will still be out: look at levers, pins and slack.")
    return tuple(notes)


def _of_the_ring(ring: RingPlan, belief: RingBelief) -> list[str]:
    """What the ring's own plan leaves to say."""
    notes = []
    if ring.reason:
        notes.append(ring.reason)
    elif ring.chance < LOW_CHANCE:
        notes.append(f"About {ring.chance:.0%} chance to land in tolerance: read the gap again.")
    if belief.reversed_chance > 0.5:
        notes.append("On this truck the ring seems to turn the other way.")
    return notes
