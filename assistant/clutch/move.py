"""What a ring move really did, judged from the gap before and after it.

Bayes' rule over how the move was carried out (the lugs told, none, the wrong way, another
count) crossed with the persistent belief about the ring's pitch and sense. Slips belong to one
move and are summed out; pitch and sense carry over to the next.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, get_args

from assistant.clutch.belief import PITCH_U_IN, RingBelief, RingState
from assistant.clutch.uncertainty import Measured, combine

Kind = Literal["as planned", "did not move", "wrong way", "other count", "other pitch", "unclear"]

# How a move is carried out, before looking at the gap. All from memory.
TOLD_WEIGHT = 0.87
NOT_MOVED_WEIGHT = 0.03
OPPOSITE_WEIGHT = 0.03
OTHER_COUNT_WEIGHT = 0.06  # shared out, half as much for every lug further off
MISREAD_WEIGHT = 0.01
# A misread gap may be anywhere near the told one: broad, so that nothing reaches zero.
MISREAD_SPREAD_IN = 0.15
# Two readings of one gap differ by this much whatever the gauge: from memory.
REPEAT_U_IN = 0.002


@dataclass(frozen=True, slots=True)
class MoveFinding:
    """What a move did. Gaps in inches.

    ``kind`` is the best explanation, or "unclear" when none has half the probability or a
    misread gap is the likeliest. ``probability`` is that of the likeliest explanation.
    ``lugs_moved`` is the likeliest count that is no misread, positive when the gap got smaller.
    ``weights`` holds every kind's probability ("unclear": a misread), adding up to 1.
    ``belief`` plans the next move.
    """

    kind: Kind
    probability: float
    lugs_moved: int
    predicted_in: float
    measured_in: float
    belief: RingBelief
    weights: dict[Kind, float]


def executions(lugs_told: int) -> dict[int, float]:
    """Prior probability of each count really turned, in the technician's sense.

    Raises:
        ValueError: no lugs were told.
    """
    if lugs_told == 0:
        raise ValueError("No lugs were told: there is no move to compare.")
    weights = {lugs_told: TOLD_WEIGHT, 0: NOT_MOVED_WEIGHT, -lugs_told: OPPOSITE_WEIGHT}
    forward = 1 if lugs_told > 0 else -1
    size = abs(lugs_told)
    others = {n: 0.5 ** abs(n - size) for n in range(1, size + max(3, size) + 1) if n != size}
    total = sum(others.values())
    for count, share in others.items():
        weights[forward * count] = OTHER_COUNT_WEIGHT * share / total
    return weights


def _kind(count: int, told: int, state: RingState, planned: RingState) -> Kind:
    if count == 0:
        return "did not move"
    if count * state.sense * told * planned.sense < 0:
        return "wrong way"
    if abs(count) != abs(told):
        return "other count"
    return "as planned" if state.pitch_in == planned.pitch_in else "other pitch"


def _density(x: float, centre: float, spread: float) -> float:
    z = (x - centre) / spread
    return math.exp(-0.5 * z * z) / (spread * math.sqrt(2.0 * math.pi))


@lru_cache(maxsize=256)  # a job asks again for every move it made, several times a turn
def compare_move(
    belief: RingBelief,
    before: Measured,
    after: Measured,
    lugs_told: int,
    pitch_u_in: float = PITCH_U_IN,
) -> MoveFinding:
    """Find what a move of ``lugs_told`` lugs did, from the gap before and after (inches).

    The belief is the one the move was planned with; it is not changed, the updated one is
    returned. The likelihood is normal with both readings' uncertainties and the pitch's
    combined (JCGM 100:2008, 5.1.2), plus a small broad part for a misread gap.

    Raises:
        ValueError: no lugs were told, or the pitch's uncertainty is negative.
    """
    if pitch_u_in < 0.0:
        raise ValueError("The pitch's uncertainty cannot be below zero: give its size.")
    planned = belief.best
    predicted = before.value_in - planned.sense * lugs_told * planned.pitch_in
    kinds: dict[Kind, float] = dict.fromkeys(get_args(Kind), 0.0)
    updated: list[RingState] = []
    likeliest, lugs_moved = -1.0, 0
    misread = MISREAD_WEIGHT * _density(after.value_in, predicted, MISREAD_SPREAD_IN)
    kinds["unclear"] = misread
    for state in belief.states:
        # A misread says nothing about the ring: it leaves each state its own share.
        total = misread * state.weight
        for count, prior in executions(lugs_told).items():
            centre = before.value_in - state.sense * count * state.pitch_in
            spread = combine(before.u_in, after.u_in, REPEAT_U_IN, abs(count) * pitch_u_in)
            joint = state.weight * prior * _density(after.value_in, centre, spread)
            kinds[_kind(count, lugs_told, state, planned)] += joint
            total += joint
            if joint > likeliest:
                likeliest, lugs_moved = joint, state.sense * count
        updated.append(state._replace(weight=total))
    evidence = math.fsum(kinds.values())
    if evidence <= 0.0:
        # Even the broad part underflows several inches off: only a misread is left.
        kinds["unclear"] = evidence = 1.0
        updated, lugs_moved = list(belief.states), 0
    weights: dict[Kind, float] = {kind: share / evidence for kind, share in kinds.items()}
    best = max(weights, key=lambda kind: weights[kind])
    return MoveFinding(
        kind=best if weights[best] >= 0.5 else "unclear",
        probability=weights[best],
        lugs_moved=lugs_moved,
        predicted_in=predicted,
        measured_in=after.value_in,
        belief=RingBelief.normalised(updated),
        weights=weights,
    )
