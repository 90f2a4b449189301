"""One-line notes to a plan, in shop words, at most about fifteen words each."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.clutch.belief import RingBelief
from assistant.clutch.conformity import judge
from assistant.clutch.figures import FREE_TRAVEL_INTERNAL_IN, Figure
from assistant.clutch.predict import Readings
from assistant.clutch.ratio import RatioFinding
from assistant.clutch.ring import RingPlan, ring_cannot_fix
from assistant.clutch.uncertainty import Measured
from assistant.clutch.used_ratio import UsedRatio

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
