"""How many flats of the linkage rod, weighing fork clearance against free travel.

The rod moves the fork by y: ``c' = c + y`` and ``F' = F + R*y``, the gap stays (derivation:
``pedal``). Both have a band; the flats are chosen so that the worse placed of the two is
placed as well as can be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from assistant.clutch.figures import Figure
from assistant.clutch.thread import FLATS_PER_TURN, RodMove, rod_move

# A rod asked for more turns than this is a wrong reading or figure: from memory.
MAX_TURNS = 30
NO_MOVE = RodMove(0, 0, 0, 0.0, 0.0)


def margin(value_in: float, figure: Figure) -> float:
    """How well a value (inches) sits in its band: 1 on target, 0 on a limit, below 0 outside.

    A target inside the limits is the top; without one the middle is. With one limit only, the
    target, or half as much again as the limit, is where it becomes 1.
    """
    low, high, target = figure.limits.low_in, figure.limits.high_in, figure.target_in
    if low is not None and high is not None:
        top = target if target is not None and low < target < high else (low + high) / 2.0
        if low == high:
            return 1.0 if value_in == low else -abs(value_in - low)
        return (
            (value_in - low) / (top - low) if value_in <= top else (high - value_in) / (high - top)
        )
    limit = low if low is not None else high
    assert limit is not None  # Limits always hold one of the two.
    depth = value_in - limit if low is not None else limit - value_in
    aim = abs(target - limit) if target is not None else 0.0
    return min(1.0, depth / (aim or abs(limit) / 2.0 or 1.0))


def ideal_in(figure: Figure) -> float:
    """The value (inches) that sits best in the band of a figure."""
    low, high, target = figure.limits.low_in, figure.limits.high_in, figure.target_in
    if target is not None and figure.limits.miss_in(target) == 0.0:
        return target
    if low is not None and high is not None:
        return (low + high) / 2.0
    return low * 1.5 if low is not None else (high or 0.0) * 0.5


def choose_rod(
    wanted_in: Sequence[float],
    worst_margin: Callable[[float], float],
    lead_in: float,
    rod_per_fork: float = 1.0,
) -> RodMove:
    """The whole number of flats with the best worst margin; fewest flats of equal ones.

    ``wanted_in`` holds the fork movement (inches) each band would like by itself;
    ``worst_margin`` gives the smaller margin for a fork movement. Each margin rises to its top
    and falls after it, so the best of the smaller one lies between those wishes, and only the
    flats between them (and one more either side) need trying. ``rod_per_fork`` is rod travel
    per fork travel; the travel returned is the fork's.

    Raises:
        ValueError: the lead or ``rod_per_fork`` is not above zero, or the rod would need more
            than ``MAX_TURNS`` turns.
    """
    if not (math.isfinite(rod_per_fork) and rod_per_fork > 0.0):
        raise ValueError("Rod travel per fork travel must be above zero: give one such as 1.")
    fork_lead = lead_in / rod_per_fork
    ends = [rod_move(y, fork_lead).total_flats for y in wanted_in]
    if not ends:
        return NO_MOVE
    if max(abs(flats) for flats in ends) > MAX_TURNS * FLATS_PER_TURN:
        raise ValueError(f"The rod would need over {MAX_TURNS} turns: check readings and thread.")
    flat = fork_lead / FLATS_PER_TURN
    tries = sorted(range(min(ends) - 1, max(ends) + 2), key=lambda n: (abs(n), -n))
    best = max(tries, key=lambda n: round(worst_margin(n * flat), 9))
    chosen = rod_move(best * flat, fork_lead)
    # What is left over is counted from the first wish, the clearance's.
    return chosen._replace(left_over_in=wanted_in[0] - chosen.travel_in)
