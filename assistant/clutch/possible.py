"""Readings that cannot all be true of one truck, and which of them to read again.

Every rule is an inequality that geometry asks for, whatever ratio and lash are: with T the pedal's
total travel, H its height, h the height where the brake is touched, F free travel, c the fork's
clearance and g the gap,

    T >= H - h    T <= H    h <= H    F <= H - h    F <= T    F >= 2*c    H - h >= 2*(c + g)

The 2 is the least ratio that a pedal has (`equations.LEAST_RATIO`). A rule is broken only beyond
all that the gauges leave open.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import NamedTuple

from assistant.clutch.conformity import Limits
from assistant.clutch.equations import LEAST_RATIO
from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    PEDAL_HEIGHT,
    TOTAL_TRAVEL,
)

# Beyond the gauges' steps; carpet, and a foot that does not press the same twice. From memory.
ROOM_IN = 1 / 16

# The same between bearing and brake, or fork and bearing, where a gauge sits on metal. From memory.
SMALL_ROOM_IN = 1 / 64

Interval = tuple[float, float, float]
"""Value, low and high of a reading, inches."""


class Contradiction(NamedTuple):
    """Readings that cannot all be true: ``again`` is the one to read again, by what the others say
    it is at least, or at most, ``bound_in`` inches."""

    quantities: tuple[str, ...]
    again: str
    at_least: bool
    bound_in: float


_RULES: tuple[Mapping[str, float], ...] = (
    {TOTAL_TRAVEL: 1.0, PEDAL_HEIGHT: -1.0, BRAKE_CONTACT: 1.0},
    {PEDAL_HEIGHT: 1.0, TOTAL_TRAVEL: -1.0},
    {PEDAL_HEIGHT: 1.0, BRAKE_CONTACT: -1.0},
    {PEDAL_HEIGHT: 1.0, BRAKE_CONTACT: -1.0, FREE_TRAVEL: -1.0},
    {TOTAL_TRAVEL: 1.0, FREE_TRAVEL: -1.0},
    {FREE_TRAVEL: 1.0, CLEARANCE: -LEAST_RATIO},
    {PEDAL_HEIGHT: 1.0, BRAKE_CONTACT: -1.0, CLEARANCE: -LEAST_RATIO, GAP: -LEAST_RATIO},
)
"""Quantity -> its share: what is added up must not be below zero; none of the shares is 0."""
# Of those equally easy to believe, the one that people most often read wrong: a pedal that is not
# pressed to its end. Common practice, no source.
_OFTEN_WRONG = (TOTAL_TRAVEL, FREE_TRAVEL, BRAKE_CONTACT, CLEARANCE, PEDAL_HEIGHT, GAP)


def contradiction(
    read: Mapping[str, Interval],
    figures: Mapping[str, Limits | None],
    asked: Collection[str] = (),
) -> Contradiction | None:
    """The first rule that these readings break, and which of them to read again; None: none.

    The one to read again is that whose figure is kept by what the others say of it, or is left by
    what was read. ``asked``: quantities that were read again already; where all of them were, None.
    """
    for rule in _RULES:
        if not rule.keys() <= read.keys():
            continue
        total = sum(share * read[q][0] for q, share in rule.items())
        if total >= -ROOM_IN - _open(read, rule) - 1e-9:
            continue
        again = [q for q in _OFTEN_WRONG if q in rule and q not in asked]
        if not again:
            continue
        bounds = {q: read[q][0] - total / rule[q] for q in again}
        first = min(again, key=_hard_to_believe(read, figures, bounds))
        return Contradiction(tuple(rule), first, rule[first] > 0.0, bounds[first])
    return None


def _open(read: Mapping[str, Interval], rule: Mapping[str, float]) -> float:
    """How much the gauges leave open of what is added up."""
    return sum(max(share * (end - read[q][0]) for end in read[q][1:]) for q, share in rule.items())


def _hard_to_believe(
    read: Mapping[str, Interval],
    figures: Mapping[str, Limits | None],
    bounds: Mapping[str, float],
) -> Callable[[str], int]:
    """How hard it is to believe that a quantity is the wrong one: the smaller the sooner."""

    def hard(quantity: str) -> int:
        figure = figures.get(quantity)
        if figure is None:
            return 1
        was, would = (figure.miss_in(at) > 1e-9 for at in (read[quantity][0], bounds[quantity]))
        return 1 + would - was

    return hard


def unlike(one: Interval, other: Interval, small: bool) -> bool:
    """Whether two readings of one length differ by more than all that their gauges leave open;
    `small`: it is read below, by a gauge between two parts."""
    low, high = sorted((one, other))
    open_in = (low[2] - low[0]) + (high[0] - high[1])
    return high[0] - low[0] > open_in + (SMALL_ROOM_IN if small else ROOM_IN) + 1e-9
