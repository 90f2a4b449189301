"""The adjusting ring: how many whole lugs, and what no ring move can fix.

Tightening by n lugs of pitch p moves the bearing toward the transmission, so
``g' = g - n*p`` and ``c' = c + n*p``; ``c + g`` stays, and with it the pedal stroke at which
the clutch brake is touched (derivation: both spaces lie on one axis, the bearing between).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from assistant.clutch.belief import COARSE_IN, FINE_IN, PITCH_U_IN, RingBelief, RingState
from assistant.clutch.conformity import Limits, conformance_probability, judge
from assistant.clutch.move import Kind, MoveFinding, compare_move
from assistant.clutch.uncertainty import Measured

__all__ = [
    "COARSE_IN",
    "FINE_IN",
    "MAX_LUGS",
    "PITCH_U_IN",
    "Kind",
    "MoveFinding",
    "Neighbour",
    "RingBelief",
    "RingPlan",
    "RingState",
    "compare_move",
    "landing_chance",
    "plan_ring",
    "ring_cannot_fix",
]

# More lugs than this in one go is not an adjustment but a misreading: from memory.
MAX_LUGS = 12
# Below this chance every count is as good as none: go for the nearest instead. From memory.
_HOPELESS = 0.01
_UNLIKELY = 0.25
"""Below this, a count that the likeliest pitch puts outside is not worth it: from memory."""


class Neighbour(NamedTuple):
    """One lug fewer or more than planned: where the gap would go (inches), and the chance."""

    lugs: int
    gap_after_in: float
    chance: float


@dataclass(frozen=True, slots=True)
class RingPlan:
    """A ring move. Positive ``lugs`` go the way the technician calls tighter.

    ``gap_after`` and ``clearance_after`` are for the most probable pitch and sense;
    ``chance`` of landing inside the limits is averaged over all of them. ``reason`` says, when
    the limits are out of reach, why; it is empty otherwise.
    """

    lugs: int
    gap_after: Measured
    clearance_after: Measured | None
    chance: float
    alternatives: tuple[Neighbour, ...]
    pitch_in: float
    reason: str = ""


def _gap_after(gap: Measured, lugs: int, state: RingState, pitch_u_in: float) -> Measured:
    return gap.shifted(-state.sense * lugs * state.pitch_in, abs(lugs) * pitch_u_in)


def landing_chance(
    gap: Measured,
    limits: Limits,
    belief: RingBelief,
    lugs: int,
    pitch_u_in: float = PITCH_U_IN,
) -> float:
    """Probability that the gap is inside the limits after ``lugs``, averaged over the belief."""
    return sum(
        state.weight * conformance_probability(_gap_after(gap, lugs, state, pitch_u_in), limits)
        for state in belief.states
    )


@lru_cache(maxsize=64)
def _chances(
    gap: Measured, limits: Limits, belief: RingBelief, max_lugs: int, pitch_u_in: float
) -> Mapping[int, float]:
    """The landing chance of every count; one turn of a job asks for the same several times."""
    counts = range(-max_lugs, max_lugs + 1)
    return {n: landing_chance(gap, limits, belief, n, pitch_u_in) for n in counts}


@lru_cache(maxsize=64)  # one turn asks for the same plan several times
def plan_ring(
    gap: Measured,
    clearance: Measured | None,
    limits: Limits,
    belief: RingBelief,
    max_lugs: int = MAX_LUGS,
    pitch_u_in: float = PITCH_U_IN,
    lugs: int | None = None,
) -> RingPlan:
    """Choose the whole number of lugs with the best chance of landing inside the limits.

    Of equal chances the fewest lugs win, then the tightening ones. When no count has a chance
    worth the name, the one expected to end nearest to the limits is given, with a reason. With
    ``lugs`` the count is given already, and only what it does is worked out.

    Raises:
        ValueError: ``max_lugs`` or ``pitch_u_in`` is negative.
    """
    if max_lugs < 0 or pitch_u_in < 0.0:
        raise ValueError("The most lugs and the pitch's uncertainty cannot be below zero.")
    counts = sorted(range(-max_lugs, max_lugs + 1), key=lambda n: (abs(n), -n))
    chances = _chances(gap, limits, belief, max_lugs, pitch_u_in)
    # Rounding makes ties real; max and min keep the first, which is the fewest lugs.
    given, best = lugs is not None, belief.best
    if lugs is None:
        lugs = max(counts, key=lambda n: round(chances[n], 9))
    # A chance that only an unlikely pitch would keep is no reason to turn the ring far out.
    likely_miss = limits.miss_in(_gap_after(gap, lugs, best, 0.0).value_in)
    hopeless = chances[lugs] < _HOPELESS or (likely_miss > 0.0 and chances[lugs] < _UNLIKELY)
    if hopeless and not given:
        lugs = min(counts, key=lambda n: round(_expected_miss_in(gap, n, limits, belief), 9))
    after = _gap_after(gap, lugs, best, pitch_u_in)
    return RingPlan(
        lugs=lugs,
        gap_after=after,
        clearance_after=None
        if clearance is None
        else clearance.shifted(best.sense * lugs * best.pitch_in, abs(lugs) * pitch_u_in),
        chance=chances[lugs],
        alternatives=tuple(
            Neighbour(n, _gap_after(gap, n, best, pitch_u_in).value_in, chances[n])
            for n in (lugs - 1, lugs + 1)
            if n in chances
        ),
        pitch_in=best.pitch_in,
        reason=_reason(after.value_in, lugs, limits, best.pitch_in, max_lugs),
    )


def _expected_miss_in(gap: Measured, lugs: int, limits: Limits, belief: RingBelief) -> float:
    return sum(
        state.weight * limits.miss_in(_gap_after(gap, lugs, state, 0.0).value_in)
        for state in belief.states
    )


def _reason(after_in: float, lugs: int, limits: Limits, pitch_in: float, max_lugs: int) -> str:
    if limits.miss_in(after_in) == 0.0:
        return ""
    if abs(lugs) == max_lugs:
        return f"{max_lugs} lugs do not reach the tolerance: read the gap again."
    return f"One lug is {pitch_in:.3f} in: whole lugs cannot land inside this tolerance."


def ring_cannot_fix(brake_contact: Measured | None, limits: Limits | None) -> str | None:
    """One line when brake contact is out of its limits, which no ring move changes; else None.

    Heights in inches above the floor. Derivation: the stroke ``s = R*(c + g) + l`` holds only
    ``c + g``, which the ring keeps, so ``s`` and the height ``h = H - s`` stay as they are.
    """
    if brake_contact is None or limits is None:
        return None
    if judge(brake_contact, limits).decision != "out":
        return None
    return "No ring move changes where the brake is touched; the linkage does."
