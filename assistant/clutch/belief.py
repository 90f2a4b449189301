"""What is believed of this truck's adjusting ring: its lug pitch, and which way tightens.

A discrete probability over (pitch, sense). Bayes' rule updates it in ``move``. The sense is
+1 when the technician's "tighter" really moves the bearing toward the transmission, and -1
when it is the other way round on this truck.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

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
    """Immutable probabilities over the ring's pitch and sense; they add up to 1.

    Raises:
        ValueError: no state, or a weight, pitch or sense that cannot be.
    """

    states: tuple[RingState, ...]

    def __post_init__(self) -> None:
        if not self.states:
            raise ValueError("A belief needs at least one state: start from RingBelief.prior.")
        for state in self.states:
            if not (state.pitch_in > 0.0 and state.sense in (1, -1) and state.weight >= 0.0):
                raise ValueError("A ring state is impossible: start from RingBelief.prior.")
        if not math.isclose(sum(s.weight for s in self.states), 1.0, abs_tol=1e-6):
            raise ValueError("Ring weights do not add up to 1: build with RingBelief.normalised.")

    @classmethod
    def normalised(cls, states: Sequence[RingState]) -> RingBelief:
        """A belief from states whose weights are only proportional.

        Raises:
            ValueError: the weights add up to nothing.
        """
        total = math.fsum(state.weight for state in states)
        if not total > 0.0:
            raise ValueError("All ring weights are zero: start again from RingBelief.prior.")
        return cls(tuple(state._replace(weight=state.weight / total) for state in states))

    @classmethod
    @lru_cache(maxsize=16)  # one job asks for its own again and again
    def prior(cls, pitch_in: float | None = None) -> RingBelief:
        """The belief before the first move.

        A pitch on the truck card (in inches a lug) is strongly favoured and the other common
        pitch stays possible; without one the coarse ring is favoured.

        Raises:
            ValueError: the pitch is not between 0 and 0.1 in.
        """
        if pitch_in is None:
            pitches = [(COARSE_IN, COARSE_WEIGHT), (FINE_IN, 1.0 - COARSE_WEIGHT)]
        elif not 0.0 < pitch_in <= 0.1:
            raise ValueError("A lug moves a few hundredths: give its pitch in inches, like 0.027.")
        else:
            others = [p for p in (COARSE_IN, FINE_IN) if abs(p - pitch_in) > _SAME_PITCH_IN]
            spare = (1.0 - CARD_PITCH_WEIGHT) / len(others)
            pitches = [(pitch_in, CARD_PITCH_WEIGHT), *((p, spare) for p in others)]
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
        senses = ((1, 1.0 - REVERSED_WEIGHT), (-1, REVERSED_WEIGHT))
        return RingBelief.normalised(
            [RingState(p, s, wp * ws) for p, wp in pitches.items() for s, ws in senses]
        )

    @property
    def best(self) -> RingState:
        """The most probable state; of equals, the one listed first."""
        return max(self.states, key=lambda state: state.weight)

    @property
    def pitch_in(self) -> float:
        """The most probable pitch, in inches a lug."""
        return self.best.pitch_in

    @property
    def reversed_chance(self) -> float:
        """Probability that "tighter" is really looser on this truck."""
        return math.fsum(state.weight for state in self.states if state.sense < 0)

    def pitch_chance(self, pitch_in: float) -> float:
        """Probability of one pitch, in inches a lug."""
        return math.fsum(s.weight for s in self.states if abs(s.pitch_in - pitch_in) < 1e-9)
