"""How long people wait for an answer: from the end of their words to the first sound of it."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from assistant.procedure.said import Said


class Timings:
    """Collects the waits of a session, all in seconds by one clock.

    Attributes:
        sounds: waits for the first sound of each answer, mostly the signal.
        words: waits for its first words.
    """

    def __init__(self) -> None:
        self.sounds: list[float] = []
        self.words: list[float] = []
        self._end_s = 0.0
        self._said: frozenset[Said] = frozenset()
        self._sounded = True

    def answered(self, end_s: float, said: Sequence[Said]) -> None:
        """What ended at `end_s` is answered with `said`, which is about to be spoken."""
        self._end_s, self._said, self._sounded = end_s, frozenset(said), False

    def first(self, said: Said, at_s: float) -> None:
        """`said` begins to be heard; a signal is a `Said` without words."""
        ours = said in self._said
        if not ours and said.text:
            return  # the end of an older answer, on the other loudspeaker
        if not self._sounded:
            self._sounded = True
            self.sounds.append(at_s - self._end_s)
        if ours:
            self._said = frozenset()
            self.words.append(at_s - self._end_s)

    def line(self) -> str:
        """The figures."""
        if not self.sounds:
            return "Timings: nothing was answered."
        return (
            f"Timings: {len(self.sounds)} answers; end of speech to first sound "
            f"{_spread(self.sounds)}; to first word {_spread(self.words)}."
        )


def _spread(waits: Sequence[float]) -> str:
    if not waits:
        return "not known"
    high = sorted(waits)[max(0, -(-95 * len(waits) // 100) - 1)]
    return f"median {median(waits):.2f} s, 95 % within {high:.2f} s, most {max(waits):.2f} s"
