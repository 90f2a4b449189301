"""What was read back and denied: whoever says the reading again did not say that."""

from __future__ import annotations

from collections.abc import Hashable

from .decide import VALUES, Interpret, named

VAIN = 0.2
"""Weight left to words that nobody asked for and that came to nothing at this step: who says them
again most likely says something else."""
DENIED = 0.03
"""Weight left to a value that was denied. Not nothing: a "no" may have been misheard too."""


class Refused:
    """Meanings denied at the present step of the job."""

    def __init__(self) -> None:
        self._at = ""
        self._denied: set[Hashable] = set()
        self._vain: set[Hashable] = set()
        self._asked: Hashable = None

    def took(self, at: str, asks: bool, meaning: Hashable, unasked: bool = False) -> None:
        """An utterance was taken.

        Args:
            at: the step the job is at now.
            asks: whether a value is read back now and waits for its "check".
            meaning: of the utterance.
            unasked: nothing of the kind was asked for.
        """
        if at != self._at:
            self._at, self._asked, self._denied, self._vain = at, None, set(), set()
        elif unasked:
            self._vain.add(meaning)
        value = named(meaning) in VALUES
        gone = not asks or (value and meaning != self._asked)  # a "no", or another in its place
        if self._asked is not None and gone:
            self._denied.add(self._asked)
        if not asks:
            self._asked = None
        elif value or self._asked is None:
            self._asked = meaning

    def weighed(self, interpret: Interpret) -> Interpret:
        """The same meanings, with little weight for those denied."""

        def less(words: str) -> tuple[Hashable, float] | None:
            got = interpret(words)
            if got is None:
                return None
            left = DENIED if got[0] in self._denied else VAIN if got[0] in self._vain else 1.0
            return got[0], got[1] * left

        return less
