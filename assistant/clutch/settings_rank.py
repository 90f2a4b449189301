"""How settings are ranked, and the rank of one, the plain way.

In this order:

1. the grade: how sure the worst placed quantity is to be in, in tenths of what counts as "in"
   (JCGM 106:2012, 8.3: a guard of z standard uncertainties); beyond "in" no grade is gained;
2. the fewest adjusters touched;
3. of those the fewest stops: ring and rod are what is meant to be adjusted;
4. the largest margin, in standard uncertainties, up to ``ENOUGH``;
5. how near all quantities sit to their targets, added up;
6. the fewest steps.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import NamedTuple

from assistant.clutch.adjusters import Setting
from assistant.clutch.effects import Effects, sureness
from assistant.clutch.rod import margin
from assistant.clutch.uncertainty import normal_quantile

# More standard uncertainties inside than this buy nothing: then targets count. From memory.
ENOUGH = 3.0
GRADES = 10
# Room for the last digits of floats: a value on its limit is inside.
SLACK = 1e-9


class Rank(NamedTuple):
    """How good a setting is; larger is better. Moves, stops and steps are counted below zero."""

    grade: int
    moves: int
    stops: int
    margin: float
    placing: float
    steps: int


class Found(NamedTuple):
    """A setting and its rank."""

    setting: Setting
    rank: Rank


def grade_of(worst: float, guard: float, grades: int = GRADES) -> int:
    """Tenths of what counts as "in" (or other shares); both in standard uncertainties."""
    return int(grades * min(1.0, worst / guard) + SLACK)


def make_rank(
    touched: tuple[int, int],
    steps: int,
    worst: float,
    placing: float,
    guard: float,
    grades: int = GRADES,
) -> Rank:
    """The rank of a setting whose worst sureness and added placing are known.

    ``touched`` is how many adjusters, and how many stops among them.
    """
    moves, stops = touched
    margin_u = round(min(worst, ENOUGH), 6)
    grade = grade_of(worst, guard, grades)
    return Rank(grade, -moves, -stops, margin_u, round(placing, 6), -steps)


def rank_of(
    effects: Effects, setting: Setting, wanted: Collection[str], confidence: float = 0.95
) -> Rank | None:
    """The rank of one setting; None when a wanted quantity is outside its limits."""
    after = effects.after(setting)
    worst, placing = math.inf, 0.0
    for quantity in wanted:
        figure = effects.figures[quantity]
        assert figure is not None
        value = after[quantity]
        sure = sureness(value.value_in, value.u_in, figure.limits)
        if sure < -SLACK:
            return None
        worst = min(worst, sure)
        placing += margin(value.value_in, figure)
    touched = (setting.moves, setting.stops)
    return make_rank(touched, setting.steps, worst, placing, normal_quantile(confidence))
