"""The rest of a reading: "eight and five eighths", a breath, "fat".

Words that begin right after a reading was taken are mostly not an answer but its end, cut off by a
pause. They are heard once more together with the reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass

import numpy as np

from assistant.voice.devices.audio import Samples
from assistant.voice.interpretation import meanings as readings_heard
from assistant.voice.interpretation.decide import decide
from assistant.voice.recognition.reading_grammar import reading_grammar
from assistant.voice.recognition.recognizer import Hearing
from assistant.voice.recognition.recognizers import Recognizers

REACTION_S = 0.5
"""Nobody answers a question sooner than this after the last answer."""
BREATH_S = 1.2
"""The longest pause within a reading that is looked for."""
SURE = 0.6
"""From this probability on the whole is taken for what was said; it is read back in any case."""


@dataclass(frozen=True, slots=True)
class _Taken:
    role: str
    quantity: str
    metric: bool
    words: str
    samples: Samples
    end_s: float
    answered_s: float


class Tails:
    """Remembers the reading taken last, and joins what follows it at once."""

    def __init__(self, ears: Recognizers, executor: Executor) -> None:
        self._ears = ears
        self._executor = executor
        self._last: _Taken | None = None

    def took(
        self, role: str, quantity: str, metric: bool, words: str, samples: Samples,
        end_s: float, answered_s: float,
    ) -> None:  # fmt: skip
        """A reading of `quantity` was taken from the microphone of `role` (`samples`, the words'
        end and the answer by the clock of the frames). Without a quantity: something else was."""
        taken = _Taken(role, quantity, metric, words, samples, end_s, answered_s)
        self._last = taken if quantity else None

    def follows(self, role: str, start_s: float) -> bool:
        """Whether words that begin then may be the rest of it."""
        last = self._last
        if last is None or last.role != role:
            return False
        return start_s < min(last.answered_s + REACTION_S, last.end_s + BREATH_S)

    def listen(self, samples: Samples) -> Future[list[Hearing]]:
        """Hear the reading and these samples as one, where the engines run."""
        assert self._last is not None
        whole = np.concatenate([self._last.samples, samples])
        grammar = reading_grammar(self._last.quantity, self._last.metric)

        def work() -> list[Hearing]:
            self._ears.expect(grammar)
            return self._ears.listen(whole)

        return self._executor.submit(work)

    def whole(self, hearings: Sequence[Hearing]) -> str | None:
        """The words of the whole: "" when they say the same as before, None when it is unclear and
        what followed must stand for itself."""
        last = self._last
        if last is None or not hearings:
            return None
        meant = readings_heard.reading_interpreter(last.quantity, last.metric)
        decision = decide(list(hearings), meant)
        if not decision.ranked or decision.probability < SURE:
            return None
        now, before = decision.ranked[0].meaning, meant(last.words)
        if before is not None and before[0] == now:
            return ""
        if isinstance(now, tuple) and isinstance(now[0], str):
            return None  # it would only make a question
        return decision.heard if len(decision.heard) > len(last.words) else None
