"""The same words said again: each hearing that was not sure enough still counts for the next."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

from .decide import Decision

AGAIN = 0.6
"""Probability, all hearings together, from which words said again are taken."""
LEAST = 0.2
"""A hearing below this counts for nothing later: a noise may sound twice alike."""


class Repeats:
    """What was heard and not taken since the job last moved.

    Two hearings of one meaning are taken for independent: the noise under them is another, the
    voice is not. So at most two earlier ones count.
    """

    def __init__(self) -> None:
        self._at: Hashable = None
        self._doubts: dict[Hashable, list[float]] = {}

    def joined(self, at: Hashable, decision: Decision) -> Decision:
        """The decision in the light of what was heard before at the same moment of the job.

        Args:
            at: says where the job stands; anything before a change of it is forgotten.
            decision: of this hearing alone.
        """
        if at != self._at:
            self._at, self._doubts = at, {}
        if not decision.ranked or decision.kind == "nothing":
            return decision
        doubt = 1.0 - decision.probability
        for earlier in self._doubts.get(decision.ranked[0].meaning, ())[-2:]:
            doubt *= earlier
        probability = 1.0 - doubt
        if probability <= decision.probability:
            return decision
        kind = "accept" if probability >= AGAIN else decision.kind
        first = replace(decision.ranked[0], probability=probability)
        ranked = (first, *decision.ranked[1:])
        return replace(decision, kind=kind, probability=probability, ranked=ranked)

    def missed(self, decision: Decision) -> None:
        """This hearing alone was not enough."""
        if decision.ranked and decision.kind != "nothing" and decision.probability >= LEAST:
            meaning = decision.ranked[0].meaning
            self._doubts.setdefault(meaning, []).append(1.0 - decision.probability)
