"""The adjusting ring: what is believed of it, how many lugs to turn, and what a move really did.

The belief is a discrete probability over the lug's pitch and the ring's sense, which is +1 when the
technician's "tighter" really moves the bearing toward the transmission, and -1 when it is the other
way round on this truck. Bayes' rule updates it after each move.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Literal, NamedTuple, get_args

from assistant.clutch.conformity import Limits, Measured, chance_between

# Bearing movement by one lug, in inches: common practice, no source.
COARSE_IN = 0.027
FINE_IN = 0.014

# Standard uncertainty of one lug's movement, in inches: from memory.
PITCH_U_IN = 0.001

# Prior weights, all from memory.
CARD_PITCH_WEIGHT = 0.90
COARSE_WEIGHT = 0.75
REVERSED_WEIGHT = 0.04

# A card that says 0.028 means the coarse ring, not a third kind.
_SAME_PITCH_IN = 0.003


class RingState(NamedTuple):
    """One possibility: inches of bearing travel a lug, the sense (+1 or -1), its probability."""

    pitch_in: float
    sense: int
    weight: float


@dataclass(frozen=True, slots=True)
class RingBelief:
    """Immutable probabilities over the ring's pitch and sense; they add up to 1."""

    states: tuple[RingState, ...]

    @classmethod
    def normalised(cls, states: Sequence[RingState]) -> RingBelief:
        """A belief from states whose weights are only proportional."""
        total = math.fsum(state.weight for state in states)
        return cls(tuple(state._replace(weight=state.weight / total) for state in states))

    @classmethod
    @lru_cache(maxsize=16)  # one job asks for its own again and again
    def prior(cls, pitch_in: float | None = None) -> RingBelief:
        """The belief before the first move.

        A pitch on the truck card (in inches a lug) is strongly favoured and the other common
        pitch stays possible; without one the coarse ring is favoured.
        """
        if pitch_in is None:
            pitches = [(COARSE_IN, COARSE_WEIGHT), (FINE_IN, 1.0 - COARSE_WEIGHT)]
        else:
            others = [p for p in (COARSE_IN, FINE_IN) if abs(p - pitch_in) > _SAME_PITCH_IN]
            spare = (1.0 - CARD_PITCH_WEIGHT) / len(others)
            pitches = [(pitch_in, CARD_PITCH_WEIGHT), *((p, spare) for p in others)]
        return cls._either_way(pitches)

    @classmethod
    def _either_way(cls, pitches: Iterable[tuple[float, float]]) -> RingBelief:
        """Pitches with their weights, and of each that the ring may be built reversed."""
        senses = ((1, 1.0 - REVERSED_WEIGHT), (-1, REVERSED_WEIGHT))
        return cls.normalised([RingState(p, s, wp * ws) for p, wp in pitches for s, ws in senses])

    def told_which_way(self) -> RingBelief:
        """The belief once the technician has been told which way the ring really went.

        What was learned of the pitch stays; which way he turns next is open again, as before the
        first move: a person told "the other way" is no part that is built reversed.
        """
        pitches: dict[float, float] = {}
        for state in self.states:
            pitches[state.pitch_in] = pitches.get(state.pitch_in, 0.0) + state.weight
        return RingBelief._either_way(pitches.items())

    @property
    def best(self) -> RingState:
        """The most probable state; of equals, the one listed first."""
        return max(self.states, key=lambda state: state.weight)

    @property
    def reversed_chance(self) -> float:
        """Probability that "tighter" is really looser on this truck."""
        return math.fsum(state.weight for state in self.states if state.sense < 0)


# --- How many whole lugs.
#
# Tightening by n lugs of pitch p moves the bearing toward the transmission, so
# ``g' = g - n*p`` and ``c' = c + n*p`` (derivation: both spaces lie on one axis, the bearing
# between).

# More lugs than this in one go is not an adjustment but a misreading: from memory.
MAX_LUGS = 12
# Below this chance every count is as good as none: go for the nearest instead. From memory.
_HOPELESS = 0.01
_UNLIKELY = 0.25
"""Below this, a count that the likeliest pitch puts outside is not worth it: from memory."""


Miss = Literal["", "no more lugs", "between lugs"]
"""Why whole lugs do not reach the limits."""


class Neighbour(NamedTuple):
    """One lug fewer or more than planned: where the gap would go (inches), and the chance."""

    lugs: int
    gap_after_in: float
    chance: float


@dataclass(frozen=True, slots=True)
class RingPlan:
    """A ring move. Positive ``lugs`` go the way the technician calls tighter.

    ``gap_after`` and ``clearance_after`` are for the most probable pitch and sense;
    ``chance`` of landing inside the limits is averaged over all of them. ``misses`` says, when
    the limits are out of reach, why; it is empty otherwise.
    """

    lugs: int
    gap_after: Measured
    clearance_after: Measured | None
    chance: float
    alternatives: tuple[Neighbour, ...]
    pitch_in: float
    misses: Miss = ""


def _gap_after_in(gap: Measured, lugs: int, state: RingState) -> float:
    return gap.value_in - state.sense * lugs * state.pitch_in


def landing_chances(
    gap: Measured, limits: Limits, belief: RingBelief, counts: Iterable[int]
) -> dict[int, float]:
    """Probability, of each count of lugs, to end inside the limits, averaged over the belief."""
    low, high = limits.ends_in
    chances = dict.fromkeys(counts, 0.0)
    for lugs in chances:
        u = math.hypot(gap.u_in, lugs * PITCH_U_IN)
        for pitch_in, sense, weight in belief.states:
            end = gap.value_in - sense * lugs * pitch_in
            chances[lugs] += weight * chance_between(end, u, low, high)
    return chances


def plan_ring(
    gap: Measured,
    clearance: Measured | None,
    limits: Limits,
    belief: RingBelief,
    max_lugs: int = MAX_LUGS,
    lugs: int | None = None,
) -> RingPlan:
    """Choose the whole number of lugs with the best chance of landing inside the limits.

    Of equal chances the fewest lugs win, then the tightening ones. When no count has a chance
    worth the name, the one expected to end nearest to the limits is given. With
    ``lugs`` the count is given already, and only what it does is worked out.
    """

    def expected_miss_in(n: int) -> float:
        ends = ((state.weight, _gap_after_in(gap, n, state)) for state in belief.states)
        return sum(weight * limits.miss_in(end) for weight, end in ends)

    counts = sorted(range(-max_lugs, max_lugs + 1), key=lambda n: (abs(n), -n))
    chances = landing_chances(gap, limits, belief, counts)
    # Rounding makes ties real; max and min keep the first, which is the fewest lugs.
    given, best = lugs is not None, belief.best
    if lugs is None:
        lugs = max(counts, key=lambda n: round(chances[n], 9))
    # A chance that only an unlikely pitch would keep is no reason to turn the ring far out.
    likely_miss = limits.miss_in(_gap_after_in(gap, lugs, best))
    hopeless = chances[lugs] < _HOPELESS or (likely_miss > 0.0 and chances[lugs] < _UNLIKELY)
    if hopeless and not given:
        lugs = min(counts, key=lambda n: round(expected_miss_in(n), 9))
    moved, moved_u = best.sense * lugs * best.pitch_in, abs(lugs) * PITCH_U_IN
    after = gap.shifted(-moved, moved_u)
    too_coarse: Miss = "no more lugs" if abs(lugs) == max_lugs else "between lugs"
    return RingPlan(
        lugs=lugs,
        gap_after=after,
        clearance_after=None if clearance is None else clearance.shifted(moved, moved_u),
        chance=chances[lugs],
        alternatives=tuple(
            Neighbour(n, _gap_after_in(gap, n, best), chances[n])
            for n in (lugs - 1, lugs + 1)
            if n in chances
        ),
        pitch_in=best.pitch_in,
        misses=too_coarse if limits.miss_in(after.value_in) else "",
    )


# --- What a ring move really did, judged from the gap before and after it.
#
# Bayes' rule over how the move was carried out (the lugs told, none, the wrong way, another
# count) crossed with the persistent belief about the ring's pitch and sense. Slips belong to one
# move and are summed out; pitch and sense carry over to the next.

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


@lru_cache(maxsize=256)  # a job asks again for every move it made, several times a turn
def compare_move(
    belief: RingBelief, before: Measured, after: Measured, lugs_told: int
) -> MoveFinding:
    """Find what a move of ``lugs_told`` lugs did, from the gap before and after (inches).

    The belief is the one the move was planned with; it is not changed, the updated one is
    returned. The likelihood is normal with both readings' uncertainties and the pitch's
    combined (JCGM 100:2008, 5.1.2), plus a small broad part for a misread gap.

    Raises:
        ValueError: no lugs were told.
    """
    planned = belief.best
    predicted = before.value_in - planned.sense * lugs_told * planned.pitch_in
    kinds: dict[Kind, float] = dict.fromkeys(get_args(Kind), 0.0)
    updated: list[RingState] = []
    likeliest, lugs_moved = -1.0, 0
    misread = MISREAD_WEIGHT * NormalDist(predicted, MISREAD_SPREAD_IN).pdf(after.value_in)
    kinds["unclear"] = misread
    for state in belief.states:
        # A misread says nothing about the ring: it leaves each state its own share.
        total = misread * state.weight
        for count, prior in executions(lugs_told).items():
            centre = before.value_in - state.sense * count * state.pitch_in
            spread = math.hypot(before.u_in, after.u_in, REPEAT_U_IN, abs(count) * PITCH_U_IN)
            joint = state.weight * prior * NormalDist(centre, spread).pdf(after.value_in)
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
